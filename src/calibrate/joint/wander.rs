//! All loads of a crop over the batch: how their sensors wander, and every load's factor.
//!
//! The log factor of load l is u_l = m + b·x_l + d + g_l + e_l: its machine's, the bend b of its machine's sensor (a power of
//! flow; x is the load's log flow), its day's, a drift that goes on from load to load, and its own. Tickets observe u, or
//! shares of it; [`Links`] of fields say how loads stand to each other. The sds of day, drift and load come from the
//! marginal likelihood with a prior that no single batch overrules easily.
//!
//! Where loads meet they cut the same yield, so a bent sensor makes no step there, however different the loads are as
//! wholes. What a field observes of load l is u_l − b·(log yield of the load − of the field), and tickets tell b.

use std::sync::Arc;

use rayon::prelude::*;

use super::Links;
use super::equations::{
    LEAST_SD, Linear, Problem, Unknowns, flows, linearise, prior, sum_links, unknowns,
};
use super::models::{DAY, DRIFT, Found, axes_of, mixed, weigh};
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
/// The same for the scatter of a scale's tickets beyond what a certified scale may be off by: its middle is 0.3 %, half-way
/// between a certified scale's 0.1 % and the 1 % that is taken for a cart's (our choice).
pub(super) const SCALE_START: (f64, f64) = (-5.8, 0.8);
/// A load.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadNode {
    /// Its machine.
    pub machine: usize,
    /// Its machine's moisture class, numbered over all machines.
    pub class: usize,
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
    /// Relative sd of a certified scale; its scatter comes on top.
    pub sd: f64,
    /// Relative sd of what was logged for it, because nobody knows to the second where its loads end.
    pub edges: f64,
    /// Which scale wrote it.
    pub scale: usize,
}

/// Every load's factor: the mean over models with and without days and drift, weighted by their probability.
#[derive(Debug)]
pub struct Adjusted {
    /// How the sensors wander.
    pub wander: Wander,
    /// Log factor of each load.
    pub factor: Vec<f64>,
    /// Its sd.
    pub sd: Vec<f64>,
    /// Bend of each moisture class's sensor and its sd: u changes by so much per unit of log flow.
    pub bend: Vec<(f64, f64)>,
    /// Each ticket's log error as the others lead to expect it (weighed over expected), and the sd of that; NaN for tickets not used.
    pub left_out: Vec<(f64, f64)>,
    /// Relative sd of each ticket as a weighing: its scale's, certified part and scatter.
    pub scale_sd: Vec<f64>,
    /// The same against what was logged for it, with the ends of its loads.
    pub ticket_sd: Vec<f64>,
    /// The scatter's part of their variance.
    scatter: Vec<f64>,
    /// Sd of the logarithm of the loads' sd: how well it is known.
    pub load_sd_sd: f64,
    models: Vec<Model>,
    /// The matrix of the model that wanders in every way.
    values: Vec<f64>,
    unknowns: Arc<Unknowns>,
}

/// One model of how sensors wander.
#[derive(Debug)]
struct Model {
    probability: f64,
    at: Vec<f64>,
    means: Vec<f64>,
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
    /// How the sensors wander, where it is not to be estimated; tickets are then as good as a certified scale's.
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
    Case::new(loads, links, tickets, known)?.adjust(used)
}

/// Loads, links and tickets to adjust, with what is taken for known.
pub(super) struct Case<'a> {
    pub loads: &'a [LoadNode],
    links: &'a [(Vec<usize>, &'a Links)],
    pub tickets: &'a [TicketNode],
    known: &'a Known,
    unknowns: Arc<Unknowns>,
    /// Log flow of each load about its machine's mean.
    flow: Vec<f64>,
    /// What links add to the equations, see [`sum_links`].
    from_links: (Vec<f64>, Vec<f64>),
}

