//! A yield per area turned back into the mass of a row.

use geo::{Distance, Geodesic, Point};

use super::error::{ReadError, ReadErrorKind};
use super::layout::slot;
use super::log_file::LogFile;
use super::position::Positions;
use crate::crop::Crop;
use crate::job::LogColumn;
use crate::place::Place;
use crate::stats::median_in_place;
use crate::summary::Remark;

/// The longest believable way from one row to the next, m (our choice: 30 s at 3 m/s; beyond it the log was off).
const LONGEST_STEP_M: f64 = 90.0;
/// How much less grain must leap with the way by positions for it to be believed before speed × time (our choice: a receiver's
/// steps err more than its speed, and noise of the flow hides the difference).
const MUCH_SMOOTHER: f64 = 0.9;
/// How far a step of the clock may be from the usual one to be it, share (our choice: a clock of whole seconds beside rows of one
/// and a bit is half a step off).
const NEAR_USUAL: f64 = 0.55;

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
/// Width is the row's own, else the given one. Distance is the row's own, else speed × time, or the way from the row before if
/// grain leaps less from row to row with that: the display that made the yield divided by one of them, and with the other the
/// mass has its noise. (Masses by noisy steps over ground by the same steps agree best where nothing is moved.) Rows that lack
/// one of them have no mass. Refused where no row has one.
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
    let steps = steps(file, positions, given.interval, &yields);
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

/// The way of each row, m: its own, else the one of two that the yields were made with.
fn steps(file: &LogFile, positions: &Positions, given: Option<f64>, yields: &[f64]) -> Vec<f64> {
    let own = &file.numbers[slot(LogColumn::Distance)];
    let (driven, gone) = (driven(file, given), gone(file, positions));
    let by_positions =
        roughness(yields, &gone, &driven) < MUCH_SMOOTHER * roughness(yields, &driven, &gone);
    let (first, second) = if by_positions {
        (&gone, &driven)
    } else {
        (&driven, &gone)
    };
    (0..file.row.len())
        .map(|k| match own.get(k) {
            Some(own) if !own.is_nan() => *own,
            _ if first[k].is_nan() => second[k],
            _ => first[k],
        })
        .collect()
}

/// How far grain leaps from row to row: the median of |ln| of its ratio, over rows of which both ways are known. Grain is mixed
/// in the machine, so the way that the display divided by is the one with which it leaps least. NaN where nothing can be
/// compared.
fn roughness(yields: &[f64], way: &[f64], other: &[f64]) -> f64 {
    let grain = |k: usize| {
        let known = yields[k] > 0.0 && way[k] > 0.0 && other[k] > 0.0;
        known.then(|| (yields[k] * way[k]).ln())
    };
    let mut leaps: Vec<f64> = (1..yields.len())
        .filter_map(|k| Some((grain(k)? - grain(k - 1)?).abs()))
        .collect();
    median_in_place(&mut leaps).unwrap_or(f64::NAN)
}

/// Speed times the time that a row stands for, m. Where nothing but a clock tells that, it is the usual step of the clock, for
/// rows that follow each other about so.
fn driven(file: &LogFile, given: Option<f64>) -> Vec<f64> {
    let cell = |column: LogColumn, k: usize| {
        file.numbers[slot(column)]
            .get(k)
            .copied()
            .unwrap_or(f64::NAN)
    };
    let since = |k: usize| {
        let known = k > 0 && k < file.time.len() && is_same_machine(file, k);
        if known {
            file.time[k] - file.time[k - 1]
        } else {
            f64::NAN
        }
    };
    let mut ticks: Vec<f64> = (0..file.row.len())
        .map(since)
        .filter(|s| *s > 0.0)
        .collect();
    let usual = median_in_place(&mut ticks).unwrap_or(f64::NAN);
    (0..file.row.len())
        .map(|k| {
            let logged = cell(LogColumn::Interval, k);
            let seconds = match given {
                _ if !logged.is_nan() => logged,
                Some(given) if file.time.is_empty() => given,
                _ if (since(k) / usual - 1.0).abs() <= NEAR_USUAL => usual,
                _ => f64::NAN,
            };
            cell(LogColumn::Speed, k) * seconds
        })
        .collect()
}

