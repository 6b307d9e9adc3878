//! Headers of many styles over one simulated field: each is read as it is, or asked about; none is silently wrong.
//!
//! `tests/styles/*.toml` hold the styles (and `FANMILL_STYLES` may name a folder of more): headers, what their columns
//! hold, in which unit really, and whether the table must be read or asked about. `own.toml` was made up by whoever
//! wrote the recognition; styles by others stand in files of their own. The field is our simulator's; units are converted
//! with the factors that `read_headers` checks against NIST Handbook 44.

use std::path::{Path, PathBuf};

use crate::styled::{Column, Expect, Outcome, Style, complaint, outcome, season};
use proptest::prelude::*;
use serde::Deserialize;

#[derive(Deserialize)]
struct Table {
    style: Vec<Style>,
}

/// Every style of a folder, with the file in which it stands.
fn styles(folder: &Path) -> Vec<(String, Style)> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("a folder of styles")
        .map(|e| e.expect("an entry").path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    let mut all = Vec::new();
    for file in files {
        let text = std::fs::read_to_string(&file).expect("readable");
        let table: Table =
            toml::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
        let name = file
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        all.extend(table.style.into_iter().map(|s| (name.clone(), s)));
    }
    all
}

#[test]
fn every_style_is_read_or_asked_about() {
    let season = season();
    let mut all = styles(&crate::outside::project("tests/styles"));
    if let Some(more) = std::env::var_os("FANMILL_STYLES") {
        all.extend(styles(Path::new(&more)));
    }
    assert!(all.len() >= 15, "only {} styles", all.len());
    let mut bad = Vec::new();
    for (file, style) in &all {
        let outcome = outcome(&season, style);
        println!("{file}: {}: {outcome:?}", style.name);
        bad.extend(complaint(style, &outcome).map(|c| format!("{file}: {}: {c}", style.name)));
    }
    assert!(
        bad.is_empty(),
        "{} of {} styles:\n{}",
        bad.len(),
        all.len(),
        bad.join("\n")
    );
}

/// The harness can fail: values that are not what the header says, in a way that nothing can prove, are wrong and said so.
#[test]
fn a_wrong_reading_is_seen() {
    let season = season();
    let column = |header: &str, holds: &str, unit: Option<&str>| Column {
        header: header.into(),
        holds: holds.into(),
        unit: unit.map(Into::into),
        form: None,
        decimals: None,
    };
    let style = Style {
        name: "kg/s that are lb/s".into(),
        expect: Expect::Read,
        separator: ',',
        decimal: '.',
        header_width: true,
        log: String::new(),
        columns: vec![
            column("time", "time", None),
            column("lon", "lon", None),
            column("lat", "lat", None),
            column("flow_lb_s", "flow", Some("kg/s")),
        ],
    };
    let outcome = outcome(&season, &style);
    assert!(matches!(outcome, Outcome::Wrong(..)), "{outcome:?}");
    assert!(complaint(&style, &outcome).is_some());
}

/// Systems of units: flow, mass, speed, distance, width, each with how its header spells it.
const SYSTEMS: [[(&str, &str); 5]; 3] = [
    [
        ("kg/s", "kg/s"),
        ("kg", "kg"),
        ("m/s", "m/s"),
        ("m", "m"),
        ("m", "m"),
    ],
    [
        ("t/h", "t/h"),
        ("kg", "kg"),
        ("km/h", "km/h"),
        ("cm", "cm"),
        ("m", "m"),
    ],
    [
        ("lb/s", "lbs/sec"),
        ("lb", "lbs"),
        ("mph", "mph"),
        ("in", "inches"),
        ("ft", "feet"),
    ],
];

