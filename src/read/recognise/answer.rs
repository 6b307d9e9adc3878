//! What is said of the grain: taken with its unit, inferred, refused, or asked.

use super::assign::how;
use super::grain::{Evidence, Reading, believable, common, yield_of};
use super::prove::{Systems, customary};
use super::roles::{Fit, Role};
use super::{FoundColumn, Recognised, Severity};
use crate::job::{LogColumn, LogSettings};
use crate::units::Unit;

pub(super) fn found(role: &Role, unit: Option<&'static Unit>, why: String) -> FoundColumn {
    FoundColumn {
        column: role.column,
        index: role.index,
        unit,
        mapped: role.fit == Fit::Mapped,
        how: format!("{}{why}", how(role.fit)),
    }
}

fn phrase(yields: f64) -> String {
    format!("{:.1} t/ha", yields / 1000.0)
}

/// The unit is written: it is taken, unless no field yields so and another unit is plain.
pub(super) fn stated(
    best: &Reading,
    settings: &LogSettings,
    e: &Evidence<'_>,
    out: &mut Recognised,
) {
    let why = best.yields.map_or_else(String::new, |y| {
        format!("; the field then yields {}", phrase(y))
    });
    let impossible = best
        .yields
        .is_some_and(|y| y > e.crop.highest_yield || y < 100.0);
    if impossible && let Some(quantity) = best.role.column.quantity() {
        let mut others: Vec<Reading> = quantity
            .units()
            .filter(|u| *u != best.unit)
            .map(|unit| {
                let yields = yield_of(&best.role, unit, e);
                Reading {
                    unit,
                    yields,
                    score: believable(yields, e.crop, e.crop_known) + common(unit),
                    ..*best
                }
            })
            .filter(|r| r.score > -3.0)
            .collect();
        others.sort_by(|a, b| b.score.total_cmp(&a.score));
        let yields = best.yields.map_or_else(String::new, phrase);
        let by_job = best.role.fit == Fit::Mapped
            && settings
                .units
                .iter()
                .any(|(n, _)| n == best.role.column.name());
        // A standard's unit is not in doubt, whatever was harvested (forage yields 50 t/ha).
        let by_whom = match best.role.fit {
            Fit::Stated => Some("the file's format"),
            _ if by_job => Some("the job"),
            _ => None,
        };
        if let Some(by_whom) = by_whom {
            out.remark(
                Severity::Warn,
                "unit-doubtful",
                format!(
                    "in {} the field would yield {yields}, which no field does; {by_whom} says so, and it is read so",
                    best.unit
                ),
                Some(best.role.index),
            );
        } else {
            let readings: Vec<String> = others
                .iter()
                .take(3)
                .map(|r| {
                    format!(
                        "{} would make {}",
                        r.unit,
                        r.yields.map_or_else(String::new, phrase)
                    )
                })
                .collect();
            let header = &e.sample.columns[best.role.index].header;
            let name = best.role.column.name();
            let lines = others
                .iter()
                .map(|r| r.unit)
                .chain([best.unit])
                .take(4)
                .map(|u| {
                    format!(
                        "columns = {{ {name} = \"{}\" }}\nunits = {{ {name} = \"{u}\" }}",
                        escaped(header)
                    )
                })
                .collect();
            let other = if readings.is_empty() {
                "no other unit helps".to_owned()
            } else {
                readings.join(", ")
            };
            out.ask(
                best.role.index,
                format!(
                    "in {} the field would yield {yields}, which no field does; {other}",
                    best.unit
                ),
                lines,
                true,
            );
        }
    }
    out.columns.push(found(&best.role, Some(best.unit), why));
}

/// A header in TOML quotes.
pub(super) fn escaped(header: &str) -> String {
    header.replace('\\', "\\\\").replace('"', "\\\"")
}

/// The unit follows from the values: it is taken, and said.
pub(super) fn inferred(
    best: &Reading,
    rival: Option<&Reading>,
    e: &Evidence<'_>,
    out: &mut Recognised,
) {
    let yields = best.yields.map_or_else(String::new, phrase);
    let other = rival.map_or_else(String::new, |r| {
        let made = r
            .yields
            .map_or_else(String::new, |y| format!(": {}", phrase(y)));
        format!(
            "; the next best reading, {} in {}{made}, is far less likely",
            r.role.column.name(),
            r.unit
        )
    });
    let intervals = match (best.by_intervals, best.role.column) {
        (true, LogColumn::Flow) => {
            "; rows of another length prove it a flow: it does not grow with them"
        }
        (true, _) => "; rows of another length prove it a mass: it grows with them",
        _ => "",
    };
    let system = match (customary(best.unit), e.systems) {
        (
            Some(true),
            Systems {
                customary: 1..,
                metric: 0,
            },
        ) => ", as other columns are in feet or pounds,",
        (
            Some(false),
            Systems {
                metric: 1..,
                customary: 0,
            },
        ) => ", as other columns are metric,",
        _ => "",
    };
    let what = format!(
        "{} in {} found{system} from what the field then yields, {yields}{intervals}{other}",
        best.role.column.name(),
        best.unit
    );
    out.columns
        .push(found(&best.role, Some(best.unit), format!("; {what}")));
    let name = best.role.column.name();
    let named = match best.role.tons {
        Some([metric, short]) => {
            format!("its ton can be of 1,000 kg ({metric}) or of 2,000 lb ({short})")
        }
        None => "no unit is named".to_owned(),
    };
    out.remark(
        Severity::Warn,
        "unit-inferred",
        format!(
            "{named}; {what}. To settle it: [log] columns = {{ {name} = \"{}\" }}, units = {{ {name} = \"{}\" }}",
            escaped(&e.sample.columns[best.role.index].header),
            best.unit
        ),
        Some(best.role.index),
    );
}

/// Several readings are left: each with what it would mean and the line that settles it.
pub(super) fn ask(first: &Role, readings: &[Reading], e: &Evidence<'_>, out: &mut Recognised) {
    let best = readings[0].score;
    // Without anything to go by, the everyday units are enough to show what is meant.
    let likely: Vec<&Reading> = readings
        .iter()
        .filter(|r| best - r.score < 3.5)
        .take(4)
        .collect();
    let header = escaped(&e.sample.columns[first.index].header);
    let shown: Vec<String> = likely
        .iter()
        .map(|r| {
            let made = r.yields.map_or_else(String::new, |y| {
                format!(" (the field then yields {})", phrase(y))
            });
            format!("{} in {}{made}", r.role.column.name(), r.unit)
        })
        .collect();
    let own = first.fit <= Fit::OwnName && readings.iter().all(|r| r.role.column == first.column);
    let lines = likely
        .iter()
        .map(|r| {
            let name = r.role.column.name();
            if own {
                format!("units = {{ {name} = \"{}\" }}", r.unit)
            } else {
                format!(
                    "columns = {{ {name} = \"{header}\" }}\nunits = {{ {name} = \"{}\" }}",
                    r.unit
                )
            }
        })
        .collect();
    out.columns.push(found(first, None, String::new()));
    out.ask(
        first.index,
        match first.tons {
            Some(_) => format!("its ton is not named, and it can be {}", shown.join(" or ")),
            None => format!("no unit is named, and it can be {}", shown.join(" or ")),
        },
        lines,
        true,
    );
}
