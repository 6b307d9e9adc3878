//! The equations of all loads of a crop: unknowns, priors, links and tickets in one sparse system.

use super::Links;
use super::wander::{Known, LoadNode, START, TicketNode};
use crate::stats::sparse::Pattern;

/// No sd is taken to be less: the equations must stay solvable.
pub(super) const LEAST_SD: f64 = 2e-4;

#[derive(Debug)]
pub(super) struct Unknowns {
    pub machines: usize,
    days: usize,
    loads: usize,
    pub pattern: Pattern,
}

impl Unknowns {
    pub fn bend(&self, m: usize) -> usize {
        self.machines + m
    }
    pub fn day(&self, d: usize) -> usize {
        2 * self.machines + d
    }
    pub fn drift(&self, l: usize) -> usize {
        2 * self.machines + self.days + l
    }
    pub fn load(&self, l: usize) -> usize {
        2 * self.machines + self.days + self.loads + l
    }
}

/// A ticket made linear: share of each part, and log of weighed over expected mass.
pub(super) struct Linear {
    pub parts: Vec<(usize, f64)>,
    pub value: f64,
    pub variance: f64,
}

/// The places of the system's entries.
pub(super) fn unknowns(
    loads: &[LoadNode],
    links: &[(Vec<usize>, &Links)],
    tickets: &[TicketNode],
) -> Option<Unknowns> {
    let machines = loads.iter().map(|l| l.machine + 1).max()?;
    let days = loads.iter().map(|l| l.day + 1).max()?;
    let n = loads.len();
    let of_load = |l: usize| 2 * machines + days + n + l;
    let drift = |l: usize| 2 * machines + days + l;
    let mut places = Vec::new();
    for (l, load) in loads.iter().enumerate() {
        let m = load.machine;
        let own = [
            m,
            machines + m,
            2 * machines + load.day,
            drift(l),
            of_load(l),
        ];
        places.extend(own.iter().flat_map(|&a| own.iter().map(move |&b| (a, b))));
        places.extend(load.before.map(|b| (drift(l), drift(b))));
    }
    let groups = (links.iter().map(|(g, _)| g)).chain(tickets.iter().map(|t| &t.parts));
    for group in groups {
        let pairs = (group.iter()).flat_map(|&a| group.iter().map(move |&b| (a, b)));
        places.extend(pairs.map(|(a, b)| (of_load(a), of_load(b))));
    }
    for (group, _) in links {
        let bends: Vec<usize> = group.iter().map(|&l| machines + loads[l].machine).collect();
        let pairs = bends.iter().flat_map(|&a| {
            let all = group
                .iter()
                .map(|&l| of_load(l))
                .chain(bends.iter().copied());
            all.map(move |b| (a, b))
        });
        places.extend(pairs);
    }
    Some(Unknowns {
        machines,
        days,
        loads: n,
        pattern: Pattern::new(2 * machines + days + 2 * n, places)?,
    })
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

/// Log yield of each linked load as a whole, less that of the ground on which its machine is compared in the field.
pub(super) fn contrasts(loads: &[LoadNode], links: &[(Vec<usize>, &Links)]) -> Vec<Vec<f64>> {
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
        variance: t.sd * t.sd,
        parts,
    })
}

/// The equations of a crop.
pub(super) struct Problem<'a> {
    pub loads: &'a [LoadNode],
    pub links: &'a [(Vec<usize>, &'a Links)],
    pub known: &'a Known,
    pub linear: &'a [Option<Linear>],
    pub unknowns: &'a Unknowns,
    /// Log flow of each load about its machine's mean.
    pub flow: &'a [f64],
    /// Log yield of each linked load about its field's.
    pub contrasts: &'a [Vec<f64>],
}

/// The equations solved for some sds.
pub(super) struct Solved {
    /// −2 log marginal likelihood, but for a constant.
    pub deviance: f64,
    pub means: Vec<f64>,
    pub values: Vec<f64>,
}

