//! What stands in for the mass of a faulty row.

use crate::log::Track;
use crate::stats::median_in_place;

/// Sound rows on either side that make the level to interpolate from (our choice: a median of five holds against
/// two wild ones).
const SIDE: usize = 5;

/// Farthest sound row to interpolate from, s (our choice: twice a usual delay; farther off, it is other ground).
const REACH: f64 = 30.0;

/// Flow to be believed in row `k` of a track, kg/s: on the straight line, in time, between the medians of the sound
/// rows before and after; one side alone where the other has none. `None` where neither has.
pub(super) fn interpolated(track: &Track, flow: &[f64], sound: &[bool], k: usize) -> Option<f64> {
    let at = middle(track, k);
    let near = |j: &usize| (middle(track, *j) - at).abs() <= REACH;
    let before = level(
        track,
        flow,
        (0..k).rev().take_while(near).filter(|&j| sound[j]),
    );
    let after = level(
        track,
        flow,
        (k + 1..flow.len()).take_while(near).filter(|&j| sound[j]),
    );
    between(before, after, at)
}

/// At a time on the straight line between two levels (time, flow), or on the one there is.
pub(super) fn between(
    before: Option<(f64, f64)>,
    after: Option<(f64, f64)>,
    at: f64,
) -> Option<f64> {
    match (before, after) {
        (Some((t0, f0)), Some((t1, f1))) if t1 > t0 => Some(f0 + (f1 - f0) * (at - t0) / (t1 - t0)),
        (Some((_, f)), _) | (None, Some((_, f))) => Some(f),
        (None, None) => None,
    }
}

/// Mean time and median flow, never below 0, of the nearest rows of one side.
fn level(track: &Track, flow: &[f64], places: impl Iterator<Item = usize>) -> Option<(f64, f64)> {
    let places: Vec<usize> = places.take(SIDE).collect();
    let time = places.iter().map(|&j| middle(track, j)).sum::<f64>() / places.len() as f64;
    let flow = median_in_place(&mut places.iter().map(|&j| flow[j]).collect::<Vec<_>>())?;
    Some((time, flow.max(0.0)))
}

/// Middle of a row's interval on the track's clock, s.
pub(super) fn middle(track: &Track, k: usize) -> f64 {
    0.5 * (track.start[k] + track.end[k])
}
