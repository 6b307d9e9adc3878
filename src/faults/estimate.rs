//! What a machine's own log says of its noise and of how often its readings repeat.

use super::params::CheckedFaultParams;
use super::stuck;
use crate::log::{Log, Track};
use crate::stats::{Spread, median_in_place};

/// Limits for one track.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct FaultLimits {
    /// Median of the positive flows, kg/s; NaN where there is none.
    pub usual_flow: f64,
    /// Standard deviation of a row's flow about the row before and after it, as a share of them.
    pub row_noise: f64,
    /// Rows for which this log holds one reading as a rule (more than 1 where the display logs faster than it measures).
    pub hold: usize,
    /// Probability that a reading is repeated by the next.
    pub repeat_probability: f64,
    /// Shortest run of equal readings that chance does not explain, rows; `None` where any run may be chance.
    pub stuck_rows: Option<usize>,
}

/// Flow of every row of a track, kg/s, from whichever the log has; NaN where it has neither.
pub(super) fn flows(log: &Log, track: &Track, interval: &[f64]) -> Vec<f64> {
    let flow = |&i: &u32| {
        let i = i as usize;
        let flow = if log.mass[i].is_nan() {
            log.flow[i]
        } else {
            log.mass[i] / interval[i]
        };
        if flow.is_finite() { flow } else { f64::NAN }
    };
    track.rows.iter().map(flow).collect()
}

/// Limits from the track's flows (kg/s, NaN where missing), those of repeated records not counted.
///
/// `duplicate` marks the rows that are a record's second time.
pub fn estimate(
    track: &Track,
    flow: &[f64],
    duplicate: &[bool],
    params: &CheckedFaultParams,
) -> FaultLimits {
    let sound = |k: usize| !duplicate[k] && flow[k] > 0.0 && flow[k] < params.highest_flow;
    let mut positive: Vec<f64> = (0..flow.len())
        .filter(|&k| sound(k))
        .map(|k| flow[k])
        .collect();
    let usual_flow = median_in_place(&mut positive).unwrap_or(f64::NAN);
    // About the mean of its two neighbours a row's deviation has 1.5 times its own variance.
    let mut residuals: Vec<f64> = (1..flow.len().saturating_sub(1))
        .filter(|&k| {
            sound(k - 1) && sound(k) && sound(k + 1) && track.continues(k) && track.continues(k + 1)
        })
        .filter(|&k| flow[k] > 0.25 * usual_flow)
        .map(|k| flow[k] / (0.5 * (flow[k - 1] + flow[k + 1])) - 1.0)
        .collect();
    let row_noise =
        Spread::of_in_place(&mut residuals).map_or(f64::NAN, |s| s.sigma / 1.5_f64.sqrt());
    let repeats = stuck::repeats(track, flow, duplicate, params);
    FaultLimits {
        usual_flow,
        row_noise,
        hold: repeats.hold,
        repeat_probability: repeats.probability,
        stuck_rows: repeats
            .longest_by_chance
            .map(|rows| (rows + 1).max(params.stuck_rows)),
    }
}
