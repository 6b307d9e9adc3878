//! Where a machine drives without grain coming from the ground: header up, though its log does not say so.

use super::Activity;
use super::position::angle_between;
use crate::log::{Log, Timeline, Track};
use crate::stats::quantile;

/// A row carries grain above this part of a full flow (our choice: noise of an empty machine stays below).
const GRAIN: f64 = 0.1;
/// A full flow is this quantile of all (our choice: most rows of a log that never stops may be without grain).
const FULL: f64 = 0.9;
/// Lags that are tried between ground and flow, s (published transport delays: 8–15 s; a display may have removed it).
const LAGS_S: std::ops::RangeInclusive<i32> = -5..=25;
/// Least φ (the correlation of two yes-or-no columns) of work and grain from which a lag is believed (our choice).
const LEAST_PHI: f64 = 0.4;
/// Least association for as many rows as there are from which a lag is believed that is no chance (our choice).
const LEAST_ASSOCIATION: f64 = 0.5;
/// Fewest rows at work and not at work that tell a lag (our choice).
const LEAST_ROWS: usize = 20;
/// A lag is no chance where all stretches without work would fall on rows without grain, at any of the lags, less often than
/// this (our choice).
const CHANCE: f64 = 0.001;
/// A machine goes straight on up to this angle (our choice: contours bend less within a transport delay).
const TURNED_DEG: f64 = 45.0;
/// Shortest drive that is told by the missing grain, s (our choice: twice what sensors drop out for, shorter than a drive
/// to another part of a field).
const DRIVE_S: f64 = 20.0;
/// What is left of it at either end, s (our choice: a machine fills and empties, and the lag is rough).
const MARGIN_S: f64 = 3.0;

/// Whether the ground of each row of a track gave no grain for long, judged by the flow a lag later. Nothing is said
/// where flow and work do not agree at any lag.
///
/// `direction`: where each row of the track goes, rad; NaN where unknown.
pub(super) fn without_grain(
    log: &Log,
    timeline: &Timeline,
    track: &Track,
    direction: &[f64],
    activity: &[Activity],
) -> Vec<bool> {
    let grain = grain(log, timeline, track);
    let mut works: Vec<Option<bool>> = (track.rows.iter())
        .map(|&i| match activity[i as usize] {
            Activity::Cutting => Some(true),
            Activity::Idle | Activity::Turning => Some(false),
            Activity::NoPosition | Activity::Jump => None,
        })
        .collect();
    let mut bare = vec![false; track.len()];
    // Where turns alone are known not to be work, drives blur the lag; once they are known as well, it is sharp.
    for _ in 0..2 {
        let Some(lag) = lag(track, &grain, &works) else {
            break;
        };
        bare = bare_at(track, direction, &grain, lag);
        for k in (0..track.len()).filter(|&k| bare[k]) {
            works[k] = works[k].and(Some(false));
        }
    }
    bare
}

/// Whether the ground of each row gave no grain for long, at a lag. Where the machine goes straight on from a pass, that is said
/// of what follows its turn alone: a display that moved the flow inside its passes leaves none at their ends, for as long as
/// the transport delay, and yet the ground was cut.
fn bare_at(track: &Track, direction: &[f64], grain: &[Option<bool>], lag: f64) -> Vec<bool> {
    let mut bare = vec![false; track.len()];
    let middle = |k: usize| 0.5 * (track.start[k] + track.end[k]);
    for (first, end) in empty_runs(track, grain) {
        let (from, to) = (track.start[first] - lag, track.end[end - 1] - lag);
        let begin = track.end.partition_point(|&t| t <= from);
        let before = direction[..begin].iter().rev();
        let ahead = before.copied().find(|d| d.is_finite()).unwrap_or(f64::NAN);
        let turned = (begin..track.len()).find(|&k| {
            middle(k) >= to || angle_between(direction[k], ahead) > TURNED_DEG.to_radians()
        });
        let from = turned.map_or(to, |k| track.start[k]).max(from);
        if to - from < DRIVE_S {
            continue;
        }
        let k = track.end.partition_point(|&t| t <= from + MARGIN_S);
        for k in (k..track.len()).take_while(|&k| middle(k) < to - MARGIN_S) {
            bare[k] = middle(k) > from + MARGIN_S;
        }
    }
    bare
}

