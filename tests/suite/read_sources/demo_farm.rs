//! The demo farm in every format, system of units, clock, separator, decimal mark, encoding and packing that is read:
//! each of its logs, exported in combinations drawn with a fixed seed, gives the same points to the precision of what
//! was written. Written by the
//! `shapefile` and `dbase` crates, SQLite, serde_json, and by hand.

use std::fs;
use std::path::Path;

use fanmill::log::Log;
use fanmill::simulate::write_demo;
use fanmill::units::Quantity;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use shapefile::dbase::{FieldValue, Record, TableWriterBuilder};

use super::farm::{read_crop, write};
use super::text::{Encoding, Packing, in_encoding, packed};

/// Exports per log of the farm (every value of every choice comes up; the test counts them).
const EXPORTS: usize = 4;

/// First rows of each log that are taken: all of them would take minutes.
const ROWS: usize = 1200;

/// What becomes of a cell.
type Cell = Box<dyn Fn(&str) -> Vec<String>>;

/// Headers of a column, and what becomes of a cell.
type Written = (Vec<String>, Cell);

/// A column by its name in both logs, and how far apart they may be: absolute and relative.
type Compared<'a> = (&'static str, &'a [f64], &'a [f64], f64, f64);

/// A log of the farm as its file has it.
struct Source {
    field: String,
    crop: String,
    headers: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// Systems of units: flow, speed, length of width and distance, moisture, each with its spelling in a header.
const SYSTEMS: [[(&str, &str); 4]; 4] = [
    [("kg/s", "kg/s"), ("m/s", "m/s"), ("m", "m"), ("%", "%")],
    [
        ("t/h", "t/h"),
        ("km/h", "km/h"),
        ("cm", "cm"),
        ("%", "percent"),
    ],
    [
        ("lb/s", "lbs/sec"),
        ("mph", "mph"),
        ("ft", "feet"),
        ("%", "%"),
    ],
    [
        ("bu/h", "bu/h"),
        ("kn", "knots"),
        ("in", "inches"),
        ("fraction", "fraction"),
    ],
];

#[derive(Debug, Clone, Copy, PartialEq)]
enum Format {
    Text,
    GeoJson,
    Shapefile,
    GeoPackage,
    TaskData,
}

const FORMATS: [Format; 5] = [
    Format::Text,
    Format::GeoJson,
    Format::Shapefile,
    Format::GeoPackage,
    Format::TaskData,
];

#[derive(Debug, Clone, Copy, PartialEq)]
enum ClockKind {
    Iso,
    Unix,
    UnixMillis,
    Gps,
    Serial,
    Dotted,
    TwoColumns,
    TwelveHours,
    Compact,
}

const CLOCKS: [ClockKind; 9] = [
    ClockKind::Iso,
    ClockKind::Unix,
    ClockKind::UnixMillis,
    ClockKind::Gps,
    ClockKind::Serial,
    ClockKind::Dotted,
    ClockKind::TwoColumns,
    ClockKind::TwelveHours,
    ClockKind::Compact,
];

#[derive(Debug, Clone, Copy)]
struct Style {
    format: Format,
    system: usize,
    clock: ClockKind,
    separator: char,
    comma: bool,
    encoding: Encoding,
    packing: Packing,
    /// Noughts are not written as blanks, and blanks as one of the words for nothing.
    missing: &'static str,
}

/// The farm's logs.
fn farm() -> Vec<Source> {
    let folder = tempfile::tempdir().expect("a folder");
    let farm = folder.path().join("farm");
    write_demo(&farm).expect("written");
    let text = fs::read_to_string(farm.join("job.toml")).expect("a job");
    let job = fanmill::job::parse(&text, "job.toml", &farm).expect("a sound job");
    let mut out = Vec::new();
    for field in &job.fields {
        for pattern in &field.logs {
            for path in glob::glob(&farm.join(pattern).to_string_lossy()).expect("a pattern") {
                let mut reader = csv::Reader::from_path(path.expect("a path")).expect("readable");
                let headers = reader
                    .headers()
                    .expect("headers")
                    .iter()
                    .map(str::to_owned)
                    .collect();
                let rows = reader
                    .records()
                    .take(ROWS)
                    .map(|r| r.expect("a row").iter().map(str::to_owned).collect())
                    .collect();
                out.push(Source {
                    field: field.name.clone(),
                    crop: field.crop.name.clone(),
                    headers,
                    rows,
                });
            }
        }
    }
    out
}

/// What a column of the farm's logs becomes: its headers and a cell's texts.
fn column(name: &str, style: &Style, bushel: f64) -> Written {
    let [flow, speed, length, percent] = SYSTEMS[style.system];
    let measured =
        |word: &str, quantity: Quantity, (unit, spelt): (&str, &str), decimals: usize| {
            let factor = quantity.unit(unit).expect("a unit").factor(bushel);
            let missing = style.missing;
            let cell = move |cell: &str| match cell.parse::<f64>() {
                Ok(value) => vec![format!("{:.decimals$}", value / factor)],
                Err(_) => vec![missing.to_owned()],
            };
            let cell: Cell = Box::new(cell);
            // Names of ten letters are all that a shapefile has.
            let header = match style.format {
                Format::Shapefile => {
                    let suffix = quantity.unit(unit).expect("a unit").suffix;
                    let whole = format!("{}_{suffix}", &word[..word.len().min(5)]);
                    whole.chars().take(10).collect()
                }
                _ => format!("{word} ({spelt})"),
            };
            (vec![header], cell)
        };
    let same = |name: &str| -> Written {
        (
            vec![name.to_owned()],
            Box::new(|cell: &str| vec![cell.to_owned()]),
        )
    };
    match name {
        "flow_kg_s" => measured("Flow", Quantity::MassFlow, flow, 6),
        "moisture_pct" => measured("Moisture", Quantity::Percent, percent, 5),
        "speed_m_s" => measured("Speed", Quantity::Speed, speed, 5),
        "width_m" => measured("Width", Quantity::Length, length, 5),
        "distance_m" => measured("Distance", Quantity::Length, length, 5),
        "time" => time(style),
        "lon_deg" => same("Longitude"),
        "lat_deg" => same("Latitude"),
        "heading_deg" => same("Heading"),
        "interval_s" => same("interval_s"),
        other => same(other),
    }
}

fn time(style: &Style) -> Written {
    let clock = style.clock;
    let headers = match clock {
        ClockKind::TwoColumns => vec!["Date".to_owned(), "Time".to_owned()],
        _ => vec!["Time".to_owned()],
    };
    let cell = move |cell: &str| {
        if cell.is_empty() {
            return vec![String::new(); if clock == ClockKind::TwoColumns { 2 } else { 1 }];
        }
        let at: jiff::Timestamp = cell.parse().expect("ISO 8601");
        let unix = at.as_millisecond() as f64 / 1000.0;
        let t = jiff::tz::TimeZone::UTC.to_datetime(at);
        let fraction = match t.subsec_nanosecond() {
            0 => String::new(),
            n => format!(".{:03}", n / 1_000_000),
        };
        let day = format!("{:02}.{:02}.{:04}", t.day(), t.month(), t.year());
        let clock_time = format!(
            "{:02}:{:02}:{:02}{fraction}",
            t.hour(),
            t.minute(),
            t.second()
        );
        match clock {
            ClockKind::Iso => vec![cell.to_owned()],
            ClockKind::Unix => vec![format!("{unix:.3}")],
            ClockKind::UnixMillis => vec![format!("{:.0}", unix * 1000.0)],
            ClockKind::Gps => vec![format!("{:.3}", unix - 315_964_800.0 + 18.0)],
            ClockKind::Serial => vec![format!("{:.9}", unix / 86_400.0 + 25_569.0)],
            ClockKind::Dotted => vec![format!("{day} {clock_time}")],
            ClockKind::TwoColumns => vec![day, clock_time],
            ClockKind::TwelveHours => {
                let half = if t.hour() < 12 { "AM" } else { "PM" };
                let hour = if t.hour() % 12 == 0 {
                    12
                } else {
                    t.hour() % 12
                };
                vec![format!(
                    "{}/{}/{} {hour}:{:02}:{:02}{fraction} {half}",
                    t.month(),
                    t.day(),
                    t.year(),
                    t.minute(),
                    t.second()
                )]
            }
            ClockKind::Compact => vec![format!(
                "{:04}{:02}{:02}{:02}{:02}{:02}{fraction}",
                t.year(),
                t.month(),
                t.day(),
                t.hour(),
                t.minute(),
                t.second()
            )],
        }
    };
    (headers, Box::new(cell))
}

/// The log under the style's headers, in its units and clock.
fn table(source: &Source, style: &Style, bushel: f64) -> (Vec<String>, Vec<Vec<String>>) {
    let columns: Vec<_> = source
        .headers
        .iter()
        .map(|h| column(h, style, bushel))
        .collect();
    let headers = columns.iter().flat_map(|(h, _)| h.clone()).collect();
    let rows = source
        .rows
        .iter()
        .map(|row| {
            row.iter()
                .zip(&columns)
                .flat_map(|(cell, (_, write))| write(cell))
                .collect()
        })
        .collect();
    (headers, rows)
}

/// Writes the log into the folder; returns what the job names.
fn export(folder: &Path, source: &Source, style: &Style, bushel: f64) -> String {
    let (headers, rows) = table(source, style, bushel);
    match style.format {
        Format::Text => {
            let mut text = String::new();
            let separator = style.separator.to_string();
            let cell = |c: &String| {
                let comma = style.comma && c.parse::<f64>().is_ok();
                let c = if comma {
                    c.replace('.', ",")
                } else {
                    c.clone()
                };
                if c.contains(style.separator) {
                    format!("\"{c}\"")
                } else {
                    c
                }
            };
            for line in std::iter::once(&headers).chain(&rows) {
                text += &line.iter().map(cell).collect::<Vec<_>>().join(&separator);
                text.push('\n');
            }
            packed(folder, &in_encoding(&text, style.encoding), style.packing).to_owned()
        }
        Format::GeoJson => {
            let features: Vec<serde_json::Value> = rows
                .iter()
                .map(|row| {
                    let position = of(&headers, row, "Longitude").parse::<f64>().ok().zip(of(&headers, row, "Latitude").parse::<f64>().ok());
                    let properties: serde_json::Map<String, serde_json::Value> =
                        headers.iter().zip(row).filter(|(h, _)| !is_position(h)).map(|(h, c)| (h.clone(), json(c))).collect();
                    serde_json::json!({
                        "type": "Feature",
                        "geometry": position.map(|(x, y)| serde_json::json!({"type": "Point", "coordinates": [x, y]})),
                        "properties": properties,
                    })
                })
                .collect();
            let text =
                serde_json::json!({"type": "FeatureCollection", "features": features}).to_string();
            write(folder, "log.geojson", text.as_bytes());
            "log.geojson".to_owned()
        }
        Format::Shapefile => {
            shapefile(folder, &headers, &rows);
            "log.shp".to_owned()
        }
        Format::GeoPackage => {
            geopackage(&folder.join("log.gpkg"), &headers, &rows);
            "log.gpkg".to_owned()
        }
        Format::TaskData => {
            task_data(folder, source);
            "TASKDATA".to_owned()
        }
    }
}

fn of<'a>(headers: &[String], row: &'a [String], name: &str) -> &'a str {
    headers
        .iter()
        .position(|h| h == name)
        .map_or("", |k| row[k].as_str())
}

