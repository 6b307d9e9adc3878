use std::path::PathBuf;

use super::{DONE, Failure};
use crate::simulate::write_demo;

/// Writes an invented farm to try the tool on: logs, tickets, boundaries, a job file, and the truth behind them.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// A new or empty folder.
    folder: PathBuf,
}

pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let farm = write_demo(&arguments.folder).map_err(|e| Failure::new(e, None))?;
    println!(
        "{}: {} fields, {:.0} ha, {} rows of logs, {} tickets\nnext: fanmill run {}",
        arguments.folder.display(),
        farm.fields,
        farm.area_ha,
        farm.rows,
        farm.tickets,
        arguments.folder.join("job.toml").display()
    );
    Ok(DONE)
}
