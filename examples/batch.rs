//! A batch of any size from the simulator, for `scripts/bench`: every field a folder with its log, boundary and tickets.
//!
//! `cargo run --release --example batch -- FOLDER FIELDS ROWS_A_FIELD`

use std::fmt::Write as _;
use std::path::PathBuf;

use fanmill::simulate::{FieldSpec, Shape, Weighed, simulate, write_seasons};

/// Fields that one machine cuts.
const FIELDS_A_MACHINE: u64 = 10;
/// Days from the start of one to the start of the next.
const DAYS_A_FIELD: f64 = 3.0;
/// Rows in a hectare, about: a 9 m header at 1.7 m a row.
const ROWS_A_HECTARE: f64 = 650.0;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, fields, rows] = arguments.as_slice() else {
        return Err("expected: FOLDER FIELDS ROWS_A_FIELD".into());
    };
    let (folder, fields): (PathBuf, u64) = (folder.into(), fields.parse()?);
    let rows: f64 = rows.parse()?;
    let width = (rows / ROWS_A_HECTARE * 10_000.0 / 1.5).sqrt();
    let mut job = String::from("[job]\nname = \"bench\"\n");
    for m in 1..=fields.div_ceil(FIELDS_A_MACHINE) {
        write!(
            job,
            "\n[[machine]]\nname = \"C{m}\"\nheader_width = \"9 m\"\n"
        )?;
    }
    let mut total = 0;
    for k in 1..=fields {
        let mut spec = FieldSpec {
            name: format!("Field {k}"),
            key: format!("f{k}"),
            shape: Shape::rectangle(width, 1.5 * width),
            ..FieldSpec::default()
        };
        spec.weighing.weighed = Weighed::All;
        // A machine cuts one field after the other.
        let machine = format!("C{}", (k - 1) / FIELDS_A_MACHINE + 1);
        spec.machines[0].name = machine.clone();
        spec.start += DAYS_A_FIELD * 86_400.0 * ((k - 1) % FIELDS_A_MACHINE) as f64;
        let season = simulate(&spec, k)?;
        total += season.rows.len();
        let home = format!("f{k}");
        write_seasons(&folder.join(&home), &[season])?;
        write!(
            job,
            "\n[[field]]\nclient = \"Bench\"\nfarm = \"Home\"\nname = \"Field {k}\"\nseason = 2025\ncrop = \"maize\"\n\
             logs = [\"{home}/logs/{home}/*.csv\"]\nboundary = \"{home}/boundaries/{home}.geojson\"\n\
             tickets = [\"{home}/tickets.csv\"]\nmachine = \"{machine}\"\n"
        )?;
    }
    std::fs::write(folder.join("job.toml"), job)?;
    println!("{total}");
    Ok(())
}
