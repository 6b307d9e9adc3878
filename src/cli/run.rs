use std::path::PathBuf;

use super::progress::Reporter;
use super::{DONE, Failure, SOME_FAILED};
use crate::batch;
use crate::job::Job;
use crate::report::terminal;
use crate::write::run::{FieldOutcome, Status};

/// Batches of up to this many fields show each field in full.
const FIELDS_IN_FULL: usize = 6;

/// Cleans and calibrates every field of a job, and writes maps, summaries and tables.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job file.
    job: PathBuf,
    /// Threads to work with; by default as many as the machine has cores.
    #[arg(long, value_name = "N")]
    threads: Option<usize>,
    /// Print nothing but failures.
    #[arg(long)]
    quiet: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let job = Job::load(&arguments.job).map_err(|e| Failure::new(&e, e.hint()))?;
    let reporter = Reporter::new(arguments.quiet);
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(arguments.threads.unwrap_or(0))
        .build()
        .map_err(|e| Failure::new(format!("threads cannot be started: {e}"), None))?;
    let outcomes = pool
        .install(|| batch::run(&job, &reporter))
        .map_err(|e| Failure::new(&e, Some(&e.hint())))?;
    if !arguments.quiet {
        print(&outcomes);
    }
    let failed = outcomes.iter().any(|o| o.status() == Status::Failed);
    Ok(if failed { SOME_FAILED } else { DONE })
}

/// A field's own screen where there are few, then the batch.
fn print(outcomes: &[FieldOutcome]) {
    if outcomes.len() <= FIELDS_IN_FULL {
        for summary in outcomes.iter().filter_map(FieldOutcome::summary) {
            println!("{}", terminal::field(summary));
        }
    }
    println!("{}", terminal::batch(outcomes));
}
