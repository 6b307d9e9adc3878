//! One field: what neighbouring ground says of the factors of the loads that cut it.
//!
//! Patches of ground observe z = β_load + Z + edge level + pass + noise, with z the log of logged wet yield. Z is a smooth
//! random field ([`Lattice`]); the ground along the edge has levels of its own; a pass has an error of its own (the
//! receiver's, the cut width's). The loads' levels β are free: the field alone says nothing of how much sensors wander,
//! and less of their common level. Range and variances come from the restricted likelihood (Patterson & Thompson 1971,
//! Biometrika 58:545); everything but β is integrated out.

use super::lattice::{Lattice, Weights};
use super::search::lowest;
use super::{Links, Patch};
use crate::stats::huber_weight;
use crate::stats::sparse::Pattern;

/// Distance of the lattice's nodes, m (our choice: a good header; ranges of yield are 30 m and more).
const SPACING: f64 = 12.0;
/// Nodes of margin around the ground (our choice).
const MARGIN: i32 = 2;
/// Fewest patches that tell of a load.
const FEWEST: usize = 4;
/// Prior sd of an edge level, log yield: headlands yield a quarter less or more (common practice).
const EDGE_SD: f64 = 0.3;
/// Part of a patch's error that does not fall with its rows.
const PATCH_SHARE: f64 = 0.5;
/// Residuals beyond so many sds count less (Huber; 2 loses little where errors are normal).
const HUBER: f64 = 2.0;

/// Range and variances of a field.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Texture {
    /// Range of the yield's covariance, m.
    pub range: f64,
    /// Its sd, log yield.
    pub field_sd: f64,
    /// Sd of a pass's own error.
    pub pass_sd: f64,
    /// Sd of a usual patch's own error.
    pub patch_sd: f64,
}

/// Where the search starts and how far it is trusted to go: log of range (m), of field over patch variance, of pass
/// over patch variance, each with the sd of a normal prior. Our choice, from published ranges of yield (30–200 m) and CVs.
const START: [(f64, f64); 3] = [(4.4, 0.8), (2.3, 1.5), (-1.5, 1.5)];

struct Observation {
    weights: Weights,
    /// Places of pass and edge level among the unknowns.
    pass: usize,
    level: Option<usize>,
    load: usize,
    value: f64,
    /// Variance relative to a usual patch's.
    variance: f64,
}

impl Observation {
    fn parts(&self) -> impl Iterator<Item = (usize, f64)> {
        let own = [(self.pass, 1.0)].into_iter();
        (self.weights.into_iter())
            .chain(own)
            .chain(self.level.map(|l| (l, 1.0)))
    }
}

/// The equations of a field.
pub(super) struct System {
    lattice: Lattice,
    pattern: Pattern,
    /// Places of the lattice's entries among the pattern's values.
    of_lattice: Vec<usize>,
    passes: std::ops::Range<usize>,
    levels: std::ops::Range<usize>,
    loads: Vec<u32>,
    observations: Vec<Observation>,
    /// Mean log yield and log rate of each load.
    means: Vec<(f64, f64)>,
    /// Robust weight of each observation.
    weight: Vec<f64>,
    sums: Sums,
}

/// What does not change with the variances.
#[derive(Default)]
struct Sums {
    normal: Vec<f64>,
    /// A'R⁻¹[X z], columns one after another.
    sides: Vec<f64>,
    /// X'R⁻¹X (diagonal) and X'R⁻¹z.
    of_load: Vec<(f64, f64)>,
    squares: f64,
    log_variance: f64,
}

/// The system solved for some variances.
pub(super) struct Solved {
    /// −2 log restricted likelihood, but for a constant.
    pub deviance: f64,
    /// Variance of a usual patch.
    pub variance: f64,
    /// Information on β, row by row, per unit of `variance`.
    pub information: Vec<f64>,
    /// β.
    pub levels: Vec<f64>,
    /// Field, passes and edge levels for each column of [X z].
    unknowns: Vec<f64>,
}