/// The way from the row before by the positions, m.
fn gone(file: &LogFile, positions: &Positions) -> Vec<f64> {
    let place = |k: usize| Point::new(positions.lon[k], positions.lat[k]);
    let is_known = |k: usize| positions.lon[k].is_finite();
    (0..file.row.len())
        .map(|k| {
            let known = k > 0 && is_same_machine(file, k) && is_known(k) && is_known(k - 1);
            let step = if known {
                Geodesic.distance(place(k - 1), place(k))
            } else {
                f64::NAN
            };
            if step <= LONGEST_STEP_M {
                step
            } else {
                f64::NAN
            }
        })
        .collect()
}

fn is_same_machine(file: &LogFile, k: usize) -> bool {
    file.machine.index.is_empty() || file.machine.index[k] == file.machine.index[k - 1]
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

#[cfg(test)]
mod tests {
    use super::super::layout::NumberColumn;
    use super::*;
    use crate::log::WorkState;

    /// Rows every 2 s northward at about 1.5 m/s, with steps of the receiver that err by decimetres. Degrees of latitude are
    /// 110,574 m at the equator (WGS 84, from memory).
    fn driven_rows(n: u32) -> (LogFile, Positions, Vec<f64>) {
        let mut log = LogFile::of_rows("a.csv", n);
        let speed: Vec<f64> = (0..n)
            .map(|k| 1.5 + 0.2 * (f64::from(k) * 0.05).sin())
            .collect();
        let noise = |k: u32| f64::from(k.wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5;
        let mut north = 0.0;
        let lat = (0..n).zip(&speed).map(|(k, v)| {
            north += 2.0 * v;
            (north + 0.8 * noise(k)) / 110_574.0
        });
        let positions = Positions {
            lon: vec![10.0; n as usize],
            lat: lat.collect(),
            ..Positions::default()
        };
        log.time = (0..n).map(|k| 1.7e9 + 2.0 * f64::from(k)).collect();
        log.work = vec![WorkState::Working; n as usize];
        log.numbers[slot(LogColumn::Speed)] = speed.clone();
        log.numbers[slot(LogColumn::Width)] = vec![6.0; n as usize];
        log.layout.numbers.push(NumberColumn {
            slot: slot(LogColumn::Yield),
            field: 0,
            factor: 1.0,
        });
        (log, positions, speed)
    }

    fn masses(log: &mut LogFile, positions: &Positions) -> Vec<f64> {
        let crop = Crop::built_in("wheat").expect("wheat is known");
        let given = Given {
            width: &|_| None,
            moisture: None,
            interval: None,
            crop: &crop,
        };
        to_mass(log, positions, &given).expect("everything is there");
        log.numbers[slot(LogColumn::Mass)].clone()
    }

    #[test]
    fn the_display_divided_by_the_way_with_which_grain_leaps_least() {
        let flow = |k: usize| 8.0 + (k as f64 * 0.02).sin();
        // By speed × time: the receiver's steps are left alone, but where the log had a gap.
        let (mut log, positions, speed) = driven_rows(400);
        log.numbers[slot(LogColumn::Yield)] =
            (0..400).map(|k| 1e4 * flow(k) / (speed[k] * 6.0)).collect();
        log.time[200..].iter_mut().for_each(|t| *t += 6.0);
        let mass = masses(&mut log, &positions);
        for k in (1..400).filter(|k| *k != 200) {
            assert!(
                (mass[k] / (2.0 * flow(k)) - 1.0).abs() < 1e-9,
                "{k}: {}",
                mass[k]
            );
        }
        assert!(mass[200] > 0.0 && (mass[200] / (2.0 * flow(200)) - 1.0).abs() > 1e-6);
        // By positions, and the speed is something else.
        let (mut log, positions, _) = driven_rows(400);
        let way = gone(&log, &positions);
        log.numbers[slot(LogColumn::Yield)] = (0..400)
            .map(|k| 1e4 * 2.0 * flow(k) / (way[k] * 6.0))
            .collect();
        let mass = masses(&mut log, &positions);
        for (k, mass) in mass.iter().enumerate().skip(1) {
            assert!((mass / (2.0 * flow(k)) - 1.0).abs() < 1e-9, "{k}: {mass}");
        }
    }
}
