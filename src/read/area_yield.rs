//! A yield per area turned back into the mass of a row.

use geo::{Distance, Geodesic, Point};

use super::error::{ReadError, ReadErrorKind};
use super::layout::slot;
use super::log_file::LogFile;
use super::position::Positions;
use crate::crop::Crop;
use crate::job::LogColumn;
use crate::place::Place;
use crate::summary::Remark;

/// The longest believable way from one row to the next, m (our choice: 30 s at 3 m/s; beyond it the log was off).
const LONGEST_STEP_M: f64 = 90.0;

/// What the job gives for rows that do not say.
pub(super) struct Given<'a> {
    /// Header width of a machine by its name, `None` for rows that name none, m.
    pub width: &'a dyn Fn(Option<&str>) -> Option<f64>,
    /// Moisture, %.
    pub moisture: Option<f64>,
    /// Interval, s.
    pub interval: Option<f64>,
    /// The crop, for its reference moisture.
    pub crop: &'a Crop,
}

/// Fills the masses of a log that has a yield and neither flow nor mass:
///
///   mass = yield · distance · width,   wet = dry · (100 − M_ref) / (100 − M)
///
/// Width is the row's own, else the given one. Distance is the row's own, else speed × interval, else the way from the
/// row before: the display that made the yield divided by what stands in its row. Rows that lack one of them have no
/// mass. Refused where no row has one.
pub(super) fn to_mass(
    file: &mut LogFile,
    positions: &Positions,
    given: &Given<'_>,
) -> Result<(), ReadError> {
    let (column, dry) = match [LogColumn::Yield, LogColumn::DryYield]
        .into_iter()
        .find(|c| file.layout.number(*c).is_some())
    {
        Some(LogColumn::DryYield) => (LogColumn::DryYield, true),
        Some(column) => (column, false),
        None => return Ok(()),
    };
    let rows = file.row.len();
    let yields = take(file, column);
    let value = |numbers: &[Vec<f64>], column: LogColumn, k: usize| {
        numbers[slot(column)].get(k).copied().unwrap_or(f64::NAN)
    };
    let steps = steps(file, positions, given.interval);
    let widths: Vec<Option<f64>> = file
        .machine
        .distinct
        .iter()
        .map(|name| (given.width)(Some(name)))
        .collect();
    let unnamed = (given.width)(None);
    let mut mass = Vec::with_capacity(rows);
    let mut lacks = [0u64; 3]; // width, distance, moisture
    for (k, &logged) in yields.iter().enumerate() {
        let own = value(&file.numbers, LogColumn::Width, k);
        let machine = match file.machine.index.get(k).copied().flatten() {
            Some(m) => widths[m as usize],
            None => unnamed,
        };
        let width = if own > 0.0 {
            own
        } else {
            machine.unwrap_or(f64::NAN)
        };
        let moisture = value(&file.numbers, LogColumn::Moisture, k);
        let moisture = match (moisture.is_nan(), given.moisture) {
            (true, Some(given)) => given,
            _ => moisture,
        };
        let wet = match dry {
            true => logged * (100.0 - given.crop.reference_moisture) / (100.0 - moisture),
            false => logged,
        };
        let of = wet * 1e-4 * steps[k] * width;
        mass.push(if of.is_finite() { of } else { f64::NAN });
        if !logged.is_nan() {
            lacks[0] += u64::from(width.is_nan());
            lacks[1] += u64::from(steps[k].is_nan());
            lacks[2] += u64::from(dry && !moisture.is_finite());
        }
    }
    let logged = yields.iter().filter(|y| !y.is_nan()).count() as u64;
    for (what, count) in [Lack::Width, Lack::Distance, Lack::Moisture]
        .into_iter()
        .zip(lacks)
    {
        if count > 0 && count == logged {
            return Err(what.refuse(file, column));
        }
        // The first row of a log has no row before it.
        if count > 1 {
            file.warnings.push(what.warn(file, count, logged));
        }
    }
    file.numbers[slot(LogColumn::Mass)] = mass;
    Ok(())
}

fn take(file: &mut LogFile, column: LogColumn) -> Vec<f64> {
    std::mem::take(&mut file.numbers[slot(column)])
}

/// The way of each row, m.
fn steps(file: &LogFile, positions: &Positions, interval: Option<f64>) -> Vec<f64> {
    let number = |column: LogColumn, k: usize| {
        file.numbers[slot(column)]
            .get(k)
            .copied()
            .unwrap_or(f64::NAN)
    };
    let place = |k: usize| Point::new(positions.lon[k], positions.lat[k]);
    (0..file.row.len())
        .map(|k| {
            let own = number(LogColumn::Distance, k);
            if !own.is_nan() {
                return own;
            }
            let logged = number(LogColumn::Interval, k);
            let seconds = match (logged.is_nan(), interval) {
                (true, Some(given)) if file.time.is_empty() => given,
                _ => logged,
            };
            let driven = number(LogColumn::Speed, k) * seconds;
            if !driven.is_nan() || k == 0 {
                return driven;
            }
            let same =
                file.machine.index.is_empty() || file.machine.index[k] == file.machine.index[k - 1];
            let step =
                match same && positions.lon[k - 1].is_finite() && positions.lon[k].is_finite() {
                    true => Geodesic.distance(place(k - 1), place(k)),
                    false => f64::NAN,
                };
            if step <= LONGEST_STEP_M {
                step
            } else {
                f64::NAN
            }
        })
        .collect()
}

/// What a yield needs beside itself to be a mass.
#[derive(Debug, Clone, Copy)]
enum Lack {
    Width,
    Distance,
    Moisture,
}

impl Lack {
    fn words(self) -> (&'static str, &'static str) {
        match self {
            Lack::Width => (
                "a header width, to turn a yield back into mass",
                "give it: [[machine]] header_width = \"9 m\", or [log] width = \"9 m\"",
            ),
            Lack::Distance => (
                "a distance, a speed and an interval, or positions in their order, to turn a yield back into mass",
                "export the distance travelled along with the yield",
            ),
            Lack::Moisture => (
                "a moisture, to turn a yield at reference moisture back into wet mass",
                "give it: [log] moisture = \"15 %\"",
            ),
        }
    }

    fn refuse(self, file: &LogFile, column: LogColumn) -> ReadError {
        let (expected, hint) = self.words();
        let place = Place::file(&file.path).column(file.layout.header(column));
        ReadError::new(ReadErrorKind::NoColumn, place, expected, "none").hinted(hint)
    }

    fn warn(self, file: &LogFile, count: u64, logged: u64) -> Remark {
        let (expected, hint) = self.words();
        let text = format!(
            "{}: {count} of {logged} rows lack {expected}; they carry no grain: {hint}",
            file.path
        );
        Remark::new("yield-without-ground", text)
    }
}
