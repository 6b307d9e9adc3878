//! The demo farm as files: complete, readable, true to what it promises, and never over something else.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use fanmill::simulate::{DemoFiles, SimulateError, demo_farm, simulate, write_demo};

fn demo() -> (tempfile::TempDir, PathBuf, DemoFiles) {
    let temporary = tempfile::tempdir().expect("a temporary folder");
    let folder = temporary.path().join("demo");
    let files = write_demo(&folder).expect("the demo can be written");
    (temporary, folder, files)
}

fn csv_rows(path: &Path) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_path(path)
        .expect("a table")
        .deserialize()
        .map(|r| r.expect("a row"))
        .collect()
}

#[test]
fn the_farm_is_what_it_promises() {
    let (_keep, folder, files) = demo();
    assert_eq!(files.fields, 5);
    assert!(
        (60.0..120.0).contains(&files.area_ha),
        "{} ha",
        files.area_ha
    );
    assert!(
        (55_000..110_000).contains(&files.rows),
        "{} rows",
        files.rows
    );
    for path in &files.files {
        assert!(
            fs::metadata(folder.join(path))
                .expect("every file named is there")
                .len()
                > 0,
            "{path}"
        );
    }
    let truth: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(folder.join("truth/truth.json")).unwrap())
            .unwrap();
    let fields = truth["fields"].as_array().unwrap();
    let crops: BTreeSet<&str> = fields.iter().map(|f| f["crop"].as_str().unwrap()).collect();
    assert_eq!(crops, BTreeSet::from(["maize", "soybean", "wheat"]));
    let all_weighed = |f: &&serde_json::Value| {
        f["loads"]
            .as_array()
            .unwrap()
            .iter()
            .all(|l| l["ticket"].is_string())
    };
    assert!(fields.iter().filter(all_weighed).count() >= 2);
    assert!(
        fields
            .iter()
            .any(|f| !f["wrong_tickets"].as_array().unwrap().is_empty())
    );
    assert!(
        fields
            .iter()
            .any(|f| f["machines"].as_array().unwrap().len() == 2)
    );
    assert!(
        fields
            .iter()
            .any(|f| f["machines"][0]["log_delay_s"].as_f64().unwrap() < -1.0)
    );
    // Every kind of fault occurs, and most rows are sound.
    let mut faults = BTreeSet::new();
    for f in fields {
        for row in csv_rows(&folder.join(f["points"].as_str().unwrap())) {
            faults.insert(row["fault"].clone());
        }
    }
    assert_eq!(faults.len(), 8, "{faults:?}");
}

#[test]
fn logs_and_truth_go_row_by_row() {
    let (_keep, folder, files) = demo();
    let mut rows = 0;
    for path in files.files.iter().filter(|p| p.starts_with("logs/")) {
        let log = csv_rows(&folder.join(path));
        let key = path.split('/').nth(1).unwrap();
        let truth: Vec<_> = csv_rows(&folder.join(format!("truth/{key}.csv")))
            .into_iter()
            .filter(|t| &t["log"] == path)
            .collect();
        assert_eq!(log.len(), truth.len());
        for (i, t) in truth.iter().enumerate() {
            assert_eq!(t["row"], (i + 1).to_string());
        }
        let flow: f64 = log
            .iter()
            .map(|r| r["flow_kg_s"].parse::<f64>().expect("a flow in every row"))
            .sum();
        assert!(flow > 0.0);
        for r in &log {
            // ISO 8601 as jiff reads it.
            r["time"]
                .parse::<jiff::Timestamp>()
                .expect("a time in every row");
            assert_eq!(r["lon_deg"].is_empty(), r["lat_deg"].is_empty());
        }
        rows += log.len();
    }
    assert_eq!(rows, files.rows);
}

