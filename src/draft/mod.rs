//! A job file from a folder: which of its files are logs, tickets and boundaries, which logs fall in which boundary, and
//! what nobody but the user can say, as questions. For `fanmill new`.

mod fields;
mod text;

pub use fields::{DraftField, fields};
pub use text::job_text;

use geo::MultiPolygon;

use crate::inspect::Survey;

/// A log that was found.
#[derive(Debug)]
pub struct FoundLog {
    /// Its path, relative to the folder.
    pub path: String,
    /// What it holds.
    pub survey: Survey,
    /// Some of its positions, in degrees (longitude, latitude).
    pub places: Vec<[f64; 2]>,
}

/// A boundary that was found.
#[derive(Debug)]
pub struct FoundBoundary {
    /// Its path, relative to the folder.
    pub path: String,
    /// Its name in the file, where that holds several.
    pub name: Option<String>,
    /// Its outline, in degrees.
    pub shape: MultiPolygon<f64>,
}

/// A table of tickets that was found.
#[derive(Debug)]
pub struct FoundTickets {
    /// Its path, relative to the folder.
    pub path: String,
    /// The loads that it names.
    pub loads: Vec<String>,
}

/// What a folder holds.
#[derive(Debug, Default)]
pub struct Found {
    /// Logs.
    pub logs: Vec<FoundLog>,
    /// Boundaries.
    pub boundaries: Vec<FoundBoundary>,
    /// Tickets.
    pub tickets: Vec<FoundTickets>,
    /// Files that look like a log and cannot be read: path, and why.
    pub unusable: Vec<(String, String)>,
    /// Files that are none of these.
    pub others: Vec<String>,
}