/// Whether each row logged grain; `None` where it logged neither flow nor mass.
fn grain(log: &Log, timeline: &Timeline, track: &Track) -> Vec<Option<bool>> {
    let flow: Vec<f64> = track
        .rows
        .iter()
        .map(|&i| i as usize)
        .map(|i| match log.mass[i].is_nan() && log.flow[i].is_nan() {
            true => f64::NAN,
            false => timeline.mass(log, i) / timeline.interval[i],
        })
        .collect();
    let flowing: Vec<f64> = flow.iter().copied().filter(|&q| q > 0.0).collect();
    let Some(full) = quantile(&flowing, FULL) else {
        return vec![None; track.len()];
    };
    flow.iter()
        .map(|q| q.is_finite().then_some(*q > GRAIN * full))
        .collect()
}

/// Unbroken runs of rows without grain: first row and one past the last.
fn empty_runs(track: &Track, grain: &[Option<bool>]) -> Vec<(usize, usize)> {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for k in (0..track.len()).filter(|&k| grain[k] == Some(false)) {
        match runs.last_mut() {
            Some((_, end)) if *end == k && track.continues(k) => *end = k + 1,
            _ => runs.push((k, k + 1)),
        }
    }
    runs
}

/// The lag at which grain agrees best with work, s; `None` where it never does well, too few rows tell, or it may be
/// chance.
fn lag(track: &Track, grain: &[Option<bool>], works: &[Option<bool>]) -> Option<f64> {
    let rows = |what: bool| works.iter().filter(|w| **w == Some(what)).count();
    if rows(true) < LEAST_ROWS || rows(false) < LEAST_ROWS {
        return None;
    }
    let (best, lag) = LAGS_S
        .map(|lag| (agreement(track, grain, works, f64::from(lag)), lag))
        .max_by(|a, b| a.0.association.total_cmp(&b.0.association))?;
    let no_chance = || best.association >= LEAST_ASSOCIATION && chance(grain, works) < CHANCE;
    (best.phi >= LEAST_PHI || no_chance()).then(|| f64::from(lag))
}

/// How probably all stretches without work fall on rows without grain, at any of the lags, if neither has to do with the other.
fn chance(grain: &[Option<bool>], works: &[Option<bool>]) -> f64 {
    let told = grain.iter().flatten().count();
    let empty = grain.iter().filter(|g| **g == Some(false)).count();
    let stretches = (1..works.len())
        .filter(|&k| works[k] == Some(false) && works[k - 1] == Some(true))
        .count();
    LAGS_S.count() as f64 * (empty as f64 / told as f64).powf(stretches as f64)
}

/// How far two yes-or-no columns go together, each to 1.
struct Agreement {
    /// φ, their correlation (Yule 1912, J. R. Stat. Soc. 75:579).
    phi: f64,
    /// Their covariance over the greatest that as many rows at work and as many rows with grain allow (Cole 1949,
    /// Ecology 30:411): rows that are wrongly taken for work do not hide what turns tell.
    association: f64,
}

