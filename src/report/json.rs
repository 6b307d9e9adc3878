//! A run for programs: its record, and the figures of every field season in it.

use serde_json::Value;

use crate::job::Job;
use crate::write::run::{FieldOutcome, RunRecord};

/// What `run.json` says, with each field season's figures (`summary`, as in its `summary.json`; null where it failed).
pub fn run(job: &Job, fields: &[FieldOutcome]) -> serde_json::Result<String> {
    let mut record = serde_json::to_value(RunRecord::new(job, fields))?;
    if let Some(Value::Array(entries)) = record.get_mut("fields") {
        for (entry, field) in entries.iter_mut().zip(fields) {
            if let Value::Object(entry) = entry {
                entry.insert("summary".to_owned(), serde_json::to_value(field.summary())?);
            }
        }
    }
    Ok(serde_json::to_string_pretty(&record)? + "\n")
}
