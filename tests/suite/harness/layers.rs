//! What must hold of every run, whatever was in its logs.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use fanmill::log::Reason;
use serde_json::Value;

use super::json;

/// A layer as one format has it.
#[derive(Debug, Default, PartialEq)]
pub struct Layer {
    pub attributes: Vec<String>,
    /// (log, row) → (corrected yield, reason).
    pub points: BTreeMap<(String, u64), (Option<f64>, Option<String>)>,
}

/// The layers of a field, by file name.
pub fn read_layers(folder: &Path) -> BTreeMap<String, Layer> {
    let mut out = BTreeMap::new();
    for stem in ["points", "set-aside"] {
        let path = folder.join(format!("{stem}.geojson"));
        if path.exists() {
            out.insert(format!("{stem}.geojson"), from_geojson(&json(&path)));
        }
        let path = folder.join(format!("{stem}.dbf"));
        if path.exists() {
            out.insert(format!("{stem}.dbf"), from_shapefile(&path));
        }
    }
    out
}

fn from_geojson(layer: &Value) -> Layer {
    let mut out = Layer::default();
    for feature in layer["features"].as_array().expect("features") {
        let p = feature["properties"].as_object().expect("properties");
        out.attributes = p.keys().cloned().collect();
        let id = (
            p["log"].as_str().expect("a log").to_owned(),
            p["row"].as_u64().expect("a row"),
        );
        let reason = p
            .get("reason")
            .map(|r| r.as_str().expect("a reason").to_owned());
        let twice = out
            .points
            .insert(id.clone(), (p["yld_kg_ha"].as_f64(), reason));
        assert!(twice.is_none(), "{id:?} stands in a layer twice");
    }
    out
}

fn from_shapefile(path: &Path) -> Layer {
    use dbase::FieldValue::{Character, Numeric};
    let mut out = Layer::default();
    let mut table = dbase::Reader::from_path(path).expect("a table");
    out.attributes = table.fields().iter().map(|f| f.name().to_owned()).collect();
    let text = |v: Option<&dbase::FieldValue>| match v {
        Some(Character(t)) => t.clone(),
        None => None,
        other => panic!("{other:?} is no text"),
    };
    let number = |v: Option<&dbase::FieldValue>| match v {
        Some(Numeric(n)) => *n,
        other => panic!("{other:?} is no number"),
    };
    let records = table.read().expect("records");
    for record in records {
        let id = (
            text(record.get("log")).expect("a log"),
            number(record.get("row")).expect("a row") as u64,
        );
        let twice = out.points.insert(
            id.clone(),
            (number(record.get("yld_kg_ha")), text(record.get("reason"))),
        );
        assert!(twice.is_none(), "{id:?} stands in a layer twice");
    }
    let shapes = shapefile::ShapeReader::from_path(path.with_extension("shp")).expect("shapes");
    assert_eq!(
        shapes.shape_count().expect("an index"),
        out.points.len(),
        "shapes and records"
    );
    out
}

/// Checks a run's results against its job and against themselves.
pub fn check_run(farm: &Path, status: i32) {
    let results = farm.join("results");
    let run = json(&results.join("run.json"));
    let fields = run["fields"].as_array().expect("fields");
    let settings = run["settings"]["fields"]
        .as_array()
        .expect("fields of the job");
    assert_eq!(fields.len(), settings.len());
    let failed = fields.iter().filter(|f| f["status"] == "failed").count();
    assert_eq!(status, i32::from(failed > 0), "exit status");

    let mut summaries = Vec::new();
    for (field, asked) in fields.iter().zip(settings) {
        if field["status"] == "failed" {
            assert!(
                field["error"].as_str().is_some_and(|e| !e.is_empty()),
                "a failure says why"
            );
            continue;
        }
        assert_eq!(field["status"], "done");
        assert_eq!(field["error"], Value::Null);
        let folder = results.join(field["folder"].as_str().expect("a folder"));
        let summary = json(&folder.join("summary.json"));
        check_points(farm, &folder, asked, &summary);
        check_ledger(&summary);
        summaries.push(summary);
    }
    check_tickets(farm, settings, &summaries, failed);
    check_tables(&results, fields, &summaries);
    check_text(&results);
}

