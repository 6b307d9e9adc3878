//! A folder with a job in it, and what comes of reading its one field.

use std::fs;
use std::path::{Path, PathBuf};

use crate::outside::{oracle, printed, project, run_by};

use fanmill::job::{Job, parse};
use fanmill::log::Log;
use fanmill::read::{FieldInput, ReadError, read_field};

/// Reads the field `name` of a job with these keys, in a folder.
pub fn read(folder: &Path, name: &str, keys: &str) -> Result<FieldInput, ReadError> {
    read_with(folder, name, keys, "")
}

/// The same with a `[log]` section and machines.
pub fn read_with(
    folder: &Path,
    name: &str,
    keys: &str,
    sections: &str,
) -> Result<FieldInput, ReadError> {
    read_crop(folder, name, keys, sections, "maize")
}

/// The same for a crop.
pub fn read_crop(
    folder: &Path,
    name: &str,
    keys: &str,
    sections: &str,
    crop: &str,
) -> Result<FieldInput, ReadError> {
    let job = job(folder, name, keys, sections, crop);
    read_field(&job, &job.fields[0])
}

fn job(folder: &Path, name: &str, keys: &str, sections: &str, crop: &str) -> Job {
    let text = format!(
        "{sections}\n[[field]]\nclient = \"Heron Lane\"\nfarm = \"Home\"\nname = \"{name}\"\nseason = 2025\ncrop = \"{crop}\"\n{keys}\n"
    );
    parse(&text, "job.toml", folder).expect("a sound job")
}

pub fn write(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().expect("in the folder")).expect("made");
    fs::write(&path, bytes).expect("written");
    path
}

/// The example's log, which has every kind of cell: times, numbers, names, blanks.
pub fn example() -> String {
    fs::read_to_string(project("examples/first-field/log.csv")).expect("the example")
}

/// An error in a line, with its way out.
pub fn said(e: &ReadError) -> String {
    format!("{e}; {}", e.hint().unwrap_or_default())
}

/// The codes of warnings.
pub fn codes(input: &FieldInput) -> Vec<&str> {
    input.warnings.iter().map(|w| w.code.as_str()).collect()
}

/// What a script of `tests/oracles` prints in FANMILL_PYTHON; `None` where there is none.
pub fn python(script: &str, arguments: &[&Path]) -> Option<String> {
    oracle(script).map(|mut command| printed(command.args(arguments)))
}

/// What a script of `tests/oracles` prints in node with the packages in FANMILL_NODE_MODULES; `None` where there are
/// none.
pub fn node(script: &str, arguments: &[&Path]) -> Option<String> {
    let modules = std::env::var("FANMILL_NODE_MODULES").unwrap_or_default();
    if !Path::new(&modules).join("isoxml").is_dir() {
        println!("skipped: no isoxml in FANMILL_NODE_MODULES");
        return None;
    }
    let mut command = run_by("node", script);
    Some(printed(command.env("NODE_PATH", modules).args(arguments)))
}

/// Whether two logs hold the same rows: positions to `degrees`, all else to one part in `1 / relative`.
pub fn same(a: &Log, b: &Log, degrees: f64, relative: f64) {
    assert_eq!(
        (a.len(), &a.row, &a.loads, &a.load),
        (b.len(), &b.row, &b.loads, &b.load)
    );
    assert_eq!(
        (&a.machines, &a.machine, &a.work),
        (&b.machines, &b.machine, &b.work)
    );
    let columns = |l: &Log| {
        [
            &l.time,
            &l.interval,
            &l.flow,
            &l.mass,
            &l.moisture,
            &l.speed,
            &l.distance,
            &l.width,
        ]
        .map(Clone::clone)
    };
    let near = |x: f64, y: f64, within: f64| (x.is_nan() && y.is_nan()) || (x - y).abs() <= within;
    for (k, (x, y)) in columns(a).iter().zip(&columns(b)).enumerate() {
        for (row, (x, y)) in x.iter().zip(y).enumerate() {
            assert!(
                near(*x, *y, relative * x.abs()),
                "column {k}, row {row}: {x} and {y}"
            );
        }
    }
    for (x, y) in [(&a.lon, &b.lon), (&a.lat, &b.lat)] {
        for (row, (x, y)) in x.iter().zip(y).enumerate() {
            assert!(near(*x, *y, degrees), "row {row}: {x} and {y}");
        }
    }
}