/// Clocks: the forms of one column, or of a date and a time of day.
const CLOCKS: [&[(&str, &str, &str)]; 10] = [
    &[("Time", "time", "iso")],
    &[("Timestamp", "time", "unix")],
    &[("Timestamp", "time", "unix ms")],
    &[("Time", "time", "serial")],
    &[("Date Time", "time", "compact")],
    &[("Date Time", "time", "dotted")],
    &[
        ("Date", "date", "iso date"),
        ("Time", "time_of_day", "clock"),
    ],
    &[
        ("Date", "date", "serial day"),
        ("Time", "time_of_day", "day fraction"),
    ],
    &[
        ("Date", "date", "compact date"),
        ("Time", "time_of_day", "compact time"),
    ],
    &[("Time", "time_of_day", "clock, half days")],
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, max_shrink_iters: 0, ..ProptestConfig::default() })]

    /// One field in every system of units and every clock is one field. Headers that name their units must be read;
    /// without units it may be asked about, but a mixture of systems is not made up.
    #[test]
    fn unit_systems_and_clocks_make_the_same_rows(
        system in 0..3usize, clock in 0..10usize, named in any::<bool>(), as_mass in any::<bool>(), beside in 0..8u8,
        comma in any::<bool>(),
    ) {
        let season = season();
        let units = SYSTEMS[system];
        let mut columns = vec![
            Column { header: "Longitude".into(), holds: "lon".into(), unit: None, form: None, decimals: None },
            Column { header: "Latitude".into(), holds: "lat".into(), unit: None, form: None, decimals: None },
        ];
        for (header, holds, form) in CLOCKS[clock] {
            columns.push(Column { header: (*header).into(), holds: (*holds).into(), unit: None, form: Some((*form).into()), decimals: None });
        }
        let mut add = |word: &str, holds: &str, k: usize| {
            let (unit, spelt) = units[k];
            let header = if named { format!("{word} ({spelt})") } else { word.to_owned() };
            columns.push(Column { header, holds: holds.into(), unit: Some(unit.into()), form: None, decimals: None });
        };
        if as_mass { add("Grain mass", "mass", 1) } else { add("Grain flow", "flow", 0) }
        if beside & 1 != 0 { add("Speed", "speed", 2) }
        if beside & 2 != 0 { add("Distance", "distance", 3) }
        if beside & 4 != 0 { add("Header width", "width", 4) }
        let style = Style {
            name: format!("system {system}, clock {clock}, units {named}, mass {as_mass}, beside {beside}"),
            expect: Expect::Read,
            separator: if comma { ';' } else { ',' },
            decimal: if comma { ',' } else { '.' },
            header_width: true,
            log: String::new(),
            columns,
        };
        let outcome = outcome(&season, &style);
        match &outcome {
            Outcome::Right(_) => {}
            Outcome::Asked(_) if !named => {}
            _ => prop_assert!(complaint(&style, &outcome).is_none(), "{}: {outcome:?}", style.name),
        }
    }
}

/// What became of the styles of a folder by its `expected.json`: read without asking, asked about, and wrong.
fn inspected(folder: &Path) -> [Vec<String>; 3] {
    let text = std::fs::read_to_string(folder.join("expected.json")).expect("expected.json");
    let expected: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let (mut read, mut asked, mut wrong) = (Vec::new(), Vec::new(), Vec::new());
    for style in expected["files"].as_array().expect("files") {
        let file = style["file"].as_str().expect("a file");
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_fanmill"))
            .args([
                "inspect",
                "--format",
                "json",
                "--crop",
                style["crop"].as_str().expect("a crop"),
            ])
            .arg(folder.join(file))
            .output()
            .expect("it runs");
        let seen: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
        let seen = &seen[0];
        let questions = seen["questions"].as_array().map_or(0, Vec::len);
        if !seen["error"].is_null() || questions > 0 {
            asked.push(file.to_owned());
            continue;
        }
        let grain = 1000.0 * seen["grain_t"].as_f64().expect("grain");
        let truth = style["total_kg"].as_f64().expect("a total");
        let said = !seen["oddities"].as_array().expect("oddities").is_empty();
        let rows = seen["rows"].as_u64() == style["rows"].as_u64();
        // The first row's place lies on the map.
        let place = |key: &str, least: &str, most: &str| {
            let at = style["first_row"][key].as_f64().expect("a place");
            let bound = |name: &str| seen["span"][name].as_f64().unwrap_or(f64::NAN);
            at >= bound(least) - 1e-5 && at <= bound(most) + 1e-5
        };
        let placed = style["kind"] == "ambiguous"
            || (place("lon", "west", "east") && place("lat", "south", "north"));
        if (grain / truth - 1.0).abs() > 0.01
            || !rows
            || !placed
            || (style["kind"] == "ambiguous" && !said)
        {
            wrong.push(format!("{file}: {grain} kg for {truth}, {}", seen["span"]));
        }
        if style["kind"] == "plain" {
            read.push(file.to_owned());
        }
    }
    println!("read without asking: {read:?}\nasked about: {asked:?}");
    [read, asked, wrong]
}

/// Thirty styles by somebody who had not read the recognition: twenty that a careful person reads without asking, ten that
/// nobody could (`testdata/header-styles`). No grain is silently wrong.
#[test]
fn styles_by_others_are_read_or_asked_about_and_never_silently_wrong() {
    let folder = crate::outside::project("testdata/header-styles");
    let [read, _, wrong] = inspected(&folder);
    assert!(wrong.is_empty(), "{wrong:?}");
    assert_eq!(
        read.len(),
        20,
        "of twenty plain styles only {read:?} are read without asking"
    );
}

/// Twenty-eight more in other languages and phrasings, written before the rules (`further`; what they were at first is in
/// the folder's README).
#[test]
fn further_styles_are_never_silently_wrong() {
    let folder = crate::outside::project("testdata/header-styles/further");
    let [read, _, wrong] = inspected(&folder);
    assert!(wrong.is_empty(), "{wrong:?}");
    assert!(read.len() >= 20, "only {read:?} are read without asking");
}
