//! ISO 11783-10 task data: fields, machines, tasks, and the logs that a task controller wrote.
//!
//! Written from the standard's public descriptions: the schemas of versions 3.3 and 4.3, and the dictionary of data
//! identifiers of ISO 11783-11 (isobus.net).

mod ddi;
mod header;
mod log;
mod plan;
mod record;
mod select;
mod set;
mod xml;

pub(super) use log::open;
pub(super) use select::tasks_of;
pub use set::{Task, TaskField, TaskMachine, TaskSet};
