//! Names the faults and replaces their masses.

use super::estimate::{FaultLimits, estimate, flows};
use super::params::CheckedFaultParams;
use super::replace::interpolated;
use super::stats::FaultStats;
use super::{FaultKind, duplicates, spikes, stuck};
use crate::log::{Log, Timeline, Track, WorkState};

/// The faults of a log. Vectors have one entry per row of the log, or per track of its timeline.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Faults {
    /// What is wrong with the row; `None` where nothing is.
    pub kind: Vec<Option<FaultKind>>,
    /// Wet mass of the row, kg: as logged, or what stands in for it; never negative; NaN where the log has neither
    /// flow nor mass.
    #[serde(with = "crate::log::bytes")]
    pub mass: Vec<f64>,
    /// Wet mass as logged, kg; NaN where the log has neither flow nor mass.
    #[serde(with = "crate::log::bytes")]
    pub logged: Vec<f64>,
    /// The limits of each track, in the order of [`Timeline::tracks`].
    pub limits: Vec<FaultLimits>,
}

impl Faults {
    /// Counts and masses.
    pub fn stats(&self) -> FaultStats {
        FaultStats::of(self)
    }
}

/// Finds the faults of every track of `log` and replaces their masses: 0 for a record's second time, otherwise what
/// sound rows of the same track say; 0 too where the log says that the machine was not working, or where no sound row
/// is near.
pub fn apply(log: &Log, timeline: &Timeline, params: &CheckedFaultParams) -> Faults {
    let logged: Vec<f64> = (0..log.len())
        .map(|i| {
            let has_any = log.flow[i].is_finite() || log.mass[i].is_finite();
            if has_any {
                timeline.mass(log, i)
            } else {
                f64::NAN
            }
        })
        .collect();
    let mut faults = Faults {
        kind: vec![None; log.len()],
        mass: logged.clone(),
        logged,
        limits: Vec::new(),
    };
    for track in &timeline.tracks {
        let limits = on_track(log, timeline, track, params, &mut faults);
        faults.limits.push(limits);
    }
    for mass in &mut faults.mass {
        // A zero that drifted below zero is no grain; NaN stays.
        *mass = if *mass < 0.0 { 0.0 } else { *mass };
    }
    faults
}

fn on_track(
    log: &Log,
    timeline: &Timeline,
    track: &Track,
    params: &CheckedFaultParams,
    faults: &mut Faults,
) -> FaultLimits {
    let flow = flows(log, track, &timeline.interval);
    let duplicate = duplicates::duplicates(log, track);
    let limits = estimate(track, &flow, &duplicate, params);
    let is_stuck = match limits.stuck_rows {
        Some(rows) => stuck::stuck_rows(track, &flow, &duplicate, rows, params),
        None => vec![false; track.len()],
    };
    let skip: Vec<bool> = (0..track.len())
        .map(|k| duplicate[k] || is_stuck[k])
        .collect();
    let spike = spikes::spikes(track, &flow, &skip, &limits, params);
    let sound: Vec<bool> = (0..track.len())
        .map(|k| !skip[k] && !spike[k] && flow[k].is_finite())
        .collect();
    for (k, &i) in track.rows.iter().enumerate() {
        let i = i as usize;
        let kind = match (duplicate[k], spike[k], is_stuck[k]) {
            (true, _, _) => FaultKind::Duplicate,
            (_, true, _) => FaultKind::Spike,
            (_, _, true) => FaultKind::Stuck,
            _ => continue,
        };
        faults.kind[i] = Some(kind);
        let works = kind != FaultKind::Duplicate && log.work[i] != WorkState::NotWorking;
        let flow = if works {
            interpolated(track, &flow, &sound, k)
        } else {
            None
        };
        faults.mass[i] = flow.map_or(0.0, |f| f * timeline.interval[i]);
    }
    limits
}
