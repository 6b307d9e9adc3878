//! Second half of every round: the evidence of all fields, machine by machine and crop by crop, into decisions.

mod dry_flow;
mod machines;
mod scale;

pub use machines::{MachineDecision, machines};
pub use scale::{LoadDecision, ScaleDecision, scale};
