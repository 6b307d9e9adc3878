//! All loads of a crop over the batch: how their sensors wander, and every load's factor.
//!
//! The log factor of load l is u_l = m + b·x_l + d + g_l + e_l: its machine's, the bend b of its machine's sensor (a power of
//! flow; x is the load's log flow), its day's, a drift that goes on from load to load, and its own. Tickets observe u, or
//! shares of it; [`Links`] of fields say how loads stand to each other. The sds of day, drift and load come from the
//! marginal likelihood with a prior that no single batch overrules easily.
//!
//! Where loads meet they cut the same yield, so a bent sensor makes no step there, however different the loads are as
//! wholes. What a field observes of load l is u_l − b·(log yield of the load − of the field), and tickets tell b.

use super::Links;
use super::equations::{
    LEAST_SD, Linear, Problem, Unknowns, contrasts, flows, linearise, unknowns,
};
use super::search::lowest;
use crate::stats::sparse::Factor;

/// Prior sd of a machine's log factor: a monitor that was never calibrated is off by ten per cent (extension literature).
const MACHINE_SD: f64 = 0.1;
/// Prior sd of a sensor's bend (its exponent less one): a well calibrated one bends by 0.03 (4.8 % between 2 and 17 kg/s on
/// the bench of the University of Kentucky), a bad one by several times that (our choice).
const BEND_SD: f64 = 0.1;
/// How much a sensor wanders: sds of the log factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wander {
    /// From load to load.
    pub load: f64,
    /// From day to day.
    pub day: f64,
    /// Of the drift, per load.
    pub drift: f64,
}

/// Where the search for load, day and drift starts, with the sd of a normal prior on the logarithm. Our choice, from the
/// average load errors of well and of poorly calibrated monitors (1–5 %).
pub(super) const START: [(f64, f64); 3] = [(-3.9, 0.7), (-4.6, 0.7), (-5.2, 0.7)];

/// A load.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadNode {
    /// Its machine.
    pub machine: usize,
    /// Its machine's day, numbered over all machines.
    pub day: usize,
    /// The load that its machine filled before it.
    pub before: Option<usize>,
    /// Logged mass, kg.
    pub logged: f64,
    /// Mean log of its logged flow, weighted by mass (kg/s).
    pub ln_flow: f64,
}

/// A ticket.
#[derive(Debug, Clone, PartialEq)]
pub struct TicketNode {
    /// Loads.
    pub parts: Vec<usize>,
    /// Weighed mass, kg.
    pub net: f64,
    /// Relative sd of the scale.
    pub sd: f64,
}

/// Every load's factor.
#[derive(Debug)]
pub struct Adjusted {
    /// How the sensors wander.
    pub wander: Wander,
    /// Log factor of each load.
    pub factor: Vec<f64>,
    /// Its sd.
    pub sd: Vec<f64>,
    /// Bend of each machine's sensor and its sd: u changes by so much per unit of log flow.
    pub bend: Vec<(f64, f64)>,
    /// Each ticket's log error as the others lead to expect it (weighed over expected), and the sd of that; NaN for tickets not used.
    pub left_out: Vec<(f64, f64)>,
    /// Sd of the logarithm of the wander's three sds: how well they are known.
    pub wander_sd: [f64; 3],
    /// −2 log marginal likelihood with the prior, but for a constant.
    pub deviance: f64,
    unknowns: Unknowns,
    values: Vec<f64>,
}

/// What is taken for known in an adjustment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// What part of the links' information is believed, 0–1.
    pub trust: f64,
    /// Prior sd of a machine's log factor.
    pub machine_sd: f64,
    /// Prior sd of a sensor's bend.
    pub bend_sd: f64,
    /// How the sensors wander, where it is not to be estimated.
    pub wander: Option<Wander>,
}

impl Known {
    /// The priors, with so much trust in links.
    pub fn with_trust(trust: f64) -> Self {
        Self {
            trust,
            machine_sd: MACHINE_SD,
            bend_sd: BEND_SD,
            wander: None,
        }
    }
}

