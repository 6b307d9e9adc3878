//! What one field says of its loads and tickets.

use std::collections::BTreeMap;

use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

use super::crossing::crossing;
use crate::calibrate::joint::Links;
use crate::faults::{self, FaultParams, FaultParamsError};
use crate::job::{FieldSeason, Job};
use crate::loads::{self, LoadEvidence, Loads, assign};
use crate::log::{Clock, Log, Timeline};
use crate::read::{FieldInput, Ticket};
use crate::summary::Remark;

/// One field season as the audit needs it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AuditField {
    /// Field name.
    pub field: String,
    /// Crop.
    pub crop: String,
    /// Its loads.
    pub loads: Vec<AuditLoad>,
    /// The tickets that may concern it.
    pub tickets: Vec<Ticket>,
    /// Whether any of its logs counts time from a known start.
    pub has_clock: bool,
    /// What reading it had to say.
    pub reading: Vec<Remark>,
    /// What neighbouring ground says of its loads, where a run would ask it; needed for what a run does with tickets alone.
    pub links: Option<Links>,
}

/// One load in one field.
#[derive(Debug, Clone, PartialEq)]
pub struct AuditLoad {
    /// Masses, flows, moisture.
    pub evidence: LoadEvidence,
    /// Time of its first row, Unix s.
    pub start: Option<f64>,
    /// Day and time of its first row, in the job's time zone.
    pub begins: Option<DateTime>,
    /// Share of its grain that was cut across the field's main direction, 0–1; `None` where the field has none.
    pub crossing_share: Option<f64>,
    /// Share of the field's grain that was cut before it began, 0–1.
    pub earlier_share: Option<f64>,
}

impl AuditLoad {
    /// Day of its first row, in the job's time zone.
    pub fn date(&self) -> Option<Date> {
        self.begins.map(|t| t.date())
    }
}

/// Sums what a field logged of its loads.
///
/// # Errors
/// Where the search for faults is set up wrongly.
pub fn gather(
    job: &Job,
    season: &FieldSeason,
    input: &FieldInput,
) -> Result<AuditField, FaultParamsError> {
    let log = &input.log;
    let timeline = Timeline::new(log);
    let faults = faults::apply(log, &timeline, &FaultParams::default().check()?);
    let loads = assign(log, &input.tickets);
    let evidence = loads::evidence(log, &timeline, &loads, &input.tickets, &faults.mass, None);
    let zone = TimeZone::get(&job.timezone).unwrap_or(TimeZone::UTC);
    let mut out: Vec<AuditLoad> = evidence
        .into_iter()
        .map(|evidence| AuditLoad {
            evidence,
            start: None,
            begins: None,
            crossing_share: None,
            earlier_share: None,
        })
        .collect();
    starts(log, &loads, &zone, &mut out);
    across(log, &timeline, &loads, &faults.mass, &mut out);
    earlier(log, &timeline, &loads, &faults.mass, &mut out);
    Ok(AuditField {
        field: season.name.clone(),
        crop: season.crop.name.clone(),
        loads: out,
        tickets: input.tickets.clone(),
        has_clock: log.sources.iter().any(|s| s.clock == Clock::Unix),
        reading: input.warnings.clone(),
        links: None,
    })
}

fn starts(log: &Log, loads: &Loads, zone: &TimeZone, out: &mut [AuditLoad]) {
    for (i, &k) in loads.of_row.iter().enumerate() {
        let time = log.time[i];
        if log.sources[log.source[i] as usize].clock != Clock::Unix || !time.is_finite() {
            continue;
        }
        let start = &mut out[k as usize].start;
        if start.is_none_or(|s| time < s) {
            *start = Some(time);
        }
    }
    for load in out {
        load.begins = load
            .start
            .and_then(|s| jiff::Timestamp::from_second(s.floor() as i64).ok())
            .map(|t| zone.to_datetime(t));
    }
}

fn across(log: &Log, timeline: &Timeline, loads: &Loads, mass: &[f64], out: &mut [AuditLoad]) {
    let mut sums: BTreeMap<u32, (f64, f64)> = BTreeMap::new();
    for (i, crosses) in crossing(log, timeline, mass).into_iter().enumerate() {
        if let (Some(crosses), true) = (crosses, mass[i] > 0.0) {
            let sum = sums.entry(loads.of_row[i]).or_default();
            sum.0 += if crosses { mass[i] } else { 0.0 };
            sum.1 += mass[i];
        }
    }
    for (k, (crossing, all)) in sums {
        out[k as usize].crossing_share = Some(crossing / all);
    }
}

fn earlier(log: &Log, timeline: &Timeline, loads: &Loads, mass: &[f64], out: &mut [AuditLoad]) {
    let total: f64 = mass.iter().filter(|m| **m > 0.0).sum();
    if !(total > 0.0) {
        return;
    }
    let mut before = 0.0;
    for i in timeline.work_order(log) {
        let i = i as usize;
        if mass[i] > 0.0 {
            out[loads.of_row[i] as usize]
                .earlier_share
                .get_or_insert(before / total);
            before += mass[i];
        }
    }
}
