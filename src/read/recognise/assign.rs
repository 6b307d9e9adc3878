//! Which header is which column: of all that a header can be by its words, what its values allow, the best first.

use super::roles::{Fit, Role, is_grain, roles};
use super::sample::{Sample, SampleColumn};
use super::{FoundColumn, Recognised};
use crate::job::{LogColumn, LogSettings};
use crate::units::{Unit, tokens};

/// The most planted rows that a header takes (common practice: 24 at 30 in; twice that).
const MOST_ROWS: f64 = 48.0;

/// Finds the columns among the headers: first those that the job names, then our own names with a unit behind, then
/// the trade's plain words. Grain is left to [`super::grain`], which needs the rest; its candidates are returned.
pub(super) fn assign(sample: &Sample, settings: &LogSettings, out: &mut Recognised) -> Vec<Role> {
    let headers = sample.headers();
    let mut taken = vec![false; headers.len()];
    let mut mapped: Vec<Role> = Vec::new();
    for (name, wanted) in &settings.columns {
        let Some(column) = LogColumn::from_name(name) else {
            continue;
        };
        match position(&headers, wanted) {
            Some(index) => {
                taken[index] = true;
                mapped.push(mapped_role(column, index, &sample.columns[index]));
            }
            None => out.absent.push((column, wanted.clone())),
        }
    }
    let candidates: Vec<Role> = sample
        .columns
        .iter()
        .enumerate()
        .filter(|(index, _)| !taken[*index])
        .flat_map(|(index, c)| of_column(index, c))
        .collect();
    let mut grain: Vec<Role> = Vec::new();
    for column in LogColumn::ALL {
        if is_grain(column) {
            grain.extend(mapped.iter().filter(|r| r.column == column));
            continue;
        }
        let role = match mapped.iter().find(|r| r.column == column) {
            Some(role) => Some(*role),
            None => best(column, &candidates, sample, &mut taken, out),
        };
        if let Some(role) = role {
            let unit = stated_unit(&role, settings).or_else(|| usual(column));
            out.columns.push(FoundColumn {
                column,
                index: role.index,
                unit,
                mapped: role.fit == Fit::Mapped,
                how: how(role.fit).to_owned(),
            });
            if column == LogColumn::WorkState {
                out.work_inverted = role.inverted;
            }
            if column == LogColumn::Time {
                out.says_gps = role.gps;
            }
        }
    }
    // What no word says of any column, cells may say.
    let spoken = |k: usize| {
        taken[k]
            || candidates
                .iter()
                .any(|r| r.index == k && r.fit < Fit::Loose)
    };
    super::by_values::clock(sample, |k| !spoken(k), out);
    if let Some(found) = out.get(LogColumn::Time) {
        taken[found.index] = true;
    }
    if grain.is_empty() {
        let possible =
            |r: &&Role| is_grain(r.column) && !taken[r.index] && holds(r, &sample.columns[r.index]);
        grain.extend(candidates.iter().filter(possible));
    } else {
        // The job names one kind of grain; another by our own name may stand beside it.
        let beside = |r: &&Role| {
            is_grain(r.column)
                && !taken[r.index]
                && r.fit <= Fit::OwnNameAndUnit
                && !grain.iter().any(|g| g.column == r.column)
        };
        let more: Vec<Role> = candidates.iter().filter(beside).copied().collect();
        grain.extend(more);
    }
    grain
}

/// Everything that a column can be: by its header, or by cells that name a hemisphere.
fn of_column(index: usize, column: &SampleColumn) -> Vec<Role> {
    let which = match (column.names_hemisphere(0), column.names_hemisphere(1)) {
        (true, _) => LogColumn::Lat,
        (_, true) => LogColumn::Lon,
        _ => return roles(index, &column.spelt, column.stated),
    };
    vec![Role {
        fit: Fit::WordsAndUnit,
        ..Role::plain(which, index)
    }]
}

/// How a column was found that no word explains, for people.
pub(super) fn how_by_values(why: &str) -> String {
    format!("by its values: {why}")
}

/// How a header was found, for people.
pub(super) fn how(fit: Fit) -> &'static str {
    match fit {
        Fit::Mapped => "named by the job",
        Fit::Stated => "stated by the format",
        Fit::OwnNameAndUnit | Fit::OwnName => "by its name",
        Fit::WordsAndUnit | Fit::Words => "by its words",
        Fit::Loose => "by some of its words and its values",
    }
}

/// The unit that the header or the job gives. A header by our own name means its suffix; of a header that the job
/// names, the job knows the unit.
pub(super) fn stated_unit(role: &Role, settings: &LogSettings) -> Option<&'static Unit> {
    let job = settings
        .units
        .iter()
        .find(|(name, _)| name == role.column.name())
        .and_then(|(_, unit)| role.column.quantity()?.unit(unit));
    match role.fit {
        Fit::Mapped => job.or(role.unit),
        _ => role.unit.or(job),
    }
}