fn is_position(header: &str) -> bool {
    matches!(header, "Longitude" | "Latitude")
}

fn json(cell: &str) -> serde_json::Value {
    match cell.parse::<f64>() {
        Ok(value) if value.is_finite() => serde_json::json!(value),
        _ if cell.is_empty() || cell == "NA" => serde_json::Value::Null,
        _ => serde_json::json!(cell),
    }
}

/// A shapefile by the `shapefile` and `dbase` crates.
fn shapefile(folder: &Path, headers: &[String], rows: &[Vec<String>]) {
    let columns: Vec<usize> = (0..headers.len())
        .filter(|k| !is_position(&headers[*k]))
        .collect();
    let number = |k: usize| {
        rows.iter()
            .all(|r| r[k].is_empty() || r[k].parse::<f64>().is_ok())
    };
    let mut table = TableWriterBuilder::new();
    for &k in &columns {
        let name = headers[k]
            .as_str()
            .try_into()
            .expect("a name of ten letters");
        table = match number(k) {
            true => table.add_numeric_field(name, 19, 6),
            false => table.add_character_field(name, 30),
        };
    }
    let mut writer = shapefile::Writer::from_path(folder.join("log.shp"), table).expect("a writer");
    for row in rows {
        let mut record = Record::default();
        for &k in &columns {
            let value = match number(k) {
                true => FieldValue::Numeric(row[k].parse().ok()),
                false => FieldValue::Character(Some(row[k].clone()).filter(|t| !t.is_empty())),
            };
            record.insert(headers[k].clone(), value);
        }
        // The crate writes no null shapes: a row without a position is 0/0, which no machine is at.
        let at = |name| of(headers, row, name).parse().unwrap_or(0.0);
        let point = shapefile::Point::new(at("Longitude"), at("Latitude"));
        writer
            .write_shape_and_record(&point, &record)
            .expect("written");
    }
    drop(writer);
    let wgs84 = "GEOGCS[\"GCS_WGS_1984\",DATUM[\"D_WGS_1984\",SPHEROID[\"WGS_1984\",6378137.0,298.257223563]],PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]]";
    write(folder, "log.prj", wgs84.as_bytes());
}

