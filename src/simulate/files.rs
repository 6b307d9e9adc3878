//! Simulated seasons as the files that a user would have, and the truth beside them.

use std::fs;
use std::io;
use std::path::Path;

use geo::MapCoords;
use geojson::{Feature, FeatureCollection, GeoJson, Geometry, GeometryValue, JsonObject};
use serde_json::json;

use super::check::SimulateError;
use super::machine_spec::{Column, WorkStateLog};
use super::rows::Row;
use super::season::Simulated;
use super::truth::load_name;

/// Writes into an existing folder: a CSV log per machine and day, one ticket file for all seasons, a boundary per
/// field, and the truth: `truth/truth.json` and a table of points per field, whose `log` and `row` name the log's row.
///
/// Returns the paths written, relative to the folder.
///
/// # Errors
/// A file that cannot be written.
pub fn write_seasons(folder: &Path, seasons: &[Simulated]) -> Result<Vec<String>, SimulateError> {
    let mut written = Vec::new();
    for season in seasons {
        for (f, file) in season.files.iter().enumerate() {
            let rows: Vec<&Row> = season
                .rows
                .iter()
                .filter(|r| r.file as usize == f)
                .collect();
            write(folder, &file.path, log_table(season, &rows), &mut written)?;
        }
        write(
            folder,
            &boundary_path(season),
            Ok(boundary(season)),
            &mut written,
        )?;
        write(
            folder,
            &truth_path(season),
            truth_table(season),
            &mut written,
        )?;
    }
    write(folder, "tickets.csv", ticket_table(seasons), &mut written)?;
    write(folder, "truth/truth.json", Ok(truth(seasons)), &mut written)?;
    Ok(written)
}

/// Where a season's boundary stands.
pub(super) fn boundary_path(season: &Simulated) -> String {
    format!("boundaries/{}.geojson", season.spec.key)
}

fn truth_path(season: &Simulated) -> String {
    format!("truth/{}.csv", season.spec.key)
}

/// Writes a text below the folder and notes its path.
pub(super) fn write(
    folder: &Path,
    path: &str,
    text: io::Result<String>,
    written: &mut Vec<String>,
) -> Result<(), SimulateError> {
    let to = folder.join(path);
    text.and_then(|text| {
        if let Some(parent) = to.parent() {
            fs::create_dir_all(parent)?;
        }
        fs::write(&to, text)
    })
    .map_err(|source| SimulateError::Write {
        path: to.display().to_string(),
        source,
    })?;
    written.push(path.to_owned());
    Ok(())
}

/// A table as text; cells are already text.
fn table(header: &[&str], rows: impl Iterator<Item = Vec<String>>) -> io::Result<String> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record(header)?;
    for row in rows {
        out.write_record(row)?;
    }
    let bytes = out.into_inner().map_err(csv::IntoInnerError::into_error)?;
    String::from_utf8(bytes).map_err(io::Error::other)
}

/// A number with so many decimals; empty where it is missing.
fn number(x: f64, decimals: usize) -> String {
    if x.is_finite() {
        format!("{x:.decimals$}")
    } else {
        String::new()
    }
}

/// ISO 8601 in UTC, with tenths where there are any.
fn iso(time: f64) -> String {
    jiff::Timestamp::from_millisecond((time * 1000.0).round() as i64)
        .map_or_else(|_| String::new(), |t| t.to_string())
}

fn log_table(season: &Simulated, rows: &[&Row]) -> io::Result<String> {
    let Some(first) = rows.first() else {
        return Ok(String::new());
    };
    let spec = &season.spec.machines[first.machine as usize];
    let degrees = spec.gnss.decimals as usize;
    let has = |c: Column| spec.log.columns.contains(&c);
    let with_state = spec.log.work_state != WorkStateLog::Absent;
    let flow_decimals = if spec.sensor.step < 0.01 { 4 } else { 2 };

    type Cell<'a> = Box<dyn Fn(&Row) -> String + 'a>;
    let mut columns: Vec<(bool, &str, Cell)> = vec![
        (has(Column::Time), "time", Box::new(|r| iso(r.time))),
        (
            has(Column::Interval),
            "interval_s",
            Box::new(|r| number(r.interval_s, 1)),
        ),
        (
            true,
            "lon_deg",
            Box::new(move |r| number(r.lon_deg, degrees)),
        ),
        (
            true,
            "lat_deg",
            Box::new(move |r| number(r.lat_deg, degrees)),
        ),
        (
            has(Column::Heading),
            "heading_deg",
            Box::new(|r| number(r.heading_deg, 1)),
        ),
        (
            has(Column::Speed),
            "speed_m_s",
            Box::new(|r| number(r.speed_m_s, 2)),
        ),
        (
            has(Column::Distance),
            "distance_m",
            Box::new(|r| number(r.distance_m, 2)),
        ),
        (
            has(Column::Width),
            "width_m",
            Box::new(|r| number(r.width_m, 2)),
        ),
        (
            with_state,
            "work_state",
            Box::new(|r| {
                r.work_state
                    .map_or("", |w| if w { "1" } else { "0" })
                    .to_owned()
            }),
        ),
        (
            has(Column::Pass),
            "pass",
            Box::new(|r| r.pass.map_or_else(String::new, |p| p.to_string())),
        ),
        (
            true,
            "machine",
            Box::new(|r| season.machines[r.machine as usize].clone()),
        ),
        (
            has(Column::Load),
            "load",
            Box::new(|r| {
                load_name(
                    &season.spec.key,
                    &season.machines[r.machine as usize],
                    r.load,
                )
            }),
        ),
        (
            true,
            "flow_kg_s",
            Box::new(move |r| number(r.flow_kg_s, flow_decimals)),
        ),
        (
            has(Column::Moisture),
            "moisture_pct",
            Box::new(|r| number(r.moisture_pct, 1)),
        ),
    ];
    columns.retain(|(is_written, ..)| *is_written);

    let header: Vec<&str> = columns.iter().map(|(_, name, _)| *name).collect();
    table(
        &header,
        rows.iter()
            .map(|r| columns.iter().map(|(_, _, cell)| cell(r)).collect()),
    )
}

