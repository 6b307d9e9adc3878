//! The settings in `run.json`: the job as it was understood.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Serialize};

use crate::job::{
    DateOrder, Epoch, FieldSeason, Format, GrainMoisture, Job, Layer, LimitSettings, LogColumn,
    LogSettings, MachineSettings, OutputCrs, SectionShare,
};
use crate::schema::keyed_by;
use crate::units::YieldUnit;

/// The job as it was understood; amounts carry their unit in their key. Paths are as the job file has them, relative to
/// it.
// Where the job stands on this machine is nobody else's concern, and would make two copies of a run differ.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Settings {
    /// What was to be written.
    pub job: JobPart,
    /// How logs were read.
    pub log: LogPart,
    /// Machines that the job describes.
    pub machines: Vec<MachinePart>,
    /// Limits of the checks that the job fixes.
    pub limits: LimitPart,
    /// The field seasons, in the order of the job.
    pub fields: Vec<FieldPart>,
}

/// What was to be written.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct JobPart {
    /// Name of the job.
    pub name: String,
    /// The job file's own name.
    pub file: String,
    /// File formats of the layers.
    pub formats: Vec<Format>,
    /// Layers.
    pub layers: Vec<Layer>,
    /// Side of a cell of the grid, m.
    pub grid_cell_m: f64,
    /// CRS of formats that can carry one: a code such as `EPSG:4326`, or `utm` for each field's zone.
    pub crs: String,
    /// Unit of yields in layers and summaries.
    pub yield_unit: YieldUnit,
    /// Zone of times that name none, by its name in the IANA time zone database.
    pub timezone: String,
}

/// How logs were read. Null: found from the log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LogPart {
    /// Headers of columns that the job names.
    #[schemars(schema_with = "texts_by_column")]
    pub columns: BTreeMap<String, String>,
    /// Units of columns that the job names.
    #[schemars(schema_with = "texts_by_column")]
    pub units: BTreeMap<String, String>,
    /// Header width where neither row nor machine gives one, m.
    pub width_m: Option<f64>,
    /// Moisture of files that have none, % wet basis.
    pub moisture_pct: Option<f64>,
    /// Interval of rows of files with neither interval nor time, s.
    pub interval_s: Option<f64>,
    /// CRS of x and y.
    pub crs: Option<String>,
    /// Order of day, month and year where dates leave it open.
    pub date_order: Option<DateOrder>,
    /// What seconds count from where the numbers leave it open.
    pub epoch: Option<Epoch>,
    /// Moisture at which flow, mass or yield is counted: `harvest`, `reference`, or an amount such as `15 %`.
    pub at_moisture: Option<String>,
    /// Whose the grain is in a row of one section of the header.
    pub section_grain: Option<SectionShare>,
    /// Whose the width is in a row of one section of the header.
    pub section_width: Option<SectionShare>,
}

/// A machine that the job describes. Null: found from the data, or done without.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MachinePart {
    /// The machine's name in the logs.
    pub name: String,
    /// Width of its header, m.
    pub header_width_m: Option<f64>,
    /// Transport delay that the job fixes, s.
    pub delay_s: Option<f64>,
    /// Delay of moisture that the job fixes, s.
    pub moisture_delay_s: Option<f64>,
    /// Distance from the cutter bar back to the antenna, m.
    pub antenna_behind_cutter_bar_m: Option<f64>,
}

/// Limits of the checks that the job fixes. Null: found from the data and the crop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LimitPart {
    /// Lowest and highest speed, m/s.
    pub speed_m_s: Option<(f64, f64)>,
    /// Lowest and highest yield at reference moisture, kg/ha.
    pub yield_kg_ha: Option<(f64, f64)>,
    /// Lowest and highest moisture, %.
    pub moisture_pct: Option<(f64, f64)>,
    /// Least part of the header on standing crop, 0–1.
    pub cut_share: Option<f64>,
}

/// A field season as the job has it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FieldPart {
    /// Client.
    pub client: String,
    /// Farm.
    pub farm: String,
    /// Field.
    pub field: String,
    /// Season (calendar year of harvest).
    pub season: i32,
    /// The crop, with the job's values over those that are built in.
    pub crop: CropPart,
    /// Log files or patterns.
    pub logs: Vec<String>,
    /// Boundary file.
    pub boundary: Option<String>,
    /// Ticket files.
    pub tickets: Vec<String>,
    /// Machine of logs that name none.
    pub machine: Option<String>,
}

