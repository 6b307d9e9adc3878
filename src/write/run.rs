//! The record of a run, `run.json`: what was asked, and what became of each field.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::{WriteError, atomic, write_json};
use crate::job::{
    DateOrder, Epoch, FieldSeason, GrainMoisture, Job, LogSettings, MachineSettings, OutputCrs,
    SectionShare,
};
use crate::summary::Summary;

/// Name of the record.
pub const RUN: &str = "run.json";

/// Whether a field season is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// Its results stand in its folder.
    Done,
    /// It failed; `error` says why.
    Failed,
}

/// What became of one field season.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// It was written.
    Done(Box<Summary>),
    /// It was not; the error as the user is told it.
    Failed(String),
}

/// One field season of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldOutcome {
    /// Client.
    pub client: String,
    /// Farm.
    pub farm: String,
    /// Field.
    pub field: String,
    /// Season.
    pub season: i32,
    /// Crop.
    pub crop: String,
    /// Its folder, relative to the results, with `/` between its parts.
    pub folder: String,
    /// What became of it.
    pub outcome: Outcome,
    /// Hash of what its results follow from, where it is done.
    pub content: Option<u128>,
}

impl FieldOutcome {
    /// What became of a field of the job.
    pub fn new(field: &FieldSeason, folder: &str, outcome: Outcome) -> Self {
        Self {
            client: field.client.clone(),
            farm: field.farm.clone(),
            field: field.name.clone(),
            season: field.season,
            crop: field.crop.name.clone(),
            folder: folder.to_owned(),
            outcome,
            content: None,
        }
    }

    /// The same, with the hash of what its results follow from.
    #[must_use]
    pub fn with_content(self, content: Option<u128>) -> Self {
        Self { content, ..self }
    }

    /// Its figures, where it is done.
    pub fn summary(&self) -> Option<&Summary> {
        match &self.outcome {
            Outcome::Done(summary) => Some(summary),
            Outcome::Failed(_) => None,
        }
    }

    /// Why it failed, where it did.
    pub fn error(&self) -> Option<&str> {
        match &self.outcome {
            Outcome::Done(_) => None,
            Outcome::Failed(error) => Some(error),
        }
    }

    /// Whether it is written.
    pub fn status(&self) -> Status {
        match self.outcome {
            Outcome::Done(_) => Status::Done,
            Outcome::Failed(_) => Status::Failed,
        }
    }
}

/// `run.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RunRecord {
    /// Version of fanmill.
    pub version: String,
    /// The job as it was understood.
    pub settings: Value,
    /// The field seasons, in the order of the job.
    pub fields: Vec<RunField>,
}

/// A field season in `run.json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RunField {
    /// Client.
    pub client: String,
    /// Farm.
    pub farm: String,
    /// Field.
    pub field: String,
    /// Season.
    pub season: i32,
    /// Crop.
    pub crop: String,
    /// Whether it is written.
    pub status: Status,
    /// Its folder, relative to the results.
    pub folder: String,
    /// Why it failed.
    pub error: Option<String>,
    /// Hash of everything that its results follow from: inputs, settings, program, and what the batch says of its
    /// machines and loads. The same hash, the same results.
    #[serde(default)]
    pub content: Option<String>,
}

impl RunRecord {
    /// The record of a run.
    pub fn new(job: &Job, fields: &[FieldOutcome]) -> Self {
        let fields = fields
            .iter()
            .map(|f| RunField {
                client: f.client.clone(),
                farm: f.farm.clone(),
                field: f.field.clone(),
                season: f.season,
                crop: f.crop.clone(),
                status: f.status(),
                folder: f.folder.clone(),
                error: f.error().map(str::to_owned),
                content: f.content.map(|hash| format!("{hash:032x}")),
            })
            .collect();
        Self {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            settings: settings(job),
            fields,
        }
    }

    /// Writes it into the results folder. It holds no time stamp: the same run gives the same bytes.
    pub fn write(&self, results: &Path) -> Result<PathBuf, WriteError> {
        atomic::make_folder(results)?;
        let path = results.join(RUN);
        atomic::remove_drafts(&path)?;
        write_json(&path, self)
    }
}

/// The job as it was understood; amounts carry their unit in their key. Paths are as the user wrote them: where
/// the job stands on this machine is nobody else's concern, and would make two copies of a run differ.
fn settings(job: &Job) -> Value {
    let crs = match &job.crs {
        OutputCrs::Code(code) => code.as_str(),
        OutputCrs::Utm => "utm",
    };
    json!({
        "job": {
            "name": job.name,
            "file": job.file,
            "formats": job.formats,
            "layers": job.layers,
            "grid_cell_m": job.grid_cell,
            "crs": crs,
            "yield_unit": job.yield_unit,
            "timezone": job.timezone,
        },
        "log": log(&job.log),
        "machines": job.machines.iter().map(machine).collect::<Vec<_>>(),
        "limits": {
            "speed_m_s": job.limits.speed,
            "yield_kg_ha": job.limits.yield_kg_ha,
            "moisture_pct": job.limits.moisture,
            "cut_share": job.limits.cut_share,
        },
        "fields": job.fields.iter().map(field).collect::<Vec<_>>(),
    })
}

fn log(log: &LogSettings) -> Value {
    let map = |pairs: &[(String, String)]| -> Value {
        pairs
            .iter()
            .map(|(k, v)| (k.clone(), Value::from(v.as_str())))
            .collect::<serde_json::Map<_, _>>()
            .into()
    };
    json!({
        "columns": map(&log.columns),
        "units": map(&log.units),
        "width_m": log.width,
        "moisture_pct": log.moisture,
        "interval_s": log.interval,
        "crs": log.crs,
        "date_order": log.date_order.map(DateOrder::name),
        "epoch": log.epoch.map(Epoch::name),
        "at_moisture": log.at_moisture.map(at_moisture),
        "section_grain": log.section_grain.map(SectionShare::name),
        "section_width": log.section_width.map(SectionShare::name),
    })
}

/// As a job file writes it.
fn at_moisture(at: GrainMoisture) -> String {
    match at {
        GrainMoisture::Harvest => "harvest".to_owned(),
        GrainMoisture::Reference => "reference".to_owned(),
        GrainMoisture::At(pct) => format!("{pct} %"),
    }
}

fn machine(machine: &MachineSettings) -> Value {
    json!({
        "name": machine.name,
        "header_width_m": machine.header_width,
        "delay_s": machine.delay,
        "moisture_delay_s": machine.moisture_delay,
        "antenna_behind_cutter_bar_m": machine.antenna_behind_cutter_bar,
    })
}

fn field(field: &FieldSeason) -> Value {
    json!({
        "client": field.client,
        "farm": field.farm,
        "field": field.name,
        "season": field.season,
        "crop": {
            "name": field.crop.name,
            "reference_moisture_pct": field.crop.reference_moisture,
            "bushel_kg": field.crop.bushel_kg,
            "highest_yield_kg_ha": field.crop.highest_yield,
            "row_spacing_m": field.crop.row_spacing,
            "moisture_bounds_pct": field.crop.moisture_bounds,
            "credit_dry": field.crop.credit_dry,
        },
        "logs": field.logs,
        "boundary": field.boundary,
        "tickets": field.tickets,
        "machine": field.machine,
    })
}
