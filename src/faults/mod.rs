//! Rows that are not grain: records written twice, flow spikes, a sensor that is stuck.
//!
//! This runs on the rows as logged, before delays and passes are known, because masses of loads are summed from them.
//! A fault is named and its mass replaced; the row stays. What the combine really does is no fault: filling and
//! emptying, bare ground, a sharp edge, a sudden stop. Where the log cannot tell, the row is left alone, and the
//! checks on the ground see to it later.
//!
//! [`estimate`] learns each machine's limits from its own log → [`apply`] names the faults and replaces masses →
//! [`Faults::refill`] replaces those of stuck readings better, once passes are known → [`Faults::stats`] counts.
//!
//! **Negative flow** is a sensor's zero drifting below zero, or a wild reading. Neither is grain: a small one (within
//! [`FaultParams::zero_share`] of the usual flow) counts as no grain without a fault being named, a larger one is a
//! flow spike.

mod apply;
mod duplicates;
mod estimate;
mod params;
mod refill;
mod replace;
mod spikes;
mod stats;
mod stuck;

pub use apply::{Faults, apply};
pub use estimate::{FaultLimits, estimate};
pub use params::{CheckedFaultParams, FaultParams, FaultParamsError};
pub use stats::FaultStats;

use crate::log::Reason;

/// What is wrong with a row.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
pub enum FaultKind {
    /// The same record a second time.
    Duplicate,
    /// The flow leaps off its neighbours and back, faster than grain can inside a machine.
    Spike,
    /// The same reading again and again, for longer than this log's readings repeat by chance.
    Stuck,
}

impl FaultKind {
    /// The reason with which the ground that receives this reading is set aside (for a duplicate: the row's own).
    pub fn reason(self) -> Reason {
        match self {
            FaultKind::Duplicate => Reason::DuplicateRow,
            FaultKind::Spike => Reason::FlowSpike,
            FaultKind::Stuck => Reason::StuckSensor,
        }
    }
}