fn check_points(farm: &Path, folder: &Path, asked: &Value, summary: &Value) {
    let points = &summary["points"];
    let count = |v: &Value| v.as_u64().expect("a count");
    let aside: BTreeMap<String, u64> = points["set_aside"]
        .as_object()
        .expect("reasons")
        .iter()
        .map(|(k, v)| (k.clone(), count(v)))
        .collect();
    let (kept, all_aside) = (count(&points["kept"]), aside.values().sum::<u64>());
    assert_eq!(
        count(&points["rows"]),
        kept + all_aside + count(&points["unreadable"])
    );
    let left_out = warnings_of(summary, "bad-log");
    let rows_of: BTreeMap<String, u64> = log_files(farm, asked)
        .into_iter()
        .filter(|name| !left_out.iter().any(|w| w.starts_with(name.as_str())))
        .map(|name| (name.clone(), data_rows(&farm.join(name))))
        .collect();
    assert_eq!(
        count(&points["rows"]),
        rows_of.values().sum::<u64>(),
        "rows of the logs"
    );

    let layers = read_layers(folder);
    assert!(!layers.is_empty());
    for (name, layer) in &layers {
        assert!(
            layer.attributes.iter().all(|a| a.chars().count() <= 10),
            "{name}: {:?}",
            layer.attributes
        );
        let mut reasons: BTreeMap<String, u64> = BTreeMap::new();
        for (_, reason) in layer.points.values() {
            if let Some(reason) = reason {
                *reasons.entry(reason.clone()).or_default() += 1;
            }
        }
        if name.starts_with("points") {
            assert_eq!(layer.points.len() as u64, kept, "{name}");
            assert!(reasons.is_empty(), "{name}: a kept point has no reason");
        } else {
            assert_eq!(reasons, aside, "{name}");
            assert_eq!(
                layer.points.len() as u64,
                all_aside,
                "{name}: every point has a reason"
            );
        }
    }
    for stem in ["points", "set-aside"] {
        if let (Some(a), Some(b)) = (
            layers.get(&format!("{stem}.geojson")),
            layers.get(&format!("{stem}.dbf")),
        ) {
            if !a.points.is_empty() {
                assert_eq!(
                    a.attributes, b.attributes,
                    "{stem}: formats differ in their attributes"
                );
            }
            assert_eq!(a.points, b.points, "{stem}: formats differ in their points");
        }
    }
    for format in ["geojson", "dbf"] {
        let (Some(kept), Some(aside)) = (
            layers.get(&format!("points.{format}")),
            layers.get(&format!("set-aside.{format}")),
        ) else {
            continue;
        };
        let both: Vec<_> = kept
            .points
            .keys()
            .filter(|id| aside.points.contains_key(*id))
            .collect();
        assert!(both.is_empty(), "kept and set aside: {both:?}");
        for (log, row) in kept.points.keys().chain(aside.points.keys()) {
            let rows = rows_of[log];
            assert!((1..=rows).contains(row), "{log} has no row {row}");
        }
    }
}

fn check_ledger(summary: &Value) {
    let grain = &summary["grain"];
    let loads = summary["loads"].as_array().expect("loads");
    let ledger = summary["ledger"].as_array().expect("a ledger");
    let sum =
        |items: &[Value], key: &str| items.iter().filter_map(|i| i[key].as_f64()).sum::<f64>();
    let corrected = number(&grain["corrected_kg"]);
    close(
        sum(loads, "corrected_kg"),
        corrected,
        "loads against corrected_kg",
    );
    close(sum(ledger, "kg"), corrected, "ledger against corrected_kg");
    let weighed = number(&grain["weighed_kg"]);
    close(
        sum(loads, "weighed_kg"),
        weighed,
        "loads against weighed_kg",
    );
    close(
        sum(ledger, "weighed_kg"),
        weighed,
        "ledger against weighed_kg",
    );
    close(
        sum(loads, "logged_kg"),
        number(&grain["logged_kg"]),
        "loads against logged_kg",
    );
    for load in loads.iter().filter(|l| l["basis"] == "ticket") {
        close(
            number(&load["corrected_kg"]),
            number(&load["weighed_kg"]),
            "a load against its ticket",
        );
    }
    let points = &summary["points"];
    let known: BTreeSet<&str> = Reason::ALL.iter().map(|r| r.name()).collect();
    for item in ledger {
        let name = item["item"].as_str().expect("an item");
        let count = item["points"].as_u64();
        match name {
            "kept" => assert_eq!(count, points["kept"].as_u64()),
            "unplaced" => assert_eq!(count, Some(0)),
            reason => {
                assert!(known.contains(reason), "{reason}");
                assert_eq!(count, points["set_aside"][reason].as_u64(), "{reason}");
            }
        }
    }
}

