//! Units proved by what must agree: distances with the steps between positions, speeds with distance over time, widths
//! with the distance between passes.

use super::motion::{Motion, Ratio, median};
use super::sample::Sample;
use super::{FoundColumn, Recognised, Severity};
use crate::job::LogColumn;
use crate::units::{Quantity, Unit};

/// How far a proved ratio may be off, as a natural logarithm (our choice: feet and km/h differ by 9 %, and so do the
/// nearest two units of length by far more; a receiver's own speed agrees with its positions within 3 %).
const CLOSE: f64 = 0.055;

/// How far a header's width may be off the distance between passes (our choice: drivers overlap by up to a tenth, and
/// skip nothing; the nearest two units of length differ 2.5 times).
const WIDTH_CLOSE: f64 = 0.30;

/// Systems of units that a file's proved units belong to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Systems {
    /// Proved or stated metric units.
    pub metric: usize,
    /// Proved or stated feet, inches, miles, pounds, acres.
    pub customary: usize,
}

impl Systems {
    /// Counts a unit; those that both worlds use say nothing.
    pub fn count(&mut self, unit: &Unit) {
        match customary(unit) {
            Some(true) => self.customary += 1,
            Some(false) => self.metric += 1,
            None => {}
        }
    }
}

/// Whether a unit is one of feet and pounds (or a metric one); `None` where both worlds use it.
pub(super) fn customary(unit: &Unit) -> Option<bool> {
    match unit.quantity {
        Quantity::Time | Quantity::Percent | Quantity::Angle => None,
        _ if unit.symbol == "kn" => None,
        _ => Some(
            ["ft", "in", "mi", "mph", "lb", "bu", "ac"]
                .iter()
                .any(|w| unit.symbol.split(['/']).any(|p| p == *w)),
        ),
    }
}

/// The unit in which a ratio of amount to metres (or metres per second) comes out as 1.
fn unit_of_ratio(quantity: Quantity, ratio: Ratio, close: f64) -> Option<&'static Unit> {
    if ratio.spread > 0.35 {
        return None;
    }
    let off = |u: &Unit| (ratio.median * u.factor(f64::NAN)).ln().abs();
    let mut units: Vec<&Unit> = quantity.units().collect();
    units.sort_by(|a, b| off(a).total_cmp(&off(b)));
    let (best, next) = (units.first()?, units.get(1)?);
    (off(best) < close && off(next) > 1.5 * off(best)).then_some(*best)
}

/// Proves the unit of the logged distance.
pub(super) fn distance(sample: &Sample, motion: &Motion, out: &mut Recognised) {
    let Some(found) = out.get(LogColumn::Distance) else {
        return;
    };
    let values = &sample.columns[found.index].numbers;
    if super::clock::grows(&sample.columns[found.index]) {
        out.withdraw(
            LogColumn::Distance,
            "it is a running total; distances come from the positions",
        );
        return;
    }
    let Some(ratio) = motion.per_way(|k| values[k]) else {
        return;
    };
    settle(
        LogColumn::Distance,
        unit_of_ratio(Quantity::Length, ratio, CLOSE),
        ratio,
        "it is then as long as the steps between positions",
        out,
    );
}

/// Proves the unit of the logged speed. `elapsed`: seconds from the row before.
pub(super) fn speed(
    sample: &Sample,
    motion: &Motion,
    elapsed: Option<&[f64]>,
    out: &mut Recognised,
) {
    let (Some(found), Some(elapsed)) = (out.get(LogColumn::Speed), elapsed) else {
        return;
    };
    let values = &sample.columns[found.index].numbers;
    let Some(ratio) = motion.per_way(|k| values[k] * elapsed[k]) else {
        return;
    };
    settle(
        LogColumn::Speed,
        unit_of_ratio(Quantity::Speed, ratio, CLOSE),
        ratio,
        "it is then the distance between positions over the time",
        out,
    );
}

