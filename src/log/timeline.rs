//! Each machine's rows on a clock that only runs forward.
//!
//! Logs step back (receivers correct their clock), repeat stamps, or have no time at all. A [`Track`] is one
//! machine's rows in the order of work, each with the interval of the track's own clock that it stands for.

use std::borrow::Cow;

use super::order::{Order, restore};
use super::{Clock, Log};

/// Longest believable interval of a row, as a multiple of the machine's usual one: beyond it the log was not
/// running (our choice: a late row at 1 Hz is common, a row that stands for three is not).
const GAP_FACTOR: f64 = 2.5;

/// One machine's rows in the order of work.
#[derive(Debug, Clone, Default, serde::Serialize, serde::Deserialize)]
pub struct Track {
    /// Index into [`Log::machines`].
    pub machine: u32,
    /// Row indices into the [`Log`], in the order of work.
    pub rows: Vec<u32>,
    /// Start of each row's interval on the track's clock, s.
    #[serde(with = "crate::log::bytes")]
    pub start: Vec<f64>,
    /// End of each row's interval on the track's clock, s. `start[k] <= end[k] <= start[k + 1]`.
    #[serde(with = "crate::log::bytes")]
    pub end: Vec<f64>,
    /// The usual interval of a row, s.
    pub usual_interval: f64,
    /// The usual time from row to row, s; longer than the interval where a log is a sample of its rows.
    pub usual_step: f64,
}

impl Track {
    /// Length of the interval row `k` of the track stands for, s.
    pub fn interval(&self, k: usize) -> f64 {
        self.end[k] - self.start[k]
    }

    /// Whether the log ran without a gap from row `k - 1` of the track to row `k`.
    pub fn continues(&self, k: usize) -> bool {
        k > 0 && self.end[k] - self.end[k - 1] <= 1.51 * self.usual_step
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether the track has no rows.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }
}

/// The tracks of a log, one per machine that has rows, in the order of [`Log::machines`].
#[derive(Debug, Clone, Default, serde::Serialize, serde::Deserialize)]
pub struct Timeline {
    /// One track per machine.
    pub tracks: Vec<Track>,
    /// Rows whose time stepped back or did not advance, over all tracks.
    pub backward_steps: usize,
    /// Source files whose rows were brought into the order of their clock.
    pub restored: usize,
    /// Source files whose clock contradicts the order of their rows, which stands all the same.
    pub contradicted: usize,
    /// For each row of the log, the time its flow is integrated over, s: the logged interval where there is one.
    #[serde(with = "crate::log::bytes")]
    pub interval: Vec<f64>,
}

impl Timeline {
    /// Lays every row of `log` on its machine's clock.
    ///
    /// Files of one machine follow each other by their first Unix time where they have one, otherwise in the order
    /// read. Rows whose order a table has lost are put back into it by their clock ([`Timeline::restored`]). A row's interval is the logged one where there is one; otherwise the time since the row before, or the
    /// machine's usual interval after a gap. Where time is missing or steps back, the clock advances by the interval.
    pub fn new(log: &Log) -> Self {
        let order = source_order(log);
        let mut rows_of = vec![Vec::new(); log.machines.len()];
        for i in 0..log.len() {
            rows_of[log.machine[i] as usize].push(i as u32);
        }
        let mut timeline = Timeline {
            interval: vec![0.0; log.len()],
            ..Timeline::default()
        };
        for (machine, mut rows) in rows_of.into_iter().enumerate() {
            if rows.is_empty() {
                continue;
            }
            rows.sort_by_key(|&i| order[log.source[i as usize] as usize]); // stable: row order within a file stays
            for part in rows.chunk_by_mut(|&a, &b| log.source[a as usize] == log.source[b as usize])
            {
                match restore(log, part) {
                    Order::AsLogged => {}
                    Order::Restored => timeline.restored += 1,
                    Order::Contradicted => timeline.contradicted += 1,
                }
            }
            let (track, steps) = track(log, machine as u32, rows);
            for k in 0..track.len() {
                let i = track.rows[k] as usize;
                timeline.interval[i] = if log.interval[i] > 0.0 {
                    log.interval[i]
                } else {
                    track.interval(k)
                };
            }
            timeline.backward_steps += steps;
            timeline.tracks.push(track);
        }
        timeline
    }

