//! What stands outside the project and may not be there: open data, and other people's software. A test that lacks its
//! own says "skipped" and ends.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A path below the project's root.
pub fn project(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// The open maize log: Minnesota, CC BY-SA 3.0 (agridat 1.27, gartner.corn).
pub fn maize_log() -> Option<PathBuf> {
    open_data("maize-log/gartner.corn.txt")
}

/// The text of the maize log.
pub fn maize_text() -> Option<String> {
    maize_log().map(|path| std::fs::read_to_string(path).expect("the maize log"))
}

/// The rows of the maize log, its header left out.
pub fn maize_rows() -> Option<Vec<Vec<f64>>> {
    let cell = |c: &str| c.parse().expect("a number");
    maize_text().map(|text| {
        let lines = text.lines().skip(1);
        lines.map(|l| l.split('\t').map(cell).collect()).collect()
    })
}

/// A file or folder of the open data: `FANMILL_SHARED_DATA`, or `../shared/data` beside the project.
pub fn open_data(path: &str) -> Option<PathBuf> {
    let root = std::env::var_os("FANMILL_SHARED_DATA")
        .map_or_else(|| project("../shared/data"), PathBuf::from);
    let path = root.join(path);
    if path.exists() {
        return Some(path);
    }
    println!("skipped: no shared data");
    None
}

/// A variable that names something for the tests.
pub fn given(variable: &str) -> Option<String> {
    let value = std::env::var(variable).ok();
    if value.is_none() {
        println!("skipped: no {variable}");
    }
    value
}

/// A script of `tests/oracles`, to be run by the Python in `FANMILL_PYTHON`, which has what
/// `tests/oracles/requirements.txt` lists.
pub fn oracle(script: &str) -> Option<Command> {
    given("FANMILL_PYTHON").map(|python| run_by(&python, script))
}

/// A script of `tests/oracles`, to be run by a program.
pub fn run_by(program: &str, script: &str) -> Command {
    let mut command = Command::new(program);
    command.arg(project("tests/oracles").join(script));
    command
}

/// What an oracle printed; panics with its complaint where it failed.
pub fn printed(command: &mut Command) -> String {
    let output = command.output().expect("it runs");
    assert!(output.status.success(), "{}", complaint(&output));
    String::from_utf8(output.stdout).expect("UTF-8")
}

/// What a program printed beside its results.
pub fn complaint(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}
