//! Loads: which grain went into which wagon, and which ticket weighed it.
//!
//! Grain belongs to the load during which it passed the sensor, wherever it grew: grain still in the machine when the
//! load changes is part of the next one.

mod assign;
mod edges;
mod evidence;
mod unlogged;

pub use assign::{LoadKey, Loads, assign};
pub use edges::edges;
pub use evidence::{LoadEvidence, TicketRef, evidence};
pub use unlogged::{Missing, Told, Unlogged, UnloggedInput, unlogged};
