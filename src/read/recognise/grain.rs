//! Which column is the grain, and in which unit: of all readings that words and units allow, the one under which the
//! field yields what a field can.
//!
//! Each reading has a score, the logarithm of how believable it is. Where the best does not stand far above the next
//! one that would make another map, nothing is chosen and the user is asked.

use super::agree;
use super::answer::{ask, found, inferred, stated};
use super::assign::stated_unit;
use super::motion::{Motion, median};
use super::prove::{Systems, customary};
use super::roles::{Fit, Role, SaidMoisture};
use super::sample::Sample;
use super::{Recognised, Severity};
use crate::crop::Crop;
use crate::job::{LogColumn, LogSettings};
use crate::units::{HECTARE_M2, Quantity, Unit};

/// How far the best reading must stand above the next: 10 to 1 (our choice).
const DECIDED: f64 = std::f64::consts::LN_10;
/// A unit of pounds and feet in a metric file, or the reverse: 1 to 30 (our choice).
const OTHER_SYSTEM: f64 = -3.4;
/// A reading that the words do not name first: 1 to 3 (our choice).
const NOT_NAMED: f64 = -1.1;
/// What intervals of different length say against a reading: 1 to 1,000 (our choice; the test behind it is stricter).
const DISPROVED: f64 = -6.9;
/// Believed no more: three standard deviations off the usual yield (our choice).
pub(super) const DISBELIEVED: f64 = -4.5;
/// Highest believed yield of a crop over its usual one (our choice: of the crop table's bounds this leaves about the
/// world's better fields, 9 t/ha of maize, 4.4 of wheat, 3.3 of soybean).
const HIGHEST_OVER_USUAL: f64 = 4.5;
/// Spread of field yields of one crop, as a standard deviation of the logarithm (our choice: two thirds of fields
/// between half and double of usual).
const SPREAD: f64 = 0.6;

/// What the rest of the file says.
pub(super) struct Evidence<'a> {
    pub sample: &'a Sample,
    pub motion: Option<&'a Motion>,
    /// Seconds that each row stands for.
    pub elapsed: Option<&'a [f64]>,
    /// Width that is cut, m.
    pub width: Option<f64>,
    pub systems: Systems,
    pub crop: &'a Crop,
    /// Whether the crop is the job's (otherwise any crop is possible).
    pub crop_known: bool,
}

/// One reading of one header.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    pub role: Role,
    pub unit: &'static Unit,
    pub score: f64,
    /// Yield that it makes, kg/ha, where that can be told.
    pub yields: Option<f64>,
    /// Whether the header or the job states the unit.
    pub stated: bool,
    /// Whether rows of another length prove that it is a flow, or a mass.
    pub by_intervals: bool,
}

/// Chooses the grain among its candidates, or asks.
pub(super) fn choose(
    mut candidates: Vec<Role>,
    settings: &LogSettings,
    e: &Evidence<'_>,
    out: &mut Recognised,
) {
    for role in &mut candidates {
        if role.column == LogColumn::DryYield {
            role.moisture = SaidMoisture::Dry;
        }
    }
    candidates.retain(|role| {
        let column = &e.sample.columns[role.index];
        let total = role.fit != Fit::Mapped
            && (role.sum || (column.is_numeric() && super::clock::grows(column)));
        if total {
            out.remark(
                Severity::Odd,
                "running-total",
                "it is a running total, not the grain of a row; it is not read".to_owned(),
                Some(role.index),
            );
        }
        !total
    });
    // As harvested before any other moisture, flow before mass before yield; each header with its readings.
    let mapped = candidates.iter().any(|r| r.fit == Fit::Mapped);
    candidates.retain(|r| !mapped || r.fit <= Fit::OwnNameAndUnit);
    candidates.sort_by_key(|r| (r.fit != Fit::Mapped, preference(r), r.fit));
    let Some(first) = candidates.first().copied() else {
        return;
    };
    let (first, readings) = of_first_header(first, &candidates, settings, e);
    let Some(best) = readings.first().copied() else {
        out.columns.push(found(&first, None, String::new()));
        return;
    };
    out.yields = best.yields;
    let rival = readings.iter().skip(1).find(|r| !same_map(&best, r, e));
    let decided = rival.is_none_or(|r| best.score - r.score >= DECIDED);
    if best.stated {
        stated(&best, settings, e, out);
    } else if decided && best.yields.is_some() {
        inferred(&best, rival, e, out);
    } else if best.yields.is_none() {
        // Nothing to go by: the reader asks for the unit.
        out.columns.push(found(&first, None, String::new()));
        super::said::moisture(&first, settings, e, out);
        return;
    } else {
        ask(&first, &readings, e, out);
        return;
    }
    beside(&candidates, &best, settings, out);
    super::said::moisture(&best.role, settings, e, out);
}

