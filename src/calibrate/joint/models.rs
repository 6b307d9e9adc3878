//! Models of how sensors wander, with and without days and drift, each with its likeliest sds and its weight.

use rayon::prelude::*;

use super::equations::{LEAST_SD, Problem, SolvedAll, prior};
use super::known::START;
use super::nodes::LoadNode;
use super::search::lowest;

pub(super) const DAY: usize = 1;
pub(super) const DRIFT: usize = 2;
/// Fewest loads of a machine that can show a drift.
const FEWEST_TO_DRIFT: usize = 3;
/// A model whose probability is less than this part of the likeliest's is left out.
const LEAST_PROBABILITY: f64 = 0.01;
/// How much likelier it is beforehand that sensors drift than that they do not (our choice: whoever looked found that they
/// do, over hours and days). Days differ with even odds.
const ODDS_OF_DRIFT: f64 = 3.0;

/// Models to weigh: which sds are to be found.
pub(super) fn axes_of(loads: &[LoadNode], scales: usize) -> Vec<Vec<usize>> {
    let days_of = |m: usize| {
        let mut own: Vec<usize> = (loads.iter().filter(|l| l.machine == m))
            .map(|l| l.day)
            .collect();
        own.dedup();
        (own.len(), loads.iter().filter(|l| l.machine == m).count())
    };
    let machines = loads.iter().map(|l| l.machine + 1).max().unwrap_or(0);
    let has_days = (0..machines).any(|m| days_of(m).0 > 1);
    let may_drift = (0..machines).any(|m| days_of(m).1 >= FEWEST_TO_DRIFT);
    let mut out = Vec::new();
    for (day, drift) in [(true, true), (true, false), (false, true), (false, false)] {
        if (day && !has_days) || (drift && !may_drift) {
            continue;
        }
        let mut axes = vec![0];
        axes.extend(day.then_some(DAY));
        axes.extend(drift.then_some(DRIFT));
        axes.extend((0..scales).map(|s| START.len() + s));
        out.push(axes);
    }
    out
}

/// Steps of the search for a model's sds, logarithms, where nothing is known of them …
pub(super) const FROM_AFAR: &[f64] = &[1.0, 0.5, 0.25];
/// … and from the likeliest of nearly the same equations: those with one ticket more, or made linear elsewhere.
pub(super) const FROM_NEAR: &[f64] = &[0.5, 0.25];

/// A model with its likeliest sds.
pub(super) struct Found {
    pub likeliest: Vec<f64>,
    /// Logarithms of the root mean squares of the sds.
    pub at: Vec<f64>,
    pub sd: Vec<f64>,
    pub solved: SolvedAll,
    /// Logarithms of the sds that `solved` has.
    pub solved_at: Vec<f64>,
    /// Logarithm of its marginal likelihood (Laplace's approximation), but for a constant.
    pub evidence: f64,
    pub probability: f64,
}

/// Finds the sds along some axes; the others are nothing.
fn model(problem: &Problem, axes: &[usize], start: &[f64], steps: &[f64]) -> Option<Found> {
    let mut at = start.to_vec();
    for axis in [DAY, DRIFT] {
        if !axes.is_empty() && !axes.contains(&axis) {
            at[axis] = LEAST_SD.ln();
        } else if at[axis] <= LEAST_SD.ln() && !axes.is_empty() {
            at[axis] = prior(axis).0;
        }
    }
    let judge = |at: &[f64]| {
        let solved = problem.solve(at)?;
        let off = |a: &usize| ((at[*a] - prior(*a).0) / prior(*a).1).powi(2);
        Some((solved.deviance + axes.iter().map(off).sum::<f64>(), solved))
    };
    let (at, deviance, solved) = lowest(at, axes, steps, judge)?;
    let sd = problem.curvature(&at, solved.deviance, axes);
    // Means of the variances and not of their likeliest values: what is not known well is not taken to be small.
    let wide: Vec<f64> = at.iter().zip(&sd).map(|(a, s)| a + s * s).collect();
    let odds = if axes.contains(&DRIFT) {
        ODDS_OF_DRIFT.ln()
    } else {
        0.0
    };
    let known: f64 = axes.iter().map(|&a| (sd[a] / prior(a).1).ln()).sum();
    let (solved, solved_at) = match problem.solve(&wide) {
        Some(solved) => (solved, wide.clone()),
        None => (solved, at.clone()),
    };
    Some(Found {
        evidence: known + odds - 0.5 * deviance,
        solved,
        solved_at,
        likeliest: at,
        at: wide,
        sd,
        probability: 1.0,
    })
}

/// Finds every model's sds in some steps, starting from some and leaving the first model's there; the likely ones, with their
/// probabilities. The first wanders in every way and stays in any case: intervals are its.
pub(super) fn weigh(
    problem: &Problem,
    models: &[Vec<usize>],
    start: &mut Vec<f64>,
    steps: &[f64],
) -> Option<Vec<Found>> {
    let (widest, others) = models.split_first()?;
    let mut found = vec![model(problem, widest, start, steps)?];
    start.clone_from(&found[0].likeliest);
    let others: Option<Vec<Found>> = (others.par_iter())
        .map(|axes| model(problem, axes, start, steps))
        .collect();
    found.extend(others?);
    let best = found
        .iter()
        .map(|f| f.evidence)
        .fold(f64::NEG_INFINITY, f64::max);
    let mut first = true;
    found.retain(|f| std::mem::take(&mut first) || (f.evidence - best).exp() >= LEAST_PROBABILITY);
    let total: f64 = found.iter().map(|f| (f.evidence - best).exp()).sum();
    for f in &mut found {
        f.probability = (f.evidence - best).exp() / total;
    }
    Some(found)
}

/// Mean over models, and variance about it, from (probability, mean) of each, the model that wanders in every way first, and
/// that model's variance: that a season has shown no drift so far does not say that none will come, so what was never
/// weighed is taken to be no surer than with drift.
pub(super) fn mixed(parts: impl Iterator<Item = (f64, f64)>, widest: f64) -> (f64, f64) {
    let (mut sum, mut first) = (0.0, None);
    for (p, mean) in parts {
        sum += p * mean;
        first = first.or(Some(mean));
    }
    let off = first.map_or(f64::NAN, |mean| mean - sum);
    (sum, widest + off * off)
}
