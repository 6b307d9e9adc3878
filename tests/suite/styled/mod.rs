//! A simulated field written under headers of any style, and what became of it when it was read.

use std::fmt::Write as _;
use std::fs;

use fanmill::crop::Crop;
use fanmill::job::parse;
use fanmill::log::{Clock, Timeline};
use fanmill::read::{ReadErrorKind, read_field};
use fanmill::simulate::{FieldSpec, Row, Shape, Simulated, simulate};
use fanmill::units::Quantity;
use serde::Deserialize;

/// One table of headers.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Style {
    pub name: String,
    pub expect: Expect,
    #[serde(default = "comma")]
    pub separator: char,
    #[serde(default = "point")]
    pub decimal: char,
    /// Whether the job gives the header's width.
    #[serde(default = "yes")]
    pub header_width: bool,
    /// What the job has under `[log]`.
    #[serde(default)]
    pub log: String,
    pub columns: Vec<Column>,
}

fn comma() -> char {
    ','
}
fn point() -> char {
    '.'
}
fn yes() -> bool {
    true
}

/// What must come of a style.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Expect {
    /// Read, and right.
    Read,
    /// A question: the file is refused with its readings, or read with a warning that names them.
    Asks,
}

/// One column of a table.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Column {
    pub header: String,
    /// What its values are (see [`cell`]).
    pub holds: String,
    /// The unit in which its values really are, whatever the header says.
    #[serde(default)]
    pub unit: Option<String>,
    /// Form of times and dates.
    #[serde(default)]
    pub form: Option<String>,
    #[serde(default)]
    pub decimals: Option<usize>,
}

/// What became of a table.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// Every value that was read is the true one. With the codes of the warnings.
    Right(Vec<String>),
    /// It was refused with a question.
    Asked(String),
    /// It was read otherwise than it is: what, and the warnings.
    Wrong(String, Vec<String>),
    /// It was refused for another reason.
    Refused(String),
}

/// A field of maize without faults: about an hour at 1 Hz.
pub fn season() -> Simulated {
    let spec = FieldSpec {
        shape: Shape::rectangle(150.0, 320.0),
        ..FieldSpec::default()
    };
    simulate(&spec, 4711).expect("a sound spec")
}

/// Bushel and reference moisture of the field's crop.
fn maize() -> Crop {
    Crop::built_in("maize").expect("in the table")
}

