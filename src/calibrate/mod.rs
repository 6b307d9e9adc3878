//! Calibration: from logged masses, tickets and neighbouring ground to a factor for every load.
//!
//! Two steps. The *joint adjustment* ([`joint`]) expects a factor of every load from all that is known: tickets of other
//! loads, how the sensor wanders and bends, and how neighbouring ground cut in other loads yields. Then *closure*: the
//! loads of each used ticket are scaled together until they sum to it exactly.

mod closure;
pub mod course;
pub mod joint;

pub use closure::{LoadFactor, Weighing, close};
