use std::path::PathBuf;

use bytesize::ByteSize;

use super::progress::Reporter;
use super::stop::Stop;
use super::{DONE, Failure, Format, SOME_FAILED, UNUSABLE, print};
use crate::batch::{self, Act, BatchError, Options, Shard};
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
    /// Memory to work with, such as 2GB, about: fewer fields are worked on at once where it would not do. One always is.
    #[arg(long, value_name = "SIZE")]
    memory: Option<ByteSize>,
    /// Do everything anew, even what an earlier run has done from the same input and settings.
    #[arg(long)]
    force: bool,
    /// Work only on every N-th field from the I-th, for batches in several processes. Needs `--act`.
    #[arg(long, value_name = "I/N", value_parser = shard, requires = "act")]
    shard: Option<Shard>,
    /// The act to run on the shard's fields; `fanmill merge` follows each.
    #[arg(long, value_enum, requires = "shard")]
    act: Option<ActName>,
    /// Print nothing but failures (and results for programs, where they are asked for).
    #[arg(long)]
    quiet: bool,
    /// How to print results.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

/// The acts of a batch, in their order.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(super) enum ActName {
    /// Gather what fields say of their machines.
    Machines,
    /// Gather what they say of their loads.
    Scale,
    /// Correct them and write their maps.
    Write,
}

impl ActName {
    pub(super) fn act(self) -> Act {
        match self {
            ActName::Machines => Act::Machines,
            ActName::Scale => Act::Scale,
            ActName::Write => Act::Write,
        }
    }
}

fn shard(text: &str) -> Result<Shard, String> {
    text.split_once('/')
        .and_then(|(index, of)| Shard::new(index.parse().ok()?, of.parse().ok()?))
        .ok_or_else(|| "expected I/N with I from 1 to N, such as 1/4".to_owned())
}

pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let job = Job::load(&arguments.job).map_err(|e| Failure::new(&e, e.hint()))?;
    let stop = Stop::listen();
    let reporter = Reporter::new(arguments.quiet, stop.clone());
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(arguments.threads.unwrap_or(0))
        .build()
        .map_err(|e| Failure::new(format!("threads cannot be started: {e}"), None))?;
    let options = Options {
        anew: arguments.force,
        memory: arguments.memory.map(|m| m.as_u64()),
    };
    let failure = |e: BatchError| {
        let status = match e {
            BatchError::Stopped { .. } => stop.status(),
            _ => UNUSABLE,
        };
        Failure::new(&e, Some(&e.hint())).with_status(status)
    };
    if let (Some(shard), Some(act)) = (arguments.shard, arguments.act) {
        let failed = pool
            .install(|| batch::run_shard(&job, options, shard, act.act(), &reporter))
            .map_err(failure)?;
        return Ok(if failed > 0 { SOME_FAILED } else { DONE });
    }
    let outcomes = pool
        .install(|| batch::run(&job, options, &reporter))
        .map_err(failure)?;
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
pub(super) fn text(job: &Job, outcomes: &[FieldOutcome]) -> String {
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
