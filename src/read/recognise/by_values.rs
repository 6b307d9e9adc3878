//! Columns whose headers no word explains, known by their values: a clock by its cells, longitude and latitude by the
//! speed or the distance that they make, a width by the distance between passes.

use super::assign::how_by_values;
use super::motion::median;
use super::sample::Sample;
use super::{FoundColumn, Known, Recognised, places, timing};
use crate::job::{LogColumn, LogSettings};
use crate::units::Quantity;

/// How near a logged speed or distance must be to what positions make, as a natural logarithm, and how far it must be
/// under the other order of longitude and latitude (our choice: as units are proved; the order makes no difference near
/// the equator and where both are alike, and is asked there).
const NEAR: f64 = 0.055;
const FAR: f64 = 0.15;

/// A clock: texts that are times, or dates and times, under a header that says nothing else.
pub(super) fn clock(sample: &Sample, free: impl Fn(usize) -> bool, out: &mut Recognised) {
    if out.get(LogColumn::Time).is_some() || sample.rows < 10 {
        return;
    }
    let found = (0..sample.columns.len()).find(|k| {
        let column = &sample.columns[*k];
        free(*k)
            && column.numeric + column.other > sample.rows / 2
            && !column.is_numeric()
            && super::clock::looks_like_one(column, true)
    });
    if let Some(index) = found {
        out.columns.push(FoundColumn {
            column: LogColumn::Time,
            index,
            unit: Quantity::Time.unit("s"),
            mapped: false,
            how: how_by_values("its cells are times"),
        });
    }
}

/// Which of two columns that look like a position is the longitude: the order under which a speed or a distance, whose
/// unit is named, is what the positions make.
pub(super) fn longitude_and_latitude(
    sample: &Sample,
    settings: &LogSettings,
    known: &Known<'_>,
    [a, b]: [usize; 2],
    out: &Recognised,
) -> Option<[FoundColumn; 2]> {
    let of = |lon: usize, lat: usize| {
        let found = |column, index| FoundColumn {
            column,
            index,
            unit: Quantity::Angle.unit("deg"),
            mapped: false,
            how: how_by_values("speed or distance are what it then makes"),
        };
        [found(LogColumn::Lon, lon), found(LogColumn::Lat, lat)]
    };
    let off = |columns: &[FoundColumn; 2]| -> Option<f64> {
        let mut trial = out.clone();
        trial.columns.extend(columns.iter().cloned());
        let motion = places::motion(sample, settings, &trial)?;
        let named = |column| {
            let found = trial.get(column)?;
            let values = &sample.columns[found.index];
            let unit = found.unit.filter(|_| !super::clock::grows(values))?;
            Some((&values.numbers, unit.factor(f64::NAN)))
        };
        if let Some((values, factor)) = named(LogColumn::Distance) {
            return Some((motion.per_way(|k| values[k])?.median * factor).ln().abs());
        }
        let (values, factor) = named(LogColumn::Speed)?;
        let mut timed = trial.clone();
        timing::clocks(sample, settings, known, Some(&motion), &mut timed);
        let elapsed = timing::elapsed(sample, settings, known, Some(&motion), &mut timed)?;
        let ratio = motion.per_way(|k| values[k] * elapsed[k])?;
        Some((ratio.median * factor).ln().abs())
    };
    let (one, other) = (of(a, b), of(b, a));
    // An order that lies beyond the poles makes no way at all.
    let far = |off: Option<f64>| off.unwrap_or(f64::INFINITY);
    match (far(off(&one)), far(off(&other))) {
        (x, y) if x < NEAR && y > FAR => Some(one),
        (x, y) if y < NEAR && x > FAR => Some(other),
        _ => None,
    }
}

/// A width: a length that hardly changes, as long as passes lie apart.
pub(super) fn width(sample: &Sample, spacing: Option<f64>, out: &mut Recognised) {
    let (Some(spacing), None) = (spacing, out.get(LogColumn::Width)) else {
        return;
    };
    let found = (0..sample.columns.len()).find_map(|index| {
        let column = &sample.columns[index];
        if out.columns.iter().any(|f| f.index == index) || !column.is_numeric() {
            return None;
        }
        let unit = super::words::readings(&column.spelt)
            .iter()
            .filter(|w| !w.says.contains(&super::lexicon::Word::Foreign))
            .find_map(|w| w.unit.filter(|u| u.quantity == Quantity::Length))?;
        let mut distinct = column.sorted();
        distinct.dedup();
        let usual = median(column.numbers.iter().copied())?;
        let near = (usual * unit.factor(f64::NAN) / spacing).ln().abs() < FAR;
        (near && distinct.len() <= 8).then_some((index, unit))
    });
    if let Some((index, unit)) = found {
        out.columns.push(FoundColumn {
            column: LogColumn::Width,
            index,
            unit: Some(unit),
            mapped: false,
            how: how_by_values("passes lie about so far apart"),
        });
    }
}
