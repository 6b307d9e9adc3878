//! Files into values: logs, tickets, boundaries. Nothing below this module opens an input file.

mod angle;
mod area_yield;
mod as_harvested;
mod boundary;
mod coarse;
mod crs;
mod error;
mod field;
mod find;
mod fingerprint;
mod inspect;
mod iso_time;
mod layout;
mod log_file;
mod log_row;
mod merge;
mod names;
mod number;
mod outlines;
mod owned;
mod position;
mod recognise;
mod row_interval;
mod row_width;
mod sections;
mod shared;
mod siblings;
mod source;
pub mod taskdata;
mod text;
mod ticket_row;
mod tickets;
mod time;
mod turns;

pub use error::{ReadError, ReadErrorKind};
pub use field::read_field;
pub use fingerprint::{fingerprint, input_bytes};
pub use inspect::{
    Inspected, NamedOutline, RawColumn, files_below, inspect, outlines_in, tickets_in,
};
pub use recognise::{
    ColumnRemark, FoundColumn, Moments, Question, Recognised, Severity, by_headers,
};

use geo::MultiPolygon;

use crate::log::Log;
use crate::place::Place;
use crate::summary::Remark;

/// A line that could not be parsed; it counts in `row` numbers and in `points.rows`.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Unreadable {
    /// Where it stood.
    pub place: Place,
    /// What was expected and what stood there.
    pub what: String,
}

/// What the user says about using a ticket.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
pub enum TicketUse {
    /// Use it unless it is found doubtful.
    #[default]
    Auto,
    /// Use it whatever the tests say.
    Yes,
    /// Never use it.
    No,
}

/// A scale's record of one or more loads.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Ticket {
    /// Its number.
    pub id: String,
    /// Where it stands; `(file, row)` identifies it over the whole batch.
    pub place: Place,
    /// Load ids, as written; empty where the ticket has a time window instead.
    pub loads: Vec<String>,
    /// Net wet weight, kg.
    pub net_kg: f64,
    /// Moisture by the scale's tester, %.
    pub moisture_pct: Option<f64>,
    /// Field the row is limited to (its name or client/farm/name); empty: any that lists the file.
    pub field: Option<String>,
    /// Machine the row is limited to.
    pub machine: Option<String>,
    /// Start of its window, Unix s, inclusive.
    pub start: Option<f64>,
    /// End of its window, Unix s, exclusive.
    pub end: Option<f64>,
    /// Scale, as the user names it.
    pub scale: Option<String>,
    /// Whether the user forces or forbids its use.
    pub usage: TicketUse,
}

/// Everything read for one field season.
#[derive(Debug, Clone, Default, serde::Serialize, serde::Deserialize)]
pub struct FieldInput {
    /// The rows.
    pub log: Log,
    /// Lines that could not be parsed.
    pub unreadable: Vec<Unreadable>,
    /// Boundary in longitude and latitude, WGS 84. Small, and not stored with the rest.
    #[serde(skip)]
    pub boundary: Option<MultiPolygon<f64>>,
    /// Tickets that may concern this field (rows limited to another field are left out).
    pub tickets: Vec<Ticket>,
    /// What the user should know about how it was read.
    pub warnings: Vec<Remark>,
}
