//! One field: what neighbouring ground says of the factors of the loads that cut it.
//!
//! Patches of ground observe z = β_load + Z + edge level + pass + noise, with z the log of logged wet yield. Z is a smooth
//! random field ([`Lattice`]); the ground along the edge has levels of its own, which differ from load to load, since no
//! edge is alike all around; a pass has an error of its own (the
//! receiver's, the cut width's). The field alone says nothing of how much sensors wander, and less of their common level:
//! β has a prior so wide (sd 30 %) that the range and variances found are those of the restricted likelihood (Patterson &
//! Thompson 1971, Biometrika 58:545), and that prior is taken out again of what is passed on.

use super::lattice::{Lattice, Weights};
use super::search::lowest;
use super::{Links, Patch};
use crate::stats::huber_weight;
use crate::stats::sparse::{Factor, Pattern};

/// Distance of the lattice's nodes, m (our choice: less than two thirds of the shortest range that yield is known to have, 30 m. On
/// 400 simulated seasons 15 m told no more and cost two fifths more; nor did 20 m tell less, but that 30 m leave it little room).
const SPACING: f64 = 18.0;
/// Nodes of margin around the ground (our choice).
const MARGIN: i32 = 2;
/// Fewest patches that tell of a load.
const FEWEST: usize = 4;
/// Prior sd of an edge level, log yield: headlands yield a quarter less or more (common practice).
const EDGE_SD: f64 = 0.3;
/// Prior sd of how the part of an edge level that one load cut departs from it: trees, turns, compaction (our choice). A load
/// that cut nothing but headland is not told by ground that looks like it elsewhere.
const EDGE_PART_SD: f64 = 0.08;
/// Sd of the loads' levels while the texture is sought; taken out again afterwards.
const LOAD_SD: f64 = 0.3;
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
/// What the log of the field's variance grows by with the log of its range along a search. Close by, the ground tells variance
/// over range^2ν (Zhang 2004, J. Am. Stat. Assoc. 99:250) and hardly either alone, so that a search along range or variance
/// by itself stays far from the likeliest pair. 2ν is 2; seen on simulated fields are 1.4–1.8, because of the noise.
const RIDGE: f64 = 1.5;
/// Step of the search (our choice: the half-width in which the likelihood is a parabola, for all that matters)
const STEP: f64 = 0.6;

struct Observation {
    weights: Weights,
    /// Places of pass and edge level (all loads', the load's own) among the unknowns.
    pass: usize,
    level: Option<[usize; 2]>,
    /// Place of the load among the unknowns.
    load: usize,
    value: f64,
    /// Variance relative to a usual patch's.
    variance: f64,
}

impl Observation {
    fn parts(&self) -> impl Iterator<Item = (usize, f64)> {
        let own = [(self.pass, 1.0), (self.load, 1.0)].into_iter();
        (self.weights.into_iter())
            .chain(own)
            .chain(self.level.into_iter().flatten().map(|l| (l, 1.0)))
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
    parts: std::ops::Range<usize>,
    of_loads: std::ops::Range<usize>,
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
    /// A'R⁻¹A.
    normal: Vec<f64>,
    /// A'R⁻¹z.
    side: Vec<f64>,
    squares: f64,
    log_variance: f64,
}

/// The system solved for some variances.
pub(super) struct Solved<'a> {
    /// −2 log likelihood, but for a constant.
    pub deviance: f64,
    /// Variance of a usual patch.
    pub variance: f64,
    factor: Factor<'a>,
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
        let mut parts: Vec<(u32, u32)> = (used.iter())
            .filter_map(|p| Some((p.load, p.level?)))
            .collect();
        parts.sort_unstable();
        parts.dedup();
        let first_part = n + passes.len() + levels.len();
        let first_load = first_part + parts.len();
        let middle = used.iter().map(|p| p.ln_yield).sum::<f64>() / used.len() as f64;
        let observations: Vec<Observation> = used
            .iter()
            .filter_map(|p| {
                Some(Observation {
                    weights: lattice.weights(p.at)?,
                    pass: n + passes.binary_search(&p.pass).ok()?,
                    level: p.level.and_then(|l| {
                        let level = levels.binary_search(&l).ok()?;
                        let part = parts.binary_search(&(p.load, l)).ok()?;
                        Some([n + passes.len() + level, first_part + part])
                    }),
                    load: first_load + loads.binary_search(&p.load).ok()?,
                    value: p.ln_yield - middle,
                    variance: PATCH_SHARE + (1.0 - PATCH_SHARE) * usual / p.rows,
                })
            })
            .collect();
        let order = first_load + loads.len();
        let crossed = observations.iter().flat_map(|o| {
            let parts: Vec<usize> = o.parts().map(|p| p.0).collect();
            let pairs: Vec<(usize, usize)> = parts
                .iter()
                .enumerate()
                .flat_map(|(k, &a)| parts[..k].iter().map(move |&b| (a, b)))
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
            levels: n + passes.len()..first_part,
            parts: first_part..first_load,
            of_loads: first_load..order,
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
        let mut s = Sums {
            normal: vec![0.0; self.pattern.len()],
            side: vec![0.0; self.pattern.order()],
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
                s.side[a] += w * x * o.value;
            }
            s.squares += w * o.value * o.value;
            s.log_variance -= w.ln();
        }
        self.sums = s;
    }