/// A GeoPackage by SQLite, with what OGC 12-128r18 asks of one with a table of points.
fn geopackage(path: &Path, headers: &[String], rows: &[Vec<String>]) {
    let db = rusqlite::Connection::open(path).expect("a database");
    let columns: Vec<usize> = (0..headers.len())
        .filter(|k| !is_position(&headers[*k]))
        .collect();
    let names: Vec<String> = columns
        .iter()
        .map(|k| format!("\"{}\"", headers[*k]))
        .collect();
    db.execute_batch(&format!(
        "PRAGMA application_id = 1196444487; PRAGMA user_version = 10400;
         CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT, srs_id INTEGER PRIMARY KEY, organization TEXT, organization_coordsys_id INTEGER, definition TEXT, description TEXT);
         INSERT INTO gpkg_spatial_ref_sys VALUES ('WGS 84', 4326, 'EPSG', 4326, 'undefined', '');
         CREATE TABLE gpkg_contents (table_name TEXT PRIMARY KEY, data_type TEXT, identifier TEXT, description TEXT, last_change TEXT, min_x REAL, min_y REAL, max_x REAL, max_y REAL, srs_id INTEGER);
         INSERT INTO gpkg_contents VALUES ('log', 'features', 'log', '', '2025-01-01T00:00:00Z', NULL, NULL, NULL, NULL, 4326);
         CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, geometry_type_name TEXT, srs_id INTEGER, z INTEGER, m INTEGER);
         INSERT INTO gpkg_geometry_columns VALUES ('log', 'geom', 'POINT', 4326, 0, 0);
         CREATE TABLE log (fid INTEGER PRIMARY KEY, geom BLOB, {});
         BEGIN",
        names.join(", ")
    ))
    .expect("made");
    let marks = vec!["?"; columns.len() + 1].join(", ");
    let mut insert = db
        .prepare(&format!(
            "INSERT INTO log (geom, {}) VALUES ({marks})",
            names.join(", ")
        ))
        .expect("prepared");
    for row in rows {
        let mut values: Vec<rusqlite::types::Value> = Vec::new();
        let at = |name| of(headers, row, name).parse::<f64>().ok();
        values.push(match at("Longitude").zip(at("Latitude")) {
            Some((x, y)) => {
                let mut blob = vec![b'G', b'P', 0, 1];
                blob.extend(4326i32.to_le_bytes());
                blob.extend([1, 1, 0, 0, 0]);
                blob.extend(x.to_le_bytes());
                blob.extend(y.to_le_bytes());
                rusqlite::types::Value::Blob(blob)
            }
            None => rusqlite::types::Value::Null,
        });
        for &k in &columns {
            values.push(match row[k].parse::<f64>() {
                Ok(value) => rusqlite::types::Value::Real(value),
                Err(_) if row[k].is_empty() => rusqlite::types::Value::Null,
                Err(_) => rusqlite::types::Value::Text(row[k].clone()),
            });
        }
        insert
            .execute(rusqlite::params_from_iter(values))
            .expect("written");
    }
    drop(insert);
    db.execute_batch("COMMIT").expect("written");
}

