//! What a run of the same job does with each ticket.

use std::collections::BTreeMap;

use serde::Serialize;

use super::join::{Batch, Group};
use crate::calibrate::{TicketFit, machine_factor};
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

/// By index of the ticket in the batch. The test is the run's own, on the same figures.
pub(super) fn in_run(batch: &Batch, groups: &[&Group]) -> BTreeMap<usize, InRun> {
    let mut out: BTreeMap<usize, InRun> = (batch.weighings.iter().enumerate())
        .map(|(w, weighing)| {
            let plain = match weighing.ticket.usage {
                TicketUse::No => InRun::NotUsed,
                _ if !weighing.comparable() => InRun::Nothing,
                _ => InRun::Obeyed,
            };
            (w, plain)
        })
        .collect();
    for group in groups {
        let fits: Vec<TicketFit> = (group.weighings.iter())
            .map(|&w| &batch.weighings[w])
            .map(|w| TicketFit {
                weighed: w.ticket.net_kg,
                logged: w.logged_kg,
                usage: w.ticket.usage,
            })
            .collect();
        for doubt in machine_factor(&fits).map_or_else(Vec::new, |m| m.doubts) {
            let forced = fits[doubt.ticket].usage == TicketUse::Yes;
            let in_run = if forced {
                InRun::Forced
            } else {
                InRun::HeldOut
            };
            out.insert(group.weighings[doubt.ticket], in_run);
        }
    }
    out
}
