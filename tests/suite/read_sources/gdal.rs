//! What GDAL writes, read alike.

use super::farm::{codes, example, python, read, read_with, same, write};

/// UTM 32 in tenths of a millimetre, and nine decimals of a degree: 1e-9 degrees are 0.1 mm.
const DEGREES: f64 = 2e-9;

#[test]
fn what_gdal_writes_is_read_alike() {
    let folder = tempfile::tempdir().expect("a folder");
    // More rows than a batch, names beyond ASCII, a header that a shapefile has room for.
    let text = example()
        .replace("moisture_pct", "moisture")
        .replace("first-C1", "Mühle-C1");
    assert!(text.lines().count() > 520);
    let table = write(folder.path(), "base.csv", text.as_bytes());
    let Some(version) = python("write_logs.py", &[&table, &folder.path().join("gdal")]) else {
        return;
    };
    println!("GDAL {version}");
    let base = read(folder.path(), "First field", "logs = [\"base.csv\"]").expect("readable");
    // The example has a row without a position.
    let said = codes(&base);
    assert_eq!(
        (base.unreadable.len(), said.as_slice()),
        (0, &["bad-position"][..])
    );
    for log in [
        "4326.shp",
        "4326.geojson",
        "4326.gpkg",
        "4326.csv",
        "32632.shp",
        "32632.geojson",
        "32632.gpkg",
    ] {
        let keys = format!("logs = [\"gdal/log-{log}\"]");
        let input =
            read(folder.path(), "First field", &keys).unwrap_or_else(|e| panic!("{log}: {e}"));
        assert_eq!(
            (input.unreadable.len(), codes(&input)),
            (0, said.clone()),
            "{log}: {:?}",
            input.warnings
        );
        // A shapefile's numbers have 15 decimals.
        same(&base.log, &input.log, DEGREES, 1e-14);
        assert_eq!(input.log.elevation.len(), base.log.len());
    }
    // The two columns of a shapefile without a .prj are taken for what they look like, and said.
    std::fs::remove_file(folder.path().join("gdal/log-4326.prj")).expect("there");
    let input = read(
        folder.path(),
        "First field",
        "logs = [\"gdal/log-4326.shp\"]",
    )
    .expect("readable");
    assert_eq!(codes(&input), ["no-crs", "bad-position"]);
    same(&base.log, &input.log, DEGREES, 1e-14);
    std::fs::remove_file(folder.path().join("gdal/log-32632.prj")).expect("there");
    let error = read(
        folder.path(),
        "First field",
        "logs = [\"gdal/log-32632.shp\"]",
    )
    .expect_err("no CRS");
    assert_eq!(
        error.to_string(),
        "gdal/log-32632.shp: expected a CRS that PROJ knows, found no .prj"
    );
    let given = read_with(
        folder.path(),
        "First field",
        "logs = [\"gdal/log-32632.shp\"]",
        "[log]\ncrs = \"EPSG:32632\"",
    );
    same(&base.log, &given.expect("readable").log, DEGREES, 1e-14);
}

#[test]
fn boundaries_of_gdal_are_read_alike() {
    let folder = tempfile::tempdir().expect("a folder");
    let table = write(folder.path(), "base.csv", example().as_bytes());
    if python("write_logs.py", &[&table, &folder.path().join("gdal")]).is_none() {
        return;
    }
    let mut areas = Vec::new();
    for file in [
        "4326.geojson",
        "4326.shp",
        "4326.gpkg",
        "32632.shp",
        "32632.gpkg",
        "32632.geojson",
    ] {
        let keys = format!("logs = [\"base.csv\"]\nboundary = \"gdal/boundary-{file}\"");
        let input =
            read(folder.path(), "First field", &keys).unwrap_or_else(|e| panic!("{file}: {e}"));
        let shape = input.boundary.expect("a boundary");
        // Of two outlines the one of the field's name, with its hole.
        assert_eq!(
            (shape.0.len(), shape.0[0].interiors().len()),
            (1, 1),
            "{file}"
        );
        areas.push(geo::Area::unsigned_area(&shape));
    }
    let first = areas[0];
    assert!(
        first > 0.0 && areas.iter().all(|a| (a / first - 1.0).abs() < 1e-5),
        "{areas:?}"
    );
    // A field that no outline is named after takes them all.
    let keys = "logs = [\"base.csv\"]\nboundary = \"gdal/boundary-4326.gpkg\"";
    let all = read(folder.path(), "Another name", keys)
        .expect("readable")
        .boundary
        .expect("a boundary");
    assert_eq!(all.0.len(), 2);
}