/// Task data of one task and log by ISO 11783-10's record layout, in the units of ISO 11783-11: mm/s, mg/s, ppm, mm.
fn task_data(folder: &Path, source: &Source) {
    let values: Vec<(&str, &str, f64)> = [
        ("0057", "flow_kg_s", 1e6),
        ("0063", "moisture_pct", 1e4),
        ("018D", "speed_m_s", 1e3),
        ("0043", "width_m", 1e3),
        ("008D", "work_state", 1.0),
    ]
    .into_iter()
    .filter(|(_, name, _)| source.headers.iter().any(|h| h == name))
    .collect();
    let logged: String = values
        .iter()
        .map(|(ddi, ..)| format!("<DLV A=\"{ddi}\" B=\"\" C=\"DET-1\"/>"))
        .collect();
    let set = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><ISO11783_TaskData VersionMajor=\"4\" VersionMinor=\"3\" DataTransferOrigin=\"2\">\
         <PFD A=\"PFD1\" C=\"{}\" D=\"0\"/><DVC A=\"DVC-1\" B=\"C1\" D=\"A00086000DF95589\" F=\"31\" G=\"FF000000406564\">\
         <DET A=\"DET-1\" B=\"1\" C=\"1\" E=\"0\" F=\"0\"/></DVC><TSK A=\"TSK1\" E=\"PFD1\" G=\"4\"><TLG A=\"TLG00001\" C=\"1\"/></TSK></ISO11783_TaskData>",
        source.field
    );
    write(folder, "TASKDATA/TASKDATA.XML", set.as_bytes());
    let header = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><TIM A=\"\" D=\"4\"><PTN A=\"\" B=\"\" D=\"1\"/>{logged}</TIM>"
    );
    write(folder, "TASKDATA/TLG00001.XML", header.as_bytes());
    let epoch = jiff::civil::date(1980, 1, 1);
    let mut bytes = Vec::new();
    for row in &source.rows {
        let t = of(&source.headers, row, "time")
            .parse::<jiff::Timestamp>()
            .map(|t| jiff::tz::TimeZone::UTC.to_datetime(t))
            .expect("every row has a time");
        let millis = ((i64::from(t.hour()) * 60 + i64::from(t.minute())) * 60
            + i64::from(t.second()))
            * 1000
            + i64::from(t.subsec_nanosecond()) / 1_000_000;
        bytes.extend((millis as u32).to_le_bytes());
        bytes.extend((epoch.until(t.date()).expect("days").get_days() as u16).to_le_bytes());
        for name in ["lat_deg", "lon_deg"] {
            let degrees: f64 = of(&source.headers, row, name).parse().unwrap_or(0.0);
            bytes.extend(((degrees * 1e7).round() as i32).to_le_bytes());
        }
        let cells: Vec<(u8, i32)> = values
            .iter()
            .enumerate()
            .filter_map(|(k, (_, name, factor))| {
                let value: f64 = of(&source.headers, row, name).parse().ok()?;
                Some((k as u8, (value * factor).round() as i32))
            })
            .collect();
        bytes.push(cells.len() as u8);
        for (k, value) in cells {
            bytes.push(k);
            bytes.extend(value.to_le_bytes());
        }
    }
    write(folder, "TASKDATA/TLG00001.BIN", &bytes);
}

