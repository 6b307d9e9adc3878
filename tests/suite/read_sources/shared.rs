//! One log over several fields of a job: each row is one field's, by name or by boundary.

use std::path::Path;

use fanmill::job::{Job, parse};
use fanmill::read::{FieldInput, read_field};

use super::farm::{codes, said, write};

/// Three fields in a row from west to east, 0.002° of longitude wide with 0.001° of road between; ten rows in each and
/// five on each road, and five before the first.
fn season(named: bool) -> String {
    let mut text =
        "time,lon_deg,lat_deg,flow_kg_s,width_m".to_owned() + if named { ",Field\n" } else { "\n" };
    let mut second = 0;
    let mut row = |lon: f64, name: &str| {
        second += 1;
        let name = if named {
            format!(",{name}")
        } else {
            String::new()
        };
        text += &format!("{},{lon:.7},54.0005,2,9{name}\n", 1_757_664_000 + second);
    };
    for k in 0..5 {
        row(9.999 + 2e-4 * f64::from(k), "");
    }
    for (f, name) in ["West", "Middle", "home/EAST"].into_iter().enumerate() {
        let west = 10.0 + 0.003 * f as f64;
        for k in 0..10 {
            row(west + 1e-4 + 2e-4 * f64::from(k), name);
        }
        for k in 0..5 {
            row(west + 0.0021 + 1.5e-4 * f64::from(k), "");
        }
    }
    text
}

fn square(west: f64) -> String {
    let east = west + 0.002;
    format!(
        "{{\"type\":\"Polygon\",\"coordinates\":[[[{west},54],[{east},54],[{east},54.001],[{west},54.001],[{west},54]]]}}"
    )
}

fn job(folder: &Path, bounded: bool, log: &str) -> Job {
    let mut text = format!("[log]\n{log}\n");
    for (f, name) in ["West", "Middle", "East"].into_iter().enumerate() {
        write(
            folder,
            &format!("{name}.geojson"),
            square(10.0 + 0.003 * f as f64).as_bytes(),
        );
        text += &format!(
            "[[field]]\nclient = \"c\"\nfarm = \"Home\"\nname = \"{name}\"\nseason = 2025\ncrop = \"wheat\"\nlogs = [\"season.csv\"]\n"
        );
        if bounded {
            text += &format!("boundary = \"{name}.geojson\"\n");
        }
    }
    parse(&text, "job.toml", folder).expect("a sound job")
}

fn read(job: &Job) -> Vec<FieldInput> {
    job.fields
        .iter()
        .map(|f| read_field(job, f).expect("read"))
        .collect()
}

/// By hand: rows 1–5 lie before the first field and are its; then each field has its ten rows and the five behind them.
#[test]
fn every_row_is_one_fields() {
    for (named, bounded) in [(true, false), (true, true), (false, true)] {
        let folder = tempfile::tempdir().expect("a folder");
        write(folder.path(), "season.csv", season(named).as_bytes());
        let inputs = read(&job(folder.path(), bounded, ""));
        let rows: Vec<&[u32]> = inputs.iter().map(|i| i.log.row.as_slice()).collect();
        let expected: [Vec<u32>; 3] =
            [(1..=20).collect(), (21..=35).collect(), (36..=50).collect()];
        assert_eq!(rows, expected, "named {named}, bounded {bounded}");
        assert!(inputs.iter().all(|i| codes(i).contains(&"other-fields")));
    }
}

#[test]
fn positions_in_another_crs_are_dealt_out_as_well() {
    let folder = tempfile::tempdir().expect("a folder");
    let to = proj::Proj::new_known_crs("OGC:CRS84", "EPSG:25832", None).expect("known");
    let text: Vec<String> = season(false)
        .lines()
        .enumerate()
        .map(|(k, line)| {
            if k == 0 {
                return line.replace("lon_deg,lat_deg", "x_m,y_m");
            }
            let cells: Vec<&str> = line.split(',').collect();
            let at = |k: usize| cells[k].parse::<f64>().expect("a number");
            let (x, y) = to.convert((at(1), at(2))).expect("there");
            format!("{},{x:.3},{y:.3},{},{}", cells[0], cells[3], cells[4])
        })
        .collect();
    write(folder.path(), "season.csv", text.join("\n").as_bytes());
    let inputs = read(&job(folder.path(), true, "crs = \"EPSG:25832\""));
    assert_eq!(
        inputs.iter().map(|i| i.log.len()).collect::<Vec<_>>(),
        [20, 15, 15]
    );
}

#[test]
fn rows_that_nothing_deals_out_are_told() {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "season.csv", season(false).as_bytes());
    let inputs = read(&job(folder.path(), false, ""));
    assert!(
        inputs
            .iter()
            .all(|i| i.log.len() == 50 && codes(i).contains(&"shared-log"))
    );
}

/// A log that lies in other fields alone is left out, and a field without a row says so.
#[test]
fn a_field_without_rows_says_why() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = season(false);
    let west: Vec<&str> = text.lines().take(16).collect();
    write(folder.path(), "season.csv", west.join("\n").as_bytes());
    let job = job(folder.path(), true, "");
    let error = said(&read_field(&job, &job.fields[1]).expect_err("nothing there"));
    assert!(
        error.contains("rows of field \"Middle\"") && error.contains("all 15 rows"),
        "{error}"
    );
}
