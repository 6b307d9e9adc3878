//! Where on a pass cutting begins and ends, once the cut width is known.
//!
//! A log without a work state goes on while the machine leaves the crop with its header up, and one with a work state may
//! have the header down before the crop is reached. Ramps count from the crop, so the pass's ends are drawn in to it.
//! Where the log does not say when the header is up, a pass is also parted where it crosses ground that is cut
//! already, and what cuts nothing and carries no grain is no pass: the machine drove along a headland to its next one.

use super::estimate::{time_starts_and_stops, track_tells};
use super::{Activity, Pass, Passes};
use crate::log::{Log, Timeline, Track};

/// An end of a pass is off the crop while, on average, no more of the header than this part of what a row needs to count
/// as cut is on it (our choice, 0.15 by default: strips that fixes leave between swaths of a headland are a tenth).
const OFF_CROP_MEAN: f64 = 0.5;
/// Crop that may be crossed on the way out, in seconds of the full header (our choice: a strip left standing, not a pass).
const CROSSED_S: f64 = 3.0;
/// Ground cut already that parts a pass, in seconds without any crop (our choice: at 2 m/s two header widths; a machine
/// that crosses one swath of a headland goes on with its pass).
const PARTING_S: f64 = 10.0;
/// Transport delays, s, within which grain must come from ground that was cut (published: 8–15 s).
const DELAYS_S: [f64; 6] = [0.0, 4.0, 8.0, 12.0, 16.0, 20.0];
/// A stretch carries grain where, at every delay, its flow reaches this part of the usual one (our choice).
const GRAIN: f64 = 0.4;

/// What tells where a pass cuts. One entry per row of the log.
#[derive(Debug, Clone, Copy)]
pub struct StandingCrop<'a> {
    /// Share of the header on ground not cut before; NaN where unknown.
    pub share: &'a [f64],
    /// Whether the ground is outside the boundary, where no crop stands.
    pub outside: &'a [bool],
    /// Least share of a row that counts as cut.
    pub least_share: f64,
    /// Logged wet mass, kg.
    pub mass: &'a [f64],
}

impl StandingCrop<'_> {
    fn share_inside(&self, i: usize) -> f64 {
        if self.outside[i] { 0.0 } else { self.share[i] }
    }
}

impl Passes {
    /// Keeps passes to where they cut: draws their ends in to the crop and, where the log does not tell when the header
    /// is up, parts them and leaves out what cuts nothing and carries no grain.
    ///
    /// Beyond an end, rows stay on their pass with no time since its start or until its stop where the log says that they
    /// work or where they cut ground outside the boundary; others are off it. A pass of a log that tells stays, even if
    /// it cuts nothing.
    pub fn keep_to_crop(&mut self, log: &Log, timeline: &Timeline, crop: &StandingCrop<'_>) {
        let tracks: Vec<TrackCrop> = timeline
            .tracks
            .iter()
            .map(|track| TrackCrop::new(log, track, crop))
            .collect();
        let mut beyond = Vec::new();
        for whole in std::mem::take(&mut self.passes) {
            let on = &tracks[whole.track];
            let mut parts = vec![whole.clone()];
            if !on.tells {
                parts = on.parted(&whole);
            }
            for part in parts {
                let inner = on.drawn_in(&part);
                let kept = match inner {
                    None if on.tells || on.carries_grain(&part) => Some(part.clone()),
                    inner => inner,
                };
                let id = self.passes.len() as u32;
                for k in part.first..part.end {
                    let i = on.track.rows[k] as usize;
                    if self.pass_of[i].is_none() {
                        continue;
                    }
                    let inside = kept.as_ref().is_some_and(|p| (p.first..p.end).contains(&k));
                    let cuts = on.tells || crop.share[i] > crop.least_share;
                    self.pass_of[i] = (kept.is_some() && (inside || cuts)).then_some(id);
                    if !inside {
                        beyond.push(i);
                    }
                }
                self.passes.extend(kept);
            }
        }
        time_starts_and_stops(timeline, self);
        for i in beyond {
            let time = if self.pass_of[i].is_some() {
                0.0
            } else {
                f64::NAN
            };
            (self.since_start[i], self.until_stop[i]) = (time, time);
            if self.pass_of[i].is_none() && self.activity[i] == Activity::Cutting {
                self.activity[i] = Activity::Idle;
            }
        }
    }
}

