//! What one log of a field proves, for another that proves nothing: a short file of the same machine and day.

use super::log_file::LogFile;
use crate::job::{GrainMoisture, LogSettings};

/// The settings under which another log is read as this one was: its columns and their units by name, where the job
/// does not name them itself.
pub(super) fn settings(of: &LogFile, job: &LogSettings) -> LogSettings {
    let mut settings = job.clone();
    for found in &of.recognised.columns {
        let (name, Some(unit), Some(header)) = (
            found.column.name(),
            found.unit,
            of.layout.headers.get(found.index),
        ) else {
            continue;
        };
        let named = |list: &[(String, String)]| list.iter().any(|(n, h)| n == name || h == header);
        if !named(&settings.columns) {
            settings.columns.push((name.to_owned(), header.clone()));
        }
        if !settings.units.iter().any(|(n, _)| n == name) {
            settings
                .units
                .push((name.to_owned(), unit.symbol.to_owned()));
        }
    }
    if settings.at_moisture.is_none() && of.recognised.grain_moisture != GrainMoisture::Harvest {
        settings.at_moisture = Some(of.recognised.grain_moisture);
    }
    if let Some(moments) = &of.recognised.moments {
        settings.section_grain = settings.section_grain.or(Some(moments.grain));
        settings.section_width = settings.section_width.or(moments.width_share());
    }
    settings
}
