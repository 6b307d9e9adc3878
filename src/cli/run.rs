use std::path::PathBuf;

use super::progress::Reporter;
use super::{DONE, Failure, Format, SOME_FAILED, print};
use crate::batch;
use crate::job::Job;
use crate::report;
use crate::report::pages::INDEX;
use crate::report::terminal::{self, Paint};
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
    /// Print nothing but failures (and results for programs, where they are asked for).
    #[arg(long)]
    quiet: bool,
    /// How to print results.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
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
    match arguments.format {
        Format::Json => {
            let text = report::json::run(&job, &outcomes)
                .map_err(|e| Failure::new(format!("results cannot be printed: {e}"), None))?;
            print(&text)?;
        }
        Format::Text if arguments.quiet => {}
        Format::Text => print(&text(&job, &outcomes))?,
    }
    let failed = outcomes.iter().any(|o| o.status() == Status::Failed);
    Ok(if failed { SOME_FAILED } else { DONE })
}

/// A field's own screen where there are few, then the batch, then where to look.
fn text(job: &Job, outcomes: &[FieldOutcome]) -> String {
    // Pipes, files, NO_COLOR and terminals without colours get text alone.
    let paint = match anstream::AutoStream::choice(&std::io::stdout()) {
        anstream::ColorChoice::Never => Paint::Plain,
        _ => Paint::Colour,
    };
    let mut out = String::new();
    if outcomes.len() <= FIELDS_IN_FULL {
        for summary in outcomes.iter().filter_map(FieldOutcome::summary) {
            out += &terminal::field(summary, paint);
            out.push('\n');
        }
    }
    out += &terminal::batch(outcomes, paint);
    out += &format!("\nopen {}\n", job.results.join(INDEX).display());
    out
}
