//! What a run of the same job does with each ticket.

use std::collections::BTreeMap;

use serde::Serialize;

use super::join::Batch;
use crate::gather::ScaleEvidence;
use crate::pool;
use crate::read::TicketUse;

/// What `run` does with a ticket.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum InRun {
    /// It is obeyed: its loads sum to it.
    Obeyed,
    /// It is held out, because the machine's others contradict it beyond doubt.
    HeldOut,
    /// It would be held out, but its row says `use = yes`.
    Forced,
    /// Its row says `use = no`.
    NotUsed,
    /// No logged grain goes with it.
    Nothing,
}

/// By index of the ticket in the batch: the run's own decision, from the same evidence.
pub(super) fn in_run(batch: &Batch) -> BTreeMap<usize, InRun> {
    let evidence: Vec<ScaleEvidence> = (batch.fields.iter())
        .map(|field| ScaleEvidence {
            loads: field.loads.iter().map(|l| l.evidence.clone()).collect(),
            tickets: field.tickets.clone(),
            links: field.links.clone(),
        })
        .collect();
    let fields: Vec<(&str, &ScaleEvidence)> = (batch.fields.iter().zip(&evidence))
        .map(|(field, evidence)| (field.crop.as_str(), evidence))
        .collect();
    let decided = pool::scale(&fields);
    (batch.weighings.iter().enumerate())
        .map(|(w, weighing)| {
            let parts = || weighing.parts.iter().map(|&(f, l)| &decided[f].loads[l]);
            let doubted = parts().any(|d| d.doubt.is_some());
            let plain = match weighing.ticket.usage {
                TicketUse::No => InRun::NotUsed,
                _ if !weighing.comparable() => InRun::Nothing,
                _ if !doubted => InRun::Obeyed,
                TicketUse::Yes => InRun::Forced,
                TicketUse::Auto => InRun::HeldOut,
            };
            (w, plain)
        })
        .collect()
}