    /// Solves for a range and variances relative to a patch's (logarithms).
    pub(super) fn solve(&self, at: [f64; 3]) -> Option<Solved<'_>> {
        let [range, field, pass] = at.map(f64::exp);
        let mut values = self.sums.normal.clone();
        let precision = self.lattice.precision(range, field);
        for (&k, (_, _, v)) in self.of_lattice.iter().zip(precision) {
            values[k] += v;
        }
        let mut log_prior = self.lattice.log_determinant(range, field)?;
        for (places, variance) in [
            (&self.passes, pass),
            (&self.levels, EDGE_SD * EDGE_SD / USUAL_PATCH_VARIANCE),
            (
                &self.parts,
                EDGE_PART_SD * EDGE_PART_SD / USUAL_PATCH_VARIANCE,
            ),
            (&self.of_loads, LOAD_VARIANCE),
        ] {
            for k in places.clone() {
                values[self.pattern.index(k, k)?] += 1.0 / variance;
                log_prior -= variance.ln();
            }
        }
        let factor = self.pattern.factor(&values)?;
        let explained = factor.quadratic_of_all(&self.sums.side);
        let n = self.observations.len() as f64;
        let variance = (self.sums.squares - explained) / n;
        (variance > 0.0).then(|| Solved {
            deviance: factor.log_determinant() - log_prior
                + self.sums.log_variance
                + n * variance.ln(),
            variance,
            factor,
        })
    }

    /// What a solution says of the field, passes, edge levels and loads; a search does not ask for it.
    fn unknowns(&self, solved: &Solved) -> Vec<f64> {
        let mut unknowns = self.sums.side.clone();
        solved.factor.solve(&mut unknowns);
        unknowns
    }

    /// Information on the loads' levels β, row by row, and information·β, per unit of a patch's variance and without the
    /// prior of the levels.
    pub(super) fn of_loads(&self, solved: &Solved) -> Option<(Vec<f64>, Vec<f64>)> {
        let n = self.loads.len();
        let block = solved.factor.covariances(self.of_loads.clone());
        let full = Pattern::new(n, (0..n).flat_map(|i| (0..i).map(move |j| (i, j))))?;
        let mut covariance = vec![0.0; full.len()];
        for i in 0..n {
            for j in 0..=i {
                covariance[full.index(i, j)?] = block[j * n + i];
            }
        }
        let mut information = vec![0.0; n * n];
        (0..n).for_each(|l| information[l * n + l] = 1.0);
        full.factor(&covariance)?.solve(&mut information);
        let unknowns = self.unknowns(solved);
        let levels = &unknowns[self.of_loads.clone()];
        let score = (0..n)
            .map(|i| (0..n).map(|j| information[i * n + j] * levels[j]).sum())
            .collect();
        (0..n).for_each(|l| information[l * n + l] -= 1.0 / LOAD_VARIANCE);
        Some((information, score))
    }

    /// Weighs observations down that are far off the solution.
    fn reweigh(&mut self, unknowns: &[f64], variance: f64) {
        for (o, w) in self.observations.iter().zip(&mut self.weight) {
            let fitted: f64 = o.parts().map(|(k, x)| x * unknowns[k]).sum();
            let off = o.value - fitted;
            *w = huber_weight(off / (variance * o.variance).sqrt(), HUBER);
        }
        self.sum();
    }

    /// Range and variances by the restricted likelihood.
    fn search(&self, start: [f64; 3]) -> Option<([f64; 3], Solved<'_>)> {
        // Along range the variance goes with it, see [`RIDGE`].
        let place = |by: &[f64]| {
            [
                start[0] + by[0],
                start[1] + by[1] + RIDGE * by[0],
                start[2] + by[2],
            ]
        };
        let judge = |by: &[f64]| {
            let at = place(by);
            let solved = self.solve(at)?;
            let prior: f64 = (at.iter().zip(START))
                .map(|(x, (middle, sd))| ((x - middle) / sd).powi(2))
                .sum();
            Some((solved.deviance + prior, solved))
        };
        // The variance first, because a start is farthest off in it, and again when the others are found.
        let (by, _, solved) = lowest(vec![0.0; 3], &[1, 0, 2, 1], &[STEP], judge)?;
        Some((place(&by), solved))
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
/// The levels' variance in that unit.
const LOAD_VARIANCE: f64 = LOAD_SD * LOAD_SD / USUAL_PATCH_VARIANCE;

/// What a field's patches say of its loads' factors; `None` where fewer than two loads can be compared.
pub fn links(patches: &[Patch]) -> Option<Links> {
    let mut system = System::new(patches)?;
    if system.loads.len() < 2 {
        return None;
    }
    // Where the search starts residuals already show which patches are far off.
    let start = START.map(|s| s.0);
    let solved = system.solve(start)?;
    let (unknowns, variance) = (system.unknowns(&solved), solved.variance);
    drop(solved);
    system.reweigh(&unknowns, variance);
    let (at, solved) = system.search(start)?;
    system.links(at, &solved)
}

/// The same with a texture that is given, and without robust weights.
pub fn links_with(patches: &[Patch], texture: &Texture) -> Option<Links> {
    let system = System::new(patches)?;
    let ratio = |sd: f64| 2.0 * (sd / texture.patch_sd).ln();
    let at = [
        texture.range.ln(),
        ratio(texture.field_sd),
        ratio(texture.pass_sd),
    ];
    let mut solved = system.solve(at)?;
    solved.variance = texture.patch_sd * texture.patch_sd;
    system.links(at, &solved)
}

impl System {
    /// What is passed on.
    fn links(&self, at: [f64; 3], solved: &Solved) -> Option<Links> {
        let n = self.loads.len();
        let (mut information, score) = self.of_loads(solved)?;
        // ln yield falls where the factor (true over logged) rises: u = common level − β.
        let mut score: Vec<f64> = score.iter().map(|v| -v / solved.variance).collect();
        information.iter_mut().for_each(|v| *v /= solved.variance);
        // The common level is free.
        let sums: Vec<f64> = (0..n)
            .map(|i| information[i * n..(i + 1) * n].iter().sum())
            .collect();
        let (total, of_all) = (sums.iter().sum::<f64>(), score.iter().sum::<f64>());
        for i in 0..n {
            score[i] -= sums[i] * of_all / total;
            for j in 0..n {
                information[i * n + j] -= sums[i] * sums[j] / total;
            }
        }
        let patch_sd = solved.variance.sqrt();
        let sd = |ratio: f64| patch_sd * (0.5 * ratio).exp();
        Some(Links {
            loads: self.loads.clone(),
            information: (0..n)
                .flat_map(|i| information[i * n..=i * n + i].iter().copied())
                .collect(),
            score,
            ln_yield: self.means.iter().map(|m| m.0).collect(),
            ln_rate: self.means.iter().map(|m| m.1).collect(),
            texture: Texture {
                range: at[0].exp(),
                field_sd: sd(at[1]),
                pass_sd: sd(at[2]),
                patch_sd,
            },
            patches: self.observations.len() as u64,
        })
    }
}
