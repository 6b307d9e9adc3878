//! The job: what the user asks for, resolved. No later code sees TOML.

mod column;
mod document;
mod error;
mod field;
mod keys;
mod parse;
mod sections;
mod shapes;
pub(crate) mod suggest;

pub use column::LogColumn;
pub use error::JobError;
pub use parse::parse;

use std::path::PathBuf;

use serde_json::Value;

use crate::crop::Crop;
use crate::schema;
use crate::units::YieldUnit;

/// A vector file format that results are written in.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Format {
    /// GeoJSON by RFC 7946.
    GeoJson,
    /// ESRI shapefile with .prj and .cpg.
    Shapefile,
    /// OGC GeoPackage 1.4 with its style inside.
    GeoPackage,
    /// GeoParquet 1.1.
    GeoParquet,
    /// FlatGeobuf 3.
    FlatGeobuf,
}

impl Format {
    /// Every format.
    pub const ALL: [Format; 5] = [
        Format::GeoJson,
        Format::Shapefile,
        Format::GeoPackage,
        Format::GeoParquet,
        Format::FlatGeobuf,
    ];
}

/// A layer that results hold.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Layer {
    /// Kept points.
    Points,
    /// Points set aside, with their reasons.
    SetAside,
    /// Kept points as the ground that each cut.
    Swaths,
    /// Square cells with their mean yield.
    Grid,
}

impl Layer {
    /// Every layer.
    pub const ALL: [Layer; 4] = [Layer::Points, Layer::SetAside, Layer::Swaths, Layer::Grid];
}

/// The coordinate reference system of formats that can carry one (GeoJSON is always WGS 84).
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OutputCrs {
    /// A fixed one, by authority and code, e.g. `EPSG:4326`.
    Code(String),
    /// The UTM zone of each field's centre (WGS 84).
    Utm,
}

/// The order of day, month and year in written dates.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum DateOrder {
    /// Year first: 2025-09-12.
    YearMonthDay,
    /// Day first: 12.09.2025.
    DayMonthYear,
    /// Month first: 09/12/2025.
    MonthDayYear,
}

impl DateOrder {
    /// Every order.
    pub const ALL: [DateOrder; 3] = [
        DateOrder::YearMonthDay,
        DateOrder::DayMonthYear,
        DateOrder::MonthDayYear,
    ];

    /// As a job file writes it.
    pub fn name(self) -> &'static str {
        match self {
            DateOrder::YearMonthDay => "year-month-day",
            DateOrder::DayMonthYear => "day-month-year",
            DateOrder::MonthDayYear => "month-day-year",
        }
    }
}

/// What seconds in a time column count from.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Epoch {
    /// 1970-01-01T00:00:00Z.
    Unix,
    /// 1980-01-06T00:00:00Z, without leap seconds.
    Gps,
}

impl Epoch {
    /// Every epoch.
    pub const ALL: [Epoch; 2] = [Epoch::Unix, Epoch::Gps];

    /// As a job file writes it.
    pub fn name(self) -> &'static str {
        match self {
            Epoch::Unix => "unix",
            Epoch::Gps => "gps",
        }
    }
}

/// The moisture at which a log counts its grain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GrainMoisture {
    /// As it was harvested.
    Harvest,
    /// The crop's reference moisture.
    Reference,
    /// This one, % wet basis.
    At(f64),
}

/// What a row of one section of the header says of an amount.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum SectionShare {
    /// The section's own part: the parts are added up.
    Own,
    /// The whole header's, repeated in the row of each section.
    Whole,
}

impl SectionShare {
    /// Both.
    pub const ALL: [SectionShare; 2] = [SectionShare::Own, SectionShare::Whole];

    /// As a job file writes it.
    pub fn name(self) -> &'static str {
        match self {
            SectionShare::Own => "own",
            SectionShare::Whole => "whole",
        }
    }
}

