//! A field season's folder: what is in it, that a second run changes nothing, and what happens when it cannot be
//! written. Oracles: the `geojson`, `shapefile`, `dbase` and `csv` crates read everything back.

use std::collections::BTreeMap;
use std::error::Error as _;
use std::fs;
use std::path::Path;

use fanmill::job::{Format, Layer, OutputCrs};
use fanmill::summary::Summary;
use fanmill::write::run::{FieldOutcome, Outcome, RunRecord, Status};
use fanmill::write::{FieldResult, WriteError, check, folders, tables, write_field};

fn degrees() -> OutputCrs {
    OutputCrs::Code("EPSG:4326".into())
}

fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    fs::read_dir(folder)
        .unwrap()
        .map(|e| {
            let e = e.unwrap();
            (
                e.file_name().into_string().unwrap(),
                fs::read(e.path()).unwrap(),
            )
        })
        .collect()
}

/// A shapefile's points; texts as its .cpg says, UTF-8, which the crate does not read.
fn records(shp: &Path) -> Vec<(shapefile::Shape, dbase::Record)> {
    let cpg = fs::read_to_string(shp.with_extension("cpg")).unwrap();
    assert_eq!(cpg.trim(), "UTF-8");
    let table = dbase::ReaderBuilder::new()
        .with_encoding(dbase::encoding::UnicodeLossy)
        .build(fs::File::open(shp.with_extension("dbf")).unwrap())
        .unwrap();
    let shapes = shapefile::ShapeReader::from_path(shp).unwrap();
    shapefile::Reader::new(shapes, table).read().unwrap()
}

#[test]
fn a_field_is_written_whole_and_a_second_run_gives_the_same_bytes() {
    let map = crate::write_fixture::map(3000);
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::job(dir.path().into(), OutputCrs::Utm);
    let result = FieldResult {
        map: &map,
        grid: None,
        summary: &summary,
        pages: &|_| Vec::new(),
    };
    let written = write_field(dir.path(), result, &job).unwrap();
    let first = contents(dir.path());
    let names: Vec<&str> = first.keys().map(String::as_str).collect();
    assert_eq!(
        names,
        [
            "points.cpg",
            "points.dbf",
            "points.geojson",
            "points.prj",
            "points.qml",
            "points.shp",
            "points.shx",
            "points.sld",
            "set-aside.cpg",
            "set-aside.dbf",
            "set-aside.geojson",
            "set-aside.prj",
            "set-aside.qml",
            "set-aside.shp",
            "set-aside.shx",
            "set-aside.sld",
            "summary.json",
        ]
    );
    assert_eq!(written.files.len(), names.len());
    assert_eq!(written.remarks, []);
    assert!(written.files.last().unwrap().ends_with("summary.json"));
    let back: Summary = serde_json::from_slice(&first["summary.json"]).unwrap();
    assert_eq!(back, summary);

    for threads in [1, 3] {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| write_field(dir.path(), result, &job))
            .unwrap();
        assert!(contents(dir.path()) == first, "{threads} threads");
    }
}

/// Every layer in every format: no clock, no chance, no order of threads in it.
#[test]
fn every_format_gives_the_same_bytes_again() {
    let map = crate::write_fixture::map(3000);
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::whole_job(dir.path().into(), OutputCrs::Utm);
    let grid = crate::write_fixture::grid(500);
    let result = FieldResult {
        map: &map,
        grid: Some(&grid),
        summary: &summary,
        pages: &|_| Vec::new(),
    };
    let write = |folder: &str, threads: usize| {
        let folder = dir.path().join(folder);
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        let written = pool.install(|| write_field(&folder, result, &job)).unwrap();
        (contents(&folder), written)
    };
    let (first, written) = write("one", 1);
    // A format of one file, or five; a style in two languages; the summary.
    assert_eq!(first.len(), 4 * (4 + 5 + 2) + 1);
    assert_eq!(written.files.len(), first.len());
    let (second, _) = write("two", 3);
    for (name, bytes) in &first {
        assert!(second[name] == *bytes, "{name} differs");
    }
    // Points without a position have no place in FlatGeobuf, and that is said.
    let nowhere = |kept: bool| {
        (0..3000)
            .filter(|&i| map.verdicts.is_kept(i) == kept && map.lon[i].is_nan())
            .count()
    };
    let said: Vec<&str> = written.remarks.iter().map(|r| r.text.as_str()).collect();
    let set_aside = format!("set-aside.fgb: {} of 429 points", nowhere(false));
    assert!(said.iter().any(|t| t.starts_with(&set_aside)), "{said:?}");
}

