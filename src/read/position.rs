//! Whether positions can be: on the globe, not at 0/0, not with longitude and latitude swapped.

use proj::Proj;

use super::error::{ReadError, ReadErrorKind};
use super::log_file::LogFile;
use crate::job::LogColumn;
use crate::place::Place;

/// The positions of one file, and what is wrong with them.
#[derive(Debug, Default)]
pub(super) struct Positions {
    /// Degrees east; NaN where unusable.
    pub lon: Vec<f64>,
    /// Degrees north; NaN where unusable.
    pub lat: Vec<f64>,
    /// Rows without a usable position.
    pub bad: u64,
    /// The first of them: where, and what was expected and found there.
    pub first_bad: Option<(Place, String)>,
}

/// The positions of a file in longitude and latitude. `crs`: that of x and y, where it has those.
pub(super) fn positions(file: &mut LogFile, crs: Option<&str>) -> Result<Positions, ReadError> {
    let layout = &file.layout;
    let headers = file.position_headers();
    let degrees = layout.in_degrees();
    let names = if degrees {
        (LogColumn::Lon, LogColumn::Lat)
    } else {
        (LogColumn::X, LogColumn::Y)
    };
    let factor = |c| layout.number(c).map_or(f64::NAN, |n| n.factor);
    let factors = (factor(names.0), factor(names.1));
    let mut take = |column: LogColumn| {
        layout
            .number(column)
            .map(|n| std::mem::take(&mut file.numbers[n.slot]))
            .unwrap_or_default()
    };
    let (mut lon, mut lat) = (take(names.0), take(names.1));
    if degrees {
        refuse_swapped(&lon, &lat, &file.path, &headers)?;
    } else {
        geographic(
            &mut lon,
            &mut lat,
            crs.unwrap_or_default(),
            factors,
            &file.path,
        )?;
    }
    let mut positions = Positions::default();
    for (k, (lon, lat)) in lon.iter_mut().zip(lat.iter_mut()).enumerate() {
        if let Some((which, what)) = fault(*lon, *lat, degrees) {
            let column = if which == Axis::Lon {
                &headers.0
            } else {
                &headers.1
            };
            positions.bad += 1;
            positions.first_bad.get_or_insert_with(|| {
                (
                    Place::file(&file.path)
                        .row(file.row[k])
                        .column(column.clone()),
                    what,
                )
            });
            (*lon, *lat) = (f64::NAN, f64::NAN);
        }
    }
    (positions.lon, positions.lat) = (lon, lat);
    Ok(positions)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Axis {
    Lon,
    Lat,
}

/// What is wrong with a position, if anything.
fn fault(lon: f64, lat: f64, degrees: bool) -> Option<(Axis, String)> {
    let range = |axis: Axis, value: f64, bound: f64| {
        let what = if value.is_nan() && degrees {
            format!(
                "expected {} from -{bound} to {bound} degrees, found none",
                axis.word()
            )
        } else if value.is_nan() {
            "expected a coordinate that the crs can place, found none".to_owned()
        } else {
            format!(
                "expected {} from -{bound} to {bound} degrees, found {value}",
                axis.word()
            )
        };
        (axis, what)
    };
    if !(-180.0..=180.0).contains(&lon) {
        Some(range(Axis::Lon, lon, 180.0))
    } else if !(-90.0..=90.0).contains(&lat) {
        Some(range(Axis::Lat, lat, 90.0))
    } else if lon == 0.0 && lat == 0.0 {
        // Receivers without a fix write noughts (common practice to discard; ISO 11783-10 readers do too).
        Some((Axis::Lon, "expected a position, found 0/0".to_owned()))
    } else {
        None
    }
}

impl Axis {
    fn word(self) -> &'static str {
        match self {
            Axis::Lon => "a longitude",
            Axis::Lat => "a latitude",
        }
    }
}

/// Refuses a file most of whose positions are impossible as they stand and possible swapped.
fn refuse_swapped(
    lon: &[f64],
    lat: &[f64],
    file: &str,
    headers: &(String, String),
) -> Result<(), ReadError> {
    let positions = || {
        lon.iter()
            .zip(lat)
            .filter(|(lon, lat)| lon.is_finite() && lat.is_finite() && (**lon, **lat) != (0.0, 0.0))
    };
    let swapped = |lon: f64, lat: f64| lat.abs() > 90.0 && lat.abs() <= 180.0 && lon.abs() <= 90.0;
    let count = positions()
        .filter(|(lon, lat)| swapped(**lon, **lat))
        .count();
    if count * 2 <= positions().count() || count == 0 {
        return Ok(());
    }
    let Some((lon, lat)) = positions().find(|(lon, lat)| swapped(**lon, **lat)) else {
        return Ok(());
    };
    Err(swapped_error(
        file,
        headers,
        &format!("longitude {lon} and latitude {lat}"),
    ))
}

