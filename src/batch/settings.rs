//! A job's settings as hashes see them.

use std::path::PathBuf;

use crate::job::{Job, OutputCrs};
use crate::units::YieldUnit;

/// Settings of the job as text, for hashes: every one of them, but neither fields nor where things stand on this machine.
pub(super) struct Settings {
    /// What evidence follows from.
    pub evidence: String,
    /// What results follow from.
    pub written: String,
}

impl Settings {
    pub fn of(job: &Job) -> Self {
        let mut job = Job {
            base: PathBuf::new(),
            results: PathBuf::new(),
            fields: vec![],
            ..job.clone()
        };
        let written = format!("{job:?}");
        // How results are named and written says nothing about the evidence.
        job.name.clear();
        job.file.clear();
        job.formats.clear();
        job.layers.clear();
        job.grid_cell = 0.0;
        job.crs = OutputCrs::Utm;
        job.yield_unit = YieldUnit::default();
        let evidence = format!("{job:?}");
        Self { evidence, written }
    }
}
