//! The ground of every row: what the header covered since the row before.

use super::position::Fix;
use super::{Ground, Passes};
use crate::log::{Log, Track};

/// Ground of each row: from where the row before ended, or back along the heading where recording was broken.
pub(super) fn lay_ground(
    log: &Log,
    track: &Track,
    fixes: &[Fix],
    direction: &[f64],
    header: impl Fn(usize) -> [f64; 2],
    out: &mut Passes,
) {
    for (k, &i) in track.rows.iter().enumerate() {
        let i = i as usize;
        let span = track.interval(k);
        if fixes[k] != Fix::Good {
            out.speed[i] = log.speed[i];
            continue;
        }
        let to = header(k);
        let joined = k > 0 && fixes[k - 1] == Fix::Good && track.continues(k);
        let logged = if log.distance[i].is_finite() {
            log.distance[i]
        } else {
            log.speed[i] * span
        };
        let from = if joined {
            // Where the log is a sample of its rows, a row's ground is the last part of the way.
            let whole = track.end[k] - track.end[k - 1];
            let part = if whole > 0.0 {
                (span / whole).min(1.0)
            } else {
                1.0
            };
            let part = if part > 0.8 { 1.0 } else { part };
            let before = header(k - 1);
            Some([
                to[0] - part * (to[0] - before[0]),
                to[1] - part * (to[1] - before[1]),
            ])
        } else if direction[k].is_finite() {
            // The step after it stands in where the log gives neither distance nor speed.
            let step = if logged.is_finite() {
                Some(logged)
            } else {
                next_step(track, fixes, &header, k)
            };
            step.map(|s| {
                [
                    to[0] - s * direction[k].cos(),
                    to[1] - s * direction[k].sin(),
                ]
            })
        } else {
            None
        };
        let ground = Ground {
            from: from.unwrap_or(to),
            to,
        };
        out.speed[i] = if joined && span > 0.0 {
            ground.length() / span
        } else if log.speed[i].is_finite() {
            log.speed[i]
        } else if span > 0.0 && from.is_some() {
            ground.length() / span
        } else {
            f64::NAN
        };
        out.ground[i] = Some(ground);
    }
}

/// Longest stretch without a usable position over which the ground is taken as a straight line, s (our choice: at
/// 2 m/s two header widths).
const BRIDGE_S: f64 = 10.0;

/// Ground of rows without a usable position between two good ones: it was cut, though no point can be put on it.
pub(super) fn bridge(
    track: &Track,
    fixes: &[Fix],
    header: impl Fn(usize) -> [f64; 2],
    out: &mut Passes,
) {
    let mut last: Option<usize> = None;
    for (k, fix) in fixes.iter().enumerate() {
        if k > 0 && !track.continues(k) {
            last = None;
        }
        if *fix != Fix::Good {
            continue;
        }
        if let Some(a) = last.filter(|&a| a + 1 < k && track.end[k] - track.end[a] <= BRIDGE_S) {
            let (from, to) = (header(a), header(k));
            let whole = track.end[k] - track.end[a];
            let at = |time: f64| {
                let part = (time - track.end[a]) / whole;
                [
                    from[0] + part * (to[0] - from[0]),
                    from[1] + part * (to[1] - from[1]),
                ]
            };
            for j in a + 1..=k {
                let i = track.rows[j] as usize;
                let ground = Ground {
                    from: at(track.start[j].max(track.end[a])),
                    to: at(track.end[j]),
                };
                let span = track.interval(j);
                if span > 0.0 && !out.speed[i].is_finite() {
                    out.speed[i] = ground.length() / span;
                }
                out.ground[i] = Some(ground);
            }
        }
        last = Some(k);
    }
}

fn next_step(
    track: &Track,
    fixes: &[Fix],
    header: &impl Fn(usize) -> [f64; 2],
    k: usize,
) -> Option<f64> {
    if k + 1 < track.len() && fixes[k + 1] == Fix::Good && track.continues(k + 1) {
        let (a, b) = (header(k), header(k + 1));
        Some(crate::geometry::distance(a, b))
    } else {
        None
    }
}
