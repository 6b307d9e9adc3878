//! The equations of all loads of a crop: unknowns, priors, links and tickets in one sparse system.

use rayon::prelude::*;

use super::Links;
use super::known::{Known, SCALE_START, START};
use super::nodes::{LoadNode, TicketNode};
use crate::stats::sparse::Pattern;

/// No sd is taken to be less: the equations must stay solvable.
pub(super) const LEAST_SD: f64 = 2e-4;
/// Prior sd of how a sensor's level in a moisture class departs from its machine's: wetter grain flows and strikes
/// differently; errors of loads at other moistures are published up to 5 % (our choice: half of that).
const CLASS_SD: f64 = 0.025;

/// Prior of the logarithm of an sd: middle and sd. Load, day, drift, then each scale's.
pub(super) fn prior(axis: usize) -> (f64, f64) {
    START.get(axis).copied().unwrap_or(SCALE_START)
}

#[derive(Debug)]
pub(super) struct Unknowns {
    pub machines: usize,
    pub classes: usize,
    days: usize,
    loads: usize,
    pub pattern: Pattern,
    /// Where a load's own equation stands among the pattern's values, see [`Unknowns::own`].
    of_load: Vec<[usize; OWN]>,
    /// Whether a class is its machine's only one.
    is_only: Vec<bool>,
}

/// Pairs, each once, of a load's six unknowns.
const OWN: usize = 21;

impl Unknowns {
    /// A moisture class's departure from its machine's level.
    pub fn class(&self, c: usize) -> usize {
        self.machines + c
    }
    pub fn bend(&self, c: usize) -> usize {
        self.machines + self.classes + c
    }
    pub fn day(&self, d: usize) -> usize {
        self.machines + 2 * self.classes + d
    }
    pub fn drift(&self, l: usize) -> usize {
        self.machines + 2 * self.classes + self.days + l
    }
    pub fn load(&self, l: usize) -> usize {
        self.machines + 2 * self.classes + self.days + self.loads + l
    }
}

impl Unknowns {
    /// A load's factor, and what it is made of.
    fn own(&self, l: usize, load: &LoadNode) -> [usize; 6] {
        [
            self.load(l),
            load.machine,
            self.class(load.class),
            self.bend(load.class),
            self.day(load.day),
            self.drift(l),
        ]
    }
}

/// A ticket made linear: share of each part, and log of weighed over expected mass.
#[derive(Debug, Clone)]
pub(super) struct Linear {
    pub parts: Vec<(usize, f64)>,
    pub value: f64,
    /// The part of its variance that is known: a certified scale's, and what the ends of its loads leave.
    pub least: f64,
    /// Which scale wrote it.
    pub scale: usize,
}

impl Linear {
    /// Variance, with the scatter of its scale; `at`: logarithms of sds.
    pub fn variance(&self, at: &[f64]) -> f64 {
        let scatter = at.get(START.len() + self.scale);
        self.least + scatter.map_or(0.0, |s| (2.0 * s).exp())
    }
}

/// Every pair of some places once, and each place with itself.
fn pairs(places: Vec<usize>) -> impl Iterator<Item = (usize, usize)> {
    let n = places.len();
    (0..n)
        .flat_map(|i| (0..=i).map(move |j| (i, j)))
        .map(move |(i, j)| (places[i], places[j]))
}