/// In its own zone a cell's corners are whole multiples of its side to the last bit, so that fields and seasons share them.
#[test]
fn cells_are_round_in_their_zone() {
    let map = crate::write_fixture::map(60);
    let grid = crate::write_fixture::grid(90);
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let mut job = crate::write_fixture::job(dir.path().into(), OutputCrs::Utm);
    job.layers = vec![Layer::Grid];
    let result = FieldResult {
        map: &map,
        grid: Some(&grid),
        summary: &summary,
        pages: &|_| Vec::new(),
    };
    write_field(dir.path(), result, &job).unwrap();
    let cells = records(&dir.path().join("grid.shp"));
    assert_eq!(cells.len(), 90);
    for (shape, record) in cells {
        let shapefile::Shape::Polygon(polygon) = shape else {
            panic!("a cell is no polygon");
        };
        let ring = polygon.rings()[0].points();
        assert_eq!(ring.len(), 5);
        assert!(
            ring.iter().all(|p| p.x % 10.0 == 0.0 && p.y % 10.0 == 0.0),
            "{ring:?}"
        );
        let Some(dbase::FieldValue::Numeric(Some(east))) = record.get("east_m") else {
            panic!("a cell without an easting");
        };
        assert_eq!(
            *east,
            ring.iter().map(|p| p.x).fold(f64::INFINITY, f64::min) + 5.0
        );
    }
}

/// RFC 7946, and null for what is missing: read by the `geojson` crate.
#[test]
fn geojson_reads_back_to_the_map() {
    let map = crate::write_fixture::map(20_000);
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::job(dir.path().into(), degrees());
    write_field(
        dir.path(),
        FieldResult {
            map: &map,
            grid: None,
            summary: &summary,
            pages: &|_| Vec::new(),
        },
        &job,
    )
    .unwrap();
    let mut seen = 0;
    for (file, kept) in [("points.geojson", true), ("set-aside.geojson", false)] {
        let text = fs::read_to_string(dir.path().join(file)).unwrap();
        let collection: geojson::FeatureCollection = text.parse().unwrap();
        assert!(collection.foreign_members.is_none());
        let rows: Vec<usize> = (0..map.row.len())
            .filter(|&i| map.verdicts.is_kept(i) == kept)
            .collect();
        assert_eq!(collection.features.len(), rows.len());
        for (feature, i) in collection.features.iter().zip(rows) {
            seen += 1;
            let position = feature.geometry.as_ref().map(|g| match &g.value {
                geojson::GeometryValue::Point { coordinates } => [coordinates[0], coordinates[1]],
                other => panic!("{other:?}"),
            });
            assert_eq!(position.is_none(), map.lon[i].is_nan());
            if let Some([lon, lat]) = position {
                assert!((lon - map.lon[i]).abs() < 5.1e-8 && (lat - map.lat[i]).abs() < 5.1e-8);
            }
            let number = |name: &str, expected: f64, half: f64| match feature
                .property(name)
                .unwrap()
                .as_f64()
            {
                Some(value) => assert!(
                    (value - expected).abs() <= half,
                    "{name} {value} {expected}"
                ),
                None => assert!(
                    expected.is_nan() && feature.property(name).unwrap().is_null(),
                    "{name}"
                ),
            };
            number("yield", map.yields[i], 5.1e-5);
            number("yield_log", map.yield_log[i], 5.1e-5);
            number("factor", map.factor[i], 5.1e-6);
            number("moist_pct", map.moist_pct[i], 5.1e-4);
            assert_eq!(
                feature.property("log").unwrap(),
                map.logs[map.log[i] as usize].as_str()
            );
            assert_eq!(
                feature.property("load").unwrap().as_str(),
                map.load[i].map(|l| map.loads[l as usize].as_str())
            );
            assert_eq!(
                feature.property("pass").unwrap().as_u64(),
                map.pass[i].map(u64::from)
            );
            let time = feature
                .property("time")
                .unwrap()
                .as_str()
                .map(|t| t.parse::<jiff::Timestamp>().unwrap());
            assert_eq!(
                time.map(|t| t.as_millisecond() as f64 / 1e3),
                Some(map.time[i]).filter(|t| !t.is_nan())
            );
            let reason = feature
                .property("reason")
                .map(|r| r.as_str().unwrap().to_owned());
            assert_eq!(reason, map.verdicts.reason(i).map(|r| r.name().to_owned()));
        }
    }
    assert_eq!(seen, map.row.len());
}

