//! Limits from the data.

use super::input::CheckInput;
use super::params::CheckedParams;
use super::pass_rows::PassRows;
use crate::log::Verdicts;
use crate::stats::{MAD_TO_SIGMA, Spread, median_in_place};

/// Fewest values that a limit is taken from; with fewer, absolute bounds alone hold (our choice).
const FEWEST: usize = 30;

/// The limits that were used. A value on a limit is inside.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Lowest and highest speed, m/s.
    pub speed: (f64, f64),
    /// Largest change of log speed per second.
    pub abrupt_change: f64,
    /// Lowest and highest moisture, %.
    pub moisture: (f64, f64),
    /// Lowest and highest yield, kg/ha, beyond which a point goes whatever its neighbours say.
    pub yield_bounds: (f64, f64),
    /// Lowest and highest yield, kg/ha, beyond which a point goes unless the passes beside it agree with it.
    pub yields: (f64, f64),
    /// Least share of the header on standing crop, where the job fixes it.
    pub cut_share: Option<f64>,
}

/// Limits from the rows that are kept so far.
pub fn estimate(input: &CheckInput, verdicts: &Verdicts, params: &CheckedParams) -> Limits {
    let rows = PassRows::new(input.pass, Some(input.since_entry));
    limits(input, &rows, verdicts, params)
}

pub(super) fn limits(
    input: &CheckInput,
    rows: &PassRows,
    verdicts: &Verdicts,
    params: &CheckedParams,
) -> Limits {
    let column = |values: &[f64]| -> Vec<f64> {
        (0..values.len())
            .filter(|&i| verdicts.is_kept(i) && values[i].is_finite())
            .map(|i| values[i])
            .collect()
    };
    let logs = |values: &[f64]| -> Vec<f64> {
        column(values)
            .into_iter()
            .filter(|v| *v > 0.0)
            .map(f64::ln)
            .collect()
    };
    let (low, high) = params.speed_factors;
    let from_speed = around(logs(input.speed), params.sigmas, (low.ln(), high.ln()));
    let from_moisture = around(
        column(input.moisture),
        params.sigmas,
        (params.moisture_margin, params.moisture_margin),
    );
    let (low, high) = params.yield_factors;
    let from_yield = around(
        logs(input.yield_kg_ha),
        params.sigmas,
        (low.ln(), high.ln()),
    );
    let yield_bounds = params
        .fixed
        .yield_kg_ha
        .unwrap_or((0.0, input.crop.highest_yield));
    Limits {
        speed: params
            .fixed
            .speed
            .unwrap_or_else(|| within(params.speed_bounds, exp(from_speed))),
        abrupt_change: abrupt_change(input, rows, verdicts, params),
        moisture: params
            .fixed
            .moisture
            .unwrap_or_else(|| within(input.crop.moisture_bounds, from_moisture)),
        yield_bounds,
        yields: match params.fixed.yield_kg_ha {
            Some(fixed) => fixed,
            None => within(yield_bounds, exp(from_yield)),
        },
        cut_share: params.fixed.cut_share,
    }
}

/// Limits about the median: on each side `sigmas` times that side's own standard deviation (scaled MAD of the values
/// there, so that skewed data get skewed limits), but never less than the margin. Unbounded for too few values.
fn around(mut values: Vec<f64>, sigmas: f64, margin: (f64, f64)) -> (f64, f64) {
    if values.len() < FEWEST {
        return (f64::NEG_INFINITY, f64::INFINITY);
    }
    let Some(centre) = median_in_place(&mut values) else {
        return (f64::NEG_INFINITY, f64::INFINITY);
    };
    let side = |sign: f64| {
        let mut off: Vec<f64> = values
            .iter()
            .map(|v| sign * (v - centre))
            .filter(|d| *d >= 0.0)
            .collect();
        median_in_place(&mut off).map_or(0.0, |m| MAD_TO_SIGMA * m)
    };
    (
        centre - (sigmas * side(-1.0)).max(margin.0),
        centre + (sigmas * side(1.0)).max(margin.1),
    )
}

fn exp(limits: (f64, f64)) -> (f64, f64) {
    (limits.0.exp(), limits.1.exp())
}

/// Limits inside absolute bounds. Data that lie wholly outside the bounds leave the bounds.
fn within(bounds: (f64, f64), limits: (f64, f64)) -> (f64, f64) {
    let inside = (bounds.0.max(limits.0), bounds.1.min(limits.1));
    if inside.0 < inside.1 { inside } else { bounds }
}

/// Change of log speed per second from row `a` to the later row `b` of a pass; a change over more than 1.5 s counts as
/// one over 1.5 s, because a machine that takes several seconds to respond cannot tell the two apart (our choice).
/// NaN where a speed is missing or zero.
pub(super) fn speed_change(input: &CheckInput, a: usize, b: usize) -> f64 {
    let seconds = (input.since_entry[b] - input.since_entry[a]).clamp(0.5, 1.5);
    let change = (input.speed[b] / input.speed[a]).ln() / seconds;
    if change.is_finite() { change } else { f64::NAN }
}

/// Rows between the two ends of a change of speed: one, or as many as make about a second.
pub(super) fn speed_step(input: &CheckInput, rows: &[u32]) -> usize {
    let interval = rows
        .first()
        .map_or(f64::NAN, |&i| input.interval[i as usize]);
    let per_second = 1.0 / interval;
    if per_second.is_finite() {
        (per_second.round() as usize).clamp(1, 50)
    } else {
        1
    }
}

fn abrupt_change(
    input: &CheckInput,
    rows: &PassRows,
    verdicts: &Verdicts,
    params: &CheckedParams,
) -> f64 {
    let mut changes = Vec::new();
    for rows in rows.iter() {
        let step = speed_step(input, rows);
        for pair in rows.windows(step + 1) {
            let (a, b) = (pair[0] as usize, pair[step] as usize);
            if verdicts.is_kept(a) && verdicts.is_kept(b) {
                changes.push(speed_change(input, a, b));
            }
        }
    }
    changes.retain(|c| c.is_finite());
    if changes.len() < FEWEST {
        return params.abrupt_change;
    }
    let sigma = Spread::of_in_place(&mut changes).map_or(0.0, |s| s.sigma);
    params.abrupt_change.max(params.abrupt_sigmas * sigma)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_side_has_its_own_width_and_its_margin() {
        // 61 values: −60, −58 … 0 below, 0.1, 0.2 … 3.0 above. Median 0; below (with 0) the median distance is 30.
        let values: Vec<f64> = (0..=30)
            .map(|k| -2.0 * k as f64)
            .chain((1..=30).map(|k| 0.1 * k as f64))
            .collect();
        let (low, high) = around(values, 2.0, (1.0, 50.0));
        assert!((low + 2.0 * MAD_TO_SIGMA * 30.0).abs() < 1e-9, "{low}");
        assert_eq!(high, 50.0);
    }

    #[test]
    fn few_values_set_no_limits_and_bounds_stay() {
        assert_eq!(
            around(vec![1.0; 29], 5.0, (1.0, 1.0)),
            (f64::NEG_INFINITY, f64::INFINITY)
        );
        assert_eq!(around(vec![1.0; 30], 5.0, (0.5, 0.5)), (0.5, 1.5));
        assert_eq!(
            within((0.0, 10.0), (f64::NEG_INFINITY, f64::INFINITY)),
            (0.0, 10.0)
        );
        assert_eq!(within((0.0, 10.0), (2.0, 12.0)), (2.0, 10.0));
        assert_eq!(within((0.0, 10.0), (11.0, 30.0)), (0.0, 10.0));
    }
}
