//! Calibration: from logged masses and tickets to a factor for every load.
//!
//! Two steps. A *machine factor* per machine and crop carries the scale to loads that were never weighed: the tickets'
//! mass over the logged mass of the loads they weighed (a ratio of sums, since the scale weighs sums). Then *closure*:
//! the loads of each used ticket are scaled together until they sum to it exactly.
//!
//! A single factor that closes is no proof that a sensor reads alike at all flows: flow-dependent error integrates
//! out over a load (University of Kentucky extension). So the leave-one-load-out error is part of the result.

mod closure;
mod factors;
pub mod joint;

pub use closure::{LoadFactor, Weighing, close};
pub use factors::{Doubt, MachineFactor, TicketFit, machine_factor};