impl<'a> Case<'a> {
    /// `None` where there are no loads.
    pub fn new(
        loads: &'a [LoadNode],
        links: &'a [(Vec<usize>, &'a Links)],
        tickets: &'a [TicketNode],
        known: &'a Known,
    ) -> Option<Self> {
        let unknowns = Arc::new(unknowns(loads, links, tickets)?);
        Some(Self {
            loads,
            links,
            tickets,
            known,
            flow: flows(loads, unknowns.machines),
            from_links: sum_links(loads, links, known.trust, &unknowns)?,
            unknowns,
        })
    }

    /// The same with something else taken for known.
    pub fn knowing(self, known: &'a Known) -> Option<Self> {
        let from_links = sum_links(self.loads, self.links, known.trust, &self.unknowns)?;
        Some(Self {
            known,
            from_links,
            ..self
        })
    }

    /// Adjusts all loads; `used`: which tickets take part.
    pub fn adjust(&self, used: &[bool]) -> Option<Adjusted> {
        let Self {
            loads,
            tickets,
            known,
            ..
        } = *self;
        let scales = tickets.iter().map(|t| t.scale + 1).max().unwrap_or(0);
        let mut start: Vec<f64> = (0..START.len() + scales).map(|a| prior(a).0).collect();
        let models = match known.wander {
            Some(w) => {
                start = [w.load, w.day, w.drift].map(f64::ln).to_vec();
                vec![Vec::new()]
            }
            None => axes_of(loads, scales),
        };
        let joint = tickets.iter().any(|t| t.parts.len() > 1);
        let mut about = vec![0.0; loads.len()];
        let rounds = if joint { 3 } else { 1 };
        for round in 1.. {
            let linear: Vec<Option<Linear>> = (tickets.iter().zip(used))
                .map(|(t, u)| u.then(|| linearise(t, loads, &about)).flatten())
                .collect();
            let problem = Problem {
                loads,
                known,
                linear: &linear,
                unknowns: &self.unknowns,
                flow: &self.flow,
                from_links: &self.from_links,
            };
            let found = weigh(&problem, &models, &mut start)?;
            about = (0..loads.len())
                .map(|l| {
                    found
                        .iter()
                        .map(|f| f.probability * f.solved.means[self.unknowns.load(l)])
                        .sum()
                })
                .collect();
            if round == rounds {
                return summed_up(&problem, found, tickets, about, Arc::clone(&self.unknowns));
            }
        }
        None
    }
}

/// The mean over models.
fn summed_up(
    problem: &Problem,
    found: Vec<Found>,
    tickets: &[TicketNode],
    factor: Vec<f64>,
    unknowns: Arc<Unknowns>,
) -> Option<Adjusted> {
    let seen: Option<Vec<Seen>> = (found.par_iter()).map(|f| Seen::new(problem, f)).collect();
    let seen = seen?;
    // Mean and variance of an unknown over the models, of which the first wanders in every way.
    let mean_of = |k: usize, variance: f64| {
        let means = found.iter().map(|f| (f.probability, f.solved.means[k]));
        mixed(means, variance)
    };
    let widest = &seen[0].variances;
    let sd: Vec<f64> = (0..factor.len())
        .map(|l| unknowns.load(l))
        .map(|k| mean_of(k, widest[k]).1.sqrt())
        .collect();
    let bend = (0..unknowns.classes)
        .map(|c| unknowns.bend(c))
        .map(|k| mean_of(k, widest[k]))
        .map(|(mean, variance)| (mean, variance.sqrt()))
        .collect();
    let left_out = (problem.linear.iter().enumerate())
        .map(|(ticket, t)| {
            let Some(t) = t else {
                return (f64::NAN, f64::NAN);
            };
            let of = (found.iter().zip(&seen)).map(|(f, seen)| {
                let (fitted, hat) = seen.fitted[ticket];
                let variance = t.variance(&f.at);
                let free = 1.0 - hat / variance;
                (f.probability, (t.value - fitted) / free, variance / free)
            });
            let of: Vec<(f64, f64, f64)> = of.collect();
            let (mean, variance) = mixed(of.iter().map(|o| (o.0, o.1)), of[0].2);
            (mean, variance.sqrt())
        })
        .collect();
    let values = seen.into_iter().next()?.values;
    let over = |value: &dyn Fn(&Found) -> f64| -> f64 {
        found.iter().map(|f| f.probability * value(f)).sum()
    };
    let rms = |axis: usize| {
        over(&|f| (2.0 * f.likeliest[axis]).exp())
            .sqrt()
            .max(LEAST_SD)
    };
    let scatter = |t: &TicketNode| {
        over(&|f| {
            f.at.get(START.len() + t.scale)
                .map_or(0.0, |s| (2.0 * s).exp())
        })
    };
    Some(Adjusted {
        wander: Wander {
            load: rms(0),
            day: rms(DAY),
            drift: rms(DRIFT),
        },
        sd,
        bend,
        left_out,
        scatter: tickets.iter().map(scatter).collect(),
        scale_sd: (tickets.iter())
            .map(|t| (t.sd * t.sd + scatter(t)).sqrt())
            .collect(),
        ticket_sd: (tickets.iter())
            .map(|t| (t.sd * t.sd + t.edges * t.edges + scatter(t)).sqrt())
            .collect(),
        load_sd_sd: over(&|f| f.sd[0]),
        factor,
        models: (found.into_iter())
            .map(|f| Model {
                probability: f.probability,
                at: f.at,
                means: f.solved.means,
            })
            .collect(),
        values,
        unknowns,
    })
}

