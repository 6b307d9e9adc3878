use std::path::PathBuf;

use super::progress::Reporter;
use super::run::{self, ActName};
use super::stop::Stop;
use super::{DONE, Failure, SOME_FAILED, print};
use crate::batch::{self, Merged};
use crate::job::Job;
use crate::write::run::{FieldOutcome, Status};

/// Joins what the shards of a batch left: pools an act's evidence, or writes the tables after the last act.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job file.
    job: PathBuf,
    /// The act whose shards are done.
    #[arg(long, value_enum, default_value_t = ActName::Write)]
    act: ActName,
    /// Print nothing but failures.
    #[arg(long)]
    quiet: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let job = Job::load(&arguments.job).map_err(|e| Failure::new(&e, e.hint()))?;
    let reporter = Reporter::new(arguments.quiet, Stop::default());
    let merged = batch::merge(&job, arguments.act.act(), &reporter)
        .map_err(|e| Failure::new(&e, Some(&e.hint())))?;
    match merged {
        Merged::Pooled(fields) => {
            if !arguments.quiet {
                print(&format!("{fields} of {} fields pooled\n", job.fields.len()))?;
            }
            Ok(DONE)
        }
        Merged::Written(outcomes) => {
            if !arguments.quiet {
                print(&run::text(&job, &outcomes))?;
            }
            let failed = |o: &FieldOutcome| o.status() == Status::Failed;
            let failed = outcomes.iter().any(failed);
            Ok(if failed { SOME_FAILED } else { DONE })
        }
    }
}