/// Agreement of work with grain a lag later.
fn agreement(track: &Track, grain: &[Option<bool>], works: &[Option<bool>], lag: f64) -> Agreement {
    let mut n = [[0f64; 2]; 2];
    let mut later = 0;
    for (k, works) in works.iter().enumerate() {
        let time = 0.5 * (track.start[k] + track.end[k]) + lag;
        while later + 1 < track.len() && track.end[later] < time {
            later += 1;
        }
        let logged = track.start[later] <= time && time <= track.end[later];
        if let (Some(works), Some(grain), true) = (*works, grain[later], logged) {
            n[usize::from(works)][usize::from(grain)] += 1.0;
        }
    }
    let [[idle_empty, idle_grain], [works_empty, works_grain]] = n;
    let together = idle_empty * works_grain - idle_grain * works_empty;
    let (idle, at_work) = (idle_empty + idle_grain, works_empty + works_grain);
    let (empty, with_grain) = (idle_empty + works_empty, idle_grain + works_grain);
    let over = |most: f64| if most > 0.0 { together / most } else { 0.0 };
    Agreement {
        phi: over((idle * at_work * empty * with_grain).sqrt()),
        association: over((idle * with_grain).min(empty * at_work)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 Hz: `works` as found, grain 12 s after `cuts`; every stretch that is not cut begins with a turn.
    fn field(works: &[bool], cuts: &[bool]) -> Vec<bool> {
        field_going_on(works, cuts, 0)
    }

    /// Likewise, but the machine goes straight on for so many seconds before it turns.
    fn field_going_on(works: &[bool], cuts: &[bool], straight: usize) -> Vec<bool> {
        let n = works.len();
        let log = Log {
            flow: (0..n)
                .map(|k| if k >= 12 && cuts[k - 12] { 4.0 } else { 0.05 })
                .collect(),
            mass: vec![f64::NAN; n],
            ..Log::default()
        };
        let track = Track {
            machine: 0,
            rows: (0..n as u32).collect(),
            start: (0..n).map(|k| k as f64).collect(),
            end: (1..=n).map(|k| k as f64).collect(),
            usual_interval: 1.0,
            usual_step: 1.0,
        };
        let timeline = Timeline {
            interval: vec![1.0; n],
            ..Timeline::default()
        };
        let activity: Vec<Activity> = (works.iter())
            .map(|&w| if w { Activity::Cutting } else { Activity::Idle })
            .collect();
        // Before it turns it stands for a second, and heads nowhere.
        let cuts = |k: Option<usize>| k.and_then(|k| cuts.get(k)).copied();
        let mut ahead = 0.0;
        let direction: Vec<f64> = (0..n)
            .map(|k| {
                let here = cuts(k.checked_sub(straight));
                if here == Some(false) && cuts(k.checked_sub(straight + 1)) == Some(true) {
                    ahead += 1.5;
                }
                let next = cuts((k + 1).checked_sub(straight));
                match (here, next) {
                    (Some(true), Some(false)) => f64::NAN,
                    _ => ahead,
                }
            })
            .collect();
        without_grain(&log, &timeline, &track, &direction, &activity)
    }

    fn states(parts: &[(usize, bool)]) -> Vec<bool> {
        (parts.iter()).flat_map(|&(n, s)| vec![s; n]).collect()
    }

    #[test]
    fn a_long_drive_gives_no_grain() {
        // Passes of 100 s, turns of 15 s; one drive of 40 s looks like work.
        let cuts = states(&[
            (100, true),
            (15, false),
            (100, true),
            (40, false),
            (100, true),
            (15, false),
        ]);
        let mut works = cuts.clone();
        works[215..255].fill(true);
        let bare = field(&works, &cuts);
        let rows: Vec<usize> = (0..bare.len()).filter(|&k| bare[k]).collect();
        assert_eq!((rows[0], rows[rows.len() - 1], rows.len()), (218, 251, 34));
    }

    /// Going round a block, each pass ends in a drive as long as itself between two short turns. Taken for work at first, drives
    /// are most of all rows without grain: turns alone tell the lag.
    #[test]
    fn drives_as_long_as_passes_are_told_by_the_turns() {
        let round = [(60, true), (8, false), (70, false), (8, false)];
        let cuts = states(&round.repeat(12));
        let mut works = cuts.clone();
        for (k, works) in works.iter_mut().enumerate() {
            *works |= (68..138).contains(&(k % 146));
        }
        let bare = field(&works, &cuts);
        for (k, (bare, cuts)) in bare.iter().zip(&cuts).enumerate().take(cuts.len() - 146) {
            let inside = (65..141).contains(&(k % 146));
            assert!(!(bare & cuts) && (*bare || !inside), "{k}");
        }
        // Two rounds may be chance.
        assert!(!field(&works[..300], &cuts[..300]).contains(&true));
    }

    #[test]
    fn ground_straight_on_from_a_pass_was_cut_though_its_grain_is_missing() {
        // The last 18 s of passes gave no grain; then turns of 10 s.
        let pass = [(82, true), (18, false), (10, false)];
        let cuts = states(&pass.repeat(8));
        let works: Vec<bool> = (0..cuts.len()).map(|k| k % 110 < 100).collect();
        assert!(!field_going_on(&works, &cuts, 18).contains(&true));
        assert!(field_going_on(&works, &cuts, 0).contains(&true));
    }

    #[test]
    fn grain_that_agrees_with_nothing_says_nothing() {
        let works = states(&[(100, true), (15, false), (100, true), (15, false)]);
        assert!(!field(&works, &vec![false; 230]).contains(&true)); // a dead sensor
        let cuts = states(&[(57, true), (57, false), (57, true), (59, false)]);
        assert!(!field(&works, &cuts).contains(&true));
        assert!(!field(&[true; 60], &[false; 60]).contains(&true));
    }
}