    /// All rows in the order in which the ground was worked: by time where every file has an absolute clock,
    /// otherwise machine by machine in the order of their tracks.
    pub fn work_order(&self, log: &Log) -> Vec<u32> {
        let mut order: Vec<u32> = self
            .tracks
            .iter()
            .flat_map(|t| t.rows.iter().copied())
            .collect();
        let absolute = log.sources.iter().all(|s| s.clock == Clock::Unix);
        if self.tracks.len() > 1 && absolute {
            // A row without time keeps its place behind the row before it.
            let mut stamp = vec![f64::NEG_INFINITY; log.len()];
            for track in &self.tracks {
                let mut last = f64::NEG_INFINITY;
                for &i in &track.rows {
                    last = if log.time[i as usize] > last {
                        log.time[i as usize]
                    } else {
                        last
                    };
                    stamp[i as usize] = last;
                }
            }
            order.sort_by(|&a, &b| stamp[a as usize].total_cmp(&stamp[b as usize]));
        }
        order
    }

    /// The same timeline with pauses closed up: a gap of more than `longest` seconds lasts as long as that and less than
    /// a second more. Whole seconds are left out, so rows keep their places on a grid of a second or a part of it. What is
    /// laid over the clock of a track then takes no room for nights.
    pub fn closed_up(&self, longest: f64) -> Cow<'_, Self> {
        let cut = |gap: f64| (gap - longest).max(0.0).floor();
        let gap = |t: &Track, k: usize| t.start[k] - t.end[k - 1];
        let pauses = |t: &Track| (1..t.len()).any(|k| cut(gap(t, k)) > 0.0);
        if !self.tracks.iter().any(pauses) {
            return Cow::Borrowed(self);
        }
        let mut closed = self.clone();
        for (track, whole) in closed.tracks.iter_mut().zip(&self.tracks) {
            let mut left_out = 0.0;
            for k in 1..whole.len() {
                left_out += cut(gap(whole, k));
                track.start[k] -= left_out;
                track.end[k] -= left_out;
            }
        }
        Cow::Owned(closed)
    }

    /// Logged wet mass of row `i`, kg: the logged mass, or logged flow times interval; 0 where neither was logged.
    pub fn mass(&self, log: &Log, i: usize) -> f64 {
        let mass = if log.mass[i].is_nan() {
            log.flow[i] * self.interval[i]
        } else {
            log.mass[i]
        };
        if mass.is_finite() { mass } else { 0.0 }
    }
}

/// Rank of each source: by first Unix time where all have one, otherwise as read.
fn source_order(log: &Log) -> Vec<usize> {
    let mut first = vec![f64::NAN; log.sources.len()];
    for i in 0..log.len() {
        let s = log.source[i] as usize;
        if first[s].is_nan() {
            first[s] = log.time[i];
        }
    }
    let mut by_time: Vec<usize> = (0..first.len()).collect();
    let comparable = log
        .sources
        .iter()
        .zip(&first)
        .all(|(s, t)| s.clock == Clock::Unix && t.is_finite());
    if comparable {
        by_time.sort_by(|&a, &b| first[a].total_cmp(&first[b]));
    }
    let mut rank = vec![0; first.len()];
    for (r, s) in by_time.into_iter().enumerate() {
        rank[s] = r;
    }
    rank
}

fn track(log: &Log, machine: u32, rows: Vec<u32>) -> (Track, usize) {
    let (usual, usual_step) = usual(log, &rows);
    let (mut start, mut end) = (
        Vec::with_capacity(rows.len()),
        Vec::with_capacity(rows.len()),
    );
    let mut clock: f64 = 0.0;
    let mut steps = 0;
    for (k, &i) in rows.iter().enumerate() {
        let i = i as usize;
        let same_file = k > 0 && log.source[rows[k - 1] as usize] == log.source[i];
        let elapsed = if k == 0 {
            f64::NAN
        } else {
            elapsed(log, rows[k - 1] as usize, i)
        };
        if same_file && elapsed <= 0.0 {
            steps += 1;
        }
        let logged = if log.interval[i] > 0.0 {
            log.interval[i]
        } else {
            f64::NAN
        };
        // Duplicated stamps stand for no time of their own unless the log gives the interval.
        let (advance, span) = if k == 0 {
            let span = if logged.is_nan() { usual } else { logged };
            (span, span)
        } else if elapsed > 0.0 {
            let span = match (logged.is_nan(), elapsed <= GAP_FACTOR * usual) {
                (false, _) => logged.min(elapsed),
                (true, true) => elapsed,
                (true, false) => usual,
            };
            (elapsed, span)
        } else if elapsed == 0.0 && logged.is_nan() {
            (0.0, 0.0)
        } else {
            let span = if logged.is_nan() { usual } else { logged };
            (span, span)
        };
        clock += advance;
        end.push(clock);
        start.push(clock - span);
    }
    (
        Track {
            machine,
            rows,
            start,
            end,
            usual_interval: usual,
            usual_step,
        },
        steps,
    )
}

