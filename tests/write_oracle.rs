//! What we write, read by other people's software: GDAL (pyogrio and its GeoPackage validator), pyshp, geopandas,
//! pyarrow, a GeoParquet validator, geojson-pydantic and pyproj, in Python. `FANMILL_PYTHON` names a Python that has what
//! `oracles/requirements.txt` lists; `FANMILL_GPKG_VALIDATOR` GDAL's `validate_gpkg.py` and `FANMILL_GDAL_PYTHON` a
//! Python with GDAL's bindings; `FANMILL_QGIS_PYTHON` a Python with QGIS's.

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
    let grid = write_fixture::grid(map.row.len() / 10);
    write_field(
        &folder,
        FieldResult {
            map,
            grid: Some(&grid),
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
    let job = write_fixture::whole_job(dir.path().into(), OutputCrs::Code("EPSG:4326".into()));
    let Some(read) = read_back(&write_fixture::map(16_000), &job, "4326") else {
        return;
    };
    let read = read.unwrap();
    assert!(read.contains("points: 13714 points"), "{read}");
    assert!(read.contains("set-aside: 2286 points"), "{read}");
    assert!(read.contains("swaths: 13714 points"), "{read}");
    assert!(read.contains("grid: 1600 points"), "{read}");
    for format in [
        "geojson",
        "shapefile",
        "geopackage",
        "geoparquet",
        "flatgeobuf",
    ] {
        assert_eq!(read.matches(format).count(), 4, "{format}: {read}");
    }
}

/// EPSG 32632 is WGS 84 / UTM zone 32N: 6°E to 12°E, northern hemisphere (EPSG registry).
#[test]
fn the_zone_of_the_field_is_recognised() {
    let dir = tempfile::tempdir().unwrap();
    let job = write_fixture::whole_job(dir.path().into(), OutputCrs::Utm);
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
        let job =
            write_fixture::whole_job(dir.path().into(), OutputCrs::Code(format!("EPSG:{code}")));
        let Some(read) = read_back(&write_fixture::map(1000), &job, code) else {
            return;
        };
        read.unwrap();
    }
}

#[test]
fn layers_without_points_are_read() {
    let dir = tempfile::tempdir().unwrap();
    let job = write_fixture::whole_job(dir.path().into(), OutputCrs::Utm);
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

/// Other people's software on a folder of layers of `points` points.
fn on_layers(points: usize, crs: OutputCrs, look: impl FnOnce(&Path)) {
    let dir = tempfile::tempdir().unwrap();
    let job = write_fixture::whole_job(dir.path().into(), crs);
    let map = write_fixture::map(points);
    let summary = write_fixture::summary(&map);
    let grid = write_fixture::grid(points / 4);
    let result = FieldResult {
        map: &map,
        grid: Some(&grid),
        summary: &summary,
        pages: &|_| Vec::new(),
    };
    write_field(dir.path(), result, &job).unwrap();
    look(dir.path());
}

/// GDAL's own validator (`validate_gpkg.py` of PyPI's gdal-utils 3.13; the one of GDAL 3.6 does not know version 1.4),
/// with its extra checks, warnings counting as errors.
#[test]
fn gdal_finds_nothing_wrong_with_geopackages() {
    let (Ok(python), Ok(validator)) = (
        std::env::var("FANMILL_GDAL_PYTHON"),
        std::env::var("FANMILL_GPKG_VALIDATOR"),
    ) else {
        println!("skipped: no FANMILL_GDAL_PYTHON and FANMILL_GPKG_VALIDATOR");
        return;
    };
    for (points, crs) in [
        (2000, OutputCrs::Code("EPSG:4326".into())),
        (2000, OutputCrs::Utm),
        (0, OutputCrs::Utm),
    ] {
        on_layers(points, crs, |folder| {
            let validate = |file: &Path| {
                Command::new(&python)
                    .arg(&validator)
                    .args(["-k", "--extra", "--warning-as-error"])
                    .arg(file)
                    .output()
                    .expect("FANMILL_GDAL_PYTHON runs")
            };
            for stem in ["points", "set-aside", "swaths", "grid"] {
                let file = folder.join(stem).with_extension("gpkg");
                let said = validate(&file);
                let text = String::from_utf8_lossy(&said.stdout).into_owned()
                    + &String::from_utf8_lossy(&said.stderr);
                assert!(
                    said.status.success() && !text.contains("Req ") && !text.contains("Traceback"),
                    "{stem}, {points} points: {text}"
                );
            }
            // It can fail: an index that is not declared.
            let file = folder.join("points.gpkg");
            let database = rusqlite::Connection::open(&file).unwrap();
            database
                .execute_batch("DELETE FROM gpkg_extensions")
                .unwrap();
            drop(database);
            let said = validate(&file);
            let text = String::from_utf8_lossy(&said.stdout);
            assert!(!said.status.success() && text.contains("Req 78"), "{text}");
        });
    }
}

/// A desktop GIS opens the layers, finds their style by itself and draws them in its colours.
#[test]
fn a_desktop_gis_opens_layers_styled() {
    let Ok(python) = std::env::var("FANMILL_QGIS_PYTHON") else {
        println!("skipped: no FANMILL_QGIS_PYTHON");
        return;
    };
    on_layers(3000, OutputCrs::Utm, |folder| {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracles/render_layers.py");
        let said = Command::new(python)
            .arg(script)
            .arg(folder)
            .env("QT_QPA_PLATFORM", "offscreen")
            .output()
            .expect("FANMILL_QGIS_PYTHON runs");
        let text = String::from_utf8_lossy(&said.stdout);
        assert!(
            said.status.success() && text.matches("drawn").count() == 16,
            "{text}{}",
            String::from_utf8_lossy(&said.stderr)
        );
    });
}