/// Proves the unit of the header's width by the distance between passes, or by what a header can be.
pub(super) fn width(sample: &Sample, spacing: Option<f64>, out: &mut Recognised) {
    let Some(found) = out.get(LogColumn::Width).cloned() else {
        return;
    };
    let positive = sample.columns[found.index]
        .numbers
        .iter()
        .copied()
        .filter(|w| *w > 0.0);
    let Some(usual) = median(positive) else {
        return;
    };
    if sample.rows < 10 && found.unit.is_some() {
        return; // too few rows to contradict a header
    }
    // 1 to 20 m: from a plot combine to the widest headers sold (common practice).
    let possible = |u: &&Unit| (1.0..20.0).contains(&(usual * u.factor(f64::NAN)));
    if let Some(spacing) = spacing {
        let ratio = Ratio {
            median: usual / spacing,
            spread: 0.0,
        };
        let proved = unit_of_ratio(Quantity::Length, ratio, WIDTH_CLOSE).filter(possible);
        if proved.is_some() || found.unit.is_some_and(|u| possible(&u)) {
            settle(
                LogColumn::Width,
                proved,
                ratio,
                &format!("passes lie {spacing:.1} m apart"),
                out,
            );
            return;
        }
    }
    let units: Vec<&'static Unit> = Quantity::Length.units().filter(possible).collect();
    match (found.unit, units.as_slice()) {
        (Some(unit), _) if possible(&unit) => {}
        (Some(unit), []) => out.remark(
            Severity::Odd,
            "unit-doubtful",
            format!("the width is {usual} {unit}: no header is"),
            Some(found.index),
        ),
        (_, [one]) => settle(
            LogColumn::Width,
            Some(one),
            Ratio {
                median: f64::NAN,
                spread: 0.0,
            },
            &format!("in any other unit {usual} would be no header's width"),
            out,
        ),
        (_, []) => {}
        (None, several) => {
            let readings: Vec<String> = several
                .iter()
                .map(|u| format!("{usual} {u} = {:.1} m", usual * u.factor(f64::NAN)))
                .collect();
            let lines = several
                .iter()
                .map(|u| format!("units = {{ width = \"{u}\" }}"))
                .collect();
            out.ask(
                found.index,
                format!("the header's width can be {}", readings.join(" or ")),
                lines,
                false,
            );
        }
        (Some(_), _) => {}
    }
}

/// Proves the unit of the distance between planted rows, by the distance between passes or by what rows can be, and
/// returns the width of the header that rows and distance make, m. `given`: the job's distance, m.
pub(super) fn rows(
    sample: &Sample,
    spacing: Option<f64>,
    given: Option<f64>,
    out: &mut Recognised,
) -> Option<f64> {
    let usual = |out: &Recognised, column| {
        let found = out.get(column)?;
        let values = &sample.columns[found.index].numbers;
        median(values.iter().copied().filter(|v| *v > 0.0))
    };
    if out.get(LogColumn::Width).is_some() {
        return None;
    }
    let count = usual(out, LogColumn::Rows);
    let Some(apart) = usual(out, LogColumn::RowSpacing) else {
        return Some(count? * given?);
    };
    let found = out.get(LogColumn::RowSpacing).cloned()?;
    // 0.15 to 1.6 m: from drilled cereals to rows of 60 in (common practice).
    let possible = |u: &&Unit| (0.15..1.6).contains(&(apart * u.factor(f64::NAN)));
    let passes = count.zip(spacing).map(|(n, spacing)| spacing / n);
    let fits = |u: &&Unit| {
        passes.is_none_or(|p| (apart * u.factor(f64::NAN) / p).ln().abs() < WIDTH_CLOSE)
    };
    let units: Vec<&'static Unit> = Quantity::Length.units().filter(possible).collect();
    let fitting: Vec<&'static Unit> = units.iter().copied().filter(fits).collect();
    let unit = match (found.unit, fitting.as_slice(), units.as_slice()) {
        (Some(said), _, _) => Some(said),
        (None, [one], _) | (None, [], [one]) => {
            settle(
                LogColumn::RowSpacing,
                Some(one),
                Ratio {
                    median: f64::NAN,
                    spread: 0.0,
                },
                &format!("in any other unit {apart} would be no distance between rows"),
                out,
            );
            Some(*one)
        }
        (None, ..) => {
            let open = if fitting.is_empty() { &units } else { &fitting };
            let readings: Vec<String> = open
                .iter()
                .map(|u| format!("{apart} {u} = {:.2} m", apart * u.factor(f64::NAN)))
                .collect();
            let lines = open
                .iter()
                .map(|u| format!("units = {{ row_spacing = \"{u}\" }}"))
                .collect();
            let text = format!("the distance between rows can be {}", readings.join(" or "));
            out.ask(found.index, text, lines, count.is_some());
            None
        }
    };
    Some(count? * apart * unit?.factor(f64::NAN))
}