#[test]
fn plausible_amounts() {
    let speeds = 1.0..2.4;
    for (spec, seed) in demo_farm().iter().zip(1..) {
        let s = simulate(spec, seed).unwrap();
        let yields = match spec.crop.as_str() {
            "maize" => 8_000.0..13_000.0,
            "wheat" => 6_000.0..9_000.0,
            _ => 2_500.0..4_000.0,
        };
        assert!(
            yields.contains(&s.truth.field.mean_reference_kg_ha),
            "{}",
            spec.name
        );
        let mut working: Vec<f64> = s
            .rows
            .iter()
            .filter(|r| r.truth.sound)
            .map(|r| r.speed_m_s)
            .collect();
        working.sort_by(f64::total_cmp);
        assert!(
            speeds.contains(&working[working.len() / 20])
                && speeds.contains(&working[working.len() * 19 / 20])
        );
        assert!(
            spec.machines
                .iter()
                .all(|m| (6.0..=12.0).contains(&m.header_width))
        );
    }
}

#[test]
fn the_job_names_the_files() {
    let (_keep, folder, files) = demo();
    let job: toml::Table = fs::read_to_string(folder.join("job.toml"))
        .unwrap()
        .parse()
        .expect("TOML");
    let fields = job["field"].as_array().unwrap();
    assert_eq!(fields.len(), 5);
    assert!(
        fields
            .iter()
            .any(|f| !f["name"].as_str().unwrap().is_ascii())
    );
    let mut matched = BTreeSet::new();
    for f in fields {
        let pattern = folder.join(f["logs"][0].as_str().unwrap());
        let logs: Vec<_> = glob::glob(pattern.to_str().unwrap())
            .unwrap()
            .map(Result::unwrap)
            .collect();
        assert!(!logs.is_empty());
        matched.extend(logs);
        assert!(folder.join(f["boundary"].as_str().unwrap()).is_file());
        assert!(folder.join(f["tickets"][0].as_str().unwrap()).is_file());
        let tickets = csv_rows(&folder.join("tickets.csv"));
        assert!(
            tickets
                .iter()
                .any(|t| t["field"] == f["name"].as_str().unwrap())
        );
    }
    assert_eq!(
        matched.len(),
        files
            .files
            .iter()
            .filter(|p| p.starts_with("logs/"))
            .count()
    );
}

/// Karney 2013, Algorithms for geodesics, J. Geod. 87:43 (geographiclib-rs, through geo): the area of each boundary on
/// the ellipsoid is that of its plan; rings run as RFC 7946 asks.
#[test]
fn boundaries_have_their_area_on_the_ellipsoid() {
    use geo::{GeodesicArea, Winding};
    for spec in demo_farm() {
        let s = simulate(&spec, 1).unwrap();
        let area = s.boundary.geodesic_area_unsigned();
        assert!(
            (area / spec.shape.area() - 1.0).abs() < 1e-6,
            "{}: {area}",
            spec.name
        );
        let polygon = &s.boundary.0[0];
        assert!(polygon.exterior().is_ccw() && polygon.interiors().iter().all(Winding::is_cw));
    }
}

#[test]
fn the_demo_is_the_same_every_time() {
    let ((_a, first, files), (_b, second, _)) = (demo(), demo());
    for path in &files.files {
        assert_eq!(
            fs::read(first.join(path)).unwrap(),
            fs::read(second.join(path)).unwrap(),
            "{path}"
        );
    }
}

#[test]
fn nothing_is_written_over() {
    let temporary = tempfile::tempdir().unwrap();
    let note = temporary.path().join("note.txt");
    fs::write(&note, "mine").unwrap();
    let refused = write_demo(temporary.path());
    assert!(
        matches!(refused, Err(SimulateError::NotEmpty { .. })),
        "{refused:?}"
    );
    assert_eq!(fs::read_dir(temporary.path()).unwrap().count(), 1);
    // An empty folder is used.
    let empty = temporary.path().join("empty");
    fs::create_dir(&empty).unwrap();
    write_demo(&empty).expect("an empty folder will do");
    assert!(empty.join("job.toml").is_file());
    // A file is no folder.
    assert!(matches!(
        write_demo(&note),
        Err(SimulateError::Write { .. })
    ));
    assert_eq!(fs::read_to_string(&note).unwrap(), "mine");
}