/// How log columns are found and what stands in for missing ones.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LogSettings {
    /// (our name without unit, the header in the file), e.g. `("flow", "grain per second")`.
    pub columns: Vec<(String, String)>,
    /// (our name without unit, unit), e.g. `("flow", "kg/s")`.
    pub units: Vec<(String, String)>,
    /// Header width where neither row nor machine gives one, m.
    pub width: Option<f64>,
    /// Moisture where the log has none, % wet basis.
    pub moisture: Option<f64>,
    /// Interval of a row where the log has neither interval nor time, s.
    pub interval: Option<f64>,
    /// CRS of `x`/`y` columns, e.g. `EPSG:32615`.
    pub crs: Option<String>,
    /// Order of day, month and year where dates leave it open.
    pub date_order: Option<DateOrder>,
    /// What seconds count from where the numbers leave it open.
    pub epoch: Option<Epoch>,
    /// Moisture at which flow, mass or yield is counted, where the log says nothing or something else.
    pub at_moisture: Option<GrainMoisture>,
    /// Whose the grain is in a row of one section of the header.
    pub section_grain: Option<SectionShare>,
    /// Whose the width is in a row of one section of the header.
    pub section_width: Option<SectionShare>,
}

/// What the job says of a machine. `None`: find it from the data, or do without.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MachineSettings {
    /// The machine's name in the logs.
    pub name: String,
    /// Header width, m.
    pub header_width: Option<f64>,
    /// Transport delay fixed by the user, s.
    pub delay: Option<f64>,
    /// Moisture delay fixed by the user, s.
    pub moisture_delay: Option<f64>,
    /// Distance of the antenna behind the cutter bar (positive: behind), m.
    pub antenna_behind_cutter_bar: Option<f64>,
}

/// Limits of the checks that the user has fixed; `None`: from the data and the crop.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LimitSettings {
    /// Lowest and highest speed, m/s.
    pub speed: Option<(f64, f64)>,
    /// Lowest and highest yield at reference moisture, kg/ha.
    pub yield_kg_ha: Option<(f64, f64)>,
    /// Lowest and highest moisture, %.
    pub moisture: Option<(f64, f64)>,
    /// Least share of the header on standing crop, 0–1.
    pub cut_share: Option<f64>,
}

/// One field in one season with one crop: the unit of work.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct FieldSeason {
    /// Client.
    pub client: String,
    /// Farm.
    pub farm: String,
    /// Field.
    pub name: String,
    /// Season (calendar year of harvest).
    pub season: i32,
    /// The crop, resolved from the job's and the built-in table.
    pub crop: Crop,
    /// Log files: paths or patterns, relative to the job file, as written.
    pub logs: Vec<String>,
    /// Boundary file, relative to the job file, as written.
    pub boundary: Option<String>,
    /// Ticket files, relative to the job file, as written.
    pub tickets: Vec<String>,
    /// Machine name for logs that have no machine column.
    pub machine: Option<String>,
}

/// A whole job, checked and resolved.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// Name of the job.
    pub name: String,
    /// Folder of the job file; paths in the job are relative to it.
    pub base: PathBuf,
    /// The job file's own name, for messages.
    pub file: String,
    /// Results folder, absolute or relative to `base`, resolved.
    pub results: PathBuf,
    /// Formats to write.
    pub formats: Vec<Format>,
    /// Layers to write.
    pub layers: Vec<Layer>,
    /// Side of a cell of the grid, m.
    pub grid_cell: f64,
    /// CRS of formats that can carry one.
    pub crs: OutputCrs,
    /// Unit of the `yield` attributes and of summaries.
    pub yield_unit: YieldUnit,
    /// Zone in which times without a zone are taken (IANA name).
    pub timezone: String,
    /// How logs are read.
    pub log: LogSettings,
    /// Machines the job describes.
    pub machines: Vec<MachineSettings>,
    /// Limits the job fixes.
    pub limits: LimitSettings,
    /// The fields.
    pub fields: Vec<FieldSeason>,
}

/// The schema of a job file. It knows one spelling of each thing: units by their symbols, words without blanks around.
/// What depends on several values, on other files or on a size (a lower limit above the upper one, a field twice, a
/// delay of an hour), [`parse()`] alone knows.
pub fn schema() -> Value {
    schema::read::<keys::FileKeys>("Job file of fanmill")
}
