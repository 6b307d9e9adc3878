//! Audit of the scale's tickets before any map: which ticket to check first, and why.
//!
//! [`gather`] sums what a field logged of its loads, without looking for passes or delays: a field that cannot be mapped
//! can still be audited. [`audit`] holds every ticket of the batch against what its machine logged, and against the
//! machine's other tickets: what a machine in a crop gets wrong, it gets wrong alike, so a ticket that departs from the
//! others is the ticket's doing or the load's. It then asks which simple slip of a pen would explain it, and which load
//! would teach most if it were weighed next.
//!
//! Nothing here decides which tickets a map uses; nothing is written.

mod change;
mod crossing;
mod digits;
mod exchange;
mod field;
mod join;
mod level;
mod machines;
mod next;
mod outliers;
mod overall;
mod remark;
mod run;
mod scale;
mod slip;
mod tickets;
mod unweighed;
mod wording;

pub use exchange::Exchange;
pub use field::{AuditField, AuditLoad, gather};
pub use machines::{DayLevel, MachineAudit};
pub use next::{NextLoad, NextReason};
pub use outliers::{OutlierTest, outliers};
pub use overall::{CropLevel, MachineOverall};
pub use remark::{AuditCode, AuditRemark, Heading, Subject};
pub use run::InRun;
pub use scale::{net_tolerance_kg, tolerance_kg};
pub use slip::{Slip, SlipKind};
pub use tickets::TicketAudit;
pub use unweighed::UnweighedLoad;

use serde::Serialize;

use join::{Batch, Group};
use level::Level;

pub(crate) use crate::calibrate::course::AGREE;
/// Common practice: a ticket weighs at least 3,000 lb of grain, kg.
pub(crate) const LEAST_LOAD_KG: f64 = 3000.0 * crate::units::POUND_KG;
/// Common practice: at least four loads per machine and crop.
pub(crate) const FEWEST_LOADS: usize = 4;
/// Common practice: a sensor's error at other flows shows only where flows of loads differ by this factor.
pub(crate) const FLOW_SPREAD: f64 = 1.5;
/// Common practice: grain more than four points of moisture apart is calibrated apart.
pub(crate) const MOISTURE_CLASS: f64 = 4.0;

/// A ticket against what is expected of it, %: + where it is heavier.
pub(crate) fn off_pct(weighed_kg: f64, expected_kg: f64) -> f64 {
    100.0 * (weighed_kg / expected_kg - 1.0)
}

/// Whether a difference in % is beyond 3 %, as it is printed: to one decimal.
pub(crate) fn is_beyond(off_pct: f64) -> bool {
    (10.0 * off_pct.abs()).round() > 1000.0 * AGREE
}

/// The audit of a batch: everything worst first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Audit {
    /// Every ticket.
    pub tickets: Vec<TicketAudit>,
    /// Every machine in every crop.
    pub machines: Vec<MachineAudit>,
    /// Every machine over its crops.
    pub overall: Vec<MachineOverall>,
    /// Logged loads that no ticket weighed.
    pub unweighed: Vec<UnweighedLoad>,
    /// What reading the tickets and logs had to say, with the field.
    pub input: Vec<InputRemark>,
    /// Which loads would be worth weighing next time.
    pub next: Vec<NextLoad>,
    /// Fields that could not be read; they are not in the audit.
    pub failed: Vec<FailedField>,
}

/// A remark on a file of tickets or logs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct InputRemark {
    /// The field that it was read for.
    pub field: String,
    /// What is wrong, and what to do.
    pub remark: AuditRemark,
}

/// A field that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FailedField {
    /// The field.
    pub field: String,
    /// Why, and a way out.
    pub error: String,
}

/// Audits the tickets of a batch.
pub fn audit(fields: &[AuditField]) -> Audit {
    let batch = Batch::new(fields);
    let groups: Vec<(Group, Level)> = (batch.groups().into_iter())
        .map(|group| {
            let level = Level::of(&batch, &group);
            (group, level)
        })
        .collect();
    Audit {
        tickets: tickets::audit(&batch, &groups),
        machines: machines::audit(&batch, &groups),
        overall: overall::audit(&groups),
        unweighed: unweighed::audit(&batch, &groups),
        input: input(&batch),
        next: next::worth_weighing(&batch, &groups),
        failed: Vec::new(),
    }
}

impl Audit {
    /// Every remark with what it is about, in the order in which a person would look into them.
    pub fn worst_first(&self) -> Vec<(Subject<'_>, &AuditRemark)> {
        let tickets = (self.tickets.iter())
            .flat_map(|t| t.remarks.iter().map(move |r| (Subject::Ticket(t), r)));
        let machines = (self.machines.iter())
            .flat_map(|m| m.remarks.iter().map(move |r| (Subject::Machine(m), r)));
        let input = (self.input.iter()).map(|i| (Subject::Input(i), &i.remark));
        let mut all: Vec<_> = tickets.chain(machines).chain(input).collect();
        all.sort_by_key(|(_, remark)| remark.code); // stable: within a code the order of the lists stays
        all
    }
}

/// What reading said, each once: a file of tickets is read for every field that lists it.
fn input(batch: &Batch) -> Vec<InputRemark> {
    let mut out: Vec<InputRemark> = Vec::new();
    for field in batch.fields {
        for said in &field.reading {
            let Some(code) = AuditCode::of_reading(&said.code) else {
                continue;
            };
            let mut text = said.text.clone();
            if out.iter().any(|i| i.remark.text.starts_with(&text)) {
                continue;
            }
            if code == AuditCode::UnknownLoad {
                text += &unweighed::named_in(field);
            }
            out.push(InputRemark {
                field: field.field.clone(),
                remark: AuditRemark::new(code, text, code.usual_action()),
            });
        }
    }
    out.sort_by_key(|i| i.remark.code);
    out
}
