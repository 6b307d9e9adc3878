//! All loads of a crop over the batch: how their sensors wander, and every load's factor.
//!
//! The log factor of load l is u_l = m + b·x_l + d + g_l + e_l: its machine's, the bend b of its machine's sensor (a power of
//! flow; x is the load's log flow), its day's, a drift that goes on from load to load, and its own. Tickets observe u, or
//! shares of it; [`Links`] of fields say how loads stand to each other. The sds of day, drift and load come from the
//! marginal likelihood with a prior that no single batch overrules easily.
//!
//! Where loads meet they cut the same yield, so a bent sensor makes no step there, however different the loads are as
//! wholes. What a field observes of load l is u_l − b·(log yield of the load − of the field), and tickets tell b.

use std::sync::{Arc, OnceLock};

use rayon::prelude::*;

use super::Links;
use super::equations::{LEAST_SD, Linear, OfPart, Problem, Unknowns, linearise, prior};
use super::known::{Known, SCALE_START, START, Wander};
use super::models::{DAY, DRIFT, FROM_AFAR, FROM_NEAR, Found, axes_of, mixed, weigh};
use super::nodes::{LoadNode, TicketNode};
use super::parts::Parts;
use crate::stats::sparse::Factor;

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
    /// The tickets that take part, made linear; by part, as all that follows.
    linear: Vec<Vec<Option<Linear>>>,
    /// Sds of the model that wanders in every way, as it was solved.
    widest_at: Vec<f64>,
    /// The likeliest of that model, logarithms.
    likeliest: Vec<f64>,
    /// The matrix of that model, unless it was thrown away for the room it takes.
    values: Vec<Vec<f64>>,
    unknowns: Vec<Arc<Unknowns>>,
    /// Part, and number in it, of each load.
    of_load: Vec<(usize, usize)>,
}

/// One model of how sensors wander.
#[derive(Debug)]
struct Model {
    probability: f64,
    at: Vec<f64>,
    means: Vec<Vec<f64>>,
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
    pub tickets: &'a [TicketNode],
    known: &'a Known,
    parts: Parts<'a>,
    /// What links add to the equations of each part.
    from_links: Vec<(Vec<f64>, Vec<f64>)>,
}