/// A cell as text. `sums`: running totals of mass and distance up to this row.
fn cell(column: &Column, row: &Row, k: usize, sums: [f64; 2], style: &Style) -> String {
    let crop = maize();
    let area = row.distance_m * row.width_m / 10_000.0;
    let wet = if area > 0.0 {
        row.flow_kg_s * row.interval_s / area
    } else {
        0.0
    };
    let at = |pct: f64| (100.0 - row.moisture_pct) / (100.0 - pct);
    let (value, quantity) = match column.holds.as_str() {
        "lon" => (row.lon_deg, Some(Quantity::Angle)),
        "lat" => (row.lat_deg, Some(Quantity::Angle)),
        "heading" => (row.heading_deg, Some(Quantity::Angle)),
        "interval" => (row.interval_s, Some(Quantity::Time)),
        "elapsed" => (k as f64 * row.interval_s, Some(Quantity::Time)),
        "flow" => (row.flow_kg_s, Some(Quantity::MassFlow)),
        "flow_at_reference" => (
            row.flow_kg_s * at(crop.reference_moisture),
            Some(Quantity::MassFlow),
        ),
        "mass" => (row.flow_kg_s * row.interval_s, Some(Quantity::Mass)),
        "mass_sum" => (sums[0], Some(Quantity::Mass)),
        "yield" => (wet, Some(Quantity::Yield)),
        "yield_at_reference" => (wet * at(crop.reference_moisture), Some(Quantity::Yield)),
        "yield_at_15" => (wet * at(15.0), Some(Quantity::Yield)),
        "yield_of_dry_matter" => (wet * at(0.0), Some(Quantity::Yield)),
        "moisture" => (row.moisture_pct, Some(Quantity::Percent)),
        "speed" => (row.speed_m_s, Some(Quantity::Speed)),
        "distance" => (row.distance_m, Some(Quantity::Length)),
        "distance_sum" => (sums[1], Some(Quantity::Length)),
        "width" => (row.width_m, Some(Quantity::Length)),
        "elevation" => (31.4 + 0.01 * (k % 200) as f64, Some(Quantity::Length)),
        "noise" => (((k * 7919) % 1009) as f64 / 10.0, None),
        "time" | "date" | "time_of_day" => return time(column, row.time),
        "working" => return u8::from(row.work_state == Some(true)).to_string(),
        "raised" => return u8::from(row.work_state == Some(false)).to_string(),
        "up_down" => {
            return if row.work_state == Some(true) {
                "down"
            } else {
                "up"
            }
            .to_owned();
        }
        "load" => return format!("L{}", row.load + 1),
        "pass" => return row.pass.map_or_else(String::new, |p| p.to_string()),
        "machine" => return "C1".to_owned(),
        "crop" => return "maize".to_owned(),
        "field" => return "Brook field".to_owned(),
        other => panic!("{}: a column cannot hold {other}", style.name),
    };
    if !value.is_finite() {
        return String::new();
    }
    let factor = match (&column.unit, quantity) {
        (Some(symbol), Some(quantity)) => quantity
            .units()
            .find(|u| u.symbol == symbol)
            .unwrap_or_else(|| panic!("{}: {symbol} is no unit of {}", style.name, column.holds))
            .factor(crop.bushel_kg),
        _ => 1.0,
    };
    let value = value / factor;
    let usual = if matches!(column.holds.as_str(), "lon" | "lat") {
        7
    } else {
        4
    };
    let text = format!("{value:.*}", column.decimals.unwrap_or(usual));
    text.replace('.', &style.decimal.to_string())
}

/// A time in the column's form; zones other than UTC are left to the reader's own tests.
fn time(column: &Column, unix: f64) -> String {
    let t = jiff::tz::TimeZone::UTC
        .to_datetime(jiff::Timestamp::from_second(unix.round() as i64).expect("a time"));
    let (y, m, d, h, mi, s) = (
        t.year(),
        t.month(),
        t.day(),
        t.hour(),
        t.minute(),
        t.second(),
    );
    let half = if h < 12 { "AM" } else { "PM" };
    let h12 = if h % 12 == 0 { 12 } else { h % 12 };
    let serial = unix.round() / 86_400.0 + 25_569.0;
    match column.form.as_deref().unwrap_or("iso") {
        "iso" => format!("{y:04}-{m:02}-{d:02}T{h:02}:{mi:02}:{s:02}Z"),
        "iso space" => format!("{y:04}-{m:02}-{d:02} {h:02}:{mi:02}:{s:02}"),
        "unix" => format!("{unix:.0}"),
        "unix ms" => format!("{:.0}", unix * 1000.0),
        "gps" => format!("{:.0}", unix - 315_964_800.0 + 18.0),
        "serial" => format!("{serial:.8}"),
        "serial day" => format!("{:.0}", serial.floor()),
        "day fraction" => format!("{:.8}", serial.fract()),
        "compact" => format!("{y:04}{m:02}{d:02}{h:02}{mi:02}{s:02}"),
        "compact date" => format!("{y:04}{m:02}{d:02}"),
        "compact time" => format!("{h:02}{mi:02}{s:02}"),
        "dotted" => format!("{d:02}.{m:02}.{y:04} {h:02}:{mi:02}:{s:02}"),
        "dotted date" => format!("{d:02}.{m:02}.{y:04}"),
        "slashed, month first" => format!("{m}/{d}/{y} {h12}:{mi:02}:{s:02} {half}"),
        "slashed date, month first" => format!("{m}/{d}/{y}"),
        "slashed date, day first" => format!("{d:02}/{m:02}/{y}"),
        "iso date" => format!("{y:04}-{m:02}-{d:02}"),
        "clock" => format!("{h:02}:{mi:02}:{s:02}"),
        "clock, half days" => format!("{h12}:{mi:02}:{s:02} {half}"),
        "minutes" => format!("{y:04}-{m:02}-{d:02}T{h:02}:{mi:02}:00Z"),
        "seconds of the day" => format!(
            "{:.0}",
            f64::from(h) * 3600.0 + f64::from(mi) * 60.0 + f64::from(s)
        ),
        other => panic!("no such form: {other}"),
    }
}

