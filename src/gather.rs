//! First half of every round: what one field says, small enough to send to a pool.

use serde::{Deserialize, Serialize};

use crate::calibrate::joint::{self, GroundInput, Links, Patch};
use crate::delay::{self, DelayInput, FieldEvidence, TrackSignals, decide};
use crate::loads::{self, LoadEvidence, TicketRef, Unlogged, UnloggedInput};
use crate::prepare::Prepared;
use crate::ramps::{self, RampInput};
use crate::read::{Ticket, TicketUse};
use crate::stats::median;

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
    /// Seconds by which a display has moved its flow against its loads, as far as can be told; 0 for a raw log.
    pub moved: f64,
}

/// Longest pause that delays and ramps are looked for in, s: beyond what their windows, filters and candidates reach on
/// either side of it together (45 s about an end, 30 s of delay, 16 s of filter; our choice).
const PAUSE_S: f64 = 300.0;

/// Round one: delays and ramps, a machine at a time, in the order of the timeline's tracks.
pub fn machines(field: &Prepared) -> Vec<MachineEvidence> {
    let Prepared {
        input,
        timeline,
        passes,
        faults,
        width,
        outside,
        ..
    } = field;
    // With its header down a machine may drive out of the crop: what it passes over there is no intake.
    let area: Vec<f64> = (width.new_area.iter().zip(outside))
        .map(|(area, outside)| if *outside { 0.0 } else { *area })
        .collect();
    let area = area.as_slice();
    let timeline = &*timeline.closed_up(PAUSE_S);
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
    let moved: Vec<f64> = machines.iter().map(|m| m.moved).collect();
    let delays: Vec<f64> = machines.iter().map(|m| m.delay).collect();
    let behind = unlogged(field, &delays).kg;
    let loads = loads::evidence(
        &input.log,
        timeline,
        loads,
        &input.tickets,
        &faults.mass,
        Some(&behind),
        &moved,
    );
    let links = (!weighed_and_close(&loads, &input.tickets))
        .then(|| joint::links(&patches(field, machines)))
        .flatten();
    ScaleEvidence {
        loads,
        tickets: input.tickets.clone(),
        links,
    }
}

/// Grain that no row of the field has. `delays`: of each track, s.
pub fn unlogged(field: &Prepared, delays: &[f64]) -> Unlogged {
    loads::unlogged(&UnloggedInput {
        timeline: &field.timeline,
        passes: &field.passes,
        new_area: &field.width.new_area,
        mass: &field.faults.mass,
        delay: delays,
    })
}

/// Tickets of one machine that agree so well with what it logged need no neighbours (loads agree within ±3 %: common
/// practice).
const CLOSE: f64 = 0.03;
/// Grain without ticket that does not matter, share (our choice).
const NO_MATTER: f64 = 0.005;

/// Whether the field has one machine, all whose loads were weighed, each on its own, and all alike.
fn weighed_and_close(loads: &[LoadEvidence], tickets: &[Ticket]) -> bool {
    let one_machine = loads.windows(2).all(|w| w[0].machine == w[1].machine);
    let total: f64 = loads.iter().map(|l| l.mass_kg).sum();
    let mut factors = Vec::new();
    let mut open = 0.0;
    for load in loads {
        let of = |r: &TicketRef| tickets.iter().find(|t| TicketRef::of(t) == *r);
        match load.ticket.as_ref().and_then(of) {
            Some(t) if t.usage == TicketUse::Auto && load.mass_kg > 0.0 => {
                factors.push((t.net_kg / load.mass_kg).ln());
            }
            _ => open += load.mass_kg,
        }
    }
    let Some(middle) = median(&factors) else {
        return false;
    };
    one_machine && open <= NO_MATTER * total && factors.iter().all(|f| (f - middle).abs() <= CLOSE)
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
