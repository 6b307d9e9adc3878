//! The record of a run, `run.json`: what was asked, and what became of each field.

use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::settings::Settings;
use super::{WriteError, atomic, write_json};
use crate::job::{FieldSeason, Job};
use crate::schema;
use crate::summary::Summary;

/// Name of the record.
pub const RUN: &str = "run.json";

/// Whether a field season is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunRecord {
    /// Version of fanmill.
    pub version: String,
    /// The job as it was understood.
    pub settings: Settings,
    /// The field seasons, in the order of the job.
    pub fields: Vec<RunField>,
}

/// A field season in `run.json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RunField {
    /// Client.
    pub client: String,
    /// Farm.
    pub farm: String,
    /// Field.
    pub field: String,
    /// Season (calendar year of harvest).
    pub season: i32,
    /// Crop.
    pub crop: String,
    /// Whether it is written.
    pub status: Status,
    /// Its folder, relative to the results, with `/` between its parts.
    pub folder: String,
    /// Why it failed; null where it is done.
    pub error: Option<String>,
    /// Hash of everything that its results follow from: inputs, settings, program, and what the batch says of its
    /// machines and loads. The same hash, the same results. Null where it failed.
    #[serde(default)]
    #[schemars(regex(pattern = "^[0-9a-f]{32}$"))]
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
            settings: Settings::of(job),
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

/// The schema of `run.json`.
pub fn schema() -> Value {
    schema::written::<RunRecord>("Record of a run, run.json of fanmill")
}
