//! What we write, read by other people's software: GDAL (pyogrio), pyshp, geojson-pydantic and pyproj, in Python.
//! `FANMILL_PYTHON` names a Python that has what `oracles/requirements.txt` lists.

mod write_fixture;

use std::path::Path;
use std::process::Command;

use fanmill::job::{Job, OutputCrs};
use fanmill::map::YieldMap;
use fanmill::write::{FieldResult, folders, write_field};

/// Writes a map and has the oracle read it; `Err` is what the oracle says.
fn read_back(map: &YieldMap, job: &Job, epsg: &str) -> Option<Result<String, String>> {
    let Ok(python) = std::env::var("FANMILL_PYTHON") else {
        println!("skipped: no FANMILL_PYTHON");
        return None;
    };
    let folder = job.results.join(&folders(&job.fields)[0]);
    let summary = write_fixture::summary(map);
    write_field(
        &folder,
        FieldResult {
            map,
            summary: &summary,
            pages: &|_| Vec::new(),
        },
        job,
    )
    .unwrap();
    Some(oracle(&python, &job.results, epsg))
}

fn oracle(python: &str, results: &Path, epsg: &str) -> Result<String, String> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracles/read_layers.py");
    let output = Command::new(python)
        .arg(script)
        .arg(results)
        .arg(epsg)
        .output()
        .expect("FANMILL_PYTHON runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    if output.status.success() {
        Ok(text(&output.stdout))
    } else {
        Err(text(&output.stderr))
    }
}

#[test]
fn other_software_reads_the_same_from_every_format() {
    let dir = tempfile::tempdir().unwrap();
    let job = write_fixture::job(dir.path().into(), OutputCrs::Code("EPSG:4326".into()));
    let Some(read) = read_back(&write_fixture::map(16_000), &job, "4326") else {
        return;
    };
    let read = read.unwrap();
    assert!(read.contains("points: 13714 points"), "{read}");
    assert!(read.contains("set-aside: 2286 points"), "{read}");
}

/// EPSG 32632 is WGS 84 / UTM zone 32N: 6°E to 12°E, northern hemisphere (EPSG registry).
#[test]
fn the_zone_of_the_field_is_recognised() {
    let dir = tempfile::tempdir().unwrap();
    let job = write_fixture::job(dir.path().into(), OutputCrs::Utm);
    let Some(read) = read_back(&write_fixture::map(1000), &job, "32632") else {
        return;
    };
    read.unwrap();
}

/// EPSG 3035, ETRS89 / LAEA Europe, and 25832: not WGS 84, and northing before easting in the registry.
#[test]
fn any_code_of_the_registry_is_recognised() {
    for code in ["3035", "25832", "3857"] {
        let dir = tempfile::tempdir().unwrap();
        let job = write_fixture::job(dir.path().into(), OutputCrs::Code(format!("EPSG:{code}")));
        let Some(read) = read_back(&write_fixture::map(1000), &job, code) else {
            return;
        };
        read.unwrap();
    }
}

#[test]
fn layers_without_points_are_read() {
    let dir = tempfile::tempdir().unwrap();
    let job = write_fixture::job(dir.path().into(), OutputCrs::Utm);
    let Some(read) = read_back(&write_fixture::map(0), &job, "4326") else {
        return;
    };
    read.unwrap();
}

/// The oracle must be able to fail: a changed value, a `crs` member and a lost record are each found.
#[test]
fn the_oracle_finds_what_is_wrong() {
    let dir = tempfile::tempdir().unwrap();
    let job = write_fixture::job(dir.path().into(), OutputCrs::Code("EPSG:4326".into()));
    let Some(read) = read_back(&write_fixture::map(500), &job, "4326") else {
        return;
    };
    read.unwrap();
    let python = std::env::var("FANMILL_PYTHON").unwrap();
    let path = dir
        .path()
        .join(&folders(&job.fields)[0])
        .join("points.geojson");
    let sound = std::fs::read_to_string(&path).unwrap();
    let last = sound.rfind(",\n{").unwrap();
    for (broken, complaint) in [
        (sound.replacen("\"row\":3,", "\"row\":9999,", 1), "row is"),
        (
            sound.replacen("\"features\"", "\"crs\":null,\"features\"", 1),
            "crs member",
        ),
        (format!("{}\n]}}\n", &sound[..last]), "counts"),
        (
            sound.replacen("\"factor\":1", "\"factor\":NaN,\"x\":1", 1),
            "NaN",
        ),
    ] {
        assert_ne!(broken, sound);
        std::fs::write(&path, broken).unwrap();
        let found = oracle(&python, dir.path(), "4326").unwrap_err();
        assert!(
            found.contains(complaint) || complaint == "NaN" && found.contains("JSON"),
            "{complaint}: {found}"
        );
    }
}
