use std::path::{Path, PathBuf};

use super::{DONE, Failure, Format, SOME_FAILED, print};
use crate::crop::Crop;
use crate::inspect::{Survey, Tally, crop_of_path, survey};
use crate::read::inspect;
use crate::report;

/// Says what logs are: span, rows, columns with their units and how each was recognised, oddities, and a `[log]` block
/// for the job file. Nothing is written.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Logs.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The crop, for units that only a believable yield tells; by default from the log or its name.
    #[arg(long)]
    crop: Option<String>,
    /// CRS of x and y, such as EPSG:32615.
    #[arg(long)]
    crs: Option<String>,
    /// How to print it.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let crop = match &arguments.crop {
        None => None,
        Some(name) => Some(Crop::built_in(name).ok_or_else(|| {
            let known: Vec<&str> = Crop::names().collect();
            Failure::new(
                format!("expected a crop, found \"{name}\""),
                Some(&format!("one of {}", known.join(", "))),
            )
        })?),
    };
    let mut job = crate::inspect::job().map_err(|e| Failure::new(&e, e.hint()))?;
    job.log.crs.clone_from(&arguments.crs);
    let mut surveys: Vec<Survey> = Vec::new();
    let mut failed = false;
    for file in &arguments.files {
        let name = file.to_string_lossy();
        let crop = crop.clone().or_else(|| crop_of_path(&name));
        match inspect(Path::new(""), &name, &job, crop.as_ref(), &Tally::add) {
            Ok(logs) => surveys.extend(logs.iter().map(|(log, tally)| survey(log, tally))),
            Err(error) => {
                failed = true;
                eprintln!("{}", Failure::new(&error, error.hint()));
            }
        }
    }
    failed |= surveys.iter().any(|s| s.error.is_some());
    let text = match arguments.format {
        Format::Json => {
            serde_json::to_string_pretty(&surveys)
                .map_err(|e| Failure::new(format!("it cannot be printed: {e}"), None))?
                + "\n"
        }
        Format::Text => surveys
            .iter()
            .map(report::inspect::text)
            .collect::<Vec<_>>()
            .join("\n"),
    };
    print(&text)?;
    Ok(if failed { SOME_FAILED } else { DONE })
}