/// Takes a proved unit, and says so where the header says another one.
fn settle(
    column: LogColumn,
    proved: Option<&'static Unit>,
    ratio: Ratio,
    why: &str,
    out: &mut Recognised,
) {
    let Some(found) = out.columns.iter_mut().find(|f| f.column == column) else {
        return;
    };
    let (index, before, mapped) = (found.index, found.unit, found.mapped);
    match (proved, before) {
        (Some(unit), Some(said)) if unit == said => {
            found.how.push_str(&format!("; {unit} proved: {why}"));
        }
        (Some(unit), None) => {
            found.unit = Some(unit);
            found.how.push_str(&format!("; {unit} found: {why}"));
        }
        (Some(unit), Some(said)) => {
            let whose = if mapped {
                "the job or the header says"
            } else {
                "its header says"
            };
            found.unit = Some(unit);
            found
                .how
                .push_str(&format!("; {whose} {said}, but {unit} is proved: {why}"));
            out.remark(
                Severity::Warn,
                "unit-disproved",
                format!(
                    "{whose} {said}, but its values are in {unit}: {why}; it is read in {unit}"
                ),
                Some(index),
            );
        }
        (None, Some(said)) => {
            let off = ratio.median * said.factor(f64::NAN);
            if off.is_finite() && !(0.8..1.25).contains(&off) {
                found.how.push_str(&format!(
                    "; {said} as its header says, yet it is {off:.2} times what the positions say"
                ));
                out.remark(
                    Severity::Odd,
                    "unit-doubtful",
                    format!("in {said} it is {off:.2} times what the positions say, and no other unit fits better"),
                    Some(index),
                );
            }
        }
        (None, None) => {}
    }
}

/// The unit of heights, which nothing in a log proves: metres rounded to a tenth and written in feet are feet; else the
/// system of the file's proved units.
pub(super) fn elevation(sample: &Sample, systems: Systems, out: &mut Recognised) {
    let Some(found) = out
        .columns
        .iter_mut()
        .find(|f| f.column == LogColumn::Elevation && f.unit.is_none())
    else {
        return;
    };
    let values = sample.columns[found.index].sorted();
    let unit = |s: &str| Quantity::Length.unit(s);
    if values.len() >= 100 && converted_from_metres(&values) {
        found.unit = unit("ft");
        found
            .how
            .push_str("; ft found: its steps are tenths of a metre");
    } else if systems.customary > 0 && systems.metric == 0 {
        found.unit = unit("ft");
        found
            .how
            .push_str("; ft taken, as other columns are in feet or pounds");
    } else if systems.metric > 0 && systems.customary == 0 {
        found.unit = unit("m");
        found.how.push_str("; m taken, as other columns are metric");
    }
}

/// Whether heights are metres rounded to a tenth that were turned into feet: in metres they then all have the same
/// remainder, in feet any. The length of the mean of their phases says so (Rayleigh's measure; our limits: 0.9 and 0.5).
fn converted_from_metres(values: &[f64]) -> bool {
    let phases = |unit_m: f64| {
        let turn = |v: &f64| v * unit_m / 0.1 * std::f64::consts::TAU;
        let (c, s) = values.iter().fold((0.0, 0.0), |(c, s), v| {
            (c + turn(v).cos(), s + turn(v).sin())
        });
        f64::hypot(c, s) / values.len() as f64
    };
    phases(crate::units::FOOT_M) > 0.9 && phases(1.0) < 0.5
}

/// Whether a found column has a unit that counts for the file's system of units.
pub(super) fn systems(columns: &[FoundColumn]) -> Systems {
    let mut systems = Systems::default();
    for found in columns {
        if let (Some(unit), true) = (
            found.unit,
            !matches!(found.column, LogColumn::X | LogColumn::Y),
        ) {
            systems.count(unit);
        }
    }
    systems
}
