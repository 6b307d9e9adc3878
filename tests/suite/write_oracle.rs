//! What we write, read by other people's software: GDAL (pyogrio and its GeoPackage validator), pyshp, geopandas,
//! pyarrow, a GeoParquet validator, geojson-pydantic and pyproj, in Python. `FANMILL_PYTHON` names a Python that has what
//! `oracles/requirements.txt` lists; `FANMILL_GPKG_VALIDATOR` GDAL's `validate_gpkg.py` and `FANMILL_GDAL_PYTHON` a
//! Python with GDAL's bindings; `FANMILL_QGIS_PYTHON` a Python with QGIS's.

use std::path::Path;
use std::process::Command;

use crate::outside::{complaint, given, oracle, run_by};

use fanmill::job::{Job, OutputCrs};
use fanmill::map::YieldMap;
use fanmill::write::{FieldResult, folders, write_field};

/// Writes a map and has the oracle read it; `Err` is what the oracle says.
fn read_back(map: &YieldMap, job: &Job, epsg: &str) -> Option<Result<String, String>> {
    let oracle = oracle("read_layers.py")?;
    let folder = job.results.join(&folders(&job.fields)[0]);
    let summary = crate::write_fixture::summary(map);
    let grid = crate::write_fixture::grid(map.row.len() / 10);
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
    Some(ask(oracle, &job.results, epsg))
}

fn ask(mut oracle: Command, results: &Path, epsg: &str) -> Result<String, String> {
    let output = oracle.arg(results).arg(epsg).output().expect("it runs");
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    } else {
        Err(complaint(&output))
    }
}

#[test]
fn other_software_reads_the_same_from_every_format() {
    let dir = tempfile::tempdir().unwrap();
    let job =
        crate::write_fixture::whole_job(dir.path().into(), OutputCrs::Code("EPSG:4326".into()));
    let Some(read) = read_back(&crate::write_fixture::map(16_000), &job, "4326") else {
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
    let job = crate::write_fixture::whole_job(dir.path().into(), OutputCrs::Utm);
    let Some(read) = read_back(&crate::write_fixture::map(1000), &job, "32632") else {
        return;
    };
    read.unwrap();
}

/// EPSG 3035, ETRS89 / LAEA Europe, and 25832: not WGS 84, and northing before easting in the registry.
#[test]
fn any_code_of_the_registry_is_recognised() {
    for code in ["3035", "25832", "3857"] {
        let dir = tempfile::tempdir().unwrap();
        let job = crate::write_fixture::whole_job(
            dir.path().into(),
            OutputCrs::Code(format!("EPSG:{code}")),
        );
        let Some(read) = read_back(&crate::write_fixture::map(1000), &job, code) else {
            return;
        };
        read.unwrap();
    }
}

#[test]
fn layers_without_points_are_read() {
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::whole_job(dir.path().into(), OutputCrs::Utm);
    let Some(read) = read_back(&crate::write_fixture::map(0), &job, "4326") else {
        return;
    };
    read.unwrap();
}

/// The oracle must be able to fail: a changed value, a `crs` member and a lost record are each found.
#[test]
fn the_oracle_finds_what_is_wrong() {
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::job(dir.path().into(), OutputCrs::Code("EPSG:4326".into()));
    let Some(read) = read_back(&crate::write_fixture::map(500), &job, "4326") else {
        return;
    };
    read.unwrap();
    let path = dir
        .path()
        .join(&folders(&job.fields)[0])
        .join("points.geojson");
    let sound = std::fs::read_to_string(&path).unwrap();
    let last = sound.rfind(",\n{").unwrap();
    for (broken, says) in [
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
        let oracle = oracle("read_layers.py").expect("a Python");
        let found = ask(oracle, dir.path(), "4326").unwrap_err();
        assert!(
            found.contains(says) || says == "NaN" && found.contains("JSON"),
            "{says}: {found}"
        );
    }
}

/// Other people's software on a folder of layers of `points` points.
fn on_layers(points: usize, crs: OutputCrs, look: impl FnOnce(&Path)) {
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::whole_job(dir.path().into(), crs);
    let map = crate::write_fixture::map(points);
    let summary = crate::write_fixture::summary(&map);
    let grid = crate::write_fixture::grid(points / 4);
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
    let (Some(python), Some(validator)) = (
        given("FANMILL_GDAL_PYTHON"),
        given("FANMILL_GPKG_VALIDATOR"),
    ) else {
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
    let Some(python) = given("FANMILL_QGIS_PYTHON") else {
        return;
    };
    on_layers(3000, OutputCrs::Utm, |folder| {
        let said = run_by(&python, "render_layers.py")
            .arg(folder)
            .env("QT_QPA_PLATFORM", "offscreen")
            .output()
            .expect("it runs");
        let text = String::from_utf8_lossy(&said.stdout);
        assert!(
            said.status.success() && text.matches("drawn").count() == 16,
            "{text}{}",
            String::from_utf8_lossy(&said.stderr)
        );
    });
}