/// The rows of a season under a style's headers.
pub fn table(season: &Simulated, style: &Style) -> String {
    let mut out = String::new();
    let quote = |text: &str| {
        if text.contains([style.separator, '"']) {
            format!("\"{}\"", text.replace('"', "\"\""))
        } else {
            text.to_owned()
        }
    };
    let separator = style.separator.to_string();
    let headers: Vec<String> = style.columns.iter().map(|c| quote(&c.header)).collect();
    let _ = writeln!(out, "{}", headers.join(&separator));
    let mut sums = [0.0; 2];
    for (k, row) in season.rows.iter().enumerate() {
        if row.flow_kg_s.is_finite() {
            sums[0] += row.flow_kg_s * row.interval_s;
        }
        sums[1] += row.distance_m;
        let cells: Vec<String> = style
            .columns
            .iter()
            .map(|c| quote(&cell(c, row, k, sums, style)))
            .collect();
        let _ = writeln!(out, "{}", cells.join(&separator));
    }
    out
}

/// Reads a season under a style, and holds what was read against what was written.
pub fn outcome(season: &Simulated, style: &Style) -> Outcome {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("log.csv"), table(season, style)).expect("written");
    let width = season.spec.machines[0].header_width;
    let mut job = String::new();
    if !style.log.is_empty() {
        let _ = writeln!(job, "[log]\n{}", style.log);
    }
    if style.header_width {
        let _ = writeln!(
            job,
            "[[machine]]\nname = \"C1\"\nheader_width = \"{width} m\""
        );
    }
    let _ = writeln!(
        job,
        "[[field]]\nclient='a'\nfarm='b'\nname='c'\nseason=2025\ncrop='maize'\nlogs=['log.csv']"
    );
    let job =
        parse(&job, "job.toml", folder.path()).unwrap_or_else(|e| panic!("{}: {e}", style.name));
    let input = match read_field(&job, &job.fields[0]) {
        Ok(input) => input,
        Err(e) => {
            let text = format!("{e}; {}", e.hint().unwrap_or_default());
            let asks = [
                ReadErrorKind::TwoReadings,
                ReadErrorKind::NoUnit,
                ReadErrorKind::NoColumn,
                ReadErrorKind::Crs,
                ReadErrorKind::Swapped,
            ];
            return if asks.contains(&e.kind()) && e.hint().is_some() {
                Outcome::Asked(text)
            } else {
                Outcome::Refused(text)
            };
        }
    };
    let warnings: Vec<String> = input
        .warnings
        .iter()
        .map(|w| format!("{}: {}", w.code, w.text))
        .collect();
    let log = &input.log;
    if log.len() != season.rows.len() {
        return Outcome::Wrong(
            format!("{} of {} rows", log.len(), season.rows.len()),
            warnings,
        );
    }
    let timeline = Timeline::new(log);
    let mut wrong = Vec::new();
    // Grain row by row: a reading that is off by a unit is off by far more than 3 %.
    let mut off: Vec<f64> = Vec::new();
    let (mut read, mut truth) = (0.0, 0.0);
    for (i, row) in season.rows.iter().enumerate() {
        let true_kg = row.flow_kg_s * row.interval_s;
        let kg = timeline.mass(log, i);
        if true_kg > 0.5 && row.distance_m > 0.3 {
            off.push((kg / true_kg).ln().abs());
            read += kg;
            truth += true_kg;
        }
    }
    off.sort_by(f64::total_cmp);
    let middle = off.get(off.len() / 2).copied().unwrap_or(f64::INFINITY);
    if !(middle < 0.03) || !((read / truth - 1.0).abs() < 0.02) {
        wrong.push(format!(
            "grain: {:.3} of the truth, rows off by {:.1} %",
            read / truth,
            100.0 * middle
        ));
    }
    type Pair = (
        &'static str,
        fn(&fanmill::log::Log, usize) -> f64,
        fn(&Row) -> f64,
        f64,
    );
    let pairs: [Pair; 7] = [
        ("longitude", |l, i| l.lon[i], |r| r.lon_deg, 1e-6),
        ("latitude", |l, i| l.lat[i], |r| r.lat_deg, 1e-6),
        ("moisture", |l, i| l.moisture[i], |r| r.moisture_pct, 0.06),
        ("speed", |l, i| l.speed[i], |r| r.speed_m_s, 0.03),
        ("distance", |l, i| l.distance[i], |r| r.distance_m, 0.03),
        ("width", |l, i| l.width[i], |r| r.width_m, 0.03),
        ("interval", |l, i| l.interval[i], |r| r.interval_s, 0.01),
    ];
    for (name, get, truth, tolerance) in pairs {
        let mut differences: Vec<f64> = season
            .rows
            .iter()
            .enumerate()
            .map(|(i, r)| (get(log, i) - truth(r)).abs())
            .filter(|d| d.is_finite())
            .collect();
        differences.sort_by(f64::total_cmp);
        if let Some(high) = differences.get(differences.len() * 9 / 10)
            && *high > tolerance
        {
            wrong.push(format!("{name}: off by {high:.4}"));
        }
    }
    let times = |i: usize| log.time[i] - season.rows[i].time;
    if log.sources[0].clock == Clock::Unix && !((times(0)).abs() < 60.0) {
        wrong.push(format!("time: off by {:.0} s", times(0)));
    }
    if log.sources[0].clock != Clock::None {
        let n = log.len() - 1;
        let drift = times(n) - times(0);
        if !(drift.abs() < 60.0) {
            wrong.push(format!("time: runs {drift:.0} s away"));
        }
    }
    let steps = season
        .rows
        .windows(2)
        .zip(timeline.tracks[0].end.windows(2));
    let bad = steps
        .filter(|(r, t)| {
            log.sources[0].clock != Clock::None
                && ((r[1].time - r[0].time) - (t[1] - t[0])).abs() > 1.5
        })
        .count();
    if bad * 50 > log.len() {
        wrong.push(format!("time: {bad} steps of another length"));
    }
    if wrong.is_empty() {
        Outcome::Right(warnings)
    } else {
        Outcome::Wrong(wrong.join("; "), warnings)
    }
}

/// Codes that tell the user that something about a column is open or was decided against the header.
const TOLD: [&str; 6] = [
    "two-readings",
    "unit-inferred",
    "unit-doubtful",
    "unit-disproved",
    "moisture-already-corrected",
    "no-unit",
];

/// What is wrong with an outcome; `None` where it is what the style expects. Nothing may be wrong without a word.
pub fn complaint(style: &Style, outcome: &Outcome) -> Option<String> {
    let told = |w: &[String]| w.iter().any(|w| TOLD.iter().any(|t| w.starts_with(t)));
    match (style.expect, outcome) {
        (_, Outcome::Wrong(what, warnings)) if !told(warnings) => {
            Some(format!("silently wrong: {what}; {warnings:?}"))
        }
        (Expect::Read, Outcome::Right(_)) | (Expect::Asks, Outcome::Asked(_)) => None,
        (Expect::Asks, Outcome::Right(w) | Outcome::Wrong(_, w))
            if w.iter().any(|w| w.starts_with("two-readings")) =>
        {
            None
        }
        (_, other) => Some(format!("{other:?}")),
    }
}