/// Whether two logs hold the same points, to what the export kept: 1e-7 degrees, a millisecond, five digits.
fn compare(base: &Log, other: &Log, style: &Style) {
    let what = format!("{style:?}");
    assert_eq!(base.len(), other.len(), "{what}: rows");
    assert_eq!(base.row, other.row, "{what}: row numbers");
    let task = style.format == Format::TaskData;
    if !task {
        let names = |l: &Log| {
            l.load
                .iter()
                .map(|k| k.map(|k| l.loads[k as usize].clone()))
                .collect::<Vec<_>>()
        };
        assert_eq!(names(base), names(other), "{what}: loads");
        assert_eq!(base.pass_label, other.pass_label, "{what}: passes");
        assert_eq!(base.work, other.work, "{what}: work states");
    }
    let columns: [Compared<'_>; 8] = [
        ("longitude", &base.lon, &other.lon, 0.6e-7, 0.0),
        ("latitude", &base.lat, &other.lat, 0.6e-7, 0.0),
        ("time", &base.time, &other.time, 0.0011, 0.0),
        ("flow", &base.flow, &other.flow, 2e-6, 1e-5),
        ("moisture", &base.moisture, &other.moisture, 1.1e-3, 0.0),
        ("speed", &base.speed, &other.speed, 6e-4, 0.0),
        ("width", &base.width, &other.width, 6e-4, 0.0),
        ("distance", &base.distance, &other.distance, 1e-5, 0.0),
    ];
    for (name, a, b, absolute, relative) in columns {
        if task && name == "distance" {
            continue; // its header has none
        }
        for (row, (x, y)) in a.iter().zip(b).enumerate() {
            // A value that a record of task data leaves out is the one before it.
            let held = task && x.is_nan();
            // In task data a moisture of 0 is a reading that is not there.
            let absent = task && name == "moisture" && *x == 0.0 && y.is_nan();
            let near = (x - y).abs() <= absolute + relative * x.abs()
                || x.is_nan() && (y.is_nan() || held)
                || absent;
            assert!(near, "{what}: {name}, row {row}: {x} and {y}");
        }
    }
}

