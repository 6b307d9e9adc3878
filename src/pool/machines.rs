use std::collections::BTreeMap;

use crate::delay::{Decision, FieldEvidence, decide, shown};
use crate::evidence::DelayGrounds;
use crate::gather::{MachineEvidence, Settled};
use crate::job::Job;
use crate::ramps::{FieldRamps, Ramps, estimate};

/// A machine's whole delay where a display has taken part of it away, s: the middle of what is published (8–15 s, see the
/// sources of [`crate::delay`]).
const USUAL_DELAY_S: f64 = 11.5;

/// What is used for one machine in one field.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct MachineDecision {
    /// Machine name.
    pub machine: String,
    /// Delay.
    pub delay: Decision,
    /// Ramps.
    pub ramps: Ramps,
    /// The curves that the delay was read from.
    pub curve: DelayGrounds,
}

impl From<&MachineDecision> for Settled {
    fn from(decision: &MachineDecision) -> Self {
        Self {
            delay: decision.delay.delay.value,
            entry: decision.ramps.entry.seconds,
            exit: decision.ramps.exit.seconds,
            moved: if decision.delay.already_shifted {
                (USUAL_DELAY_S - decision.delay.delay.value).max(0.0)
            } else {
                0.0
            },
        }
    }
}

/// Pools round one. `fields`: crop name and evidence of each field that was gathered; the result is in the same order,
/// a decision for each of its machines.
pub fn machines(job: &Job, fields: &[(&str, &[MachineEvidence])]) -> Vec<Vec<MachineDecision>> {
    let mut groups: BTreeMap<(&str, &str), Vec<(usize, usize)>> = BTreeMap::new();
    for (f, (crop, evidence)) in fields.iter().enumerate() {
        for (m, e) in evidence.iter().enumerate() {
            groups
                .entry((e.delay.machine.as_str(), *crop))
                .or_default()
                .push((f, m));
        }
    }
    let mut out: Vec<Vec<Option<MachineDecision>>> =
        fields.iter().map(|(_, e)| vec![None; e.len()]).collect();
    for ((name, _), members) in groups {
        let evidence: Vec<&MachineEvidence> =
            members.iter().map(|&(f, m)| &fields[f].1[m]).collect();
        for ((f, m), decision) in members.into_iter().zip(machine(job, name, &evidence)) {
            out[f][m] = Some(decision);
        }
    }
    out.into_iter()
        .map(|f| f.into_iter().flatten().collect())
        .collect()
}

/// Pools what fields say of one machine in one crop; a decision for each, in their order.
pub fn machine(job: &Job, name: &str, fields: &[&MachineEvidence]) -> Vec<MachineDecision> {
    let settings = job.machines.iter().find(|s| s.name == name);
    let for_delay: Vec<FieldEvidence> = fields
        .iter()
        .map(|evidence| FieldEvidence {
            evidence: &evidence.delay,
            fixed: settings.and_then(|s| s.delay),
            fixed_moisture: settings.and_then(|s| s.moisture_delay),
        })
        .collect();
    let delays = decide(&for_delay);
    // Logs that were shifted before ramp like raw ones once both are put right, but displays also trim pass ends:
    // each kind has its own profile.
    let kinds = [false, true].map(|shifted| -> Vec<usize> {
        (0..fields.len())
            .filter(|&k| delays[k].already_shifted == shifted)
            .collect()
    });
    let mixing_s = delays.first().map_or(0.0, |d| d.mixing_s);
    let curves = shown(&for_delay, &kinds, mixing_s);
    let ramps = kinds.each_ref().map(|own| {
        let of_field = |&k: &usize| FieldRamps {
            evidence: &fields[k].ramps,
            delay: delays[k].delay.value,
            filling: delays[k].filling,
        };
        estimate(&own.iter().map(of_field).collect::<Vec<_>>())
    });
    (delays.into_iter().zip(curves))
        .map(|(delay, curve)| MachineDecision {
            machine: name.to_owned(),
            ramps: ramps[usize::from(delay.already_shifted)].clone(),
            delay,
            curve,
        })
        .collect()
}