impl<'a> Case<'a> {
    /// `None` where there are no loads.
    pub fn new(
        loads: &'a [LoadNode],
        links: &[(Vec<usize>, &'a Links)],
        tickets: &'a [TicketNode],
        known: &'a Known,
    ) -> Option<Self> {
        let parts = Parts::new(loads, links, tickets)?;
        Some(Self {
            loads,
            tickets,
            known,
            from_links: parts.sum_links(known.trust)?,
            parts,
        })
    }

    /// The same with something else taken for known.
    pub fn knowing(self, known: &'a Known) -> Option<Self> {
        Some(Self {
            known,
            from_links: self.parts.sum_links(known.trust)?,
            ..self
        })
    }

    /// Throws away what links add, for the room it takes, until [`Case::knowing`].
    pub fn rest(&mut self) {
        self.from_links = Vec::new();
    }

    fn problem<'p>(&'p self, linear: &'p [Vec<Option<Linear>>]) -> Problem<'p> {
        let all = (self.parts.all.iter()).zip(linear).zip(&self.from_links);
        Problem(
            all.map(|((part, linear), from_links)| part.equations(self.known, linear, from_links))
                .collect(),
        )
    }

    /// Adjusts all loads; `used`: which tickets take part.
    pub fn adjust(&self, used: &[bool]) -> Option<Adjusted> {
        self.adjust_from(None, used)
    }

    /// The same where it is known how the sensors wander with a ticket more or less.
    pub fn adjust_near(&self, near: &Adjusted, used: &[bool]) -> Option<Adjusted> {
        self.adjust_from(Some(&near.likeliest), used)
    }

    fn adjust_from(&self, near: Option<&[f64]>, used: &[bool]) -> Option<Adjusted> {
        let scales = self.tickets.iter().map(|t| t.scale + 1).max().unwrap_or(0);
        let mut start: Vec<f64> = (0..START.len() + scales).map(|a| prior(a).0).collect();
        let models = match self.known.wander {
            Some(w) => {
                start = [w.load, w.day, w.drift].map(f64::ln).to_vec();
                vec![Vec::new()]
            }
            None => axes_of(self.loads, scales),
        };
        let mut steps = FROM_AFAR;
        if let Some(near) = near.filter(|near| near.len() == start.len()) {
            (start, steps) = (near.to_vec(), FROM_NEAR);
        }
        let joint = self.tickets.iter().any(|t| t.parts.len() > 1);
        let mut about = vec![0.0; self.loads.len()];
        let rounds = if joint { 3 } else { 1 };
        for round in 1.. {
            let linear = self.parts.linear(used, &about);
            let problem = self.problem(&linear);
            let found = weigh(&problem, &models, &mut start, steps)?;
            steps = FROM_NEAR;
            let mean = |&(part, l): &(usize, usize)| -> f64 {
                let place = self.parts.all[part].unknowns.load(l);
                (found.iter())
                    .map(|f| f.probability * f.solved.means[part][place])
                    .sum()
            };
            about = self.parts.of_load.iter().map(mean).collect();
            if round == rounds {
                return self.summed_up(&linear, found, about);
            }
        }
        None
    }

    /// Puts the matrix back that was thrown away.
    pub fn refill(&self, adjusted: &mut Adjusted) -> Option<()> {
        adjusted.values = self.problem(&adjusted.linear).values(&adjusted.widest_at)?;
        Some(())
    }
}

impl Case<'_> {
    /// The mean over models.
    fn summed_up(
        &self,
        linear: &[Vec<Option<Linear>>],
        found: Vec<Found>,
        factor: Vec<f64>,
    ) -> Option<Adjusted> {
        let (tickets, parts) = (self.tickets, &self.parts);
        let problem = self.problem(linear);
        // Model by model, each part's.
        let seen: Option<Vec<Vec<Seen>>> = (found.par_iter())
            .map(|f| {
                (problem.0.iter().zip(&f.solved.means))
                    .map(|(part, means)| Seen::new(part, &f.solved_at, means))
                    .collect()
            })
            .collect();
        let seen = seen?;
        // Mean and variance of an unknown over the models, of which the first wanders in every way.
        let mean_of = |part: usize, k: usize| {
            let means = found
                .iter()
                .map(|f| (f.probability, f.solved.means[part][k]));
            mixed(means, seen[0][part].variances[k])
        };
        let sd: Vec<f64> = (parts.of_load.iter())
            .map(|&(part, l)| mean_of(part, parts.all[part].unknowns.load(l)).1.sqrt())
            .collect();
        let bend = (parts.of_class.iter())
            .map(|&(part, c)| mean_of(part, parts.all[part].unknowns.bend(c)))
            .map(|(mean, variance)| (mean, variance.sqrt()))
            .collect();
        let left_out = (parts.of_ticket.iter())
            .map(|place| {
                let none = (f64::NAN, f64::NAN);
                let Some((part, ticket)) = *place else {
                    return none;
                };
                let Some(t) = &linear[part][ticket] else {
                    return none;
                };
                let of = (found.iter().zip(&seen)).map(|(f, seen)| {
                    let (fitted, hat) = seen[part].fitted[ticket];
                    let variance = t.variance(&f.at);
                    let free = 1.0 - hat / variance;
                    (f.probability, (t.value - fitted) / free, variance / free)
                });
                let of: Vec<(f64, f64, f64)> = of.collect();
                let (mean, variance) = mixed(of.iter().map(|o| (o.0, o.1)), of[0].2);
                (mean, variance.sqrt())
            })
            .collect();
        let (widest_at, likeliest) = (found[0].solved_at.clone(), found[0].likeliest.clone());
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
            linear: linear.to_vec(),
            values: problem.values(&widest_at)?,
            widest_at,
            likeliest,
            unknowns: parts.all.iter().map(|p| Arc::clone(&p.unknowns)).collect(),
            of_load: parts.of_load.clone(),
        })
    }
}

