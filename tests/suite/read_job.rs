//! The job file: what a sound one means, and what is said of others. Names are invented.

use std::path::Path;

use fanmill::job::{Format, Job, Layer, OutputCrs, parse};
use fanmill::units::YieldUnit;

/// The job of the documentation.
const JOB: &str = r#"[job]
name = "Autumn 2025"
results = "results"
formats = ["geojson", "shapefile"]
layers = ["points", "set-aside"]
crs = "EPSG:4326"
yield_unit = "t/ha"
timezone = "Europe/Copenhagen"
[log]
columns = { flow = "grain per second" }
units = { flow = "kg/s" }
width = "30 ft"
[[machine]]
name = "C1"
header_width = "9.1 m"
delay = "auto"
antenna_behind_cutter_bar = "2 m"
[[machine]]
name = "C2"
delay = "12 s"
[crop.maize]
reference_moisture = "15 %"
bushel_weight = "56 lb"
credit_dry_grain = true
[limits]
speed = ["0.5 m/s", "3 m/s"]
yield = ["0 bu/ac", "300 bu/ac"]
cut_share = "30 %"
[[field]]
client = "Heron Lane"
farm = "Home"
name = "Brook field"
season = 2025
crop = "Maize"
logs = ["logs/brook/*.csv"]
boundary = "boundaries/brook.geojson"
tickets = ["tickets.csv"]
machine = "C1"
"#;

fn read(text: &str) -> Result<Job, String> {
    parse(text, "job.toml", Path::new("farm"))
        .map_err(|e| format!("{e}\nhint: {}", e.hint().unwrap_or("none")))
}

/// The job with one line changed.
fn with(from: &str, to: &str) -> Result<Job, String> {
    assert!(JOB.contains(from));
    read(&JOB.replace(from, to))
}

fn fails(from: &str, to: &str) -> String {
    with(from, to).expect_err("an error")
}

#[test]
fn a_sound_job_is_resolved() {
    let job = read(JOB).expect("sound");
    assert_eq!(
        (job.name.as_str(), job.results.as_path()),
        ("Autumn 2025", Path::new("farm/results"))
    );
    assert_eq!(
        (job.formats, job.layers),
        (
            vec![Format::GeoJson, Format::Shapefile],
            vec![Layer::Points, Layer::SetAside]
        )
    );
    assert_eq!(
        (job.crs, job.yield_unit),
        (
            OutputCrs::Code("EPSG:4326".into()),
            YieldUnit::TonnePerHectare
        )
    );
    assert_eq!(
        job.log.columns,
        [("flow".to_owned(), "grain per second".to_owned())]
    );
    assert_eq!(job.log.width, Some(9.144));
    assert_eq!(
        (job.machines[0].header_width, job.machines[0].delay),
        (Some(9.1), None)
    );
    assert_eq!(
        (
            job.machines[0].antenna_behind_cutter_bar,
            job.machines[1].delay
        ),
        (Some(2.0), Some(12.0))
    );
    assert_eq!(
        (job.limits.speed, job.limits.cut_share),
        (Some((0.5, 3.0)), Some(0.3))
    );
    // 300 bu/ac of 56 lb bushels: 18.83 t/ha in extension tables (common practice).
    assert!(
        job.limits
            .yield_kg_ha
            .is_some_and(|(low, high)| low == 0.0 && (high - 18_830.0).abs() < 5.0)
    );
    let field = &job.fields[0];
    assert_eq!(
        (
            field.crop.name.as_str(),
            field.crop.reference_moisture,
            field.crop.credit_dry
        ),
        ("maize", 15.0, true)
    );
    assert_eq!((field.season, field.machine.as_deref()), (2025, Some("C1")));
}

#[test]
fn the_shortest_job_has_defaults() {
    let job =
        read("[[field]]\nclient='a'\nfarm='b'\nname='c'\nseason=2025\ncrop='corn'\nlogs=['*.csv']")
            .expect("sound");
    assert_eq!(
        (job.timezone.as_str(), job.results.as_path()),
        ("UTC", Path::new("farm/results"))
    );
    assert_eq!(
        (job.formats.len(), job.layers.len(), job.machines.len()),
        (2, 2, 0)
    );
    assert_eq!(
        (
            job.fields[0].crop.name.as_str(),
            job.fields[0].crop.reference_moisture
        ),
        ("corn", 15.5)
    );
}