/// One machine's rows over the crop.
struct TrackCrop<'a> {
    track: &'a Track,
    crop: &'a StandingCrop<'a>,
    /// Whether its log says of some rows that the header is up, and so of the others that it is down.
    tells: bool,
    /// Usual logged flow, kg/s; NaN where there is none.
    usual_flow: f64,
}

impl<'a> TrackCrop<'a> {
    fn new(log: &Log, track: &'a Track, crop: &'a StandingCrop<'a>) -> Self {
        let mut flows: Vec<f64> = track
            .rows
            .iter()
            .enumerate()
            .filter(|&(k, _)| track.interval(k) > 0.0)
            .map(|(k, &i)| crop.mass[i as usize] / track.interval(k))
            .filter(|&q| q > 0.0)
            .collect();
        let middle = flows.len() / 2;
        let usual_flow = if flows.is_empty() {
            f64::NAN
        } else {
            *flows.select_nth_unstable_by(middle, f64::total_cmp).1
        };
        Self {
            track,
            crop,
            tells: track_tells(log, track),
            usual_flow,
        }
    }

    fn row(&self, k: usize) -> (f64, f64) {
        let i = self.track.rows[k] as usize;
        (self.crop.share_inside(i), self.track.interval(k))
    }

    /// The pass drawn in to the crop at both ends; `None` where it cuts nothing.
    fn drawn_in(&self, pass: &Pass) -> Option<Pass> {
        let rows = || (pass.first..pass.end).map(|k| self.row(k));
        let before = off_crop(rows(), self.crop.least_share);
        let behind = off_crop(rows().rev(), self.crop.least_share);
        (before + behind < pass.end - pass.first).then(|| Pass {
            first: pass.first + before,
            end: pass.end - behind,
            ..pass.clone()
        })
    }

    /// The pass, parted in the middle of every stretch within it over ground that is cut already.
    fn parted(&self, pass: &Pass) -> Vec<Pass> {
        let mut parts = Vec::new();
        let mut first = pass.first;
        let rows = (pass.first..pass.end).map(|k| self.row(k));
        for (from, to) in bare_stretches(rows, self.crop.least_share) {
            if from == 0 || to == pass.end - pass.first {
                continue; // an end
            }
            let at = pass.first + from.midpoint(to);
            parts.push(Pass {
                first,
                end: at,
                ..pass.clone()
            });
            first = at;
        }
        parts.push(Pass {
            first,
            ..pass.clone()
        });
        parts
    }

    /// Whether grain flows that a stretch must have cut: at every transport delay that machines have.
    fn carries_grain(&self, pass: &Pass) -> bool {
        let (start, stop) = (self.track.start[pass.first], self.track.end[pass.end - 1]);
        DELAYS_S.iter().all(|delay| {
            let from = self.track.end.partition_point(|&t| t <= start + delay);
            let to = self.track.start.partition_point(|&t| t < stop + delay);
            let (mut mass, mut time) = (0.0, 0.0);
            for k in from..to {
                let m = self.crop.mass[self.track.rows[k] as usize];
                if m.is_finite() {
                    mass += m;
                    time += self.track.interval(k);
                }
            }
            mass / time > GRAIN * self.usual_flow // false where nothing was logged
        })
    }
}

/// Rows off the crop, from one end of a pass inwards: (share, interval).
fn off_crop(rows: impl Iterator<Item = (f64, f64)>, least_share: f64) -> usize {
    let (mut off, mut crop, mut time) = (0, 0.0, 0.0);
    for (n, (share, interval)) in rows.enumerate() {
        if !share.is_finite() {
            continue; // says nothing
        }
        crop += share * interval;
        time += interval;
        if crop > CROSSED_S {
            break;
        }
        if share <= least_share && crop <= OFF_CROP_MEAN * least_share * time {
            off = n + 1;
        }
    }
    off
}

