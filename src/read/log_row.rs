//! One row of a log: its numbers, or what is wrong with it.

use csv::ByteRecord;

use super::angle::{Hemisphere, angle};
use super::layout::{Layout, NUMBERS, NumberColumn};
use super::number::number;
use super::recognise::{RunTogether, is_negative};
use super::source::Fault;
use super::text::{decode, shown};
use super::time::TimeReader;
use crate::job::LogColumn;
use crate::log::WorkState;

/// What one row holds beside its names.
pub(super) struct Row {
    pub numbers: [f64; NUMBERS.len()],
    pub time: f64,
    pub work: WorkState,
}

/// The numbers of a row, or what is wrong with it.
pub(super) fn parse(
    record: &ByteRecord,
    layout: &Layout,
    times: &mut TimeReader<'_>,
    decimal_comma: bool,
) -> Result<Row, Fault> {
    if record.len() != layout.headers.len() {
        check_length(record, layout.headers.len())?;
    }
    let mut row = Row {
        numbers: [f64::NAN; NUMBERS.len()],
        time: f64::NAN,
        work: WorkState::Unknown,
    };
    for column in &layout.numbers {
        row.numbers[column.slot] = value(record, column, layout, decimal_comma)?;
    }
    if let Some((field, _)) = layout.time {
        let cell = &record[field];
        let date = layout.date.map_or(&b""[..], |d| &record[d]);
        row.time = times.read(cell, date).map_err(|_| Fault {
            field: Some(field),
            expected: times.expected().to_owned(),
            found: shown(cell),
        })?;
    }
    if let Some(field) = layout.work {
        let cell = &record[field];
        let work = work_state(cell).map(|w| match w {
            WorkState::Working if layout.work_inverted && is_digit(cell) => WorkState::NotWorking,
            WorkState::NotWorking if layout.work_inverted && is_digit(cell) => WorkState::Working,
            other => other,
        });
        row.work = work.ok_or_else(|| Fault {
            field: Some(field),
            expected: "1 (working) or 0 (not)".to_owned(),
            found: shown(cell),
        })?;
    }
    Ok(row)
}

/// The number of a column, in SI.
#[inline]
fn value(
    record: &ByteRecord,
    column: &NumberColumn,
    layout: &Layout,
    decimal_comma: bool,
) -> Result<f64, Fault> {
    let cell = &record[column.field];
    let value = match number(cell, decimal_comma) {
        Ok(value) => value,
        Err(_) => degrees(NUMBERS[column.slot], cell)
            .ok_or_else(|| not_a_number(column.field, cell, decimal_comma))?,
    };
    let value = match (layout.run_together, NUMBERS[column.slot]) {
        (Some(form), LogColumn::Lon) => apart(value, form, form.signs[0], record),
        (Some(form), LogColumn::Lat) => apart(value, form, form.signs[1], record),
        _ => value,
    };
    Ok(match NUMBERS[column.slot] {
        LogColumn::X | LogColumn::Y => value,
        _ => value * column.factor,
    })
}

/// Longitude and latitude of a row alone; NaN where they cannot be read.
pub(super) fn place(record: &ByteRecord, layout: &Layout, decimal_comma: bool) -> (f64, f64) {
    let of = |column| {
        let column = layout.number(column)?;
        (column.field < record.len())
            .then(|| value(record, column, layout, decimal_comma).ok())
            .flatten()
    };
    let at = (of(LogColumn::Lon), of(LogColumn::Lat));
    (at.0.unwrap_or(f64::NAN), at.1.unwrap_or(f64::NAN))
}

/// The degrees of a number that is not plain degrees with a sign, and of its hemisphere.
fn apart(value: f64, form: RunTogether, sign: Option<usize>, record: &ByteRecord) -> f64 {
    let negative = sign.is_some_and(|s| record.get(s).is_some_and(|c| is_negative(&decode(c))));
    form.degrees(value, negative)
}

/// The degrees of a longitude or a latitude that is written in degrees and minutes.
#[cold]
fn degrees(column: LogColumn, cell: &[u8]) -> Option<f64> {
    let hemisphere = match column {
        LogColumn::Lat => Hemisphere::NorthSouth,
        LogColumn::Lon => Hemisphere::EastWest,
        _ => return None,
    };
    let (degrees, named) = angle(&decode(cell))?;
    named.is_none_or(|n| n == hemisphere).then_some(degrees)
}

