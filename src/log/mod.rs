//! The one data type of the pipeline: the columns of a field season's logs, and the verdict per row.
//!
//! A [`Log`] holds every readable row of every log file of one field season, in the order of the files and of the
//! rows in them. Rows are never dropped or reordered. Amounts are SI: m, s, m/s, kg/s (wet), % wet basis, degrees.
//! A missing number is NaN *inside* this type only; every door (reader, writer) turns it from and into "missing".

pub(crate) mod bytes;
mod order;
mod timeline;
mod verdict;

pub use timeline::{Timeline, Track};
pub use verdict::{Reason, Verdicts};

/// What the log says of the header or the machine in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
pub enum WorkState {
    /// The log does not say.
    #[default]
    Unknown,
    /// At work.
    Working,
    /// Header up, or the machine not cutting.
    NotWorking,
}

/// What the numbers in [`Log::time`] count from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
pub enum Clock {
    /// Seconds since 1970-01-01T00:00:00Z.
    Unix,
    /// Seconds from an unknown start.
    Relative,
    /// No time column: order and interval are all there is.
    #[default]
    None,
}

/// One log file's part of a [`Log`].
#[derive(Debug, Clone, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
pub struct Source {
    /// Path as matched, relative to the job file, with `/` between its parts.
    pub path: String,
    /// What this file's times count from.
    pub clock: Clock,
}

/// The columns of one field season's logs. All vectors have one entry per row.
#[derive(Debug, Clone, Default, serde::Serialize, serde::Deserialize)]
pub struct Log {
    /// The files, in the order in which they were read.
    pub sources: Vec<Source>,
    /// Machine names; [`Log::machine`] indexes them.
    pub machines: Vec<String>,
    /// Load names; [`Log::load`] indexes them. The same load id on two machines is one entry here.
    pub loads: Vec<String>,
    /// Index into [`Log::sources`].
    pub source: Vec<u32>,
    /// Data row in its file, counted from 1.
    pub row: Vec<u32>,
    /// Index into [`Log::machines`].
    pub machine: Vec<u32>,
    /// Index into [`Log::loads`]; `None` where the log names no load.
    pub load: Vec<Option<u32>>,
    /// Pass number as the log has it, where it has one.
    pub pass_label: Vec<Option<u32>>,
    /// Work state.
    pub work: Vec<WorkState>,
    /// Longitude, degrees east, WGS 84; NaN where there is none.
    #[serde(with = "crate::log::bytes")]
    pub lon: Vec<f64>,
    /// Latitude, degrees north, WGS 84; NaN where there is none.
    #[serde(with = "crate::log::bytes")]
    pub lat: Vec<f64>,
    /// Time at the end of the row's interval, s, counted as the source's [`Clock`] says; NaN where missing.
    #[serde(with = "crate::log::bytes")]
    pub time: Vec<f64>,
    /// Length of the row's interval, s; NaN where the log does not say.
    #[serde(with = "crate::log::bytes")]
    pub interval: Vec<f64>,
    /// Wet mass flow at the sensor over the row's interval, kg/s; NaN where missing.
    #[serde(with = "crate::log::bytes")]
    pub flow: Vec<f64>,
    /// Wet mass logged for the row, kg, where the log has masses and not flows; NaN where missing.
    #[serde(with = "crate::log::bytes")]
    pub mass: Vec<f64>,
    /// Moisture, % wet basis; NaN where missing.
    #[serde(with = "crate::log::bytes")]
    pub moisture: Vec<f64>,
    /// Ground speed, m/s; NaN where missing.
    #[serde(with = "crate::log::bytes")]
    pub speed: Vec<f64>,
    /// Distance travelled in the row's interval, m; NaN where missing.
    #[serde(with = "crate::log::bytes")]
    pub distance: Vec<f64>,
    /// Header width the log claims, m; NaN where missing.
    #[serde(with = "crate::log::bytes")]
    pub width: Vec<f64>,
    /// Heading, degrees clockwise from north; NaN where missing.
    #[serde(with = "crate::log::bytes")]
    pub heading: Vec<f64>,
    /// Elevation, m; NaN where missing.
    #[serde(with = "crate::log::bytes")]
    pub elevation: Vec<f64>,
}

impl Log {
    /// Number of rows.
    pub fn len(&self) -> usize {
        self.row.len()
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.row.is_empty()
    }
}