/// The places of the system's entries.
pub(super) fn unknowns(
    loads: &[LoadNode],
    links: &[(Vec<usize>, &Links)],
    tickets: &[TicketNode],
) -> Option<Unknowns> {
    let machines = loads.iter().map(|l| l.machine + 1).max()?;
    let classes = loads.iter().map(|l| l.class + 1).max()?;
    let days = loads.iter().map(|l| l.day + 1).max()?;
    let n = loads.len();
    let mut out = Unknowns {
        machines,
        classes,
        days,
        loads: n,
        pattern: Pattern::new(1, [])?,
        of_load: Vec::new(),
        is_only: Vec::new(),
    };
    let of_loads = (loads.iter().enumerate()).flat_map(|(l, load)| {
        let own = out.own(l, load);
        let with_before = load.before.map(|b| (out.drift(l), out.drift(b)));
        pairs(own.to_vec()).chain(with_before)
    });
    let groups = (links.iter().map(|(g, _)| g)).chain(tickets.iter().map(|t| &t.parts));
    let of_groups = groups.flat_map(|group| pairs(group.iter().map(|&l| out.load(l)).collect()));
    let of_bends = links.iter().flat_map(|(group, _)| {
        let mut bends: Vec<usize> = group.iter().map(|&l| out.bend(loads[l].class)).collect();
        bends.sort_unstable();
        bends.dedup();
        let with_loads: Vec<(usize, usize)> = (group.iter())
            .flat_map(|&l| bends.iter().map(move |&b| (b, l)))
            .map(|(b, l)| (b, out.load(l)))
            .collect();
        with_loads.into_iter().chain(pairs(bends))
    });
    let pattern = Pattern::new(out.load(n), of_loads.chain(of_groups).chain(of_bends))?;
    out.pattern = pattern.without_spare();
    for (l, load) in loads.iter().enumerate() {
        let own = out.own(l, load);
        let pairs = (0..own.len()).flat_map(|i| (0..=i).map(move |j| (i, j)));
        let mut at = [0; OWN];
        for (at, (i, j)) in at.iter_mut().zip(pairs) {
            *at = out.pattern.index(own[i], own[j])?;
        }
        out.of_load.push(at);
    }
    let mut machine_of = vec![None; classes];
    for load in loads {
        machine_of[load.class].get_or_insert(load.machine);
    }
    let mut of_machine = vec![0; machines];
    (machine_of.iter().flatten()).for_each(|&m: &usize| of_machine[m] += 1);
    out.is_only = (machine_of.iter())
        .map(|m| m.is_none_or(|m| of_machine[m] == 1))
        .collect();
    Some(out)
}

/// Log flow of each load about its machine's mean.
pub(super) fn flows(loads: &[LoadNode], machines: usize) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); machines];
    for l in loads.iter().filter(|l| l.ln_flow.is_finite()) {
        sums[l.machine].0 += l.ln_flow * l.logged;
        sums[l.machine].1 += l.logged;
    }
    let about = |l: &LoadNode| l.ln_flow - sums[l.machine].0 / sums[l.machine].1;
    (loads.iter().map(about))
        .map(|x| if x.is_finite() { x } else { 0.0 })
        .collect()
}

/// What links add to the matrix and the right-hand side, whatever the sds.
pub(super) fn sum_links(
    loads: &[LoadNode],
    links: &[(Vec<usize>, &Links)],
    trust: f64,
    u: &Unknowns,
) -> Option<(Vec<f64>, Vec<f64>)> {
    let mut values = vec![0.0; u.pattern.len()];
    let mut right = vec![0.0; u.pattern.order()];
    for ((group, links), contrast) in links.iter().zip(contrasts(loads, links)) {
        let n = group.len();
        let bend_of: Vec<usize> = group.iter().map(|&l| u.bend(loads[l].class)).collect();
        let mut bends = bend_of.clone();
        bends.sort_unstable();
        bends.dedup();
        // Which of them a load's is, and where each two of them, or one and the load at hand, stand among the values.
        let place: Vec<usize> = (bend_of.iter())
            .map(|b| bends.binary_search(b).unwrap_or_default())
            .collect();
        let among = |a: usize| -> Option<Vec<usize>> {
            bends.iter().map(|&b| u.pattern.index(a, b)).collect()
        };
        let of_bends: Option<Vec<Vec<usize>>> = bends.iter().map(|&b| among(b)).collect();
        let of_bends = of_bends?;
        for i in 0..n {
            let a = u.load(group[i]);
            let with_bends = among(a)?;
            for j in 0..n {
                let (low, high) = (i.min(j), i.max(j));
                let v = trust * links.information[high * (high + 1) / 2 + low];
                if j <= i {
                    values[u.pattern.index(a, u.load(group[j]))?] += v;
                }
                // Each pair is met twice; the lower triangle holds it once.
                values[with_bends[place[j]]] += -v * contrast[j];
                if bend_of[i] >= bend_of[j] {
                    values[of_bends[place[i]][place[j]]] += v * contrast[i] * contrast[j];
                }
            }
            right[a] += trust * links.score[i];
            right[bend_of[i]] -= trust * links.score[i] * contrast[i];
        }
    }
    Some((values, right))
}