/// The error that says longitude and latitude change places, and how to put them right.
pub(super) fn swapped_error(file: &str, headers: &(String, String), found: &str) -> ReadError {
    ReadError::new(
        ReadErrorKind::Swapped,
        Place::file(file),
        "longitude and latitude in their own columns",
        format!("{found}: they look swapped"),
    )
    .hinted(format!(
        "write in the job file: [log] columns = {{ lon = \"{}\", lat = \"{}\" }}",
        headers.1, headers.0
    ))
}

/// x and y into longitude and latitude, in place; NaN where PROJ has no answer.
fn geographic(
    x: &mut [f64],
    y: &mut [f64],
    crs: &str,
    factors: (f64, f64),
    file: &str,
) -> Result<(), ReadError> {
    let refuse = |found: String| {
        ReadError::new(
            ReadErrorKind::Crs,
            Place::file(file),
            "a projected CRS that PROJ knows for x and y",
            found,
        )
        .hinted("look the number up at epsg.org: [log] crs = \"EPSG:NUMBER\"")
    };
    let metre = axis_metres(crs).ok_or_else(|| refuse(format!("\"{crs}\"")))?;
    let proj = Proj::new_known_crs(crs, "OGC:CRS84", None)
        .map_err(|e| refuse(format!("\"{crs}\"")).because(e))?;
    // A header's foot and the CRS's may differ by two parts in a million (international and survey foot): the CRS's
    // own is meant where they are that near.
    let scale = |factor: f64| {
        let ratio = factor / metre;
        if ratio.is_nan() || (ratio - 1.0).abs() < 1e-5 {
            1.0
        } else {
            ratio
        }
    };
    let (sx, sy) = (scale(factors.0), scale(factors.1));
    for (x, y) in x.iter_mut().zip(y.iter_mut()) {
        let (lon, lat) = match x.is_finite() && y.is_finite() {
            true => proj
                .convert((*x * sx, *y * sy))
                .unwrap_or((f64::NAN, f64::NAN)),
            false => (f64::NAN, f64::NAN),
        };
        (*x, *y) = (lon, lat);
    }
    Ok(())
}

/// Metres in a unit of a projected CRS's axes; `None` where it is unknown, or counts degrees.
fn axis_metres(crs: &str) -> Option<f64> {
    let definition = Proj::new(crs).ok()?;
    let json: serde_json::Value =
        serde_json::from_str(&definition.to_projjson(None, None, None).ok()?).ok()?;
    let unit = json
        .get("coordinate_system")?
        .get("axis")?
        .get(0)?
        .get("unit")?;
    match unit.as_str() {
        Some("metre") => Some(1.0),
        Some(_) => None,
        None => unit.get("conversion_factor")?.as_f64(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EPSG Guidance Note 7-2, worked example of Transverse Mercator: British National Grid, 577,274.99 E 69,740.50 N
    /// is 50°30′ N 0°30′ E on OSGB36; WGS 84 lies within 0.002° of that.
    #[test]
    fn x_and_y_go_through_their_crs() {
        let (mut x, mut y) = ([577_274.99, f64::NAN], [69_740.50, 1.0]);
        geographic(&mut x, &mut y, "EPSG:27700", (1.0, 1.0), "a.csv").expect("known");
        assert!(
            (x[0] - 0.5).abs() < 0.002 && (y[0] - 50.5).abs() < 0.002,
            "{x:?} {y:?}"
        );
        assert!(x[1].is_nan() && y[1].is_nan());
    }

    #[test]
    fn feet_mean_the_feet_of_the_crs() {
        // EPSG:2263 counts US survey feet: the same place by feet and by metres.
        let survey_foot = 1200.0 / 3937.0;
        assert!(axis_metres("EPSG:2263").is_some_and(|m| (m / survey_foot - 1.0).abs() < 1e-12));
        let (mut x, mut y) = ([980_000.0], [200_000.0]);
        geographic(&mut x, &mut y, "EPSG:2263", (0.3048, 0.3048), "a.csv").expect("known");
        let (mut xm, mut ym) = ([980_000.0 * survey_foot], [200_000.0 * survey_foot]);
        geographic(&mut xm, &mut ym, "EPSG:2263", (1.0, 1.0), "a.csv").expect("known");
        assert!((x[0] - xm[0]).abs() < 1e-9 && (y[0] - ym[0]).abs() < 1e-9);
    }

    #[test]
    fn an_unknown_crs_is_refused() {
        for crs in ["EPSG:999999", "EPSG:4326"] {
            let e = geographic(&mut [], &mut [], crs, (1.0, 1.0), "a.csv").unwrap_err();
            assert_eq!(
                e.to_string(),
                format!(
                    "a.csv: expected a projected CRS that PROJ knows for x and y, found \"{crs}\""
                )
            );
        }
    }
}