/// Read by the `shapefile` and `dbase` crates.
#[test]
fn shapefile_reads_back_to_the_map() {
    let map = crate::write_fixture::map(2000);
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::job(dir.path().into(), degrees());
    write_field(
        dir.path(),
        FieldResult {
            map: &map,
            grid: None,
            summary: &summary,
            pages: &|_| Vec::new(),
        },
        &job,
    )
    .unwrap();
    let records = records(&dir.path().join("set-aside.shp"));
    let rows: Vec<usize> = (0..map.row.len())
        .filter(|&i| !map.verdicts.is_kept(i))
        .collect();
    assert_eq!(records.len(), rows.len());
    for ((shape, record), i) in records.iter().zip(rows) {
        match shape {
            shapefile::Shape::Point(p) => assert_eq!((p.x, p.y), (map.lon[i], map.lat[i])),
            shapefile::Shape::NullShape => assert!(map.lon[i].is_nan()),
            other => panic!("{other}"),
        }
        let number = |name: &str| match record.get(name) {
            Some(dbase::FieldValue::Numeric(value)) => *value,
            other => panic!("{name}: {other:?}"),
        };
        let text = |name: &str| match record.get(name) {
            Some(dbase::FieldValue::Character(value)) => value.as_deref(),
            other => panic!("{name}: {other:?}"),
        };
        assert_eq!(number("row"), Some(f64::from(map.row[i])));
        assert_eq!(number("speed_m_s").is_none(), map.speed_m_s[i].is_nan());
        assert_eq!(
            text("machine"),
            Some(map.machines[map.machine[i] as usize].as_str())
        );
        assert_eq!(
            text("load"),
            map.load[i].map(|l| map.loads[l as usize].as_str())
        );
        assert_eq!(text("reason"), map.verdicts.reason(i).map(|r| r.name()));
    }
}

#[test]
fn what_a_shapefile_cannot_hold_is_left_blank_or_cut_and_said() {
    let mut map = crate::write_fixture::map(20);
    map.logs[0] = format!("{}.csv", "ü".repeat(150)); // 304 bytes
    map.yield_log[2] = -1e20;
    map.yield_log[4] = 123_456_789.123_45;
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::job(dir.path().into(), degrees());
    let written = write_field(
        dir.path(),
        FieldResult {
            map: &map,
            grid: None,
            summary: &summary,
            pages: &|_| Vec::new(),
        },
        &job,
    )
    .unwrap();
    let said: Vec<(&str, &str)> = written
        .remarks
        .iter()
        .map(|r| (r.code.as_str(), r.text.split(':').next().unwrap()))
        .collect();
    assert_eq!(
        said,
        [
            ("text-cut", "points.dbf, column \"log\""),
            ("number-left-out", "points.dbf, column \"yield_log\""),
            ("text-cut", "set-aside.dbf, column \"log\""),
        ]
    );
    let back: Summary = serde_json::from_slice(&contents(dir.path())["summary.json"]).unwrap();
    assert_eq!(back.warnings, [summary.warnings, written.remarks].concat());
    let records = records(&dir.path().join("points.shp"));
    let value = |row: f64, name: &str| {
        let (_, record) = records
            .iter()
            .find(|(_, r)| r.get("row") == Some(&dbase::FieldValue::Numeric(Some(row))))
            .unwrap();
        record.get(name).unwrap().clone()
    };
    assert_eq!(
        value(3.0, "log"),
        dbase::FieldValue::Character(Some("ü".repeat(127)))
    );
    assert_eq!(value(3.0, "yield_log"), dbase::FieldValue::Numeric(None));
    assert_eq!(
        value(5.0, "yield_log"),
        dbase::FieldValue::Numeric(Some(123_456_789.123_5))
    );
    assert!(
        fs::read_to_string(dir.path().join("points.geojson"))
            .unwrap()
            .contains("\"yield_log\":-100000000000000000000")
    );
}