#[test]
fn an_unknown_key_is_refused_with_its_neighbour() {
    assert_eq!(
        fails("header_width", "header_witdh"),
        "job.toml:15:1, machine 1: expected one of the keys name, header_width, delay, moisture_delay, \
         antenna_behind_cutter_bar, found \"header_witdh\"\nhint: did you mean \"header_width\"?"
    );
    assert_eq!(
        fails("[limits]", "[limit]"),
        "job.toml:25:2: expected one of the keys job, log, machine, crop, limits, field, found \"limit\"\n\
         hint: did you mean \"limits\"?"
    );
    assert_eq!(
        fails("columns = { flow", "columns = { flaw"),
        "job.toml:10:13, log, columns: expected one of the keys lon, lat, x, y, time, date, interval, flow, mass, yield, \
         dry_yield, moisture, machine, work_state, speed, distance, width, rows, row_spacing, section, record, heading, elevation, load, pass, crop, field, found \"flaw\"\n\
         hint: did you mean \"flow\"?"
    );
}

#[test]
fn an_unknown_crop_asks_for_its_two_values() {
    assert_eq!(
        fails("crop = \"Maize\"", "crop = \"quinoa\""),
        "job.toml:34:8, field 1, crop: expected a crop of the job's [crop.NAME] or one of maize, soybean, wheat, oats, \
         barley, sorghum, rye, canola, sunflower, rice, flax, found \"quinoa\"\n\
         hint: give it a section with both values: [crop.quinoa] reference_moisture = \"14 %\", bushel_weight = \"60 lb\""
    );
    assert_eq!(
        fails("crop = \"Maize\"", "crop = \"weat\"").lines().nth(1),
        Some(
            "hint: did you mean \"wheat\"? Otherwise give it a section with both values: [crop.weat] \
              reference_moisture = \"14 %\", bushel_weight = \"60 lb\""
        )
    );
    assert_eq!(
        fails(
            "[crop.maize]\nreference_moisture = \"15 %\"",
            "[crop.quinoa]"
        ),
        "job.toml:21:1, crop, quinoa, reference_moisture: expected reference_moisture and bushel_weight of a crop that is \
         not built in, found no such key\n\
         hint: built-in crops are maize, soybean, wheat, oats, barley, sorghum, rye, canola, sunflower, rice, flax"
    );
    let own = JOB
        .replace("crop.maize", "crop.Quinoa")
        .replace("\"Maize\"", "\"quinoa\"");
    assert!(read(&own).is_ok_and(|j| (j.fields[0].crop.bushel_kg - 25.401).abs() < 1e-3));
}

#[test]
fn an_unknown_unit_lists_the_known_ones() {
    assert_eq!(
        fails("units = { flow = \"kg/s\" }", "units = { flow = \"kg/m\" }"),
        "job.toml:11:18, log, units, flow: expected a unit of a mass flow: kg/s, g/s, kg/h, kg/min, t/h, lb/s, lb/min, lb/h, \
         short ton/h, bu/s, bu/h, found \"kg/m\"\nhint: did you mean \"kg/s\"?"
    );
    assert_eq!(
        fails("9.1 m", "9.1 yards"),
        "job.toml:15:16, machine 1, header_width: expected a length with its unit, such as \"9.1 m\", found \"9.1 yards\"\n\
         hint: \"yards\" in \"9.1 yards\" is not one of its units; units of a length are m, cm, mm, km, ft, in, mi"
    );
    assert_eq!(
        fails("\"9.1 m\"", "9.1"),
        "job.toml:15:16, machine 1, header_width: expected a length with its unit, such as \"9.1 m\", found 9.1\n\
         hint: write the unit too: one of m, cm, mm, km, ft, in, mi (\"9.1 …\")"
    );
}

#[test]
fn nan_and_infinity_are_no_numbers() {
    assert_eq!(
        fails("9.1 m", "NaN m"),
        "job.toml:15:16, machine 1, header_width: expected a length with its unit, such as \"9.1 m\", found \"NaN m\"\n\
         hint: \"NaN m\" does not start with a finite number; units of a length are m, cm, mm, km, ft, in, mi"
    );
    assert_eq!(
        fails("cut_share = \"30 %\"", "cut_share = nan"),
        "job.toml:28:13, limits, cut_share: expected a percentage with its unit, such as \"15.5 %\", found nan\nhint: none"
    );
    assert_eq!(
        fails("12 s", "inf s").lines().next(),
        Some(
            "job.toml:20:9, machine 2, delay: expected \"auto\" or a time with its unit, such as \"12 s\", found \"inf s\""
        )
    );
}

