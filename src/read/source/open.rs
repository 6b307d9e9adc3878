//! Which format an input has, and which logs it holds.

use super::bytes::file;
use super::{Table, csv};
use crate::job::FieldSeason;
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::find::InputFile;

/// One log: a file, or one of the logs that a file, a folder or an archive holds.
#[derive(Debug, Clone)]
pub(in crate::read) struct LogSource {
    /// Its name in messages and results.
    pub shown: String,
    file: InputFile,
}

impl LogSource {
    /// Opens it and reads its headers.
    pub fn open(&self) -> Result<Table, ReadError> {
        refuse_other_formats(&self.file)?;
        open_table(&self.file, "rows")
    }
}

/// The logs that inputs hold, in the order of the inputs; an input that cannot be used stands as its error.
pub(in crate::read) fn logs_in(
    inputs: &[InputFile],
    _field: &FieldSeason,
) -> Vec<Result<LogSource, ReadError>> {
    inputs
        .iter()
        .map(|input| {
            Ok(LogSource {
                shown: input.shown.clone(),
                file: input.clone(),
            })
        })
        .collect()
}

/// Opens a file as one table. `lines`: what its lines are, for messages, e.g. "rows".
pub(in crate::read) fn open_table(input: &InputFile, lines: &str) -> Result<Table, ReadError> {
    let bytes = file(&input.path).map_err(|e| ReadError::io(&input.shown, e))?;
    csv::open(bytes, &input.shown, lines)
}

/// Says so where a file is plainly not a text of rows.
fn refuse_other_formats(file: &InputFile) -> Result<(), ReadError> {
    let extension = file
        .path
        .extension()
        .map(|e| e.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    let other = [
        "shp", "dbf", "shx", "geojson", "json", "gpkg", "xml", "bin", "zip", "gz", "xls", "xlsx",
        "ods", "parquet", "fgb",
    ];
    if !other.contains(&extension.as_str()) {
        return Ok(());
    }
    Err(ReadError::new(
        ReadErrorKind::Format,
        Place::file(&file.shown),
        "a log as CSV (commas, semicolons or tabs)",
        format!("a .{extension} file"),
    )
    .hinted("export the log as CSV; this version reads no other format of logs"))
}
