//! Runs of one reading, and how long they get by chance.

use super::params::CheckedFaultParams;
use crate::log::Track;
use crate::stats::median_in_place;

/// Fewest runs from which a rate of repeats is read beyond the first (our choice: below it, a few stuck runs would be
/// taken for the log's habit).
const FEWEST_RUNS: usize = 50;

/// How a log's readings repeat.
pub(super) struct Repeats {
    /// Median run length, rows.
    pub hold: usize,
    /// Probability that a held reading comes again.
    pub probability: f64,
    /// Longest run, rows, that chance makes in this log; `None` where chance may make any.
    pub longest_by_chance: Option<usize>,
}

/// A run of equal non-zero readings in unbroken rows of a track.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Run {
    /// First row, as a place in the track.
    pub first: usize,
    /// One past the last.
    pub end: usize,
}

/// All runs (most of them one row long). Second copies of records belong to no run and break none.
pub(super) fn runs(track: &Track, flow: &[f64], duplicate: &[bool]) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    let mut open = false;
    for k in 0..flow.len() {
        if duplicate[k] {
            continue;
        }
        let unbroken = open
            && (runs
                .last()
                .is_some_and(|r| (r.end..=k).all(|j| track.continues(j))));
        open = flow[k] > 0.0;
        if !open {
            continue;
        }
        match runs.last_mut() {
            Some(run) if unbroken && flow[run.first] == flow[k] => run.end = k + 1,
            _ => runs.push(Run {
                first: k,
                end: k + 1,
            }),
        }
    }
    runs
}

/// Learns from the runs how long they get by chance.
///
/// If a reading repeats with probability p, a run reaches n readings with probability p^(n−1): the longest that `runs`
/// of them make with fewer than `stuck_false_alarms` expected is 1 + ln(alarms / runs) / ln p. The rate is counted over
/// runs, not rows, so that a stuck sensor counts once however long it stays. Smooth or coarse logs repeat more readily
/// once they have repeated, so the second and third repeats are looked at too where there are enough of them.
pub(super) fn repeats(
    track: &Track,
    flow: &[f64],
    duplicate: &[bool],
    params: &CheckedFaultParams,
) -> Repeats {
    let runs = runs(track, flow, duplicate);
    let mut lengths: Vec<f64> = runs.iter().map(|r| (r.end - r.first) as f64).collect();
    let Some(median) = median_in_place(&mut lengths) else {
        return Repeats {
            hold: 1,
            probability: f64::NAN,
            longest_by_chance: None,
        };
    };
    let hold = median.max(1.0) as usize;
    let reaching = |n: usize| {
        runs.iter()
            .filter(|r| (r.end - r.first).div_ceil(hold) >= n)
            .count()
    };
    let counts = [reaching(1), reaching(2), reaching(3), reaching(4)];
    // One success added, so that a log without repeats does not promise that there are none.
    let mut probability = (counts[1] + 1) as f64 / (counts[0] + 2) as f64;
    for k in 1..3 {
        if counts[k] >= FEWEST_RUNS {
            probability = probability.max(counts[k + 1] as f64 / counts[k] as f64);
        }
    }
    let readings = 1.0 + (params.stuck_false_alarms / runs.len() as f64).ln() / probability.ln();
    let rows = readings.ceil() * hold as f64;
    // A log of few runs, or one that nearly always repeats, cannot tell.
    let usable = runs.len() >= FEWEST_RUNS && rows.is_finite() && rows < runs.len() as f64;
    Repeats {
        hold,
        probability,
        longest_by_chance: usable.then_some(rows as usize),
    }
}

/// Rows of stuck runs, by place in the track.
pub(super) fn stuck_rows(
    track: &Track,
    flow: &[f64],
    duplicate: &[bool],
    shortest: usize,
    params: &CheckedFaultParams,
) -> Vec<bool> {
    let mut marks = vec![false; flow.len()];
    for run in runs(track, flow, duplicate) {
        let rows = run.end - run.first;
        let seconds = track.end[run.end - 1] - track.start[run.first];
        if rows >= shortest && seconds >= params.stuck_seconds {
            marks[run.first..run.end].fill(true);
        }
    }
    marks
}