/// The readings of the header that comes first, the best first. Of headers that words hardly name, one under which the
/// field would yield what no field does gives way to one under which it yields what fields do.
fn of_first_header(
    first: Role,
    candidates: &[Role],
    settings: &LogSettings,
    e: &Evidence<'_>,
) -> (Role, Vec<Reading>) {
    let of = |role: &Role| {
        let roles: Vec<Role> = candidates
            .iter()
            .filter(|r| r.index == role.index)
            .copied()
            .collect();
        let mut all = readings(&roles, settings, e);
        agree::weigh(&mut all, role.index, candidates, settings, e);
        all.sort_by(|a, b| b.score.total_cmp(&a.score));
        all
    };
    let all = of(&first);
    let believed = |all: &[Reading]| {
        let best = all.first().filter(|r| r.yields.is_some());
        best.is_some_and(|r| believable(r.yields, e.crop, e.crop_known) > DISBELIEVED)
    };
    if first.fit == Fit::Loose && !believed(&all) {
        let other = candidates
            .iter()
            .filter(|r| r.index != first.index)
            .map(|r| (*r, of(r)))
            .find(|(_, all)| believed(all));
        if let Some(other) = other {
            return other;
        }
    }
    (first, all)
}

/// Order in which columns of grain are taken.
fn preference(role: &Role) -> (u8, u8, u8) {
    let moisture = match role.moisture {
        SaidMoisture::Wet => 0,
        SaidMoisture::Nothing => 1,
        SaidMoisture::At(_) => 2,
        SaidMoisture::Dry => 3,
    };
    let kind = match role.column {
        LogColumn::Flow => 0,
        LogColumn::Mass => 1,
        _ => 2,
    };
    // What is said to be dry comes last of all, what the words hardly name late, and an open unit behind a written one.
    let open = role.unit.is_none() && role.tons.is_none() && !matches!(role.fit, Fit::OwnName);
    let open = u8::from(open);
    let late = 2 * u8::from(role.fit == Fit::Loose) + open;
    (u8::from(moisture >= 2), late, moisture.min(1) * 3 + kind)
}

/// All readings of one header: each column that it can be, in each unit that it can have.
fn readings(roles: &[Role], settings: &LogSettings, e: &Evidence<'_>) -> Vec<Reading> {
    let mut out = Vec::new();
    let says = says_of_intervals(roles, e);
    for (k, role) in roles.iter().enumerate() {
        let Some(quantity) = role.column.quantity() else {
            continue;
        };
        let stated = stated_unit(role, settings);
        let tons = role.tons.filter(|_| stated.is_none());
        let possible = |u: &&'static Unit| {
            stated.is_none_or(|s| s == *u) && tons.is_none_or(|t| t.contains(u))
        };
        for unit in quantity.units().filter(possible) {
            let yields = yield_of(role, unit, e);
            let mut score = if k == 0 { 0.0 } else { NOT_NAMED };
            score += believable(yields, e.crop, e.crop_known);
            score += match tons {
                None => common(unit),
                Some(_) => common_ton(unit),
            };
            score += match (customary(unit), e.systems) {
                (
                    Some(true),
                    Systems {
                        customary: 0,
                        metric: 1..,
                    },
                )
                | (
                    Some(false),
                    Systems {
                        metric: 0,
                        customary: 1..,
                    },
                ) => OTHER_SYSTEM,
                _ => 0.0,
            };
            score += match (says, role.column) {
                (Some(LogColumn::Flow), LogColumn::Mass)
                | (Some(LogColumn::Mass), LogColumn::Flow) => DISPROVED,
                _ => 0.0,
            };
            out.push(Reading {
                role: *role,
                unit,
                score,
                yields,
                stated: stated.is_some(),
                by_intervals: says == Some(role.column),
            });
        }
    }
    out
}

/// How usual a unit is in logs, as the logarithm of a share (our choice).
pub(super) fn common(unit: &Unit) -> f64 {
    match unit.symbol {
        "kg/s" | "lb/s" | "t/h" | "kg" | "lb" | "t/ha" | "bu/ac" | "kg/ha" => 0.0,
        "dt/ha" | "lb/ac" | "kg/h" | "bu/h" | "lb/min" | "lb/h" => -0.7,
        _ => -2.3,
    }
}

/// How usual a ton is where only "ton" stands: on an acre it is mostly the short one (our choice).
fn common_ton(unit: &Unit) -> f64 {
    if unit.symbol == "t/ac" { -2.5 } else { 0.0 }
}

