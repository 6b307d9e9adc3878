//! Logged loads that no ticket weighed.

use jiff::civil::Date;
use serde::Serialize;

use super::join::{Batch, Group};
use super::level::Level;
use super::{AuditCode, AuditField, AuditRemark};

/// Loads that are named one by one in a sentence.
const NAMED: usize = 8;

/// A logged load without a ticket.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UnweighedLoad {
    /// Load id; null: grain outside every load.
    pub load: Option<String>,
    /// Field.
    pub field: String,
    /// Machine.
    pub machine: String,
    /// Crop.
    pub crop: String,
    /// Logged wet mass, faults replaced, kg.
    pub logged_kg: f64,
    /// The same with the machine's factor, kg; null where it has none.
    pub expected_kg: Option<f64>,
    /// 10th, 50th and 90th percentile of flow, kg/s.
    pub flow_kg_s: Option<[f64; 3]>,
    /// Flow-weighted logged moisture, %.
    pub moisture_pct: Option<f64>,
    /// Time over which its grain passed the sensor, min.
    pub minutes: f64,
    /// Its first day.
    pub date: Option<Date>,
    /// What to know about it.
    pub remarks: Vec<AuditRemark>,
}

/// The heaviest first.
pub(super) fn audit(batch: &Batch, groups: &[(Group, Level)]) -> Vec<UnweighedLoad> {
    let mut out = Vec::new();
    for (group, level) in groups {
        for &(f, l) in &group.loads {
            let load = &batch.fields[f].loads[l];
            let e = &load.evidence;
            if e.ticket.is_some() || !(e.mass_kg > 0.0) {
                continue;
            }
            out.push(UnweighedLoad {
                load: e.load.clone(),
                field: batch.fields[f].field.clone(),
                machine: e.machine.clone(),
                crop: group.crop.to_owned(),
                logged_kg: e.mass_kg,
                expected_kg: level.factor().map(|k| k * e.mass_kg),
                flow_kg_s: e.flow_kg_s,
                moisture_pct: e.moisture_pct,
                minutes: e.seconds / 60.0,
                date: load.date(),
                remarks: vec![no_ticket(e.load.is_some(), level)],
            });
        }
    }
    out.sort_by(|a, b| {
        b.logged_kg
            .total_cmp(&a.logged_kg)
            .then_with(|| (&a.field, &a.machine, &a.load).cmp(&(&b.field, &b.machine, &b.load)))
    });
    out
}

fn no_ticket(named: bool, level: &Level) -> AuditRemark {
    let what = if named {
        "no ticket weighed it"
    } else {
        "it is outside every load of the log, so no ticket can name it"
    };
    let then = if level.factor().is_some() {
        "it takes the factor of the machine's other loads, or its neighbours'"
    } else {
        "and no other load of the machine was weighed in this crop: its level is the sensor's own"
    };
    AuditRemark::new(
        AuditCode::NoTicket,
        format!("{what}; {then}"),
        "if there is a ticket, add its row",
    )
}

/// Loads of a field that a ticket with a wrong name could be meant for, as the end of a sentence.
pub(super) fn named_in(field: &AuditField) -> String {
    let free: Vec<String> = (field.loads.iter())
        .map(|l| &l.evidence)
        .filter(|e| e.ticket.is_none() && e.mass_kg > 0.0)
        .filter_map(|e| Some(format!("{} (logged {:.0} kg)", e.load.as_ref()?, e.mass_kg)))
        .collect();
    match free.len() {
        0 => "; every load of the field has a ticket already".to_owned(),
        n if n > NAMED => format!("; {n} loads of the field have no ticket"),
        _ => format!("; loads of the field without a ticket: {}", free.join(", ")),
    }
}
