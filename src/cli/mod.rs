//! The command line: one file per command. Arguments are read here and nowhere else.

mod complete;
mod demo;
mod inspect;
mod loads;
mod merge;
mod new;
mod progress;
mod run;
mod schema;
mod stop;

use std::io::{ErrorKind, Write};
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Exit status: all fields are done.
const DONE: u8 = 0;
/// Exit status: some field failed; the others are written.
const SOME_FAILED: u8 = 1;
/// Exit status: the job or the command line is unusable.
const UNUSABLE: u8 = 2;

/// What `--version` says: the build, so that two binaries can be told apart.
const BUILD: &str = concat!(
    env!("CARGO_PKG_VERSION"),
    "\nsources  ",
    env!("FANMILL_SOURCES"),
    "\ntarget   ",
    env!("FANMILL_TARGET"),
    ", ",
    env!("FANMILL_PROFILE"),
    "\ncompiler ",
    env!("FANMILL_COMPILER"),
);

/// Turns raw grain yield logs into yield maps that agree with the scale.
///
/// Exit status: 0 all fields done; 1 some field failed, the others are written; 2 the job or command line is unusable;
/// 130 or 143 stopped by Ctrl-C or a signal to end.
#[derive(Debug, Parser)]
#[command(name = "fanmill", version, long_version = BUILD, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    New(new::Arguments),
    Inspect(inspect::Arguments),
    Run(run::Arguments),
    Merge(merge::Arguments),
    Loads(loads::Arguments),
    Demo(demo::Arguments),
    Schema(schema::Arguments),
    Completions(complete::Arguments),
}

/// Runs the command line.
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let status = match &arguments.command {
        Command::New(a) => new::run(a),
        Command::Inspect(a) => inspect::run(a),
        Command::Run(a) => run::run(a),
        Command::Merge(a) => merge::run(a),
        Command::Loads(a) => loads::run(a),
        Command::Demo(a) => demo::run(a),
        Command::Schema(a) => schema::run(a),
        Command::Completions(a) => complete::run(a),
    };
    ExitCode::from(status.unwrap_or_else(|error| {
        eprintln!("error: {error}");
        error.status
    }))
}

/// A message that ends the program: what is wrong and, on a line of its own, the way out.
#[derive(Debug)]
struct Failure {
    text: String,
    status: u8,
}

impl Failure {
    fn new(message: impl std::fmt::Display, hint: Option<&str>) -> Self {
        let text = match hint.filter(|h| !h.is_empty()) {
            Some(hint) => format!("{message}\nhint: {hint}"),
            None => message.to_string(),
        };
        Self {
            text,
            status: UNUSABLE,
        }
    }

    /// The same, with another exit status.
    fn with_status(self, status: u8) -> Self {
        Self { status, ..self }
    }
}

impl std::fmt::Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

/// How results are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// For programs: everything, with stable codes.
    Json,
}

/// Prints results. Whoever reads them may stop, as `head` does.
fn print(text: &str) -> Result<(), Failure> {
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(e) if e.kind() != ErrorKind::BrokenPipe => Err(Failure::new(
            format!("results cannot be printed: {e}"),
            None,
        )),
        _ => Ok(()),
    }
}