/// The yield of the moving, working rows, kg/ha.
pub(super) fn yield_of(role: &Role, unit: &Unit, e: &Evidence<'_>) -> Option<f64> {
    let factor = unit.factor(e.crop.bushel_kg);
    let values = &e.sample.columns[role.index].numbers;
    let positive = |v: f64| if v > 0.0 { v } else { f64::NAN };
    match role.column {
        LogColumn::Yield | LogColumn::DryYield => {
            median(values.iter().map(|v| positive(*v))).map(|v| v * factor)
        }
        LogColumn::Flow => {
            let (motion, elapsed, width) = (e.motion?, e.elapsed?, e.width?);
            motion
                .per_way(|k| positive(values[k]) * elapsed[k])
                .map(|r| r.median * factor / width * HECTARE_M2)
        }
        _ => {
            let (motion, width) = (e.motion?, e.width?);
            motion
                .per_way(|k| positive(values[k]))
                .map(|r| r.median * factor / width * HECTARE_M2)
        }
    }
}

/// How believable a field yield is, as the logarithm of its density over that of the usual yield.
pub(super) fn believable(yields: Option<f64>, crop: &Crop, crop_known: bool) -> f64 {
    let Some(y) = yields else { return 0.0 };
    let (usual, spread) = if crop_known {
        (crop.highest_yield / HIGHEST_OVER_USUAL, SPREAD)
    } else {
        (5_000.0, 1.5 * SPREAD)
    };
    let z = (y / usual).ln() / spread;
    if !z.is_finite() {
        -20.0
    } else {
        (-0.5 * z * z).max(-20.0)
    }
}

/// What rows of another length than usual say: a flow does not care how long its row is, a mass grows with it.
///
/// Each such row is held against its neighbours of usual length. The median of ln(value / neighbours) over
/// ln(interval / usual) is 0 for a flow and 1 for a mass; it must be within 0.35 of one, and three standard errors from
/// the other.
fn says_of_intervals(roles: &[Role], e: &Evidence<'_>) -> Option<LogColumn> {
    let elapsed = e.elapsed?;
    let role = roles.first()?;
    let values = &e.sample.columns[role.index].numbers;
    let usual = median(elapsed.iter().copied().filter(|t| *t > 0.0))?;
    let is_usual = |k: usize| (elapsed[k] / usual - 1.0).abs() < 0.1 && values[k] > 0.0;
    let mut slopes = Vec::new();
    for k in 1..values.len().saturating_sub(1) {
        let longer = elapsed[k] / usual;
        if !((1.25..4.0).contains(&longer) || (0.25..0.8).contains(&longer))
            || !(values[k] > 0.0)
            || !is_usual(k - 1)
            || !is_usual(k + 1)
        {
            continue;
        }
        let neighbours = 0.5 * (values[k - 1] + values[k + 1]);
        slopes.push((values[k] / neighbours).ln() / longer.ln());
    }
    if slopes.len() < 6 {
        return None;
    }
    let middle = median(slopes.iter().copied())?;
    let mad = median(slopes.iter().map(|s| (s - middle).abs()))?;
    // 1.4826 MAD = σ and 1.2533 σ/√n = the standard error of a median, both for normal errors.
    let se = (1.4826 * 1.2533 * mad / (slopes.len() as f64).sqrt()).max(0.02);
    if middle.abs() < 0.35 && (1.0 - middle) > 3.0 * se {
        Some(LogColumn::Flow)
    } else if (middle - 1.0).abs() < 0.35 && middle > 3.0 * se {
        Some(LogColumn::Mass)
    } else {
        None
    }
}

/// Whether two readings make the same map: a flow and a mass of rows that all last one second.
fn same_map(a: &Reading, b: &Reading, e: &Evidence<'_>) -> bool {
    let close = |a: f64, b: f64| (a / b).ln().abs() < 0.02;
    let by_yield = a.yields.zip(b.yields).is_some_and(|(a, b)| close(a, b));
    by_yield && a.role.column != b.role.column && e.elapsed.is_some()
}

/// A second kind of grain by our own name with a unit stands beside the first (a mass beside a flow).
fn beside(candidates: &[Role], best: &Reading, settings: &LogSettings, out: &mut Recognised) {
    for role in candidates {
        let kept = role.column != best.role.column
            && role.index != best.role.index
            && role.column.quantity() != Some(Quantity::Yield)
            && best.role.column.quantity() != Some(Quantity::Yield)
            && role.fit <= Fit::OwnNameAndUnit
            && out.get(role.column).is_none();
        if kept {
            out.columns
                .push(found(role, stated_unit(role, settings), String::new()));
        }
    }
    let rival = candidates.iter().find(|r| {
        r.column == best.role.column
            && r.index != best.role.index
            && r.fit == best.role.fit
            && preference(r) == preference(&best.role)
    });
    if let Some(rival) = rival {
        out.seconds.push((rival.column, rival.index));
    }
}
