use clap::ValueEnum;

use super::{DONE, Failure, print};
use crate::{job, summary, write};

/// Prints the JSON Schema (draft 2020-12) of a file: for editors that complete and check job files, and for programs that
/// read results. Without a file, lists those that have one.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Whose schema.
    #[arg(value_enum)]
    file: Option<File>,
}

/// A file that has a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum File {
    /// The job file (TOML).
    Job,
    /// summary.json, the figures of a field season.
    Summary,
    /// run.json, the record of a run.
    Run,
}

pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let schema = match arguments.file {
        None => return print(&list()).map(|()| DONE),
        Some(File::Job) => job::schema(),
        Some(File::Summary) => summary::schema(),
        Some(File::Run) => write::run::schema(),
    };
    let text = serde_json::to_string_pretty(&schema)
        .map_err(|e| Failure::new(format!("it cannot be printed: {e}"), None))?;
    print(&(text + "\n"))?;
    Ok(DONE)
}

/// The commands that print one, and of what.
fn list() -> String {
    let values = File::value_variants().iter();
    values
        .filter_map(File::to_possible_value)
        .map(|value| {
            let help = value
                .get_help()
                .map(ToString::to_string)
                .unwrap_or_default();
            format!("fanmill schema {:<9}{help}\n", value.get_name())
        })
        .collect()
}