/// Time from row `a` to the later row `b` of the same machine, s; NaN where the clocks cannot be compared.
fn elapsed(log: &Log, a: usize, b: usize) -> f64 {
    let (sa, sb) = (log.source[a] as usize, log.source[b] as usize);
    if sa != sb && (log.sources[sa].clock != Clock::Unix || log.sources[sb].clock != Clock::Unix) {
        // Another file on a clock of its own: nothing of one file may reach into the other.
        return 86_400.0;
    }
    log.time[b] - log.time[a]
}

/// Usual interval and usual time from row to row: medians of what was logged; either stands in for the other, and 1 s
/// where there is neither.
fn usual(log: &Log, rows: &[u32]) -> (f64, f64) {
    let intervals = rows.iter().map(|&i| log.interval[i as usize]);
    let steps = rows
        .windows(2)
        .filter(|w| log.source[w[0] as usize] == log.source[w[1] as usize])
        .map(|w| log.time[w[1] as usize] - log.time[w[0] as usize]);
    match (positive_median(intervals), positive_median(steps)) {
        (Some(interval), Some(step)) => (interval, step.max(interval)),
        (Some(one), None) | (None, Some(one)) => (one, one),
        (None, None) => (1.0, 1.0),
    }
}

fn positive_median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut v: Vec<f64> = values.filter(|&t| t > 0.0).collect();
    if v.is_empty() {
        return None;
    }
    let middle = v.len() / 2;
    Some(*v.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::super::Source;
    use super::*;

    fn log(time: &[f64], interval: f64) -> Log {
        let n = time.len();
        Log {
            sources: vec![Source {
                path: "a".into(),
                clock: Clock::Unix,
            }],
            machines: vec!["C1".into()],
            source: vec![0; n],
            row: (1..=n as u32).collect(),
            machine: vec![0; n],
            time: time.to_vec(),
            interval: vec![interval; n],
            flow: vec![2.0; n],
            mass: vec![f64::NAN; n],
            ..Log::default()
        }
    }

    #[test]
    fn a_clock_that_steps_back_advances_by_the_interval() {
        let t = Timeline::new(&log(&[0.0, 3.0, 6.0, 4.0, 7.0], 3.0));
        assert_eq!(t.tracks[0].end, [3.0, 6.0, 9.0, 12.0, 15.0]);
        assert_eq!(t.backward_steps, 1);
    }

    #[test]
    fn after_a_gap_a_row_stands_for_the_usual_interval_only() {
        let t = Timeline::new(&log(&[0.0, 1.0, 2.0, 60.0, 61.0], f64::NAN));
        assert_eq!(t.interval, [1.0; 5]);
        assert!(!t.tracks[0].continues(3));
        assert!(t.tracks[0].continues(4));
    }

    #[test]
    fn mass_is_flow_over_the_logged_interval_unless_mass_was_logged() {
        let mut log = log(&[0.0, 3.0, 6.0], 4.0);
        log.mass[2] = 1.5;
        log.flow[1] = f64::NAN;
        let t = Timeline::new(&log);
        assert_eq!(
            [t.mass(&log, 0), t.mass(&log, 1), t.mass(&log, 2)],
            [8.0, 0.0, 1.5]
        );
    }

    #[test]
    fn a_repeated_stamp_stands_for_no_time() {
        let t = Timeline::new(&log(&[0.0, 1.0, 1.0, 2.0], f64::NAN));
        assert_eq!(t.interval, [1.0, 1.0, 0.0, 1.0]);
    }

    #[test]
    fn without_a_clock_rows_follow_each_other() {
        let t = Timeline::new(&log(&[f64::NAN; 3], 2.0));
        assert_eq!(t.tracks[0].end, [2.0, 4.0, 6.0]);
        assert_eq!(Timeline::new(&log(&[], 1.0)).tracks.len(), 0);
    }

    #[test]
    fn pauses_are_closed_up_by_whole_seconds() {
        let t = Timeline::new(&log(&[0.0, 1.0, 400.0, 401.0, 86_401.5, 86_402.5], 1.0));
        assert!(matches!(t.closed_up(1e6), Cow::Borrowed(_)));
        let closed = t.closed_up(300.0);
        let (track, whole) = (&closed.tracks[0], &t.tracks[0]);
        // Gaps of 398 and 85,999.5 s are left 300 and 300.5 s long; rows last as long as before.
        assert_eq!(track.end, [1.0, 2.0, 303.0, 304.0, 605.5, 606.5]);
        assert!((0..6).all(|k| track.interval(k) == whole.interval(k)));
        assert_eq!(closed.interval, t.interval);
    }
}
