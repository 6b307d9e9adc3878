//! Runs the demo farm and prints what was found beside what is true.
//!
//! `cargo run --release --example truth_table -- [FOLDER]`: the farm is written to a new or empty FOLDER and stays there;
//! without one, to a temporary folder that goes.

#[allow(dead_code)] // the tests use all of it
#[path = "../tests/suite/harness/truth.rs"]
mod truth;
#[path = "truth/table.rs"]
mod truth_table;

use std::error::Error;
use std::path::PathBuf;

use fanmill::batch::{self, Options, Silent};
use fanmill::job::Job;
use fanmill::simulate::write_demo;

fn main() -> Result<(), Box<dyn Error>> {
    let temporary = tempfile::tempdir()?;
    let farm = std::env::args_os()
        .nth(1)
        .map_or_else(|| temporary.path().to_owned(), PathBuf::from);
    write_demo(&farm)?;
    let job = Job::load(&farm.join("job.toml"))?;
    for field in batch::run(&job, Options::default(), &Silent)? {
        if let Some(error) = field.error() {
            return Err(format!("{}: {error}", field.field).into());
        }
    }
    print!("{}", truth_table::table(&truth::compare(&farm)));
    Ok(())
}