#[test]
fn the_demo_farm_is_the_same_in_every_format() {
    let mut rng = ChaCha8Rng::seed_from_u64(20_250_912);
    let mut tried: Vec<Style> = Vec::new();
    let sources = farm();
    for source in &sources {
        let bushel = fanmill::crop::Crop::built_in(&source.crop)
            .expect("a crop")
            .bushel_kg;
        let folder = tempfile::tempdir().expect("a folder");
        let read = |name: &str| {
            let keys = format!("logs = [\"{name}\"]");
            let with = "[[machine]]\nname = \"C1\"\nheader_width = \"9 m\"\n";
            read_crop(folder.path(), &source.field, &keys, with, &source.crop)
                .unwrap_or_else(|e| panic!("{name}: {e}"))
        };
        let lines = std::iter::once(&source.headers).chain(&source.rows);
        let text: String = lines.map(|l| l.join(",") + "\n").collect();
        write(folder.path(), "base.csv", text.as_bytes());
        let base = read("base.csv");
        for _ in 0..EXPORTS {
            let style = Style {
                // Formats take turns, so that each comes up alike; the rest is drawn.
                format: FORMATS[tried.len() % FORMATS.len()],
                system: rng.random_range(0..SYSTEMS.len()),
                clock: CLOCKS[rng.random_range(0..CLOCKS.len())],
                separator: [',', ';', '\t', '|'][rng.random_range(0..4)],
                comma: rng.random(),
                encoding: Encoding::ALL[rng.random_range(0..Encoding::ALL.len())],
                packing: Packing::ALL[rng.random_range(0..Packing::ALL.len())],
                missing: ["", "NA", "NaN"][rng.random_range(0..3)],
            };
            let name = export(folder.path(), source, &style, bushel);
            let input = read(&name);
            assert!(
                input.unreadable.is_empty(),
                "{style:?}: {:?}",
                input.unreadable[0]
            );
            compare(&base.log, &input.log, &style);
            tried.push(style);
        }
    }
    println!("{} logs, {} exports", sources.len(), tried.len());
    // Every choice came up.
    let seen = |f: &dyn Fn(&Style) -> bool| tried.iter().any(f);
    assert!(FORMATS.iter().all(|x| seen(&|s| s.format == *x)));
    assert!((0..SYSTEMS.len()).all(|x| seen(&|s| s.system == x && s.format != Format::TaskData)));
    assert!(
        CLOCKS
            .iter()
            .all(|x| seen(&|s| s.clock == *x && s.format != Format::TaskData)),
        "{tried:?}"
    );
    let of_text = |f: &dyn Fn(&Style) -> bool| seen(&|s| s.format == Format::Text && f(s));
    assert!(
        of_text(&|s| s.comma)
            && of_text(&|s| s.encoding != Encoding::Utf8)
            && of_text(&|s| s.packing != Packing::Plain)
    );
}