impl System {
    pub(super) fn new(patches: &[Patch]) -> Option<Self> {
        let mut count = std::collections::BTreeMap::new();
        for p in patches {
            *count.entry(p.load).or_insert(0usize) += 1;
        }
        let loads: Vec<u32> = count
            .into_iter()
            .filter_map(|(l, n)| (n >= FEWEST).then_some(l))
            .collect();
        let used: Vec<&Patch> = patches
            .iter()
            .filter(|p| loads.binary_search(&p.load).is_ok())
            .collect();
        let numbered = |key: &dyn Fn(&Patch) -> Option<u32>| {
            let mut all: Vec<u32> = used.iter().filter_map(|p| key(p)).collect();
            all.sort_unstable();
            all.dedup();
            all
        };
        let passes = numbered(&|p| Some(p.pass));
        let levels = numbered(&|p| p.level);
        let places: Vec<[f64; 2]> = used.iter().map(|p| p.at).collect();
        let lattice = Lattice::new(&places, SPACING, MARGIN)?;
        let n = lattice.len();
        let mut rows: Vec<f64> = used.iter().map(|p| p.rows).collect();
        let usual = crate::stats::median_in_place(&mut rows)?;
        let observations: Vec<Observation> = used
            .iter()
            .filter_map(|p| {
                Some(Observation {
                    weights: lattice.weights(p.at)?,
                    pass: n + passes.binary_search(&p.pass).ok()?,
                    level: p
                        .level
                        .and_then(|l| levels.binary_search(&l).ok())
                        .map(|l| n + passes.len() + l),
                    load: loads.binary_search(&p.load).ok()?,
                    value: p.ln_yield,
                    variance: PATCH_SHARE + (1.0 - PATCH_SHARE) * usual / p.rows,
                })
            })
            .collect();
        let order = n + passes.len() + levels.len();
        let crossed = observations.iter().flat_map(|o| {
            let parts: Vec<usize> = o.parts().map(|p| p.0).collect();
            let pairs: Vec<(usize, usize)> = parts
                .iter()
                .flat_map(|&a| parts.iter().map(move |&b| (a, b)))
                .collect();
            pairs
        });
        let pattern = Pattern::new(order, lattice.places().chain(crossed))?;
        let of_lattice = lattice
            .places()
            .filter_map(|(i, j)| pattern.index(i, j))
            .collect();
        let mut system = Self {
            of_lattice,
            passes: n..n + passes.len(),
            levels: n + passes.len()..order,
            lattice,
            pattern,
            means: loads.iter().map(|&l| means(&used, l)).collect(),
            loads,
            weight: vec![1.0; observations.len()],
            observations,
            sums: Sums::default(),
        };
        system.sum();
        Some(system)
    }

    fn sum(&mut self) {
        let (order, loads) = (self.pattern.order(), self.loads.len());
        let mut s = Sums {
            normal: vec![0.0; self.pattern.len()],
            sides: vec![0.0; order * (loads + 1)],
            of_load: vec![(0.0, 0.0); loads],
            ..Sums::default()
        };
        for (o, w) in self.observations.iter().zip(&self.weight) {
            let w = w / o.variance;
            for (a, x) in o.parts() {
                for (b, y) in o.parts().filter(|p| p.0 <= a) {
                    if let Some(at) = self.pattern.index(a, b) {
                        s.normal[at] += w * x * y;
                    }
                }
                s.sides[o.load * order + a] += w * x;
                s.sides[loads * order + a] += w * x * o.value;
            }
            s.of_load[o.load].0 += w;
            s.of_load[o.load].1 += w * o.value;
            s.squares += w * o.value * o.value;
            s.log_variance -= w.ln();
        }
        self.sums = s;
    }