/// A crop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CropPart {
    /// Name, lower case.
    pub name: String,
    /// Moisture that yields are brought to, % wet basis.
    pub reference_moisture_pct: f64,
    /// Weight of a conversion bushel, kg.
    pub bushel_kg: f64,
    /// Highest yield believed at a point, at reference moisture, kg/ha.
    pub highest_yield_kg_ha: f64,
    /// Distance between planted rows, m; null: cut widths need not be whole rows.
    pub row_spacing_m: Option<f64>,
    /// Lowest and highest moisture believed, %.
    pub moisture_bounds_pct: (f64, f64),
    /// Whether loads drier than the reference are credited with water up to it.
    pub credit_dry: bool,
}

/// A text for each of some columns of a log.
fn texts_by_column(generator: &mut SchemaGenerator) -> Schema {
    keyed_by::<LogColumn>(|_| Some(generator.subschema_for::<String>()))
}

impl Settings {
    /// Those of a job.
    pub fn of(job: &Job) -> Self {
        Self {
            job: JobPart {
                name: job.name.clone(),
                file: job.file.clone(),
                formats: job.formats.clone(),
                layers: job.layers.clone(),
                grid_cell_m: job.grid_cell,
                crs: match &job.crs {
                    OutputCrs::Code(code) => code.clone(),
                    OutputCrs::Utm => "utm".to_owned(),
                },
                yield_unit: job.yield_unit,
                timezone: job.timezone.clone(),
            },
            log: LogPart::of(&job.log),
            machines: job.machines.iter().map(MachinePart::of).collect(),
            limits: LimitPart::of(&job.limits),
            fields: job.fields.iter().map(FieldPart::of).collect(),
        }
    }
}

impl LogPart {
    fn of(log: &LogSettings) -> Self {
        Self {
            columns: log.columns.iter().cloned().collect(),
            units: log.units.iter().cloned().collect(),
            width_m: log.width,
            moisture_pct: log.moisture,
            interval_s: log.interval,
            crs: log.crs.clone(),
            date_order: log.date_order,
            epoch: log.epoch,
            at_moisture: log.at_moisture.map(at_moisture),
            section_grain: log.section_grain,
            section_width: log.section_width,
        }
    }
}

/// As a job file writes it.
fn at_moisture(at: GrainMoisture) -> String {
    match at {
        GrainMoisture::Harvest => "harvest".to_owned(),
        GrainMoisture::Reference => "reference".to_owned(),
        GrainMoisture::At(pct) => format!("{pct} %"),
    }
}

impl MachinePart {
    fn of(machine: &MachineSettings) -> Self {
        Self {
            name: machine.name.clone(),
            header_width_m: machine.header_width,
            delay_s: machine.delay,
            moisture_delay_s: machine.moisture_delay,
            antenna_behind_cutter_bar_m: machine.antenna_behind_cutter_bar,
        }
    }
}

impl LimitPart {
    fn of(limits: &LimitSettings) -> Self {
        Self {
            speed_m_s: limits.speed,
            yield_kg_ha: limits.yield_kg_ha,
            moisture_pct: limits.moisture,
            cut_share: limits.cut_share,
        }
    }
}

impl FieldPart {
    fn of(field: &FieldSeason) -> Self {
        Self {
            client: field.client.clone(),
            farm: field.farm.clone(),
            field: field.name.clone(),
            season: field.season,
            crop: CropPart {
                name: field.crop.name.clone(),
                reference_moisture_pct: field.crop.reference_moisture,
                bushel_kg: field.crop.bushel_kg,
                highest_yield_kg_ha: field.crop.highest_yield,
                row_spacing_m: field.crop.row_spacing,
                moisture_bounds_pct: field.crop.moisture_bounds,
                credit_dry: field.crop.credit_dry,
            },
            logs: field.logs.clone(),
            boundary: field.boundary.clone(),
            tickets: field.tickets.clone(),
            machine: field.machine.clone(),
        }
    }
}
