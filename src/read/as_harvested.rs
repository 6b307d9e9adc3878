//! Grain that a log counts per area, or at another moisture, back to wet mass per row.

use super::error::{ReadError, ReadErrorKind};
use super::layout::NUMBERS;
use super::log_file::LogFile;
use super::position::Positions;
use crate::crop::Crop;
use crate::job::{GrainMoisture, LogColumn, LogSettings};
use crate::place::Place;
use crate::units::HECTARE_M2;

/// Mean radius of the Earth, m (IUGG).
const EARTH_M: f64 = 6_371_008.8;

/// A step this many times the usual one is a gap in the log: the row's ground is one usual step (our choice).
const GAP: f64 = 5.0;

/// Turns the grain of a file into wet flow or mass. `width`: the header's, where the rows do not say.
///
/// mass = yield × width × distance (what a display divided by to get the yield), and wet = dry · (100 − M_at)/(100 − M)
/// with the moisture M of each row: dry matter is the same before and after.
pub(super) fn restore(
    file: &mut LogFile,
    positions: &Positions,
    crop: &Crop,
    settings: &LogSettings,
    width: Option<f64>,
) -> Result<(), ReadError> {
    let at = match file.recognised.grain_moisture {
        GrainMoisture::Harvest => None,
        GrainMoisture::Reference => Some(crop.reference_moisture),
        GrainMoisture::At(pct) => Some(pct),
    };
    if let Some(at) = at {
        wet(file, at, settings)?;
    }
    let grain = |c| !file.numbers[slot(c)].is_empty();
    if grain(LogColumn::Yield) && !grain(LogColumn::Flow) && !grain(LogColumn::Mass) {
        per_row(file, positions, width)?;
    }
    Ok(())
}

fn slot(column: LogColumn) -> usize {
    NUMBERS
        .iter()
        .position(|c| *c == column)
        .unwrap_or_default()
}

/// Brings flow, mass and yield from a stated moisture to that of the rows.
fn wet(file: &mut LogFile, at: f64, settings: &LogSettings) -> Result<(), ReadError> {
    let logged = &file.numbers[slot(LogColumn::Moisture)];
    let believed = |m: &f64| *m > 0.0 && *m < 80.0;
    let mut sorted: Vec<f64> = logged.iter().copied().filter(|m| believed(m)).collect();
    sorted.sort_by(f64::total_cmp);
    let usual = sorted.get(sorted.len() / 2).copied().or(settings.moisture);
    let Some(usual) = usual else {
        let error = ReadError::new(
            ReadErrorKind::NoColumn,
            Place::file(&file.path),
            format!("the moisture of each row, as its grain is counted at {at} %"),
            "no moisture",
        );
        return Err(error.hinted(
            "write in the job file: [log] moisture = \"15 %\" (as harvested), or at_moisture = \"harvest\" if the grain is counted wet",
        ));
    };
    let moisture: Vec<f64> = (0..file.row.len())
        .map(|k| {
            logged
                .get(k)
                .copied()
                .filter(|m| believed(m))
                .unwrap_or(usual)
        })
        .collect();
    for column in [LogColumn::Flow, LogColumn::Mass, LogColumn::Yield] {
        for (value, m) in file.numbers[slot(column)].iter_mut().zip(&moisture) {
            *value *= (100.0 - at) / (100.0 - m);
        }
    }
    Ok(())
}

/// Mass per row from mass per area.
fn per_row(file: &mut LogFile, positions: &Positions, width: Option<f64>) -> Result<(), ReadError> {
    let distance = distances(file, positions);
    let widths = &file.numbers[slot(LogColumn::Width)];
    let yields = &file.numbers[slot(LogColumn::Yield)];
    let known = |w: &f64| *w > 0.0;
    if width.is_none() && !widths.iter().any(known) {
        let place = Place::file(&file.path).column(file.layout.header(LogColumn::Yield));
        let error = ReadError::new(
            ReadErrorKind::NoColumn,
            place,
            "the width of the header, as the log has yields per area and no flow",
            "none",
        );
        return Err(error.hinted(
            "give it in the job: header_width = \"9.1 m\" under [[machine]], or width = \"9.1 m\" in [log]",
        ));
    }
    let mass = (0..file.row.len())
        .map(|k| {
            let own = widths.get(k).copied().filter(known);
            let width = own.or(width).unwrap_or(f64::NAN);
            yields[k] * width * distance[k] / HECTARE_M2
        })
        .collect();
    file.numbers[slot(LogColumn::Mass)] = mass;
    file.numbers[slot(LogColumn::Yield)] = Vec::new();
    Ok(())
}