    /// Solves for a range and variances relative to a patch's (logarithms).
    pub(super) fn solve(&self, at: [f64; 3]) -> Option<Solved> {
        let [range, field, pass] = at.map(f64::exp);
        let mut values = self.sums.normal.clone();
        for (&k, (_, _, v)) in self
            .of_lattice
            .iter()
            .zip(self.lattice.precision(range, field))
        {
            values[k] += v;
        }
        let edge = EDGE_SD * EDGE_SD / USUAL_PATCH_VARIANCE;
        let mut log_prior = self.lattice.log_determinant(range, field)?;
        for (places, variance) in [(&self.passes, pass), (&self.levels, edge)] {
            for k in places.clone() {
                values[self.pattern.index(k, k)?] += 1.0 / variance;
                log_prior -= variance.ln();
            }
        }
        let factor = self.pattern.factor(&values)?;
        let (order, n) = (self.pattern.order(), self.loads.len());
        let mut unknowns = self.sums.sides.clone();
        factor.solve(&mut unknowns);
        let side = |c: usize| &self.sums.sides[c * order..(c + 1) * order];
        let solution = |c: usize| &unknowns[c * order..(c + 1) * order];
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let mut information = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                let v = -dot(side(i), solution(j));
                information[i * n + j] = v;
                information[j * n + i] = v;
            }
            information[i * n + i] += self.sums.of_load[i].0;
        }
        let score: Vec<f64> = (0..n)
            .map(|i| self.sums.of_load[i].1 - dot(side(i), solution(n)))
            .collect();
        let full = Pattern::new(n, (0..n).flat_map(|i| (0..i).map(move |j| (i, j))))?;
        let mut lower = vec![0.0; full.len()];
        for i in 0..n {
            for j in 0..=i {
                lower[full.index(i, j)?] = information[i * n + j];
            }
        }
        let of_loads = full.factor(&lower)?;
        let mut levels = score.clone();
        of_loads.solve(&mut levels);
        let rest = self.sums.squares - dot(side(n), solution(n)) - dot(&score, &levels);
        let degrees = (self.observations.len() - n) as f64;
        if !(rest > 0.0 && degrees > 0.0) {
            return None;
        }
        let variance = rest / degrees;
        Some(Solved {
            deviance: factor.log_determinant() - log_prior
                + self.sums.log_variance
                + of_loads.log_determinant()
                + degrees * variance.ln(),
            variance,
            information,
            levels,
            unknowns,
        })
    }

    /// Weighs observations down that are far off the solution.
    fn reweigh(&mut self, solved: &Solved) {
        let (order, n) = (self.pattern.order(), self.loads.len());
        let at = |k: usize| {
            solved.unknowns[n * order + k]
                - (0..n)
                    .map(|l| solved.unknowns[l * order + k] * solved.levels[l])
                    .sum::<f64>()
        };
        let unknowns: Vec<f64> = (0..order).map(at).collect();
        for (o, w) in self.observations.iter().zip(&mut self.weight) {
            let fitted: f64 = o.parts().map(|(k, x)| x * unknowns[k]).sum();
            let off = o.value - solved.levels[o.load] - fitted;
            *w = huber_weight(off / (solved.variance * o.variance).sqrt(), HUBER);
        }
        self.sum();
    }

    /// Range and variances by the restricted likelihood.
    fn search(&self, at: [f64; 3], steps: &[f64]) -> Option<([f64; 3], Solved)> {
        let judge = |at: [f64; 3]| {
            let solved = self.solve(at)?;
            let prior: f64 = (at.iter().zip(START))
                .map(|(x, (middle, sd))| ((x - middle) / sd).powi(2))
                .sum();
            Some((solved.deviance + prior, solved))
        };
        let (at, _, solved) = lowest(at, steps, judge)?;
        Some((at, solved))
    }
}

/// Mean log yield and log rate of a load's patches.
fn means(patches: &[&Patch], load: u32) -> (f64, f64) {
    let own = patches.iter().filter(|p| p.load == load);
    let (y, r, n) = own.fold((0.0, 0.0, 0.0), |(y, r, n), p| {
        (y + p.ln_yield, r + p.ln_rate, n + 1.0)
    });
    (y / n, r / n)
}

/// What the prior of edge levels is related to: variance of a usual patch of 3 %.
const USUAL_PATCH_VARIANCE: f64 = 0.0009;

/// What a field's patches say of its loads' factors; `None` where fewer than two loads can be compared.
pub fn links(patches: &[Patch]) -> Option<Links> {
    let mut system = System::new(patches)?;
    if system.loads.len() < 2 {
        return None;
    }
    let start = START.map(|s| s.0);
    let (at, solved) = system.search(start, &[0.8])?;
    system.reweigh(&solved);
    let (at, solved) = system.search(at, &[0.4])?;
    let n = system.loads.len();
    // ln yield falls where the factor (true over logged) rises: u = common level − β.
    let mut information: Vec<f64> = solved
        .information
        .iter()
        .map(|v| v / solved.variance)
        .collect();
    // The common level is free.
    let sums: Vec<f64> = (0..n)
        .map(|i| information[i * n..(i + 1) * n].iter().sum())
        .collect();
    let total: f64 = sums.iter().sum();
    for i in 0..n {
        for j in 0..n {
            information[i * n + j] -= sums[i] * sums[j] / total;
        }
    }
    let score = (0..n)
        .map(|i| {
            -(0..n)
                .map(|j| information[i * n + j] * solved.levels[j])
                .sum::<f64>()
        })
        .collect();
    let patch_sd = solved.variance.sqrt();
    let sd = |ratio: f64| patch_sd * (0.5 * ratio).exp();
    Some(Links {
        loads: system.loads,
        information,
        score,
        ln_yield: system.means.iter().map(|m| m.0).collect(),
        ln_rate: system.means.iter().map(|m| m.1).collect(),
        texture: Texture {
            range: at[0].exp(),
            field_sd: sd(at[1]),
            pass_sd: sd(at[2]),
            patch_sd,
        },
        patches: system.observations.len() as u64,
    })
}