impl Problem<'_> {
    /// Solves for logarithms of the wander's sds.
    pub fn solve(&self, at: [f64; 3]) -> Option<Solved> {
        let u = self.unknowns;
        let [load, day, drift] = at.map(|v| v.exp().max(LEAST_SD).powi(2));
        let mut values = vec![0.0; u.pattern.len()];
        let mut right = vec![0.0; u.pattern.order()];
        let mut log_prior = 0.0;
        let mut add = |i: usize, j: usize, v: f64| -> Option<()> {
            values[u.pattern.index(i, j)?] += v;
            Some(())
        };
        for (k, variance) in (0..u.machines)
            .map(|k| (k, self.known.machine_sd.powi(2)))
            .chain((0..u.machines).map(|m| (u.bend(m), self.known.bend_sd.powi(2))))
            .chain((0..u.days).map(|d| (u.day(d), day)))
        {
            add(k, k, 1.0 / variance)?;
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
            add(g, g, 1.0 / variance)?;
            if let Some(b) = node.before.map(|b| u.drift(b)) {
                add(b, b, 1.0 / variance)?;
                add(g, b, -1.0 / variance)?;
            }
            log_prior -= variance.ln();
            let parts = [
                (u.load(l), 1.0),
                (node.machine, -1.0),
                (u.bend(node.machine), -self.flow[l]),
                (u.day(node.day), -1.0),
                (g, -1.0),
            ];
            for (i, &(a, x)) in parts.iter().enumerate() {
                for &(b, y) in &parts[..=i] {
                    add(a, b, x * y / load)?;
                }
            }
            log_prior -= load.ln();
        }
        for ((group, links), contrast) in self.links.iter().zip(self.contrasts) {
            let n = group.len();
            for i in 0..n {
                let (a, bend_a) = (u.load(group[i]), u.bend(self.loads[group[i]].machine));
                for j in 0..n {
                    let v = self.known.trust * links.information[i * n + j];
                    let (b, bend_b) = (u.load(group[j]), u.bend(self.loads[group[j]].machine));
                    if j <= i {
                        add(a, b, v)?;
                    }
                    // Each pair is met twice; the lower triangle holds it once.
                    add(a, bend_b, -v * contrast[j])?;
                    if bend_a >= bend_b {
                        add(bend_a, bend_b, v * contrast[i] * contrast[j])?;
                    }
                }
                right[a] += self.known.trust * links.score[i];
                right[bend_a] -= self.known.trust * links.score[i] * contrast[i];
            }
        }
        let mut rest = 0.0;
        for t in self.linear.iter().flatten() {
            for (i, &(a, x)) in t.parts.iter().enumerate() {
                for &(b, y) in &t.parts[..=i] {
                    add(u.load(a), u.load(b), x * y / t.variance)?;
                }
                right[u.load(a)] += x * t.value / t.variance;
            }
            rest += t.value * t.value / t.variance + t.variance.ln();
        }
        let factor = u.pattern.factor(&values)?;
        let mut means = right.clone();
        factor.solve(&mut means);
        let explained: f64 = right.iter().zip(&means).map(|(a, b)| a * b).sum();
        Some(Solved {
            deviance: factor.log_determinant() - log_prior + rest - explained,
            means,
            values,
        })
    }

    /// Sd of the logarithm of each sd, from the deviance's curvature (prior and likelihood).
    pub fn curvature(&self, at: [f64; 3]) -> [f64; 3] {
        let step = 0.4;
        let middle = self.solve(at).map_or(f64::NAN, |s| s.deviance);
        std::array::from_fn(|axis| {
            let side = |by: f64| {
                let mut there = at;
                there[axis] += by;
                self.solve(there).map_or(f64::NAN, |s| s.deviance)
            };
            let bend = (side(step) - 2.0 * middle + side(-step)) / (step * step);
            let prior = 2.0 / START[axis].1.powi(2);
            // Deviance is twice the log likelihood.
            (2.0 / (bend.max(0.0) + prior)).sqrt()
        })
    }
}