#[test]
fn a_layer_without_points_is_a_valid_file() {
    let map = crate::write_fixture::map(0);
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::job(dir.path().into(), OutputCrs::Utm);
    write_field(
        dir.path(),
        FieldResult {
            map: &map,
            grid: None,
            summary: &summary,
            pages: &|_| Vec::new(),
        },
        &job,
    )
    .unwrap();
    let text = fs::read_to_string(dir.path().join("set-aside.geojson")).unwrap();
    assert_eq!(
        text.parse::<geojson::FeatureCollection>()
            .unwrap()
            .features
            .len(),
        0
    );
    assert!(records(&dir.path().join("set-aside.shp")).is_empty());
}

#[test]
fn layers_that_the_job_no_longer_asks_for_go_and_other_files_stay() {
    let map = crate::write_fixture::map(50);
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let mut job = crate::write_fixture::job(dir.path().into(), degrees());
    let result = FieldResult {
        map: &map,
        grid: None,
        summary: &summary,
        pages: &|_| Vec::new(),
    };
    fs::write(dir.path().join("notes.txt"), "mine").unwrap();
    job.formats = Format::ALL.to_vec();
    job.layers = Layer::ALL.to_vec();
    write_field(dir.path(), result, &job).unwrap();
    job.formats = vec![Format::GeoJson];
    job.layers = vec![Layer::Points];
    write_field(dir.path(), result, &job).unwrap();
    let left: Vec<String> = contents(dir.path()).into_keys().collect();
    assert_eq!(
        left,
        [
            "notes.txt",
            "points.geojson",
            "points.qml",
            "points.sld",
            "summary.json"
        ]
    );
    job.formats = vec![Format::GeoPackage];
    write_field(dir.path(), result, &job).unwrap();
    let left: Vec<String> = contents(dir.path()).into_keys().collect();
    assert_eq!(left, ["notes.txt", "points.gpkg", "summary.json"]);
}

#[test]
fn a_folder_that_cannot_be_made_is_named_with_its_cause_and_a_way_out() {
    let map = crate::write_fixture::map(1);
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let job = crate::write_fixture::job(dir.path().into(), degrees());
    fs::write(dir.path().join("results"), "a file").unwrap();
    let folder = dir.path().join("results").join("Heron Lane");
    let error = write_field(
        &folder,
        FieldResult {
            map: &map,
            grid: None,
            summary: &summary,
            pages: &|_| Vec::new(),
        },
        &job,
    )
    .unwrap_err();
    assert!(matches!(&error, WriteError::Folder { path, .. } if *path == folder));
    assert!(error.to_string().contains("Heron Lane"), "{error}");
    assert!(
        error
            .source()
            .unwrap()
            .downcast_ref::<std::io::Error>()
            .is_some()
    );
    assert!(
        error
            .hint()
            .contains("a file stands where a folder is needed"),
        "{}",
        error.hint()
    );
}

