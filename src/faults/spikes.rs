//! Flow that leaps off its neighbours and back.

use super::estimate::FaultLimits;
use super::params::CheckedFaultParams;
use crate::log::Track;
use crate::stats::median_in_place;

/// Rows on either side that make the local level: an odd number, so that one wild row among them changes little (our
/// choice).
const SIDE: usize = 3;

/// How much of what a machine's own emptying would leave in the next row is enough to believe a pulse (our choice:
/// half, because the level itself is only known to the row noise).
const TAIL: f64 = 0.5;

/// Rows whose flow no machine delivers, by place in the track: beyond the believed flows, or a pulse.
///
/// A pulse is a run of at most [`FaultParams::spike_length`](super::FaultParams::spike_length) that stands outside
/// *both* sides' levels (so no step, no ramp, no stop) by more than the noise, and leaves no trace in the next row. The
/// last is physics: a machine with time constant τ empties or fills as e^(−t/τ), so of a deviation at the end of a row
/// of length Δ the following row still carries (1 − e^(−Δ/τ))·τ/Δ.
pub(super) fn spikes(
    track: &Track,
    flow: &[f64],
    skip: &[bool],
    limits: &FaultLimits,
    params: &CheckedFaultParams,
) -> Vec<bool> {
    let zero = -params.zero_share * limits.usual_flow.max(0.0);
    let impossible = |f: f64| f > params.highest_flow || f < zero.min(0.0);
    let mut marks: Vec<bool> = (0..flow.len())
        .map(|k| !skip[k] && impossible(flow[k]))
        .collect();
    if limits.usual_flow.is_nan() {
        return marks;
    }
    let longest = ((params.spike_length / track.usual_interval) as usize).max(1);
    let usable: Vec<bool> = (0..flow.len())
        .map(|k| !skip[k] && !marks[k] && flow[k].is_finite())
        .collect();
    let mut k = 1;
    while k + 1 < flow.len() {
        let leap = leaps(flow, k, limits);
        let length = if leap {
            (1..=longest.min(flow.len() - 1 - k))
                .find(|&n| is_pulse(track, flow, &usable, k..k + n, limits, params))
        } else {
            None
        };
        if let Some(n) = length {
            marks[k..k + n].fill(true);
        }
        k += length.unwrap_or(1);
    }
    marks
}

/// Cheap first look: whether the flow changes at all between row `k − 1` and `k` as a spike would.
fn leaps(flow: &[f64], k: usize, limits: &FaultLimits) -> bool {
    let step = (flow[k] - flow[k - 1]).abs();
    step.is_nan() || step > 0.3 * limits.usual_flow
}

fn is_pulse(
    track: &Track,
    flow: &[f64],
    usable: &[bool],
    run: std::ops::Range<usize>,
    limits: &FaultLimits,
    params: &CheckedFaultParams,
) -> bool {
    if !run.clone().all(|k| usable[k] && track.continues(k)) || !track.continues(run.end) {
        return false;
    }
    let before: Vec<f64> = side((0..run.start).rev(), flow, usable, |k| {
        track.continues(k + 1)
    });
    let after: Vec<f64> = side(run.end..flow.len(), flow, usable, |k| track.continues(k));
    let (Some(&last_before), Some(&first_after)) = (before.first(), after.first()) else {
        return false;
    };
    if before.len() < SIDE || after.len() < SIDE {
        return false;
    }
    let levels = [before, after].map(|mut s| median_in_place(&mut s).unwrap_or(f64::NAN));
    let (low, high) = (levels[0].min(levels[1]), levels[0].max(levels[1]));
    let noise = if limits.row_noise.is_finite() {
        limits.row_noise
    } else {
        0.0
    };
    let weakest = run.clone().map(|k| flow[k]).fold(f64::INFINITY, f64::min);
    let strongest = run
        .clone()
        .map(|k| flow[k])
        .fold(f64::NEG_INFINITY, f64::max);
    // Off both sides, against the flow there and against what the machine usually carries: on an idle machine a
    // trickle is no spike.
    let rise =
        (params.spike_rise.max(params.spike_sigmas * noise) * high).max(0.5 * limits.usual_flow);
    let (deviation, traces) = if weakest - high > rise {
        (
            flow[run.end - 1] - high,
            [last_before - high, first_after - high],
        )
    } else if low - strongest > dip(track, &run, low, limits, params) {
        (
            low - flow[run.end - 1],
            [low - last_before, low - first_after],
        )
    } else {
        return false;
    };
    let ratio = track.usual_interval / params.fastest_response;
    let carried = TAIL * (1.0 - (-ratio).exp()) / ratio * deviation;
    let unsure = 2.0 * noise * high;
    traces.iter().all(|&t| t < carried.max(unsure))
}

/// How far below the lower side's level a run must stand throughout: further than a machine can empty in its first
/// row even if nothing comes in, and beyond the noise.
fn dip(
    track: &Track,
    run: &std::ops::Range<usize>,
    low: f64,
    limits: &FaultLimits,
    params: &CheckedFaultParams,
) -> f64 {
    let ratio = track.interval(run.start).max(track.usual_interval) / params.fastest_response;
    let left = (1.0 - (-ratio).exp()) / ratio;
    let noise = if limits.row_noise.is_finite() {
        limits.row_noise
    } else {
        0.0
    };
    ((1.0 - TAIL * left) * low)
        .max(params.spike_sigmas * noise * low)
        .max(0.3 * limits.usual_flow)
}

/// The nearest usable rows on one side, nearest first, as far as the log runs on without a gap.
fn side(
    places: impl Iterator<Item = usize>,
    flow: &[f64],
    usable: &[bool],
    joined: impl Fn(usize) -> bool,
) -> Vec<f64> {
    places
        .take_while(|&k| joined(k))
        .filter(|&k| usable[k])
        .take(SIDE)
        .map(|k| flow[k])
        .collect()
}
