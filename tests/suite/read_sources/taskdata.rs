//! ISO 11783-10 task data: a real set, and one written by an independent encoder.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use fanmill::log::{Log, WorkState};
use fanmill::read::FieldInput;
use fanmill::read::taskdata::TaskSet;
use serde_json::Value;

use crate::outside::open_data;

use super::farm::{codes, node, python, read, read_with};

fn real() -> Option<PathBuf> {
    open_data("iso11783")
}

fn field_of(set: &Path, name: &str) -> FieldInput {
    let keys = format!("logs = [\"{}\"]", set.display());
    read(Path::new("."), name, &keys).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// Kilograms of a log: the held flow over the time to the next row, gaps of 10 s and more left out.
fn kilograms(log: &Log, source: u32) -> f64 {
    let rows: Vec<usize> = (0..log.len())
        .filter(|&i| log.source[i] == source)
        .collect();
    let steps = rows
        .windows(2)
        .map(|w| (log.flow[w[0]], log.time[w[1]] - log.time[w[0]]));
    steps
        .filter(|(flow, dt)| !flow.is_nan() && *dt > 0.0 && *dt < 10.0)
        .map(|(flow, dt)| flow * dt)
        .sum()
}

/// DDI 0057 integrated, against the total (DDI 005A) that the machine itself wrote into the task.
#[test]
fn totals_of_a_real_set_are_the_machine_s_own() {
    let Some(folder) = real() else { return };
    let set = TaskSet::read(&folder, "TASKDATA").expect("readable");
    assert_eq!(
        (set.fields.len(), set.tasks.len(), set.machines.len()),
        (21, 19, 1)
    );
    for (log, area) in [
        ("TLG00001", 48_300.0),
        ("TLG00002", 40_500.0),
        ("TLG00004", 30_100.0),
        ("TLG00008", 65_000.0),
    ] {
        let task = set.tasks.iter().find(|t| t.logs == [log]).expect("a task");
        let input = field_of(&folder, &task.name);
        let total = task.total_mass_kg.expect("a total");
        let kilograms = kilograms(&input.log, 0);
        println!(
            "{log}: {kilograms:.0} kg, the machine's own {total} kg: {:+.3} %",
            100.0 * (kilograms / total - 1.0)
        );
        assert!(
            (kilograms / total - 1.0).abs() < 1e-3,
            "{log}: {kilograms} and {total}"
        );
        assert_eq!(task.total_area_m2, Some(area));
        // Forage: 50 t/ha are more than the grain that the job names can yield. The standard's unit is taken all the same.
        assert!(
            codes(&input).iter().all(|c| *c == "unit-doubtful"),
            "{:?}",
            input.warnings
        );
    }
}

#[test]
fn every_log_of_a_real_set_is_read_or_reported() {
    let Some(folder) = real() else { return };
    let set = TaskSet::read(&folder, "TASKDATA").expect("readable");
    let mut rows = BTreeMap::new();
    let mut missing = Vec::new();
    for task in &set.tasks {
        let keys = format!("logs = [\"{}\"]", folder.display());
        match read(Path::new("."), &task.name, &keys) {
            Ok(input) => {
                assert_eq!(
                    input.log.sources.len()
                        + codes(&input).iter().filter(|c| **c == "bad-log").count(),
                    task.logs.len()
                );
                for (s, source) in input.log.sources.iter().enumerate() {
                    let stem = source.path.rsplit('/').next().expect("a name").to_owned();
                    rows.insert(
                        stem.clone(),
                        input.log.source.iter().filter(|k| **k == s as u32).count(),
                    );
                    let cut = input
                        .warnings
                        .iter()
                        .any(|w| w.code == "cut-short" && w.text.contains(&stem));
                    assert_eq!(cut, stem == "TLG00003", "{stem}: {:?}", input.warnings);
                }
                assert!(input.unreadable.is_empty());
                // A forage harvester in maize: moisture near 60 %, work width up to 9 m.
                let moisture = || input.log.moisture.iter().filter(|m| m.is_finite());
                let wet = moisture().filter(|m| **m > 40.0 && **m < 80.0).count();
                assert!(
                    wet * 100 > moisture().count() * 98 && wet > 100,
                    "{}: {wet} of {}",
                    task.name,
                    moisture().count()
                );
                assert!(
                    input
                        .log
                        .width
                        .iter()
                        .all(|w| w.is_nan() || (0.7..=9.0).contains(w))
                );
                assert_eq!(input.log.machines, ["uqfOhjIQhhe7sA0"]);
            }
            Err(error) => {
                assert!(
                    error
                        .to_string()
                        .contains("expected the log that the task data name, found no TLG000"),
                    "{error}"
                );
                missing.extend(task.logs.clone());
            }
        }
    }
    let listed: Vec<&str> = rows.keys().map(String::as_str).collect();
    assert_eq!(listed.len(), 13);
    assert_eq!(
        missing,
        [
            "TLG00017", "TLG00018", "TLG00019", "TLG00020", "TLG00023", "TLG00024", "TLG00025",
            "TLG00026"
        ]
    );
    assert_eq!(rows["TLG00001"], 4716);
    let Some(counted) = node("read_taskdata.cjs", &[&folder]) else {
        return;
    };
    let counted: Value = serde_json::from_str(&counted).expect("JSON");
    let (mut total, mut logs) = (0, 0);
    for (log, records) in counted["logs"].as_object().expect("logs") {
        if let Some(records) = records.as_u64() {
            assert_eq!(rows.get(log).copied(), Some(records as usize), "{log}");
            (total, logs) = (total + records, logs + 1);
        }
    }
    println!("{total} records in {logs} logs, as the npm package counts them");
    assert!(logs >= 12, "{}", counted["warnings"]);
}

#[test]
fn the_logs_of_a_task_are_joined() {
    let Some(folder) = real() else { return };
    let input = field_of(&folder, "jk");
    let names: Vec<&str> = input
        .log
        .sources
        .iter()
        .map(|s| s.path.rsplit('/').next().expect("a name"))
        .collect();
    assert_eq!(names, ["TLG00006", "TLG00007"]);
    // A log that the job names itself is read alone.
    let keys = format!("logs = [\"{}/TLG00007.bin\"]", folder.display());
    let alone = read(Path::new("."), "jk", &keys).expect("readable");
    assert_eq!(
        alone.log.len(),
        input.log.source.iter().filter(|s| **s == 1).count()
    );
    // A pattern over the whole folder means its tasks, not every file by itself.
    let keys = format!("logs = [\"{}/*\"]", folder.display());
    assert_eq!(
        read(Path::new("."), "jk", &keys)
            .expect("readable")
            .log
            .len(),
        input.log.len()
    );
    let boundary = format!("logs = [\"{0}\"]\nboundary = \"{0}\"", folder.display());
    assert!(
        read(Path::new("."), "jk", &boundary)
            .expect("readable")
            .boundary
            .is_some()
    );
}

fn synthetic() -> Option<(tempfile::TempDir, Value)> {
    let folder = tempfile::tempdir().expect("a folder");
    python("write_taskdata.py", &[&folder.path().join("TASKDATA")])?;
    let truth =
        std::fs::read_to_string(folder.path().join("TASKDATA/truth.json")).expect("written");
    Some((folder, serde_json::from_str(&truth).expect("JSON")))
}

/// What the encoder wrote is what the npm package reads: only then does it say anything about us.
#[test]
fn the_encoder_is_read_by_other_software() {
    let Some((folder, truth)) = synthetic() else {
        return;
    };
    // The package refuses a header that is cut short: it gets the whole one.
    let cut = folder.path().join("TASKDATA/TLG00003.XML");
    let text = std::fs::read_to_string(&cut).expect("there");
    std::fs::write(&cut, text.trim_end_matches("</").to_owned() + "</TIM>").expect("written");
    let Some(read) = node(
        "read_taskdata.cjs",
        &[&folder.path().join("TASKDATA"), Path::new("--all")],
    ) else {
        return;
    };
    let read: Value = serde_json::from_str(&read).expect("JSON");
    for (log, wanted) in truth["logs"].as_object().expect("logs") {
        let records = read["logs"][log]
            .as_array()
            .unwrap_or_else(|| panic!("{log}: {}", read["warnings"]));
        let rows = wanted["rows"].as_array().expect("rows");
        assert_eq!(records.len(), rows.len(), "{log}");
        for (record, row) in records.iter().zip(rows) {
            let position = &record["position"];
            for (theirs, ours) in [
                ("PositionNorth", "north"),
                ("PositionEast", "east"),
                ("PositionUp", "up_mm"),
                ("PDOP", "pdop"),
                ("HDOP", "hdop"),
                ("NumberOfSatellites", "satellites"),
            ] {
                if let Some(wanted) = row[ours].as_f64() {
                    let found = position[theirs].as_f64().expect("a number");
                    assert!(
                        (found - wanted).abs() < 1e-9,
                        "{log}: {theirs} {found} {wanted}"
                    );
                }
            }
            if let Some(status) = row["status"].as_u64() {
                assert_eq!(position["PositionStatus"], status.to_string(), "{log}");
            }
            let logged = row["values"].as_array().expect("values");
            assert_eq!(
                record["values"].as_object().expect("values").len(),
                logged.len(),
                "{log}"
            );
            for value in logged {
                let ddi = wanted["ddi"][value[0].as_u64().expect("a place") as usize]
                    .as_str()
                    .expect("a DDI");
                let found: Vec<&Value> = record["values"]
                    .as_object()
                    .expect("values")
                    .iter()
                    .filter(|(k, _)| k.starts_with(ddi))
                    .map(|(_, v)| v)
                    .collect();
                assert!(found.contains(&&value[1]), "{log}: {ddi} {found:?} {value}");
            }
        }
    }
}

/// A number of the truth; NaN where it has none.
fn number(row: &Value, key: &str) -> f64 {
    row[key].as_f64().unwrap_or(f64::NAN)
}

fn near(a: f64, b: f64, within: f64) -> bool {
    (a.is_nan() && b.is_nan()) || (a - b).abs() <= within
}

#[test]
fn an_independent_encoder_s_logs_are_read_as_they_were_meant() {
    let Some((folder, truth)) = synthetic() else {
        return;
    };
    let input = read(
        folder.path(),
        "Brook field",
        "logs = [\"TASKDATA\"]\nboundary = \"TASKDATA\"",
    )
    .expect("readable");
    let names: Vec<&str> = input.log.sources.iter().map(|s| s.path.as_str()).collect();
    assert_eq!(names, ["TASKDATA/TLG00001", "TASKDATA/TLG00002"]);
    assert_eq!(
        (input.log.machines.as_slice(), input.unreadable.len()),
        (&["Harvester 1".to_owned()][..], 0)
    );
    assert_eq!(
        input
            .boundary
            .as_ref()
            .map(|b| (b.0.len(), b.0[0].interiors().len())),
        Some((1, 1))
    );
    let mut said = codes(&input);
    said.sort_unstable();
    assert_eq!(
        said,
        [
            "bad-log",
            "bad-position",
            "cut-short",
            "element-offset",
            "ignore-times",
            "latency",
            "yield-hold"
        ],
        "{:?}",
        input.warnings
    );
    let text = |code: &str| {
        input
            .warnings
            .iter()
            .find(|w| w.code == code)
            .map(|w| w.text.as_str())
            .expect("said")
    };
    assert!(
        text("latency").contains("latency of -2 s") && text("latency").contains("(not applied)")
    );
    assert!(text("ignore-times").contains("3 s after work begins"));
    assert!(
        text("element-offset").contains("4.20 m ahead and 0.40 m to the right")
            && text("element-offset").contains("(applied)")
    );
    assert!(text("bad-log").contains("TLG00009"));

    let log = &input.log;
    let rows = truth["logs"]["TLG00001"]["rows"].as_array().expect("rows");
    for (i, row) in rows.iter().enumerate() {
        // No fix and error are no positions; "not available" is nothing against one.
        let usable = !matches!(row["status"].as_u64(), Some(0 | 14));
        let place = |key: &str| if usable { number(row, key) } else { f64::NAN };
        assert!(
            near(log.lon[i], place("moved_lon"), 1e-9),
            "{i}: {} {}",
            log.lon[i],
            place("moved_lon")
        );
        assert!(
            near(log.lat[i], place("moved_lat"), 1e-9),
            "{i}: {} {}",
            log.lat[i],
            place("moved_lat")
        );
        assert!(near(log.elevation[i], place("up_mm") / 1000.0, 1e-9));
        assert!(
            near(log.time[i], number(row, "unix"), 1e-6),
            "{i}: {} {}",
            log.time[i],
            number(row, "unix")
        );
        for (found, key) in [
            (log.flow[i], "flow_kg_s"),
            (log.moisture[i], "moisture_pct"),
            (log.width[i], "width_m"),
            (log.speed[i], "speed_m_s"),
        ] {
            assert!(
                near(found, number(row, key), 1e-12),
                "{i} {key}: {found} {}",
                row[key]
            );
        }
        let work = match row["work"].as_u64() {
            Some(1) => WorkState::Working,
            Some(_) => WorkState::NotWorking,
            None => WorkState::Unknown,
        };
        assert_eq!(log.work[i], work, "{i}");
    }
    let from = rows.len();
    let rows = truth["logs"]["TLG00002"]["rows"].as_array().expect("rows");
    assert_eq!(log.len(), from + rows.len());
    for (k, row) in rows.iter().enumerate() {
        let i = from + k;
        for (found, key) in [
            (log.lon[i], "east"),
            (log.lat[i], "north"),
            (log.flow[i], "flow_kg_s"),
            (log.width[i], "width_m"),
            (log.moisture[i], "moisture_pct"),
            (log.time[i], "unix"),
        ] {
            assert!(
                near(found, number(row, key), 1e-9),
                "{i} {key}: {found} {}",
                row[key]
            );
        }
    }
}

#[test]
fn sections_are_one_header_and_a_yield_becomes_mass() {
    let Some((folder, truth)) = synthetic() else {
        return;
    };
    // By the field's name, and by the task's.
    for name in ["Mill field", "harvest, mill"] {
        let input =
            read(folder.path(), name, "logs = [\"TASKDATA/TASKDATA.XML\"]").expect("readable");
        let log = &input.log;
        let rows = truth["logs"]["TLG00003"]["rows"].as_array().expect("rows");
        assert_eq!(log.len(), rows.len());
        for (i, row) in rows.iter().enumerate() {
            assert!(
                near(log.width[i], number(row, "width_m"), 1e-12),
                "{i}: {} {}",
                log.width[i],
                row["width_m"]
            );
            assert_eq!(log.work[i] == WorkState::Working, row["work"] == 1, "{i}");
            // 300e-7 degrees east at 54° N are 1.967 m (GeographicLib); 0.9 kg/m².
            let width = number(row, "width_m");
            let wanted = if i == 0 {
                f64::NAN
            } else {
                0.9 * 1.967 * width
            };
            assert!(
                near(log.mass[i], wanted, 0.005 * width),
                "{i}: {} {wanted}",
                log.mass[i]
            );
        }
        assert_eq!(codes(&input)[..1], ["cut-short"]);
    }
}

#[test]
fn the_job_s_own_antenna_stands_above_the_description() {
    let Some((folder, truth)) = synthetic() else {
        return;
    };
    let machine = "[[machine]]\nname = \"Harvester 1\"\nheader_width = \"9 m\"\nantenna_behind_cutter_bar = \"4.2 m\"";
    let input = read_with(
        folder.path(),
        "Brook field",
        "logs = [\"TASKDATA\"]",
        machine,
    )
    .expect("readable");
    let row = &truth["logs"]["TLG00001"]["rows"][1];
    assert!(near(input.log.lon[1], number(row, "east"), 1e-9));
    assert!(
        input
            .warnings
            .iter()
            .any(|w| w.code == "element-offset" && w.text.contains("(not applied)"))
    );
}