/// Distance of each row, m: as logged, else speed times the time of the row, else the step from the row before.
fn distances(file: &LogFile, positions: &Positions) -> Vec<f64> {
    let n = file.row.len();
    let of = |c, k: usize| file.numbers[slot(c)].get(k).copied().unwrap_or(f64::NAN);
    let mut elapsed: Vec<f64> = (0..n)
        .map(|k| {
            let interval = of(LogColumn::Interval, k);
            let before = k
                .checked_sub(1)
                .and_then(|j| file.time.get(j))
                .copied()
                .unwrap_or(f64::NAN);
            let since = file.time.get(k).copied().unwrap_or(f64::NAN) - before;
            if interval > 0.0 { interval } else { since }
        })
        .collect();
    limit(&mut elapsed);
    let mut steps: Vec<f64> = (0..n)
        .map(|k| k.checked_sub(1).map_or(f64::NAN, |j| step(positions, j, k)))
        .collect();
    limit(&mut steps);
    (0..n)
        .map(|k| {
            let logged = of(LogColumn::Distance, k);
            let driven = of(LogColumn::Speed, k) * elapsed[k];
            [logged, driven, steps[k]]
                .into_iter()
                .find(|d| d.is_finite())
                .unwrap_or(f64::NAN)
        })
        .collect()
}

/// Spans across gaps and before the first row become the usual one.
fn limit(spans: &mut [f64]) {
    let mut sorted: Vec<f64> = spans.iter().copied().filter(|s| *s > 0.0).collect();
    sorted.sort_by(f64::total_cmp);
    let Some(&usual) = sorted.get(sorted.len() / 2) else {
        return;
    };
    for s in spans {
        if !(*s <= GAP * usual && *s >= 0.0) {
            *s = usual;
        }
    }
}

/// Distance between two rows on the sphere, m (equirectangular: exact to a millimetre over a row's step).
fn step(positions: &Positions, a: usize, b: usize) -> f64 {
    let (lon, lat) = (&positions.lon, &positions.lat);
    let middle = (0.5 * (lat[a] + lat[b])).to_radians();
    let (dx, dy) = (
        (lon[b] - lon[a]).to_radians() * middle.cos(),
        (lat[b] - lat[a]).to_radians(),
    );
    dx.hypot(dy) * EARTH_M
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(columns: &[(LogColumn, Vec<f64>)], rows: usize) -> LogFile {
        let mut file = LogFile {
            row: (1..=rows as u32).collect(),
            ..LogFile::default()
        };
        for (column, values) in columns {
            file.numbers[slot(*column)].clone_from(values);
        }
        file
    }

    fn wheat() -> Crop {
        Crop::built_in("wheat").expect("in the table")
    }

    /// By hand: 8 t/ha on 9 m × 2 m = 14.4 kg.
    #[test]
    fn a_yield_is_mass_on_the_ground_of_its_row() {
        let mut f = file(
            &[
                (LogColumn::Yield, vec![8000.0; 2]),
                (LogColumn::Distance, vec![2.0; 2]),
            ],
            2,
        );
        let positions = Positions {
            lon: vec![10.0; 2],
            lat: vec![54.0; 2],
            ..Positions::default()
        };
        restore(
            &mut f,
            &positions,
            &wheat(),
            &LogSettings::default(),
            Some(9.0),
        )
        .expect("a width is known");
        assert!((f.numbers[slot(LogColumn::Mass)][0] - 14.4).abs() < 1e-12);
        let mut f = file(&[(LogColumn::Yield, vec![8000.0])], 1);
        let positions = Positions {
            lon: vec![10.0],
            lat: vec![54.0],
            ..Positions::default()
        };
        let refused = restore(&mut f, &positions, &wheat(), &LogSettings::default(), None)
            .expect_err("no width");
        assert!(refused.to_string().contains("width of the header"));
    }

    /// By hand: 100 kg at 13.5 % are 86.5 kg of dry matter, which at 20 % weigh 108.125 kg.
    #[test]
    fn dry_grain_gets_its_water_back() {
        let mut f = file(
            &[
                (LogColumn::Mass, vec![100.0; 2]),
                (LogColumn::Moisture, vec![20.0, f64::NAN]),
            ],
            2,
        );
        f.recognised.grain_moisture = GrainMoisture::Reference;
        let positions = Positions {
            lon: vec![10.0; 2],
            lat: vec![54.0; 2],
            ..Positions::default()
        };
        restore(&mut f, &positions, &wheat(), &LogSettings::default(), None)
            .expect("moisture is known");
        for mass in &f.numbers[slot(LogColumn::Mass)] {
            assert!((mass - 108.125).abs() < 1e-9, "{mass}");
        }
        let mut dry = file(&[(LogColumn::Flow, vec![1.0])], 1);
        dry.recognised.grain_moisture = GrainMoisture::At(0.0);
        let positions = Positions {
            lon: vec![10.0],
            lat: vec![54.0],
            ..Positions::default()
        };
        assert!(
            restore(
                &mut dry,
                &positions,
                &wheat(),
                &LogSettings::default(),
                None
            )
            .is_err()
        );
    }
}