/// Stretches, first row and one past the last, that cut next to nothing for long: (share, interval) per row.
///
/// A row counts for its time, less twice the time that the crop it cuts would take with the least share; a stretch is where the
/// sum rises by the parting time before it falls by as much.
fn bare_stretches(rows: impl Iterator<Item = (f64, f64)>, least_share: f64) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let (mut sum, mut peak) = (0.0, 0.0);
    let (mut from, mut to) = (0, 0);
    let mut n = 0;
    for (share, interval) in rows {
        if share.is_finite() {
            sum += interval * (1.0 - share / (OFF_CROP_MEAN * least_share)).max(-6.0);
        }
        n += 1;
        if sum > peak {
            (peak, to) = (sum, n);
        } else if sum <= 0.0 || peak - sum > PARTING_S {
            if peak >= PARTING_S {
                out.push((from, to));
            }
            (sum, peak, from, to) = (0.0, 0.0, n, n);
        }
    }
    if peak >= PARTING_S {
        out.push((from, to));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::WorkState;

    fn rows(shares: &[f64]) -> usize {
        off_crop(shares.iter().map(|&s| (s, 1.0)), 0.3)
    }

    #[test]
    fn an_end_goes_as_far_as_there_is_no_crop() {
        assert_eq!(rows(&[0.0, 0.0, 0.1, 0.95, 1.0]), 3);
        assert_eq!(rows(&[0.95, 0.0, 0.0]), 0); // 0.95 of 3 rows is more than 0.15
        assert_eq!(rows(&[0.0, 0.0, 0.0, 0.6, 0.0, 0.0, 1.0, 1.0]), 6); // a strip: 0.6 of 6 rows
        assert_eq!(rows(&[0.0, f64::NAN, 0.0, 1.0]), 3);
        assert_eq!(rows(&[0.28, 0.25, 1.0]), 0); // narrow, but cut
        assert_eq!(rows(&[]), 0);
        // Four rows of crop are a pass of their own, however far off.
        let mut far = vec![0.0; 40];
        far.extend([1.0; 4]);
        far.extend([0.0; 20]);
        assert_eq!(rows(&far), 40);
    }

    #[test]
    fn long_stretches_without_crop_are_found() {
        let found = |shares: &[f64]| bare_stretches(shares.iter().map(|&s| (s, 1.0)), 0.3);
        let shares = |parts: &[(usize, f64)]| -> Vec<f64> {
            (parts.iter()).flat_map(|&(n, s)| vec![s; n]).collect()
        };
        assert_eq!(
            found(&shares(&[(30, 1.0), (20, 0.0), (30, 1.0)])),
            [(30, 50)]
        );
        assert_eq!(found(&shares(&[(30, 1.0), (9, 0.0), (30, 1.0)])), []);
        // A sliver of one row within: 1 s of 0.3 takes 1 s away.
        let sliver = shares(&[(5, 1.0), (8, 0.0), (1, 0.3), (8, 0.0), (5, 1.0)]);
        assert_eq!(found(&sliver), [(5, 22)]);
        assert_eq!(found(&shares(&[(40, 0.14)])), []); // 40 · (1 − 0.14/0.15) = 2.7 s
        assert_eq!(found(&shares(&[(40, 0.1)])), [(0, 40)]);
        let twice = shares(&[(12, 0.0), (20, 1.0), (12, f64::NAN), (15, 0.0)]);
        assert_eq!(found(&twice), [(0, 12), (44, 59)]);
        assert_eq!(found(&[]), []);
    }

    /// A track at 1 Hz on one pass.
    fn one_pass(n: usize) -> (Log, Timeline, Passes) {
        let log = Log {
            work: vec![WorkState::Unknown; n],
            ..Log::default()
        };
        let timeline = Timeline {
            tracks: vec![Track {
                machine: 0,
                rows: (0..n as u32).collect(),
                start: (0..n).map(|k| k as f64).collect(),
                end: (1..=n).map(|k| k as f64).collect(),
                usual_interval: 1.0,
                usual_step: 1.0,
            }],
            ..Timeline::default()
        };
        let passes = Passes {
            passes: vec![Pass {
                track: 0,
                first: 0,
                end: n,
            }],
            pass_of: vec![Some(0); n],
            activity: vec![Activity::Cutting; n],
            since_start: vec![f64::NAN; n],
            until_stop: vec![f64::NAN; n],
            ..Passes::default()
        };
        (log, timeline, passes)
    }

    fn kept(
        (log, timeline, passes): &(Log, Timeline, Passes),
        share: &[f64],
        outside: &[bool],
        mass: &[f64],
    ) -> Passes {
        let mut passes = passes.clone();
        let crop = StandingCrop {
            share,
            outside,
            least_share: 0.3,
            mass,
        };
        passes.keep_to_crop(log, timeline, &crop);
        passes
    }

    #[test]
    fn times_count_from_the_crop_and_beyond_it_is_no_pass() {
        let field = one_pass(8);
        let share = [0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0];
        let mut outside = [false; 8];
        outside[6] = true;
        let p = kept(&field, &share, &outside, &[1.0; 8]);
        let pass = Pass {
            track: 0,
            first: 1,
            end: 6,
        };
        assert_eq!(p.passes, [pass]);
        assert_eq!(p.since_start[1..7], [0.5, 1.5, 2.5, 3.5, 4.5, 0.0]);
        assert_eq!(p.until_stop[1..7], [4.5, 3.5, 2.5, 1.5, 0.5, 0.0]);
        assert!(p.since_start[0].is_nan() && p.until_stop[7].is_nan());
        // What is cut outside the boundary stays on the pass, what is not cut does not.
        assert_eq!(
            (p.pass_of[0], p.pass_of[6], p.pass_of[7]),
            (None, Some(0), None)
        );
        assert_eq!(
            (p.activity[0], p.activity[6]),
            (Activity::Idle, Activity::Cutting)
        );
        // Where the log tells, the header is down beyond the crop.
        let mut told = one_pass(8);
        told.0.work = vec![WorkState::Working; 7];
        told.0.work.push(WorkState::NotWorking);
        let p = kept(&told, &share, &outside, &[1.0; 8]);
        assert_eq!((p.pass_of[0], p.since_start[0]), (Some(0), 0.0));
    }

    #[test]
    fn a_drive_over_cut_ground_parts_a_pass_and_is_none() {
        let n = 140;
        let field = one_pass(n);
        let mut share = vec![1.0; n];
        share[40..100].fill(0.02);
        let mut mass = vec![3.0; n];
        mass[52..112].fill(0.0); // 12 s later
        let p = kept(&field, &share, &[false; 140], &mass);
        let ends: Vec<(usize, usize)> = p.passes.iter().map(|p| (p.first, p.end)).collect();
        assert_eq!(ends, [(0, 40), (100, 140)]);
        assert_eq!(
            (p.pass_of[39], p.pass_of[70], p.pass_of[100]),
            (Some(0), None, Some(1))
        );
        assert_eq!(p.since_start[100], 0.5);

        // A whole pass over cut ground: none without grain, one with it.
        let bare = vec![0.0; n];
        assert!(
            kept(&field, &bare, &[false; 140], &vec![0.0; n])
                .passes
                .is_empty()
        );
        let p = kept(&field, &bare, &[false; 140], &vec![3.0; n]);
        assert_eq!((p.passes.len(), p.since_start[3]), (1, 3.5));
        // Where the log tells, its word counts.
        let mut told = one_pass(n);
        told.0.work = vec![WorkState::Working; n];
        told.0.work[n - 1] = WorkState::NotWorking;
        assert_eq!(kept(&told, &share, &[false; 140], &mass).passes.len(), 1);
    }
}