/// Log yield of each linked load as a whole, less that of the ground on which its machine is compared in the field.
fn contrasts(loads: &[LoadNode], links: &[(Vec<usize>, &Links)]) -> Vec<Vec<f64>> {
    let of_field = |(group, links): &(Vec<usize>, &Links)| {
        let ground = |m: usize| {
            let own = (group.iter().zip(&links.ln_yield)).filter(|(l, _)| loads[**l].machine == m);
            let (sum, n) = own.fold((0.0, 0.0), |(s, n), (_, y)| (s + y, n + 1.0));
            sum / n
        };
        (group.iter().zip(&links.ln_rate))
            .map(|(&l, rate)| loads[l].ln_flow - rate - ground(loads[l].machine))
            .map(|c| if c.is_finite() { c } else { 0.0 })
            .collect()
    };
    links.iter().map(of_field).collect()
}

/// Shares and value of a ticket about some log factors; `None` where there is nothing to compare.
pub(super) fn linearise(t: &TicketNode, loads: &[LoadNode], about: &[f64]) -> Option<Linear> {
    let mass: Vec<f64> = (t.parts.iter())
        .map(|&l| loads[l].logged * about[l].exp())
        .collect();
    let sum: f64 = mass.iter().sum();
    if !(sum > 0.0 && t.net > 0.0) {
        return None;
    }
    let parts: Vec<(usize, f64)> = (t.parts.iter().copied())
        .zip(mass.iter().map(|m| m / sum))
        .collect();
    let own: f64 = parts.iter().map(|&(l, p)| p * about[l]).sum();
    Some(Linear {
        value: (t.net / sum).ln() + own,
        least: t.sd * t.sd + t.edges * t.edges,
        scale: t.scale,
        parts,
    })
}

/// The equations of a part of a crop's loads.
#[derive(Clone, Copy)]
pub(super) struct OfPart<'a> {
    pub loads: &'a [LoadNode],
    pub known: &'a Known,
    pub linear: &'a [Option<Linear>],
    pub unknowns: &'a Unknowns,
    /// Log flow of each load about its machine's mean.
    pub flow: &'a [f64],
    /// What links add to the equations, see [`sum_links`].
    pub from_links: &'a (Vec<f64>, Vec<f64>),
}

/// The equations solved for some sds.
pub(super) struct Solved {
    /// −2 log marginal likelihood, but for a constant.
    pub deviance: f64,
    pub means: Vec<f64>,
}

/// A system with its numbers.
struct Assembled {
    values: Vec<f64>,
    right: Vec<f64>,
    log_prior: f64,
    /// −2 log of the tickets' density where nothing is explained, but for a constant.
    rest: f64,
}