/// Adjusts all loads. `links`: of each field, with the places of its loads among `loads`; `used`: which tickets take part.
/// `None` where there are no loads.
pub fn adjust(
    loads: &[LoadNode],
    links: &[(Vec<usize>, &Links)],
    tickets: &[TicketNode],
    used: &[bool],
    known: &Known,
) -> Option<Adjusted> {
    let unknowns = unknowns(loads, links, tickets)?;
    let mut about = vec![0.0; loads.len()];
    let (flow, contrasts) = (flows(loads, unknowns.machines), contrasts(loads, links));
    let given = known.wander.map(|w| [w.load, w.day, w.drift].map(f64::ln));
    let mut at = given.unwrap_or(START.map(|s| s.0));
    let joint = tickets.iter().any(|t| t.parts.len() > 1);
    let mut out = None;
    for round in 0..if joint { 3 } else { 1 } {
        let linear: Vec<Option<Linear>> = tickets
            .iter()
            .zip(used)
            .map(|(t, u)| {
                if *u {
                    linearise(t, loads, &about)
                } else {
                    None
                }
            })
            .collect();
        let problem = Problem {
            loads,
            links,
            known,
            linear: &linear,
            unknowns: &unknowns,
            flow: &flow,
            contrasts: &contrasts,
        };
        let steps: &[f64] = if round == 0 {
            &[1.0, 0.5, 0.25]
        } else {
            &[0.25]
        };
        let judge = |at: [f64; 3]| {
            let solved = problem.solve(at)?;
            let prior: f64 = (at.iter().zip(START))
                .map(|(x, (middle, sd))| ((x - middle) / sd).powi(2))
                .sum();
            Some((solved.deviance + prior, solved))
        };
        let (best, deviance, solved) = if given.is_some() {
            let (deviance, solved) = judge(at)?;
            (at, deviance, solved)
        } else {
            lowest(at, steps, judge)?
        };
        at = best;
        let wander_sd = if given.is_some() {
            [0.0; 3]
        } else {
            problem.curvature(at)
        };
        // Means of the variances and not of their likeliest values: what is not known well is not taken to be small.
        let wide = std::array::from_fn(|a| at[a] + wander_sd[a] * wander_sd[a]);
        let solved = problem.solve(wide).unwrap_or(solved);
        about = (0..loads.len())
            .map(|l| solved.means[unknowns.load(l)])
            .collect();
        out = Some((deviance, solved, linear, wander_sd));
    }
    let (deviance, solved, linear, wander_sd) = out?;
    let [load, day, drift] = at.map(|v| v.exp().max(LEAST_SD));
    let factor_ = unknowns.pattern.factor(&solved.values)?;
    let places: Vec<usize> = (0..loads.len()).map(|l| unknowns.load(l)).collect();
    let variances = factor_.variances(&places);
    let sd = variances.iter().map(|v| v.sqrt()).collect();
    let bends: Vec<usize> = (0..unknowns.machines).map(|m| unknowns.bend(m)).collect();
    let bend = (bends.iter().zip(factor_.variances(&bends)))
        .map(|(&k, variance)| (solved.means[k], variance.sqrt()))
        .collect();
    let left_out = linear
        .iter()
        .map(|t| {
            let Some(t) = t else {
                return (f64::NAN, f64::NAN);
            };
            let (fitted, hat) = match t.parts[..] {
                // A ticket of one load observes it as it is.
                [(l, share)] => (
                    share * solved.means[unknowns.load(l)],
                    share * share * variances[l],
                ),
                _ => fitted(&unknowns, &factor_, t, &solved.means),
            };
            let free = 1.0 - hat / t.variance;
            ((t.value - fitted) / free, (t.variance / free).sqrt())
        })
        .collect();
    Some(Adjusted {
        wander: Wander { load, day, drift },
        factor: about,
        sd,
        bend,
        left_out,
        wander_sd,
        deviance,
        values: solved.values,
        unknowns,
    })
}

/// A ticket's fitted value and that value's variance.
fn fitted(unknowns: &Unknowns, factor: &Factor, t: &Linear, means: &[f64]) -> (f64, f64) {
    let mut side = vec![0.0; unknowns.pattern.order()];
    for &(l, p) in &t.parts {
        side[unknowns.load(l)] += p;
    }
    let mean = t.parts.iter().map(|&(l, p)| p * means[unknowns.load(l)]);
    let mean = mean.sum();
    let mut solution = side.clone();
    factor.solve(&mut solution);
    let variance = side.iter().zip(&solution).map(|(a, b)| a * b).sum();
    (mean, variance)
}

impl Adjusted {
    /// Variance of Σ share·u over some loads.
    pub fn variance(&self, shares: &[(usize, f64)]) -> Option<f64> {
        let factor = self.unknowns.pattern.factor(&self.values)?;
        let mut side = vec![0.0; self.unknowns.pattern.order()];
        for &(l, p) in shares {
            side[self.unknowns.load(l)] += p;
        }
        let mut solution = side.clone();
        factor.solve(&mut solution);
        Some(side.iter().zip(&solution).map(|(a, b)| a * b).sum())
    }

    /// What the others lead to expect of a ticket that did not take part: log of weighed over expected, and its sd.
    pub fn predict(&self, ticket: &TicketNode, loads: &[LoadNode]) -> Option<(f64, f64)> {
        let t = linearise(ticket, loads, &self.factor)?;
        let factor = self.unknowns.pattern.factor(&self.values)?;
        let mut means = vec![0.0; self.unknowns.pattern.order()];
        for l in 0..loads.len() {
            means[self.unknowns.load(l)] = self.factor[l];
        }
        let (mean, variance) = fitted(&self.unknowns, &factor, &t, &means);
        Some((t.value - mean, (variance + t.variance).sqrt()))
    }
}