fn ticket_table(seasons: &[Simulated]) -> io::Result<String> {
    let rows = seasons.iter().flat_map(|s| &s.tickets).map(|t| {
        vec![
            t.id.clone(),
            t.loads.join(";"),
            t.field.clone().unwrap_or_default(),
            number(t.net_kg, 0),
            number(t.moisture_pct.unwrap_or(f64::NAN), 1),
            t.scale.clone().unwrap_or_default(),
        ]
    });
    table(
        &["ticket", "load", "field", "net_kg", "moisture_pct", "scale"],
        rows,
    )
}

fn boundary(season: &Simulated) -> String {
    // Seven decimals are enough (RFC 7946, section 11.2 has six as about 10 cm).
    let rounded = |x: f64| (x * 1e7).round() / 1e7;
    let outline = season.boundary.map_coords(|c| geo::Coord {
        x: rounded(c.x),
        y: rounded(c.y),
    });
    let mut properties = JsonObject::new();
    properties.insert("name".into(), json!(season.spec.name));
    let geometry = outline
        .0
        .first()
        .map(|polygon| Geometry::new(GeometryValue::from(polygon)));
    let feature = Feature {
        bbox: None,
        geometry,
        id: None,
        properties: Some(properties),
        foreign_members: None,
    };
    GeoJson::from(FeatureCollection {
        bbox: None,
        features: vec![feature],
        foreign_members: None,
    })
    .to_string()
}

fn truth_table(season: &Simulated) -> io::Result<String> {
    let header = [
        "log",
        "row",
        "lon_deg",
        "lat_deg",
        "area_m2",
        "cut_share",
        "wet_kg_ha",
        "moisture_pct",
        "reference_kg_ha",
        "sensor_kg",
        "fault",
        "sound",
    ];
    let rows = season.rows.iter().map(|r| {
        let t = &r.truth;
        vec![
            season.files[r.file as usize].path.clone(),
            r.row.to_string(),
            number(t.lon_deg, 8),
            number(t.lat_deg, 8),
            number(t.area_m2, 3),
            number(t.cut_share, 4),
            number(t.wet_kg_ha, 1),
            number(t.moisture_pct, 3),
            number(t.reference_kg_ha, 1),
            number(t.sensor_kg, 4),
            t.fault.map_or("", super::Fault::name).to_owned(),
            u8::from(t.sound).to_string(),
        ]
    });
    table(&header, rows)
}

fn truth(seasons: &[Simulated]) -> String {
    let fields: Vec<serde_json::Value> = seasons
        .iter()
        .map(|s| {
            json!({
                "client": s.spec.client,
                "farm": s.spec.farm,
                "field": s.spec.name,
                "season": s.spec.season,
                "crop": s.spec.crop,
                "reference_moisture_pct": s.spec.reference_moisture,
                "points": truth_path(s),
                "totals": s.truth.field,
                "machines": s.truth.machines,
                "loads": s.truth.loads,
                "wrong_tickets": s.truth.wrong_tickets,
            })
        })
        .collect();
    let text = json!({
        "about": "What is true of the invented fields. Masses are wet unless they say reference. delay_s is the mean of the machine's response from header to sensor; log_delay_s is what of it is still in the log. entry_ramp_s runs from the delay until the response to crop appearing stays within 2 % of its end, exit_ramp_s from where the response to crop ending first leaves 2 % of its start until the delay.",
        "fields": fields,
    });
    format!("{text:#}\n")
}
