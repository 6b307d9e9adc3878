//! How far a load's logged mass is unsure because nobody knows to the second which grain was its last.

use super::Loads;
use crate::log::{Timeline, Track};

/// Sd of the time between the change of a load in the log and the last grain that went into it, s: grain still rises to
/// the tank or runs in the auger, and a finger presses the button sooner or later (our choice).
const CHANGE_SD_S: f64 = 2.0;
/// Flow at a change is the mean over so long on either side, s (our choice: longer than a machine takes to fill).
const ABOUT_S: f64 = 10.0;

/// Sd of each load's logged mass that its ends leave, kg; as long as the keys of `loads`. `mass`: wet mass per row, kg.
/// `late`: for each track, seconds by which loads may change in the log later than in its grain, because a display moved
/// the flow and not the loads; 0 where nothing was moved.
///
/// A change while no grain flows costs nothing, one at full flow as much as flows in that time. What a late change would
/// move is known from the log itself, and taken for an sd whole: whether the display moved the loads as well is not known.
pub fn edges(timeline: &Timeline, loads: &Loads, mass: &[f64], late: &[f64]) -> Vec<f64> {
    let mut variance = vec![0.0; loads.keys.len()];
    for (t, track) in timeline.tracks.iter().enumerate() {
        let of = |k: usize| loads.of_row[track.rows[k] as usize] as usize;
        let grain = Grain::new(track, mass);
        let sd = CHANGE_SD_S.hypot(track.usual_interval / 12f64.sqrt());
        let mut ends = |load: usize, at: f64| variance[load] += (sd * grain.flow(at)).powi(2);
        for k in 0..track.len() {
            if k == 0 || of(k - 1) != of(k) {
                ends(of(k), track.start[k]);
                if let Some(before) = k.checked_sub(1) {
                    ends(of(before), track.end[before]);
                }
            }
        }
        if let Some(last) = track.len().checked_sub(1) {
            ends(of(last), track.end[last]);
        }
        let seconds = late.get(t).copied().filter(|s| *s > 0.0);
        for (load, kg) in seconds.map_or_else(Vec::new, |s| moved(track, &of, &grain, s)) {
            variance[load] += kg * kg;
        }
    }
    variance.into_iter().map(f64::sqrt).collect()
}

/// What every load of a track would gain if its rows' loads were those of `seconds` later, kg.
fn moved(
    track: &Track,
    of: &dyn Fn(usize) -> usize,
    grain: &Grain,
    seconds: f64,
) -> Vec<(usize, f64)> {
    let mut out = std::collections::BTreeMap::new();
    let mut later = 0;
    for k in 0..track.len() {
        let middle = 0.5 * (track.start[k] + track.end[k]) + seconds;
        while later + 1 < track.len() && track.start[later + 1] <= middle {
            later += 1;
        }
        if of(later) != of(k) {
            let kg = grain.total[k + 1] - grain.total[k];
            *out.entry(of(later)).or_insert(0.0) += kg;
            *out.entry(of(k)).or_insert(0.0) -= kg;
        }
    }
    out.into_iter().collect()
}

/// Grain of a track up to any time.
struct Grain<'a> {
    track: &'a Track,
    /// Up to the start of each row, and of all, kg.
    total: Vec<f64>,
}

impl<'a> Grain<'a> {
    fn new(track: &'a Track, mass: &[f64]) -> Self {
        let mut total = vec![0.0];
        let mut sum = 0.0;
        for &i in &track.rows {
            let m = mass[i as usize];
            sum += if m > 0.0 { m } else { 0.0 };
            total.push(sum);
        }
        Self { track, total }
    }

    fn until(&self, at: f64) -> f64 {
        let k = self.track.end.partition_point(|e| *e <= at);
        let Some((start, end)) = self.track.start.get(k).zip(self.track.end.get(k)) else {
            return self.total[self.track.len()];
        };
        let share = ((at - start) / (end - start)).clamp(0.0, 1.0);
        let share = if share.is_nan() { 0.0 } else { share };
        self.total[k] + share * (self.total[k + 1] - self.total[k])
    }

