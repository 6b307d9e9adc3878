//! First half of every round: what one field says, small enough to send to a pool.

use serde::{Deserialize, Serialize};

use crate::calibrate::joint::{self, GroundInput, Links, Patch};
use crate::delay::{self, DelayInput, FieldEvidence, TrackSignals, decide};
use crate::loads::{self, LoadEvidence};
use crate::prepare::Prepared;
use crate::ramps::{self, RampInput};
use crate::read::Ticket;

/// What one field says of one of its machines.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MachineEvidence {
    /// Evidence on the delay.
    pub delay: delay::Evidence,
    /// Evidence on the ramps.
    pub ramps: ramps::Evidence,
}

/// What one field says of its loads.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ScaleEvidence {
    /// Its loads, in the order of [`crate::loads::Loads::keys`].
    pub loads: Vec<LoadEvidence>,
    /// The tickets it knows of.
    pub tickets: Vec<Ticket>,
    /// What neighbouring ground says of the loads' factors against each other; `None` where it says nothing.
    pub links: Option<Links>,
}

/// What round one settled for a machine, as far as round two needs it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Settled {
    /// Delay, s.
    pub delay: f64,
    /// Entry ramp, s.
    pub entry: f64,
    /// Exit ramp, s.
    pub exit: f64,
}

/// Round one: delays and ramps, a machine at a time, in the order of the timeline's tracks.
pub fn machines(field: &Prepared) -> Vec<MachineEvidence> {
    let Prepared {
        input,
        timeline,
        passes,
        faults,
        width,
        ..
    } = field;
    let area = width.new_area.as_slice();
    let signals: Vec<TrackSignals> = timeline
        .tracks
        .iter()
        .map(|t| TrackSignals::new(t, &faults.mass, area))
        .collect();
    let delays = delay::gather(&DelayInput {
        log: &input.log,
        timeline,
        passes,
        area,
        signals: &signals,
    });
    // Profiles are taken with what this field alone says; they move when the pool has decided.
    let provisional: Vec<f64> = delays
        .iter()
        .map(|evidence| {
            let alone = FieldEvidence {
                evidence,
                fixed: None,
                fixed_moisture: None,
            };
            decide(&[alone]).first().map_or(0.0, |d| d.delay.value)
        })
        .collect();
    let ramps = ramps::gather(
        &RampInput {
            log: &input.log,
            timeline,
            passes,
            signals: &signals,
        },
        &provisional,
    );
    delays
        .into_iter()
        .zip(ramps)
        .map(|(delay, ramps)| MachineEvidence { delay, ramps })
        .collect()
}

/// Round two: masses, flows and moistures of the loads, and what neighbouring ground says of them. `machines`: an entry
/// per track of the field's timeline.
pub fn scale(field: &Prepared, machines: &[Settled]) -> ScaleEvidence {
    let Prepared {
        input,
        timeline,
        faults,
        loads,
        ..
    } = field;
    ScaleEvidence {
        loads: loads::evidence(&input.log, timeline, loads, &input.tickets, &faults.mass),
        tickets: input.tickets.clone(),
        links: joint::links(&patches(field, machines)),
    }
}

/// Patches of ground of one load on one pass each.
pub fn patches(field: &Prepared, machines: &[Settled]) -> Vec<Patch> {
    let faulty: Vec<bool> = field.faults.kind.iter().map(Option::is_some).collect();
    let delay: Vec<f64> = machines.iter().map(|m| m.delay).collect();
    let ramps: Vec<(f64, f64)> = machines.iter().map(|m| (m.entry, m.exit)).collect();
    joint::observe(&GroundInput {
        log: &field.input.log,
        timeline: &field.timeline,
        passes: &field.passes,
        width: &field.width,
        loads: &field.loads,
        mass: &field.faults.mass,
        faulty: &faulty,
        delay: &delay,
        ramps: &ramps,
    })
}