impl OfPart<'_> {
    /// The matrix for logarithms of sds, see [`OfPart::solve`].
    pub fn values(&self, at: &[f64]) -> Option<Vec<f64>> {
        self.assemble(at).map(|a| a.values)
    }

    fn assemble(&self, at: &[f64]) -> Option<Assembled> {
        let u = self.unknowns;
        let [load, day, drift] = [0, 1, 2].map(|a: usize| at[a].exp().max(LEAST_SD).powi(2));
        let (mut values, mut right) = self.from_links.clone();
        let mut log_prior = 0.0;
        let add = |values: &mut [f64], i: usize, j: usize, v: f64| -> Option<()> {
            values[u.pattern.index(i, j)?] += v;
            Some(())
        };
        for (k, variance) in (0..u.machines)
            .map(|k| (k, self.known.machine_sd.powi(2)))
            .chain((0..u.classes).map(|c| (u.class(c), self.of_class(c))))
            .chain((0..u.classes).map(|c| (u.bend(c), self.known.bend_sd.powi(2))))
            .chain((0..u.days).map(|d| (u.day(d), day)))
        {
            add(&mut values, k, k, 1.0 / variance)?;
            log_prior -= variance.ln();
        }
        for (l, node) in self.loads.iter().enumerate() {
            // The drift starts from the machine's level.
            let variance = if node.before.is_some() {
                drift
            } else {
                LEAST_SD * LEAST_SD
            };
            let g = u.drift(l);
            add(&mut values, g, g, 1.0 / variance)?;
            if let Some(b) = node.before.map(|b| u.drift(b)) {
                add(&mut values, b, b, 1.0 / variance)?;
                add(&mut values, g, b, -1.0 / variance)?;
            }
            log_prior -= variance.ln();
            log_prior -= load.ln();
        }
        // Load less what it is made of, as in [`Unknowns::own`].
        for (at, flow) in u.of_load.iter().zip(self.flow) {
            let parts = [1.0, -1.0, -1.0, -flow, -1.0, -1.0];
            let pairs = (0..parts.len()).flat_map(|i| (0..=i).map(move |j| (i, j)));
            for (&at, (i, j)) in at.iter().zip(pairs) {
                values[at] += parts[i] * parts[j] / load;
            }
        }
        let mut rest = 0.0;
        for t in self.linear.iter().flatten() {
            let variance = t.variance(at);
            for (i, &(a, x)) in t.parts.iter().enumerate() {
                for &(b, y) in &t.parts[..=i] {
                    add(&mut values, u.load(a), u.load(b), x * y / variance)?;
                }
                right[u.load(a)] += x * t.value / variance;
            }
            rest += t.value * t.value / variance + variance.ln();
        }
        Some(Assembled {
            values,
            right,
            log_prior,
            rest,
        })
    }

    /// Solves for logarithms of sds: load, day, drift, then the scatter of each scale.
    pub fn solve(&self, at: &[f64]) -> Option<Solved> {
        let Assembled {
            values,
            right,
            log_prior,
            rest,
        } = self.assemble(at)?;
        let factor = self.unknowns.pattern.factor(&values)?;
        drop(values);
        let mut means = right.clone();
        factor.solve(&mut means);
        let explained: f64 = right.iter().zip(&means).map(|(a, b)| a * b).sum();
        Some(Solved {
            deviance: factor.log_determinant() - log_prior + rest - explained,
            means,
        })
    }

    /// Prior variance of a moisture class's level: a machine's only class is its level.
    fn of_class(&self, class: usize) -> f64 {
        let is_only = self.unknowns.is_only[class];
        if is_only { LEAST_SD } else { CLASS_SD }.powi(2)
    }
}

/// The equations of a crop: of parts that share nothing but the sds.
pub(super) struct Problem<'a>(pub Vec<OfPart<'a>>);

/// All of them solved.
pub(super) struct SolvedAll {
    /// −2 log marginal likelihood, but for a constant.
    pub deviance: f64,
    /// Of each part's unknowns.
    pub means: Vec<Vec<f64>>,
}

impl Problem<'_> {
    /// Solves for logarithms of sds: load, day, drift, then the scatter of each scale.
    pub fn solve(&self, at: &[f64]) -> Option<SolvedAll> {
        let mut out = SolvedAll {
            deviance: 0.0,
            means: Vec::with_capacity(self.0.len()),
        };
        for part in &self.0 {
            let solved = part.solve(at)?;
            out.deviance += solved.deviance;
            out.means.push(solved.means);
        }
        Some(out)
    }

    /// The matrix of each part for logarithms of sds, see [`Problem::solve`].
    pub fn values(&self, at: &[f64]) -> Option<Vec<Vec<f64>>> {
        self.0.iter().map(|part| part.values(at)).collect()
    }

    /// Sd of the logarithm of each sd along some axes, from the deviance's curvature (prior and likelihood); 0 for the
    /// others. `middle`: the deviance there.
    pub fn curvature(&self, at: &[f64], middle: f64, axes: &[usize]) -> Vec<f64> {
        let step = 0.4;
        let mut out = vec![0.0; at.len()];
        let of_axis = |&axis: &usize| {
            let side = |by: f64| {
                let mut there = at.to_vec();
                there[axis] += by;
                self.solve(&there).map_or(f64::NAN, |s| s.deviance)
            };
            let bend = (side(step) - 2.0 * middle + side(-step)) / (step * step);
            // Deviance is twice the log likelihood.
            (2.0 / (bend.max(0.0) + 2.0 / prior(axis).1.powi(2))).sqrt()
        };
        let sds: Vec<f64> = axes.par_iter().map(of_axis).collect();
        axes.iter().zip(sds).for_each(|(&axis, sd)| out[axis] = sd);
        out
    }
}
