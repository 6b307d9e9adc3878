//! Positions along a track: which are usable, which way the machine heads, where its header is.

use super::Params;
use crate::geometry::distance;
use crate::log::{Log, Track};

/// Rows that must agree with each other before a track is believed to have moved for good.
const REANCHOR_ROWS: usize = 5;

/// Whether a position is there, and follows from the ones before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fix {
    Good,
    Missing,
    Jump,
}

/// Judges every position of a track against the distance the machine can have driven since the last good one.
///
/// A leap that the next [`REANCHOR_ROWS`] rows follow is no error of one fix: the track goes on from there.
pub(super) fn judge(p: &Params, log: &Log, track: &Track, x: &[f64], y: &[f64]) -> Vec<Fix> {
    let at = |k: usize| [x[track.rows[k] as usize], y[track.rows[k] as usize]];
    let present = |k: usize| at(k)[0].is_finite() && at(k)[1].is_finite();
    let reachable = |a: usize, b: usize| {
        let elapsed = track.end[b] - track.end[a];
        let (pa, pb) = (at(a), at(b));
        let step = distance(pa, pb);
        let i = track.rows[b] as usize;
        let logged = if log.distance[i].is_finite() {
            log.distance[i]
        } else {
            log.speed[i] * track.interval(b)
        };
        let limit = if b == a + 1 && track.continues(b) && logged.is_finite() {
            3.0 * logged + 3.0 // the log itself says how far it went (our choice: thrice that and 3 m)
        } else {
            f64::INFINITY
        };
        step <= limit.min(p.highest_speed * elapsed.max(track.usual_interval) + 3.0)
    };
    let mut fixes = Vec::with_capacity(track.len());
    let mut last: Option<usize> = None;
    for k in 0..track.len() {
        if !present(k) {
            fixes.push(Fix::Missing);
            continue;
        }
        let follows = last.is_none_or(|a| reachable(a, k))
            && !(last.is_none() && strays(track, &reachable, &present, k));
        let settles = || {
            let run: Vec<usize> = (k..track.len())
                .filter(|&j| present(j))
                .take(REANCHOR_ROWS + 1)
                .collect();
            run.len() > REANCHOR_ROWS && run.windows(2).all(|w| reachable(w[0], w[1]))
        };
        if follows || settles() {
            fixes.push(Fix::Good);
            last = Some(k);
        } else {
            fixes.push(Fix::Jump);
        }
    }
    fixes
}

/// Whether the first position of a track is one that the following ones do not continue.
fn strays(
    track: &Track,
    reachable: &impl Fn(usize, usize) -> bool,
    present: &impl Fn(usize) -> bool,
    k: usize,
) -> bool {
    let run: Vec<usize> = (k + 1..track.len())
        .filter(|&j| present(j))
        .take(REANCHOR_ROWS)
        .collect();
    run.len() == REANCHOR_ROWS
        && !reachable(k, run[0])
        && run.windows(2).all(|w| reachable(w[0], w[1]))
}

/// Direction of travel at each row of a track, radians from east; NaN where the machine does not move enough to tell.
///
/// Taken over at least `baseline` metres of path around the row, within unbroken recording.
pub(super) fn directions(
    track: &Track,
    fixes: &[Fix],
    at: impl Fn(usize) -> [f64; 2],
    baseline: f64,
) -> Vec<f64> {
    let n = track.len();
    let good = |k: usize| fixes[k] == Fix::Good;
    (0..n)
        .map(|k| {
            if !good(k) {
                return f64::NAN;
            }
            let here = at(k);
            let far = |p: [f64; 2]| distance(here, p) >= 0.5 * baseline;
            // 40 rows: a standing machine must not make this quadratic.
            let back = reach(
                k,
                40,
                |j| j.checked_sub(1).filter(|_| track.continues(j)),
                good,
                |j| far(at(j)),
            );
            let ahead = reach(
                k,
                40,
                |j| (j + 1 < n && track.continues(j + 1)).then_some(j + 1),
                good,
                |j| far(at(j)),
            );
            let (a, b) = (at(back), at(ahead));
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            if dx.hypot(dy) < 0.1 {
                f64::NAN
            } else {
                dy.atan2(dx)
            }
        })
        .collect()
}

/// Walks from `k` by `step` until `enough`; the last good row passed.
fn reach(
    k: usize,
    most: usize,
    step: impl Fn(usize) -> Option<usize>,
    good: impl Fn(usize) -> bool,
    enough: impl Fn(usize) -> bool,
) -> usize {
    let (mut at, mut last) = (k, k);
    for _ in 0..most {
        let Some(next) = step(at) else { break };
        at = next;
        if good(at) {
            last = at;
            if enough(at) {
                break;
            }
        }
    }
    last
}

/// A row whose direction differs from that at either end of the turn's path by less than this is still, or again, on the
/// straight beside the turn, radians (our choice: 15°, above what fixes make of a straight line over the direction's
/// baseline, and reached within the first metres of an arc that a combine drives).
const STRAIGHT: f64 = 15.0 * std::f64::consts::PI / 180.0;

/// Rows in a sharp turn: heading changes by more than the turn's angle, scaled to the turn's path, and the row itself heads
/// neither where the path comes from nor where it goes. At a corner that is sharper than the rows lie apart, it is the
/// row behind the corner.
pub(super) fn turns(
    p: &Params,
    track: &Track,
    direction: &[f64],
    at: impl Fn(usize) -> [f64; 2],
) -> Vec<bool> {
    let n = track.len();
    let usable = |k: usize| direction[k].is_finite();
    let step = |a: usize, b: usize| {
        let (pa, pb) = (at(a), at(b));
        distance(pa, pb)
    };
    (0..n)
        .map(|k| {
            if !usable(k) {
                return false;
            }
            let (mut back, mut ahead) = (k, k);
            let (mut before, mut after) = (0.0, 0.0);
            while before < 0.5 * p.turn_path
                && back > 0
                && k - back < 60
                && track.continues(back)
                && usable(back - 1)
            {
                before += step(back - 1, back);
                back -= 1;
            }
            while after < 0.5 * p.turn_path
                && ahead + 1 < n
                && ahead - k < 60
                && track.continues(ahead + 1)
                && usable(ahead + 1)
            {
                after += step(ahead, ahead + 1);
                ahead += 1;
            }
            let path = before + after;
            let change = angle_between(direction[back], direction[ahead]);
            // Short of a full path (at the ends of recording) the angle itself must be reached.
            if !(path > 1.0 && change * (p.turn_path / path).min(1.0) > p.turn_angle) {
                return false;
            }
            let from = angle_between(direction[back], direction[k]);
            let to = angle_between(direction[k], direction[ahead]);
            let corner = k > 0
                && track.continues(k)
                && usable(k - 1)
                && angle_between(direction[k - 1], direction[k]) > p.turn_angle;
            corner || (from > STRAIGHT && to > STRAIGHT)
        })
        .collect()
}

/// Smallest angle between two directions, radians, 0..=π.
pub(super) fn angle_between(a: f64, b: f64) -> f64 {
    let d = (b - a).rem_euclid(std::f64::consts::TAU);
    d.min(std::f64::consts::TAU - d)
}
