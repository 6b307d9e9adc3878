//! The ground of every row: what the header covered since the row before.

use super::position::Fix;
use super::{Ground, Passes};
use crate::geometry::distance;
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
            let is_sample = whole > 0.0 && span / whole <= 0.8;
            let goes_on =
                k + 1 < track.len() && fixes[k + 1] == Fix::Good && track.continues(k + 1);
            let before = (track.end[k - 1], header(k - 1));
            Some(if is_sample {
                let after = goes_on.then(|| (track.end[k + 1], header(k + 1)));
                at_time(track.start[k], before, (track.end[k], to), after)
            } else {
                before.1
            })
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

/// Where the header was at a time between two places, each with its time: on the line between them, as far along as the
/// parabola in time through the ways to the place before and, where it is known how it went on, to the one after. A machine
/// that changes its speed is not half of the way back at half of the time, and its ground would be that of another moment.
fn at_time(
    time: f64,
    before: (f64, [f64; 2]),
    here: (f64, [f64; 2]),
    after: Option<(f64, [f64; 2])>,
) -> [f64; 2] {
    let part = |from: f64, to: f64| (time - from) / (to - from);
    let way = distance(before.1, here.1);
    let back = part(here.0, before.0);
    // Parts of the way back, by Lagrange's polynomials.
    let back = match after {
        Some((next, place)) if next > here.0 && way > 0.0 => {
            let ahead = part(before.0, next) * part(here.0, next);
            back * part(next, before.0) - ahead * distance(here.1, place) / way
        }
        _ => back,
    };
    let back = back.clamp(0.0, 1.0);
    [0, 1].map(|axis| here.1[axis] + back * (before.1[axis] - here.1[axis]))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_machine_that_slows_down_was_farther_back_than_half_of_the_way() {
        // From 4 m/s, by 0.4 m/s each second: s = 4t − 0.2t². At 0, 6 and 12 s: 0, 16.8 and 19.2 m; at 3 s 10.2 m.
        let at = |s: f64| [0.6 * s, 0.8 * s];
        let near = |a: [f64; 2], s: f64| distance(a, at(s)) < 1e-9;
        let (before, here, after) = ((0.0, at(0.0)), (6.0, at(16.8)), (12.0, at(19.2)));
        assert!(near(at_time(3.0, before, here, Some(after)), 10.2));
        assert!(near(at_time(3.0, before, here, None), 8.4));
        // A turn ahead is so many metres of way, not a way back; one that stood goes nowhere.
        let turned = (12.0, [at(16.8)[0] + 2.4, at(16.8)[1]]);
        assert!(near(at_time(3.0, before, here, Some(turned)), 10.2));
        assert_eq!(at_time(3.0, here, (9.0, here.1), Some(after)), here.1);
    }
}