/// One model's equations of a part, factored once more for what the search does not ask for.
struct Seen {
    /// Of every unknown.
    variances: Vec<f64>,
    /// Each ticket's fitted value and that value's variance; NaN for tickets not used.
    fitted: Vec<(f64, f64)>,
}

impl Seen {
    fn new(part: &OfPart, at: &[f64], means: &[f64]) -> Option<Self> {
        let unknowns = part.unknowns;
        let values = part.values(at)?;
        let factor = unknowns.pattern.factor(&values)?;
        let variances = factor.variances();
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
            fitted: part.linear.iter().map(fitted).collect(),
            variances,
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
    pub fn variance(&self, widest: &Widest, shares: &[(usize, f64)]) -> f64 {
        let places: Vec<(usize, usize, f64)> = (shares.iter())
            .map(|&(l, p)| (self.place(l), p))
            .map(|((part, k), p)| (part, k, p))
            .collect();
        let means = self.models.iter().map(|model| {
            let mean: f64 = (places.iter())
                .map(|&(part, k, p)| p * model.means[part][k])
                .sum();
            (model.probability, mean)
        });
        mixed(means, widest.quadratic(&places)).1
    }

    /// What the others lead to expect of a ticket that did not take part: log of weighed over expected, and its sd.
    pub fn predict(&self, ticket: &TicketNode, loads: &[LoadNode]) -> Option<(f64, f64)> {
        let t = linearise(ticket, loads, &self.factor)?;
        let first = self.models.first()?;
        let places: Vec<(usize, usize, f64)> = (t.parts.iter())
            .map(|&(l, p)| (self.place(l), p))
            .map(|((part, k), p)| (part, k, p))
            .collect();
        let variance = self.widest()?.quadratic(&places);
        let off = self.models.iter().map(|model| {
            let mean: f64 = (places.iter())
                .map(|&(part, k, p)| p * model.means[part][k])
                .sum();
            (model.probability, t.value - mean)
        });
        let (off, variance) = mixed(off, variance + t.variance(&first.at));
        Some((off, variance.sqrt()))
    }

    /// The equations of the model that wanders in every way; `None` where they were thrown away.
    pub fn widest(&self) -> Option<Widest<'_>> {
        (self.values.len() == self.unknowns.len()).then(|| Widest {
            of: self,
            factors: self.values.iter().map(|_| OnceLock::new()).collect(),
        })
    }

    /// Throws the matrix away; see [`Case::refill`].
    pub(super) fn lighten(&mut self) {
        self.values = Vec::new();
    }

    /// A load's part and its place among that part's unknowns.
    fn place(&self, load: usize) -> (usize, usize) {
        let (part, l) = self.of_load[load];
        (part, self.unknowns[part].load(l))
    }
}

/// Equations whose parts are factored when they are asked for.
pub struct Widest<'a> {
    of: &'a Adjusted,
    factors: Vec<OnceLock<Option<Factor<'a>>>>,
}

impl Widest<'_> {
    /// v'A⁻¹v of (part, place, value); NaN where the equations cannot be solved.
    fn quadratic(&self, vector: &[(usize, usize, f64)]) -> f64 {
        let mut parts: Vec<usize> = vector.iter().map(|v| v.0).collect();
        parts.sort_unstable();
        parts.dedup();
        let of_part = |part: usize| -> f64 {
            let factor = self.factors[part]
                .get_or_init(|| self.of.unknowns[part].pattern.factor(&self.of.values[part]));
            let own: Vec<(usize, f64)> = (vector.iter().filter(|v| v.0 == part))
                .map(|v| (v.1, v.2))
                .collect();
            factor.as_ref().map_or(f64::NAN, |f| f.quadratic(&own))
        };
        parts.into_iter().map(of_part).sum()
    }
}