/// One model's equations, factored once more for what the search does not ask for.
struct Seen {
    values: Vec<f64>,
    /// Of every unknown.
    variances: Vec<f64>,
    /// Each ticket's fitted value and that value's variance; NaN for tickets not used.
    fitted: Vec<(f64, f64)>,
}

impl Seen {
    fn new(problem: &Problem, of: &Found) -> Option<Self> {
        let unknowns = problem.unknowns;
        let values = problem.values(&of.solved_at)?;
        let factor = unknowns.pattern.factor(&values)?;
        let variances = factor.variances();
        let means = &of.solved.means;
        let fitted = |t: &Option<Linear>| match t.as_ref().map(|t| (t, &t.parts[..])) {
            None => (f64::NAN, f64::NAN),
            // A ticket of one load observes it as it is.
            Some((_, &[(l, share)])) => (
                share * means[unknowns.load(l)],
                share * share * variances[unknowns.load(l)],
            ),
            Some((t, _)) => fitted(unknowns, &factor, t, means),
        };
        Some(Self {
            fitted: problem.linear.iter().map(fitted).collect(),
            variances,
            values,
        })
    }
}

/// A ticket's fitted value and that value's variance.
fn fitted(unknowns: &Unknowns, factor: &Factor, t: &Linear, means: &[f64]) -> (f64, f64) {
    let parts: Vec<(usize, f64)> = (t.parts.iter())
        .map(|&(l, p)| (unknowns.load(l), p))
        .collect();
    let mean = parts.iter().map(|&(k, p)| p * means[k]).sum();
    (mean, factor.quadratic(&parts))
}

impl Adjusted {
    /// The sd of a ticket's left-out error had its scale scattered no more than scales do: a wrong ticket must not excuse
    /// itself by making its scale look bad.
    pub(super) fn usual_sd(&self, ticket: usize, sd: f64) -> f64 {
        let scatter = self.scatter[ticket];
        let usual = scatter.min((2.0 * SCALE_START.0).exp());
        (sd * sd - scatter + usual).max(usual).sqrt()
    }

    /// Variance of Σ share·u over some loads, from [`Adjusted::widest`].
    pub fn variance(&self, widest: &Factor, shares: &[(usize, f64)]) -> f64 {
        let shares: Vec<(usize, f64)> = (shares.iter())
            .map(|&(l, p)| (self.unknowns.load(l), p))
            .collect();
        let means = self.models.iter().map(|model| {
            let mean: f64 = shares.iter().map(|&(k, p)| p * model.means[k]).sum();
            (model.probability, mean)
        });
        mixed(means, widest.quadratic(&shares)).1
    }

    /// What the others lead to expect of a ticket that did not take part: log of weighed over expected, and its sd.
    pub fn predict(&self, ticket: &TicketNode, loads: &[LoadNode]) -> Option<(f64, f64)> {
        let t = linearise(ticket, loads, &self.factor)?;
        let first = self.models.first()?;
        let (_, variance) = fitted(&self.unknowns, &self.widest()?, &t, &first.means);
        let off = self.models.iter().map(|model| {
            let mean: f64 = (t.parts.iter())
                .map(|&(l, p)| p * model.means[self.unknowns.load(l)])
                .sum();
            (model.probability, t.value - mean)
        });
        let (off, variance) = mixed(off, variance + t.variance(&first.at));
        Some((off, variance.sqrt()))
    }

    /// The equations of the model that wanders in every way.
    pub fn widest(&self) -> Option<Factor<'_>> {
        self.unknowns.pattern.factor(&self.values)
    }
}
