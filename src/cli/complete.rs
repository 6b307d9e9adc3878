use clap::CommandFactory;
use clap_complete::Shell;

use super::{DONE, Failure};

/// Writes a completion script for a shell to standard output.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The shell.
    shell: Shell,
}

pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    clap_complete::generate(
        arguments.shell,
        &mut super::Arguments::command(),
        "fanmill",
        &mut std::io::stdout(),
    );
    Ok(DONE)
}
