//! Archives and folders: what they hold is found; what is no log, or a bomb, is refused with a way out.

use std::io::Write;
use std::path::Path;

use super::farm::{codes, example, read, same, write};

pub fn zip(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        zip.start_file(*name, zip::write::SimpleFileOptions::default())
            .expect("an entry");
        zip.write_all(bytes).expect("packed");
    }
    zip.finish().expect("a zip").into_inner()
}

pub fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    gzip.write_all(bytes).expect("packed");
    gzip.finish().expect("packed")
}

fn said(folder: &Path, logs: &str) -> String {
    let error = read(folder, "First field", &format!("logs = [\"{logs}\"]")).expect_err("an error");
    format!("{error}; {}", error.hint().unwrap_or("no hint"))
}

#[test]
fn a_folder_and_a_zip_hold_several_logs() {
    let folder = tempfile::tempdir().expect("a folder");
    let table = example();
    write(folder.path(), "base.csv", table.as_bytes());
    write(folder.path(), "logs/day 1/a.csv", table.as_bytes());
    write(
        folder.path(),
        "logs/day 2/b.csv.gz",
        &gzip(table.as_bytes()),
    );
    write(folder.path(), "logs/notes.pdf", b"%PDF");
    write(
        folder.path(),
        "season.zip",
        &zip(&[
            ("a/1.csv", table.as_bytes()),
            ("b/2.csv", table.as_bytes()),
            ("b/read me.doc", b"x"),
        ]),
    );
    for (logs, names) in [
        ("logs", ["logs/day 1/a.csv", "logs/day 2/b.csv.gz"]),
        ("season.zip", ["season.zip/a/1.csv", "season.zip/b/2.csv"]),
    ] {
        let input = read(
            folder.path(),
            "First field",
            &format!("logs = [\"{logs}\"]"),
        )
        .expect("readable");
        let sources: Vec<&str> = input.log.sources.iter().map(|s| s.path.as_str()).collect();
        assert_eq!(
            (sources.as_slice(), codes(&input)),
            (&names[..], vec!["bad-position"])
        );
        assert_eq!(input.log.len(), 2 * (table.lines().count() - 1));
    }
}

#[test]
fn a_shapefile_s_other_files_are_read_along_and_not_by_themselves() {
    let folder = tempfile::tempdir().expect("a folder");
    let table = write(
        folder.path(),
        "base.csv",
        example().replace("moisture_pct", "moisture").as_bytes(),
    );
    if super::farm::python("write_logs.py", &[&table, &folder.path().join("gdal")]).is_none() {
        return;
    }
    let base = read(folder.path(), "First field", "logs = [\"base.csv\"]").expect("readable");
    let all = read(
        folder.path(),
        "First field",
        "logs = [\"gdal/log-4326.[sdpc][hbrp]*\"]",
    )
    .expect("readable");
    assert_eq!(all.log.sources.len(), 1);
    let entries: Vec<(String, Vec<u8>)> = ["shp", "dbf", "prj", "shx", "cpg"]
        .iter()
        .map(|e| {
            (
                format!("x/LOG.{}", e.to_uppercase()),
                std::fs::read(folder.path().join(format!("gdal/log-4326.{e}"))).expect("there"),
            )
        })
        .collect();
    let entries: Vec<(&str, &[u8])> = entries
        .iter()
        .map(|(n, b)| (n.as_str(), b.as_slice()))
        .collect();
    write(folder.path(), "shape.zip", &zip(&entries));
    let zipped = read(folder.path(), "First field", "logs = [\"shape.zip\"]").expect("readable");
    assert_eq!(
        (zipped.log.sources[0].path.as_str(), codes(&zipped)),
        ("shape.zip/x/LOG.SHP", vec!["bad-position"])
    );
    same(&base.log, &zipped.log, 2e-9, 1e-14);

    // Cut short, it keeps its whole records.
    let shp = folder.path().join("gdal/log-4326.shp");
    let bytes = std::fs::read(&shp).expect("there");
    std::fs::write(&shp, &bytes[..100 + 28 * 40 + 13]).expect("written");
    let cut = read(
        folder.path(),
        "First field",
        "logs = [\"gdal/log-4326.shp\"]",
    )
    .expect("readable");
    assert_eq!((cut.log.len(), codes(&cut)), (40, vec!["cut-short"]));
    std::fs::remove_file(folder.path().join("gdal/log-4326.dbf")).expect("there");
    assert!(said(folder.path(), "gdal/log-4326.shp").contains("expected a .dbf beside it"));
}

#[test]
fn bombs_are_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut table = b"lon_deg,lat_deg,flow_kg_s\n".to_vec();
    table.resize(40 * 1024 * 1024, b' ');
    write(folder.path(), "a.csv.gz", &gzip(&table));
    write(folder.path(), "b.zip", &zip(&[("b.csv", &table)]));
    assert!(said(folder.path(), "a.csv.gz").contains("unpacks to more than 200 times its size"));
    let zip = said(folder.path(), "b.zip");
    assert!(
        zip.contains("unpacks to more than 200 times its size") && zip.contains("unpack it"),
        "{zip}"
    );
}

#[test]
fn what_is_no_log_says_what_it_is() {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "a.zip", &zip(&[("notes.doc", b"x")]));
    write(folder.path(), "b.pdf", b"%PDF-1.7");
    write(
        folder.path(),
        "c.xlsx",
        &zip(&[("xl/workbook.xml", b"<x/>")]),
    );
    write(folder.path(), "d.csv.gz", &gzip(b"PK\x03\x04"));
    write(folder.path(), "e.zip", b"PK\x03\x04 and no more");
    write(
        folder.path(),
        "out.zip",
        &zip(&[("../../out.csv", b"lon,lat\n")]),
    );
    std::fs::create_dir(folder.path().join("empty")).expect("made");
    for (file, found) in [
        ("a.zip", "expected a log in it, found none"),
        ("b.pdf", "found a PDF"),
        ("c.xlsx", "found a .xlsx file"),
        ("d.csv.gz", "expected a CSV or a GeoJSON in the gzip"),
        ("e.zip", "expected a zip archive"),
        ("out.zip", "expected a log in it, found none"),
        ("empty", "expected a log in it, found none"),
    ] {
        let said = said(folder.path(), file);
        assert!(said.contains(found), "{file}: {said}");
    }
    assert!(!folder.path().join("../out.csv").exists());
}