#[test]
fn amounts_that_cannot_be_are_refused() {
    assert_eq!(
        fails("12 s", "12 min"),
        "job.toml:20:9, machine 2, delay: expected \"auto\" or a time between -120 and 120 s, found \"12 min\"\nhint: none"
    );
    assert_eq!(
        fails("[\"0.5 m/s\", \"3 m/s\"]", "[\"3 m/s\", \"0.5 m/s\"]"),
        "job.toml:26:9, limits, speed: expected two amounts in a list, the lower one first, such as [\"0 m/s\", \"1.5 m/s\"], \
         found a list\nhint: none"
    );
    assert_eq!(
        fails("season = 2025", "season = 25").lines().next(),
        Some(
            "job.toml:33:10, field 1, season: expected the year of harvest, such as 2025, found 25"
        )
    );
}

#[test]
fn a_field_season_stands_once() {
    let field = &JOB[JOB.find("[[field]]").expect("there")..];
    assert_eq!(
        read(&format!("{JOB}{field}")).expect_err("an error"),
        "job.toml:39:1, field 2: expected each client, farm, field, season and crop once, \
         found the same as field 1: Heron Lane/Home/Brook field, 2025 maize\n\
         hint: list all logs of it in one [[field]], or rename field 2"
    );
    let next = field.replace("season = 2025", "season = 2026");
    assert!(read(&format!("{JOB}{next}")).is_ok_and(|j| j.fields.len() == 2));
}

#[test]
fn choices_are_checked() {
    assert!(
        with("\"set-aside\"", "\"grid\"")
            .is_ok_and(|j| j.layers.contains(&Layer::Grid) && j.grid_cell == 10.0)
    );
    let cell = |text: &str| {
        format!(
            "[job]\ngrid_cell = {text}\n{}",
            JOB.replacen("[job]\n", "", 1)
        )
    };
    assert!(read(&cell("\"40 ft\"")).is_ok_and(|j| (j.grid_cell - 12.192).abs() < 1e-9));
    assert_eq!(
        read(&cell("\"1 m\"")).expect_err("an error"),
        "job.toml:2:13, job, grid_cell: expected a length between 2 and 200 m, found \"1 m\"\nhint: none"
    );
    assert!(
        read(&cell("10")).expect_err("an error").starts_with(
            "job.toml:2:13, job, grid_cell: expected a length with its unit, such as "
        )
    );
    assert_eq!(
        fails("\"set-aside\"", "\"set aside\""),
        "job.toml:5:21, job, layers: expected a list of points, set-aside, swaths, grid, found \"set aside\"\n\
         hint: did you mean \"set-aside\"?"
    );
    assert_eq!(
        fails("EPSG:4326", "WGS84"),
        "job.toml:6:7, job, crs: expected \"utm\" or a code such as \"EPSG:4326\", found \"WGS84\"\n\
         hint: look the number up at epsg.org; \"EPSG:4326\" is WGS 84"
    );
    assert_eq!(
        fails("Europe/Copenhagen", "Mars/Olympus"),
        "job.toml:8:12, job, timezone: expected a time zone by its IANA name, such as \"Europe/Berlin\", found \"Mars/Olympus\"\n\
         hint: the names are in the IANA time zone database; \"UTC\" always works"
    );
    assert!(with("\"EPSG:4326\"", "\"utm\"").is_ok_and(|j| j.crs == OutputCrs::Utm));
}

#[test]
fn what_is_not_toml_is_placed() {
    let error = fails("season = 2025", "season = = 2025");
    assert!(
        error.starts_with("job.toml:33:10: expected TOML, found "),
        "{error}"
    );
}

#[test]
fn a_job_file_that_is_not_there_is_named() {
    let error = Job::load(Path::new("nowhere/job.toml")).expect_err("an error");
    assert_eq!(
        error.to_string(),
        "nowhere/job.toml: expected a job file, found no file of that name"
    );
    assert_eq!(
        error.hint(),
        Some("give the path of a job file; `fanmill demo DIR` writes one to look at")
    );
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig {
        failure_persistence: None,
        ..proptest::prelude::ProptestConfig::default()
    })]

    /// A job spoilt anywhere is refused with a message or still sound: never a panic.
    #[test]
    fn no_spoilt_job_panics(at in 0..JOB.len(), with in "[-0-9\"'=.\\[\\]{}a-zé\n]{0,4}", cut in 0usize..6) {
        let end = (at + cut).min(JOB.len());
        let text = format!("{}{with}{}", &JOB[..at], &JOB[end..]);
        if let Err(message) = read(&text) {
            proptest::prop_assert!(message.starts_with("job.toml:"), "{message}");
            proptest::prop_assert!(message.contains(": expected "), "{message}");
        }
    }
}
