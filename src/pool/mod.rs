//! Second half of every round: the evidence of all fields, machine by machine and crop by crop, into decisions.

mod adjust;
mod course;
mod dry_flow;
mod flows;
mod machines;
mod remarks;
mod scale;

pub use flows::KnownFlows;
pub use machines::{MachineDecision, machine, machines};
pub use scale::{LoadDecision, ScaleDecision, scale};