/// What a number should have been that has a comma where commas separate.
pub(super) const DECIMAL_POINT: &str = "a number with a decimal point";

#[cold]
fn not_a_number(field: usize, cell: &[u8], decimal_comma: bool) -> Fault {
    let expected = if !decimal_comma && cell.contains(&b',') {
        DECIMAL_POINT
    } else {
        "a number"
    };
    Fault {
        field: Some(field),
        expected: expected.to_owned(),
        found: shown(cell),
    }
}

/// Refuses a row that is cut short, or longer than its header; blank fields at the end do no harm.
fn check_length(record: &ByteRecord, headers: usize) -> Result<(), Fault> {
    let blank = |from: usize| record.iter().skip(from).all(|c| c.trim_ascii().is_empty());
    if record.len() > headers && blank(headers) {
        return Ok(());
    }
    let cut = if record.len() < headers {
        " (the line ends early)"
    } else {
        ""
    };
    Err(Fault {
        field: None,
        expected: format!("{headers} fields"),
        found: format!("{}{cut}", record.len()),
    })
}

/// Whether a work state is a number or a yes or no, which a header such as "header up" turns round.
fn is_digit(cell: &[u8]) -> bool {
    let cell = cell.trim_ascii();
    [
        "1", "0", "1.0", "0.0", "true", "false", "yes", "no", "on", "off",
    ]
    .iter()
    .any(|w| cell.eq_ignore_ascii_case(w.as_bytes()))
}

/// 1 or 0, or a plain word for either; blank is unknown.
pub(super) fn work_state(cell: &[u8]) -> Option<WorkState> {
    let cell = cell.trim_ascii();
    match cell {
        b"1" => return Some(WorkState::Working),
        b"0" => return Some(WorkState::NotWorking),
        b"" => return Some(WorkState::Unknown),
        _ => {}
    }
    let is = |words: &[&str]| {
        words
            .iter()
            .any(|w| cell.eq_ignore_ascii_case(w.as_bytes()))
    };
    if is(&[
        "true",
        "yes",
        "on",
        "working",
        "1.0",
        "down",
        "lowered",
        "cutting",
        "harvesting",
        "in",
        "active",
        "ja",
        "oui",
        "si",
        "sim",
        "unten",
        "gesenkt",
    ]) {
        Some(WorkState::Working)
    } else if is(&[
        "false",
        "no",
        "off",
        "not working",
        "0.0",
        "up",
        "raised",
        "lifted",
        "out",
        "inactive",
        "idle",
        "nein",
        "non",
        "nao",
        "oben",
        "gehoben",
    ]) {
        Some(WorkState::NotWorking)
    } else if is(&["na", "nan", "n/a", "null"]) {
        Some(WorkState::Unknown)
    } else {
        // A shapefile writes 1 with fifteen decimals.
        match number(cell, false) {
            Ok(1.0) => Some(WorkState::Working),
            Ok(0.0) => Some(WorkState::NotWorking),
            _ => None,
        }
    }
}

/// A pass number: a whole one, or nothing. It is bookkeeping, so that a name in its place costs no row.
pub(super) fn pass_number(cell: &[u8]) -> Option<u32> {
    let value = number(cell, false).ok()?;
    (value >= 0.0 && value <= f64::from(u32::MAX) && value.fract() == 0.0).then_some(value as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_states_and_pass_numbers_are_plain() {
        assert_eq!(work_state(b"1"), Some(WorkState::Working));
        assert_eq!(work_state(b"FALSE"), Some(WorkState::NotWorking));
        assert_eq!(work_state(b""), Some(WorkState::Unknown));
        assert_eq!(work_state(b"1.000000"), Some(WorkState::Working));
        assert_eq!(work_state(b"2"), None);
        assert_eq!(pass_number(b"12"), Some(12));
        assert_eq!(pass_number(b"12.0"), Some(12));
        assert_eq!(pass_number(b"A"), None);
        assert_eq!(pass_number(b"-1"), None);
    }
}
