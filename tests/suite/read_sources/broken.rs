//! Files that are cut, overwritten or spliced somewhere: an answer or an error, never a panic. Seeds are what GDAL and the
//! task data encoder write; the changes are drawn with a fixed seed. (Coverage-guided fuzzing: `tests/fuzz`.)

use std::path::Path;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::farm::{example, python, read, write};

/// Changes to each file.
const CHANGES: usize = 150;

/// One file changed: cut short, a byte or a number of four overwritten, or a piece doubled.
fn change(bytes: &[u8], rng: &mut ChaCha8Rng) -> Vec<u8> {
    let mut changed = bytes.to_vec();
    let at = rng.random_range(0..bytes.len());
    match rng.random_range(0..5) {
        0 => changed.truncate(at),
        1 => changed[at] = rng.random(),
        2 => {
            let extreme = [0u8, 0x7F, 0x80, 0xFF][rng.random_range(0..4)];
            changed[at..].iter_mut().take(4).for_each(|b| *b = extreme);
        }
        3 => {
            let end = bytes.len().min(at + 64);
            changed.splice(at..at, bytes[at..end].iter().copied());
        }
        // Headers are where lengths and offsets stand.
        _ => changed[at % bytes.len().min(200)] = rng.random(),
    }
    changed
}

fn no_panic(folder: &Path, changed: &[&str], keys: &str) {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let (mut read_well, mut refused) = (0, 0);
    for name in changed {
        let path = folder.join(name);
        let whole = std::fs::read(&path).expect("there");
        for _ in 0..CHANGES {
            std::fs::write(&path, change(&whole, &mut rng)).expect("written");
            match read(folder, "Brook field", keys) {
                Ok(input) => {
                    let log = &input.log;
                    assert!(
                        [
                            log.lon.len(),
                            log.flow.len(),
                            log.time.len(),
                            log.load.len()
                        ]
                        .iter()
                        .all(|n| *n == log.len())
                    );
                    read_well += 1;
                }
                Err(error) => {
                    assert!(!error.to_string().is_empty());
                    refused += 1;
                }
            }
        }
        std::fs::write(&path, &whole).expect("written");
    }
    println!("{changed:?}: {read_well} read, {refused} refused");
}

#[test]
fn broken_layers_make_no_reader_panic() {
    let folder = tempfile::tempdir().expect("a folder");
    let table: Vec<String> = example().lines().take(30).map(str::to_owned).collect();
    let table = write(folder.path(), "base.csv", table.join("\n").as_bytes());
    if python("write_logs.py", &[&table, &folder.path().join("g")]).is_none() {
        return;
    }
    let at = folder.path();
    no_panic(
        at,
        &[
            "g/log-4326.shp",
            "g/log-4326.dbf",
            "g/log-4326.prj",
            "g/log-4326.cpg",
        ],
        "logs = [\"g/log-4326.shp\"]",
    );
    no_panic(
        at,
        &["g/log-4326.geojson"],
        "logs = [\"g/log-4326.geojson\"]",
    );
    no_panic(at, &["g/log-32632.gpkg"], "logs = [\"g/log-32632.gpkg\"]");
    for boundary in [
        "g/boundary-4326.shp",
        "g/boundary-4326.gpkg",
        "g/boundary-4326.geojson",
    ] {
        no_panic(
            at,
            &[boundary],
            &format!("logs = [\"base.csv\"]\nboundary = \"{boundary}\""),
        );
    }
}

#[test]
fn broken_task_data_and_archives_make_no_reader_panic() {
    let folder = tempfile::tempdir().expect("a folder");
    if python("write_taskdata.py", &[&folder.path().join("TASKDATA")]).is_none() {
        return;
    }
    let parts = [
        "TASKDATA.XML",
        "DVC00001.XML",
        "TLG00001.XML",
        "TLG00001.BIN",
        "tlg00002.xml",
        "tlg00002.bin",
    ];
    let parts = parts.map(|p| format!("TASKDATA/{p}"));
    let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
    no_panic(
        folder.path(),
        &parts,
        "logs = [\"TASKDATA\"]\nboundary = \"TASKDATA\"",
    );

    let table = example();
    let zip = super::packed::zip(&[("a.csv", table.as_bytes()), ("b/c.csv", table.as_bytes())]);
    write(folder.path(), "logs.zip", &zip);
    write(
        folder.path(),
        "log.csv.gz",
        &super::packed::gzip(table.as_bytes()),
    );
    no_panic(folder.path(), &["logs.zip"], "logs = [\"logs.zip\"]");
    no_panic(folder.path(), &["log.csv.gz"], "logs = [\"log.csv.gz\"]");
}
