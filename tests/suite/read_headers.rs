//! Every column of the documentation, with every unit and in every spelling a person might use, is read to the same
//! value in SI. The factors here are written out by hand: NIST Handbook 44, appendix C.

use std::fs;

use fanmill::job::parse;
use fanmill::log::{Log, WorkState};
use fanmill::read::read_field;
use proptest::prelude::*;

/// Column, its units with what one is in SI, and where it lands in a [`Log`].
type Measured = (
    &'static str,
    &'static [(&'static str, f64)],
    fn(&Log) -> f64,
);

const LENGTH: &[(&str, f64)] = &[
    ("m", 1.0),
    ("cm", 0.01),
    ("mm", 0.001),
    ("km", 1000.0),
    ("ft", 0.3048),
    ("in", 0.0254),
    ("mi", 1609.344),
];
const MASS: &[(&str, f64)] = &[
    ("kg", 1.0),
    ("g", 0.001),
    ("t", 1000.0),
    ("lb", 0.453_592_37),
    ("bu", 25.401_172_72),
    ("short ton", 907.184_74),
];
const FLOW: &[(&str, f64)] = &[
    ("kg/s", 1.0),
    ("g/s", 0.001),
    ("kg/h", 1.0 / 3600.0),
    ("kg/min", 1.0 / 60.0),
    ("t/h", 1.0 / 3.6),
    ("lb/s", 0.453_592_37),
    ("lb/min", 0.453_592_37 / 60.0),
    ("lb/h", 0.453_592_37 / 3600.0),
    ("short ton/h", 907.184_74 / 3600.0),
    ("bu/s", 25.401_172_72),
    ("bu/h", 25.401_172_72 / 3600.0),
];
const SPEED: &[(&str, f64)] = &[
    ("m/s", 1.0),
    ("km/h", 1.0 / 3.6),
    ("mph", 0.447_04),
    ("kn", 1852.0 / 3600.0),
    ("ft/s", 0.3048),
];
const TIME: &[(&str, f64)] = &[("s", 1.0), ("ms", 0.001), ("min", 60.0), ("h", 3600.0)];
const PERCENT: &[(&str, f64)] = &[("%", 1.0), ("ppm", 1e-4), ("fraction", 100.0)];
const ANGLE: &[(&str, f64)] = &[("deg", 1.0), ("rad", 57.295_779_513_082_32)];

const MEASURED: [Measured; 11] = [
    ("lon", ANGLE, |log| log.lon[0]),
    ("lat", ANGLE, |log| log.lat[0]),
    ("flow", FLOW, |log| log.flow[0]),
    ("mass", MASS, |log| log.mass[0]),
    ("moisture", PERCENT, |log| log.moisture[0]),
    ("interval", TIME, |log| log.interval[0]),
    ("speed", SPEED, |log| log.speed[0]),
    ("distance", LENGTH, |log| log.distance[0]),
    ("width", LENGTH, |log| log.width[0]),
    ("heading", ANGLE, |log| log.heading[0]),
    ("elevation", LENGTH, |log| log.elevation[0]),
];

/// Ways to write one header.
const SPELLINGS: [fn(&str, &str) -> String; 8] = [
    |name, unit| format!("{name}_{}", suffix(unit)),
    |name, unit| format!("{name}_{}", suffix(unit)).to_uppercase(),
    |name, unit| format!(" {name}_{} ", suffix(unit)),
    |name, unit| format!("{name} ({unit})"),
    |name, unit| format!("{} [{unit}]", name.to_uppercase()),
    |name, unit| format!("{name} {unit}"),
    |name, unit| format!("{name}.{}", suffix(unit)),
    |name, unit| format!("\"{name}, {unit}\""),
];

fn suffix(unit: &str) -> String {
    unit.replace('/', "_").replace('%', "pct")
}