/// The unit taken where neither the header nor the job names one.
fn usual(column: LogColumn) -> Option<&'static Unit> {
    column.quantity()?.unit(column.usual_unit()?)
}

fn mapped_role(column: LogColumn, index: usize, sampled: &SampleColumn) -> Role {
    let said = of_column(index, sampled)
        .into_iter()
        .find(|r| r.column == column);
    let unit = said
        .and_then(|r| r.unit)
        .or_else(|| unit_of_tail(column, &sampled.spelt));
    match said {
        Some(role) => Role {
            unit,
            fit: Fit::Mapped,
            ..role
        },
        None => Role {
            unit,
            fit: Fit::Mapped,
            ..Role::plain(column, index)
        },
    }
}

/// The header written exactly so; else in another case.
fn position(headers: &[String], wanted: &str) -> Option<usize> {
    headers.iter().position(|h| h == wanted).or_else(|| {
        headers
            .iter()
            .position(|h| h.to_lowercase() == wanted.to_lowercase())
    })
}

/// The unit that the end of a header spells, whatever stands before it.
fn unit_of_tail(column: LogColumn, header: &str) -> Option<&'static Unit> {
    let quantity = column.quantity()?;
    let words = tokens(header);
    (0..words.len()).find_map(|k| quantity.unit_of_tokens(&words[k..]))
}

/// The untaken header that fits a column best; the first of equals. A second one as good is reported.
fn best(
    column: LogColumn,
    candidates: &[Role],
    sample: &Sample,
    taken: &mut [bool],
    out: &mut Recognised,
) -> Option<Role> {
    let mut possible: Vec<(Fit, bool, Role)> = candidates
        .iter()
        .filter(|r| r.column == column && !taken[r.index] && holds(r, &sample.columns[r.index]))
        .filter(|r| !(r.fit == Fit::Loose && better_elsewhere(r, candidates, sample)))
        .map(|r| {
            let c = &sample.columns[r.index];
            let empty = sample.rows > 0 && (c.numeric + c.other) * 2 < sample.rows;
            (r.fit, empty, *r)
        })
        .collect();
    possible.sort_by_key(|(fit, empty, _)| (*empty, *fit)); // stable: the first of equals stays first
    let (fit, _, chosen) = *possible.first()?;
    taken[chosen.index] = true;
    if let Some((_, _, second)) = possible.get(1).filter(|(f, empty, _)| *f == fit && !empty) {
        out.seconds.push((column, second.index));
    }
    Some(chosen)
}

/// Whether a header that fits this column loosely fits another one well; where there are rows enough, values decide
/// between some.
fn better_elsewhere(role: &Role, candidates: &[Role], sample: &Sample) -> bool {
    let column = &sample.columns[role.index];
    let enough = column.numeric + column.other >= 10;
    candidates.iter().any(|r| {
        r.index == role.index
            && r.fit < role.fit
            && r.column != role.column
            && !(enough && ambiguous_pair(r.column, role.column))
    })
}

/// Columns between which the values decide, not the words.
fn ambiguous_pair(a: LogColumn, b: LogColumn) -> bool {
    use LogColumn as C;
    matches!(
        (a, b),
        (C::Time, C::Interval)
            | (C::Interval, C::Time)
            | (C::Date, C::Time)
            | (C::Time, C::Date)
            | (C::Width, C::Pass)
    )
}

/// Whether the values of a column allow a role. Headers by our own names are taken at their word, so that bad values
/// are named and not passed over.
fn holds(role: &Role, column: &SampleColumn) -> bool {
    let rows = column.numeric + column.other;
    if rows == 0 || matches!(role.fit, Fit::Mapped | Fit::Stated | Fit::OwnNameAndUnit) {
        return true;
    }
    use LogColumn as C;
    match role.column {
        C::Time => {
            super::clock::looks_like_one(column, role.fit == Fit::Loose)
                || (role.fit == Fit::OwnName && !super::dates::is_date(column))
        }
        C::Date => super::dates::is_date(column),
        C::Interval => column.is_numeric() && !super::clock::grows(column),
        C::WorkState => super::work_words(column),
        C::Machine | C::Load | C::Crop | C::Section | C::Record | C::Field => true,
        C::Pass => {
            column.is_numeric()
                && column
                    .numbers
                    .iter()
                    .all(|v| v.is_nan() || v.fract() == 0.0)
        }
        C::Heading => {
            column.is_numeric()
                && column
                    .numbers
                    .iter()
                    .all(|v| v.is_nan() || (-360.5..=360.5).contains(v))
        }
        C::Rows => {
            column.is_numeric()
                && column
                    .numbers
                    .iter()
                    .all(|v| v.is_nan() || (v.fract() == 0.0 && (0.0..=MOST_ROWS).contains(v)))
                && column.numbers.iter().any(|v| *v > 0.0)
        }
        C::Width | C::RowSpacing => column.is_numeric() && column.numbers.iter().any(|v| *v > 0.0),
        C::Lon | C::Lat => true,
        _ if role.fit == Fit::OwnName => true,
        _ => column.is_numeric(),
    }
}