    /// Mean flow about a time, kg/s; while the log paused none flowed.
    fn flow(&self, at: f64) -> f64 {
        (self.until(at + ABOUT_S) - self.until(at - ABOUT_S)) / (2.0 * ABOUT_S)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::loads::LoadKey;

    /// 1 Hz rows of one machine; a load to each, and its mass, kg.
    fn case(rows: &[(u32, f64)], gap_before: Option<usize>) -> (Timeline, Loads, Vec<f64>) {
        let pause = |k: usize| {
            if gap_before.is_some_and(|g| k >= g) {
                60.0
            } else {
                0.0
            }
        };
        let n = rows.len();
        let track = Track {
            machine: 0,
            rows: (0..n as u32).collect(),
            start: (0..n).map(|k| k as f64 + pause(k)).collect(),
            end: (0..n).map(|k| k as f64 + 1.0 + pause(k)).collect(),
            usual_interval: 1.0,
            usual_step: 1.0,
        };
        let names = rows.iter().map(|r| r.0).max().unwrap_or(0);
        let loads = Loads {
            keys: (0..=names)
                .map(|l| LoadKey {
                    machine: 0,
                    name: Some(format!("L{l}")),
                    ticket: None,
                })
                .collect(),
            of_row: rows.iter().map(|r| r.0).collect(),
        };
        let timeline = Timeline {
            tracks: vec![track],
            ..Timeline::default()
        };
        (timeline, loads, rows.iter().map(|r| r.1).collect())
    }

    /// No grain for 20 s, 10 kg/s for 100 s, none for 20 s; the load changes in the middle.
    fn plain() -> Vec<(u32, f64)> {
        (0..140)
            .map(|k| {
                let flows = (20..120).contains(&k);
                (u32::from(k >= 70), if flows { 10.0 } else { 0.0 })
            })
            .collect()
    }

    #[test]
    fn a_change_at_full_flow_costs_seconds_of_it() {
        let (timeline, loads, mass) = case(&plain(), None);
        let sd = (4.0f64 + 1.0 / 12.0).sqrt();
        let found = edges(&timeline, &loads, &mass, &[0.0]);
        assert!(
            (found[0] - 10.0 * sd).abs() < 1e-9 && (found[1] - found[0]).abs() < 1e-9,
            "{found:?}"
        );
        // 12 s late: the second load would get 120 kg of the first.
        let late = edges(&timeline, &loads, &mass, &[12.0]);
        assert!(
            (late[0] - (10.0 * sd).hypot(120.0)).abs() < 1e-9,
            "{late:?}"
        );
        // A load in the middle loses at its end what it gains at its start.
        let three: Vec<(u32, f64)> = (0..90).map(|k| (k / 30, 5.0)).collect();
        let (timeline, loads, mass) = case(&three, None);
        let [plain, late] = [[0.0], [8.0]].map(|l| edges(&timeline, &loads, &mass, &l)[1]);
        assert!((plain - late).abs() < 1e-9 && (plain - 5.0 * sd * 2f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn a_change_while_nothing_flows_costs_nothing() {
        let standing: Vec<(u32, f64)> = (0..140)
            .map(|k| {
                (
                    u32::from(k >= 70),
                    if (20..50).contains(&k) || (90..120).contains(&k) {
                        10.0
                    } else {
                        0.0
                    },
                )
            })
            .collect();
        let (timeline, loads, mass) = case(&standing, None);
        assert_eq!(edges(&timeline, &loads, &mass, &[12.0]), [0.0, 0.0]);
        // A pause of a minute at the change: half of the time about either end has grain.
        let (timeline, loads, mass) = case(&plain(), Some(70));
        let found = edges(&timeline, &loads, &mass, &[0.0]);
        assert!((found[0] - 5.0 * (4.0f64 + 1.0 / 12.0).sqrt()).abs() < 1e-9);
        let (timeline, loads, _) = case(&plain(), None);
        assert_eq!(
            edges(&timeline, &loads, &[f64::NAN; 140], &[12.0]),
            [0.0, 0.0]
        );
        assert!(edges(&Timeline::default(), &Loads::default(), &[], &[]).is_empty());
    }
}
