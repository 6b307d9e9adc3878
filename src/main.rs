//! The `fanmill` command. Everything it does is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    fanmill::cli::main()
}