/// The log that one row under these headers makes.
fn read(header: &str, row: &str, log_section: &str) -> Log {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("a.csv"), format!("{header}\n{row}\n")).expect("written");
    let job = format!(
        "[log]\n{log_section}\n[[field]]\nclient='c'\nfarm='f'\nname='n'\nseason=2025\ncrop='maize'\nlogs=['a.csv']"
    );
    let job = parse(&job, "job.toml", folder.path()).expect("a sound job");
    let input = read_field(&job, &job.fields[0]).expect("readable");
    assert_eq!(input.warnings, [], "{header}");
    input.log
}

/// A row with this column and whatever else a log needs.
fn read_column(name: &str, header: &str, value: f64, log_section: &str) -> Log {
    let (mut headers, mut row) = (vec![header.to_owned()], vec![value.to_string()]);
    for (other, other_header, other_value) in [
        ("lon", "lon_deg", "0.5"),
        ("lat", "lat_deg", "0.5"),
        ("flow", "flow_kg_s", "8"),
    ] {
        if other != name {
            headers.push(other_header.to_owned());
            row.push(other_value.to_owned());
        }
    }
    read(&headers.join(","), &row.join(","), log_section)
}

#[test]
fn every_spelling_of_every_column_in_every_unit_is_one_value() {
    let mut checked = 0;
    for (name, units, value_of) in MEASURED {
        for (unit, factor) in units {
            for spelling in SPELLINGS {
                let header = spelling(name, unit);
                let read = value_of(&read_column(name, &header, 1.25, ""));
                assert!(
                    (read / (1.25 * factor) - 1.0).abs() < 1e-12,
                    "{header}: {read} for {}",
                    1.25 * factor
                );
                checked += 1;
            }
        }
    }
    assert_eq!(checked, 8 * (3 * 2 + 11 + 6 + 3 + 4 + 5 + 3 * 7));
}

#[test]
fn every_column_can_be_mapped_with_its_unit_in_the_job() {
    for (name, units, value_of) in MEASURED {
        for (unit, factor) in units {
            let section = format!(
                "columns = {{ {name} = \"Channel 7\" }}\nunits = {{ {name} = \"{unit}\" }}"
            );
            let read = value_of(&read_column(name, "Channel 7", 1.25, &section));
            assert!(
                (read / (1.25 * factor) - 1.0).abs() < 1e-12,
                "{name} in {unit}: {read}"
            );
        }
    }
}

#[test]
fn names_and_states_are_read_in_any_case() {
    for change in [str::to_lowercase, str::to_uppercase] {
        let header = change("machine,work_state,load,pass,time,lon_deg,lat_deg,flow_kg_s");
        let log = read(&header, "C1,0,L1,7,3.5,10,54,8", "");
        assert_eq!(
            (log.machines, log.loads),
            (vec!["C1".to_owned()], vec!["L1".to_owned()])
        );
        assert_eq!(
            (log.work[0], log.pass_label[0], log.time[0]),
            (WorkState::NotWorking, Some(7), 3.5)
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// What is written in any unit comes back in SI, and columns may stand in any order, decimal commas or not.
    #[test]
    fn values_survive_units_order_and_decimal_commas(
        value in -1.0e4..1.0e4f64,
        unit in 0..LENGTH.len(),
        order in Just([0usize, 1, 2, 3]).prop_shuffle(),
        comma in any::<bool>(),
    ) {
        let (name, factor) = LENGTH[unit];
        let headers = ["lon_deg".to_owned(), "lat_deg".to_owned(), "flow_kg_s".to_owned(), format!("elevation_{name}")];
        let cells = ["10.25".to_owned(), "54.5".to_owned(), "8.125".to_owned(), value.to_string()];
        let line = |texts: &[String; 4]| order.map(|k| texts[k].clone()).join(";");
        let row = line(&cells);
        let row = if comma { row.replace('.', ",") } else { row };
        let log = read(&line(&headers), &row, "");
        prop_assert_eq!((log.lon[0], log.lat[0], log.flow[0]), (10.25, 54.5, 8.125));
        prop_assert!((log.elevation[0] - value * factor).abs() <= 1e-12 * (value * factor).abs());
    }
}