/// Loads whose ticket is used add up to it, over all fields.
fn check_tickets(farm: &Path, settings: &[Value], summaries: &[Value], failed: usize) {
    let mut net: BTreeMap<String, f64> = BTreeMap::new();
    for name in settings
        .iter()
        .flat_map(|f| f["tickets"].as_array().expect("tickets"))
    {
        let Ok(mut table) = csv::Reader::from_path(farm.join(name.as_str().expect("a path")))
        else {
            continue;
        };
        let header = table.headers().expect("a header").clone();
        let column = |name: &str| header.iter().position(|h| h == name);
        let (Some(id), Some(kg)) = (column("ticket"), column("net_kg")) else {
            continue;
        };
        for row in table.records() {
            let row = row.expect("a row");
            if let Ok(kg) = row[kg].parse() {
                net.insert(row[id].to_owned(), kg);
            }
        }
    }
    let mut sums: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for load in summaries
        .iter()
        .flat_map(|s| s["loads"].as_array().expect("loads"))
    {
        if load["basis"] == "ticket" {
            let sum = sums
                .entry(load["ticket"].as_str().expect("a ticket"))
                .or_default();
            sum.0 += number(&load["corrected_kg"]);
            sum.1 += number(&load["weighed_kg"]);
        }
    }
    // A part of a ticket may lie in a field that failed.
    if failed == 0 {
        for (ticket, (corrected, weighed)) in sums {
            close(corrected, net[ticket], ticket);
            close(weighed, net[ticket], ticket);
        }
    }
}

fn check_tables(results: &Path, fields: &[Value], summaries: &[Value]) {
    let rows = |name: &str| {
        let mut table = csv::Reader::from_path(results.join(name)).expect("a table");
        table
            .records()
            .map(|r| r.expect("a row"))
            .collect::<Vec<_>>()
    };
    assert_eq!(
        rows("summary.csv").len(),
        fields.len(),
        "a row per field season"
    );
    let loads: usize = summaries
        .iter()
        .map(|s| s["loads"].as_array().map_or(0, Vec::len))
        .sum();
    assert_eq!(rows("loads.csv").len(), loads, "a row per load");
}

/// No missing number leaks out as a word, and no file is left half written.
fn check_text(results: &Path) {
    for (name, bytes) in super::files(results) {
        let file = name.rsplit('/').next().expect("a name");
        assert!(
            !file.starts_with('.') && !file.ends_with(".tmp"),
            "left behind: {name}"
        );
        let binary = [".shp", ".shx", ".png"].iter().any(|e| name.ends_with(e));
        if binary || name.starts_with("assets/") {
            continue; // read above, or no result
        }
        let mut text = String::from_utf8_lossy(&bytes).to_lowercase();
        if let Some(from) = text.find("\"data\":\"") {
            let from = from + 8; // points in base64, whose letters may spell anything
            let to = from + text[from..].find('"').expect("an end");
            text.replace_range(from..to, "");
        }
        for word in text.split(|c: char| !c.is_alphanumeric()) {
            assert!(
                !["nan", "inf", "infinity", "1#qnan"].contains(&word),
                "{name} holds \"{word}\""
            );
        }
    }
    assert!(fs::metadata(results.join("run.json")).is_ok());
}

fn log_files(farm: &Path, asked: &Value) -> Vec<String> {
    let mut out = BTreeSet::new();
    for pattern in asked["logs"].as_array().expect("logs") {
        let pattern = farm.join(pattern.as_str().expect("a pattern"));
        for path in glob::glob(pattern.to_str().expect("a plain path")).expect("a pattern") {
            let path = path.expect("a path");
            out.insert(
                path.strip_prefix(farm)
                    .expect("in the farm")
                    .to_str()
                    .expect("plain")
                    .to_owned(),
            );
        }
    }
    out.into_iter().collect()
}

/// Lines under the header that are not blank.
fn data_rows(path: &Path) -> u64 {
    let bytes = fs::read(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let (text, ..) = encoding_rs::UTF_8.decode(&bytes); // a byte order mark decides
    (text.lines().filter(|l| !l.trim().is_empty()).count() as u64).saturating_sub(1)
}

fn warnings_of(summary: &Value, code: &str) -> Vec<String> {
    let warnings = summary["warnings"].as_array().expect("warnings");
    let of_code = warnings.iter().filter(|w| w["code"] == code);
    of_code
        .map(|w| w["text"].as_str().expect("a text").to_owned())
        .collect()
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

/// Equal to 1e-9 of the larger.
pub fn close(a: f64, b: f64, what: &str) {
    let error = (a - b).abs() / a.abs().max(b.abs()).max(1e-6);
    assert!(error < 1e-9, "{what}: {a} and {b} differ by {error:e}");
}