#[test]
fn a_crs_that_cannot_be_written_is_found_before_anything_is_computed() {
    let mut job = crate::write_fixture::job("results".into(), degrees());
    check(&job).unwrap();
    for (code, why) in [("EPSG:999999", "does not know"), ("EPSG:4978", "Geodetic")] {
        job.crs = OutputCrs::Code(code.into());
        let error = check(&job).unwrap_err();
        let source = error.source().unwrap().to_string();
        assert!(
            error.to_string().contains(code) && source.contains(why),
            "{error}: {source}"
        );
        assert!(error.hint().contains("`crs` in [job]"));
    }
}

#[test]
fn the_run_and_its_tables_name_every_field_in_the_order_of_the_job() {
    let map = crate::write_fixture::map(70);
    let summary = crate::write_fixture::summary(&map);
    let dir = tempfile::tempdir().unwrap();
    let mut job = crate::write_fixture::job(dir.path().into(), degrees());
    job.fields = vec![
        crate::write_fixture::field("Zoë, \"north\""),
        crate::write_fixture::field("a/b"),
    ];
    let names = folders(&job.fields);
    let outcomes = [
        FieldOutcome::new(&job.fields[0], &names[0], Outcome::Done(Box::new(summary))),
        FieldOutcome::new(
            &job.fields[1],
            &names[1],
            Outcome::Failed("logs/x.csv, row 3: no".into()),
        ),
    ];
    RunRecord::new(&job, &outcomes).write(dir.path()).unwrap();
    let text = fs::read_to_string(dir.path().join("run.json")).unwrap();
    let run: RunRecord = serde_json::from_str(&text).unwrap();
    assert_eq!(run.version, env!("CARGO_PKG_VERSION"));
    assert_eq!(
        run.settings.job.formats,
        [Format::GeoJson, Format::Shapefile]
    );
    assert_eq!(run.fields[0].status, Status::Done);
    assert_eq!(run.fields[0].error, None);
    assert_eq!(run.fields[1].status, Status::Failed);
    assert_eq!(
        run.fields[1].error.as_deref(),
        Some("logs/x.csv, row 3: no")
    );
    assert!(
        !text.contains(dir.path().to_str().unwrap()),
        "run.json names a path of this machine"
    );

    tables::write_fields(dir.path(), &outcomes).unwrap();
    tables::write_loads(dir.path(), &outcomes).unwrap();
    let table = |name: &str| -> Vec<BTreeMap<String, String>> {
        csv::Reader::from_path(dir.path().join(name))
            .unwrap()
            .deserialize()
            .map(Result::unwrap)
            .collect()
    };
    let fields = table("summary.csv");
    assert_eq!(fields.len(), 2);
    let value = |row: usize, column: &str| fields[row][column].as_str();
    assert_eq!(value(0, "field"), "Zoë, \"north\"");
    assert_eq!(
        (
            value(0, "rows"),
            value(0, "kept"),
            value(0, "set_aside"),
            value(0, "unreadable")
        ),
        ("72", "60", "10", "2")
    );
    assert_eq!(
        (
            value(0, "yield_mean"),
            value(0, "logged_mean"),
            value(0, "yield_unit")
        ),
        ("9.47", "9.9", "t/ha")
    );
    assert_eq!(
        (
            value(0, "delay_s"),
            value(0, "delay_basis"),
            value(0, "closure_pct")
        ),
        ("12.25", "field", "")
    );
    assert_eq!(
        (value(0, "warnings"), value(0, "warning_codes")),
        ("1", "many-set-aside")
    );
    assert_eq!(
        (value(1, "status"), value(1, "rows"), value(1, "area_ha")),
        ("failed", "", "")
    );
    assert_eq!(value(1, "error"), "logs/x.csv, row 3: no");
    let loads = table("loads.csv");
    assert_eq!(loads.len(), 1);
    assert_eq!(loads[0]["ticket"], "T, 1");
    assert_eq!(loads[0]["logged_kg"], "30500.123457");
    assert_eq!(
        (
            loads[0]["ci95_high"].as_str(),
            loads[0]["moisture_offset_pct"].as_str()
        ),
        ("", "")
    );
    assert_eq!(loads[0]["remarks"], "doubtful-ticket;small-load");
    assert_eq!(loads[0]["basis"], "ticket");
}
