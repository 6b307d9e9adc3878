//! Which kind of clock a table has: what its time and date columns look like and count from.

use super::clock_form::{ClockForm, DAY_S, DayForm, GPS_EPOCH_S, GPS_LEAP_S};
use super::dates::date_form;
use super::motion::{Motion, median};
use super::sample::SampleColumn;
use super::written::written;
use crate::job::{DateOrder, Epoch};
use crate::read::iso_time::of_text;
use jiff::tz::TimeZone;

/// A clock that was recognised in one column.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FoundClock {
    pub form: ClockForm,
    /// Seconds in one of the column's unit, for counts.
    pub factor: f64,
    /// What the user should know.
    pub said: String,
    /// Two readings that cannot be told apart: (what is asked, the two answers for `[log]`).
    pub doubt: Option<(String, [String; 2])>,
}

impl FoundClock {
    fn new(form: ClockForm, factor: f64, said: &str) -> Self {
        Self {
            form,
            factor,
            said: said.to_owned(),
            doubt: None,
        }
    }
}

/// How the cells of a column look, where they can be times of any kind; `None` where they cannot.
///
/// `unit_s`: seconds in the unit that the header names. `motion`: with it a count's unit is proved by the speed that
/// follows. `season`: the year in which it was harvested, where it is known.
pub(super) fn clock(
    column: &SampleColumn,
    unit_s: Option<f64>,
    gps: bool,
    order: Option<DateOrder>,
    motion: Option<&Motion>,
    season: Option<i32>,
) -> Option<FoundClock> {
    if !column.is_numeric() {
        return of_texts(column, order);
    }
    let sorted = column.sorted();
    let (least, most) = (*sorted.first()?, *sorted.last()?);
    let middle = sorted[sorted.len() / 2];
    let step = median(
        column
            .numbers
            .windows(2)
            .map(|w| (w[1] - w[0]).abs())
            .filter(|d| *d > 0.0),
    );
    if (1e13..1e15).contains(&middle) && column.texts().all(is_compact_stamp) {
        return Some(FoundClock::new(
            ClockForm::Compact,
            1.0,
            "year, month, day and time in one number",
        ));
    }
    if (1e8..1e13).contains(&middle) {
        return Some(epoch(middle, gps, season));
    }
    let step = step?;
    if (30_000.0..65_000.0).contains(&middle) && step < 0.02 {
        return Some(FoundClock::new(
            ClockForm::Serial,
            1.0,
            "a spreadsheet's serial days",
        ));
    }
    if least >= 0.0 && most < 1.0 && step < 0.02 {
        return Some(FoundClock::new(
            ClockForm::DayTime(DayForm::Fraction),
            1.0,
            "a part of the day, as spreadsheets hold times",
        ));
    }
    if least >= 0.0 && (1000.0..240_000.0).contains(&most) && is_compact_time(&column.numbers) {
        return Some(FoundClock::new(
            ClockForm::DayTime(DayForm::Compact),
            1.0,
            "hours, minutes and seconds in one number",
        ));
    }
    count(column, unit_s, motion)
}

/// Seconds since an epoch: Unix or GPS.
fn epoch(middle: f64, gps: bool, season: Option<i32>) -> FoundClock {
    let (seconds, factor) = if middle < 1e11 {
        (middle, 1.0)
    } else {
        (middle / 1000.0, 0.001)
    };
    let unix = year(seconds);
    let as_gps = year(seconds + GPS_EPOCH_S - GPS_LEAP_S);
    let near = |y: Option<i32>| season.zip(y).is_some_and(|(s, y)| (s - y).abs() <= 1);
    let said = |kind: &str, y: Option<i32>| {
        format!(
            "{kind} {} ({})",
            if factor == 1.0 {
                "seconds"
            } else {
                "milliseconds"
            },
            y.map_or_else(String::new, |y| y.to_string())
        )
    };
    if near(unix) {
        FoundClock::new(ClockForm::Plain, 1.0, &said("Unix", unix))
    } else if near(as_gps) {
        FoundClock::new(ClockForm::Gps, factor, &said("GPS", as_gps))
    } else if gps && season.is_none() {
        let mut found = FoundClock::new(ClockForm::Plain, 1.0, &said("Unix", unix));
        found.doubt = Some((
            format!(
                "as Unix time it is {}, as time since the GPS epoch {}",
                shown(unix),
                shown(as_gps)
            ),
            ["epoch = \"unix\"".to_owned(), "epoch = \"gps\"".to_owned()],
        ));
        found
    } else {
        FoundClock::new(ClockForm::Plain, 1.0, &said("Unix", unix))
    }
}

fn shown(year: Option<i32>) -> String {
    year.map_or_else(|| "no year".to_owned(), |y| y.to_string())
}

fn year(unix_s: f64) -> Option<i32> {
    let t = jiff::Timestamp::from_second(unix_s as i64).ok()?;
    Some(i32::from(TimeZone::UTC.to_datetime(t).year()))
}

/// A count from an unknown start; its unit is the one whose speed a machine can have.
fn count(
    column: &SampleColumn,
    unit_s: Option<f64>,
    motion: Option<&Motion>,
) -> Option<FoundClock> {
    let elapsed = |k: usize| {
        if k == 0 {
            f64::NAN
        } else {
            (column.numbers[k] - column.numbers[k - 1]).abs()
        }
    };
    let steps: Vec<f64> = (1..column.numbers.len())
        .map(elapsed)
        .filter(|d| d.is_finite())
        .collect();
    let moving = steps.iter().filter(|d| **d > 0.0).count();
    if moving * 4 < steps.len() {
        return None; // it stands still: no clock
    }
    let units = [
        (1.0, "seconds"),
        (0.001, "milliseconds"),
        (60.0, "minutes"),
        (3600.0, "hours"),
        (DAY_S, "days"),
    ];
    let named = |f: f64| {
        units
            .iter()
            .find(|u| u.0 == f)
            .map_or("its header's unit", |u| u.1)
    };
    let per_way = motion.and_then(|m| m.per_way(elapsed));
    let speed = |f: f64| per_way.map(|r| 1.0 / (r.median * f));
    let possible = |f: f64| speed(f).is_some_and(|v| (0.25..8.0).contains(&v));
    match unit_s {
        Some(f) if per_way.is_none() || possible(f) => Some(FoundClock::new(
            ClockForm::Plain,
            f,
            &format!("a count of {}", named(f)),
        )),
        _ => match units.iter().find(|u| possible(u.0)) {
            Some((f, name)) => {
                let v = speed(*f).unwrap_or(f64::NAN);
                Some(FoundClock::new(
                    ClockForm::Plain,
                    *f,
                    &format!("a count of {name}: the machine then drives {v:.1} m/s"),
                ))
            }
            None if per_way.is_none() => Some(FoundClock::new(
                ClockForm::Plain,
                unit_s.unwrap_or(1.0),
                "a count of seconds",
            )),
            None => None,
        },
    }
}

/// Texts: ISO, a written date and time, a time of day; a date alone is no clock.
fn of_texts(column: &SampleColumn, order: Option<DateOrder>) -> Option<FoundClock> {
    let texts: Vec<&str> = column.texts().collect();
    let first = texts.first()?;
    let iso = texts
        .iter()
        .filter(|t| of_text(t.as_bytes(), &TimeZone::UTC).is_ok())
        .count();
    if iso * 2 > texts.len() && texts.iter().any(|t| t.contains(':')) {
        return Some(FoundClock::new(ClockForm::Plain, 1.0, "ISO 8601"));
    }
    let timed = texts.iter().filter(|t| t.contains(':')).count();
    if timed * 2 <= texts.len() {
        return None;
    }
    let day_time = written(first, DateOrder::YearMonthDay).is_some_and(|w| w.date.is_none());
    if day_time {
        return Some(FoundClock::new(
            ClockForm::DayTime(DayForm::Written),
            1.0,
            "time of day, without a date",
        ));
    }
    let (form, said, doubt) = date_form(&texts, order)?;
    Some(FoundClock {
        form: ClockForm::Written(form),
        factor: 1.0,
        said: format!("date and time, {said}"),
        doubt,
    })
}

/// Fourteen digits that are a date and a time.
fn is_compact_stamp(text: &str) -> bool {
    let digits = text.split(['.', ',']).next().unwrap_or_default();
    digits.len() == 14
        && digits.bytes().all(|b| b.is_ascii_digit())
        && written(&digits[..8], DateOrder::YearMonthDay).is_some()
        && compact_seconds(digits[8..].parse().unwrap_or(f64::NAN)).is_some()
}

/// Whether all numbers are hours, minutes and seconds written as one: no count of anything skips every 60 to 99.
fn is_compact_time(numbers: &[f64]) -> bool {
    let mut minutes = std::collections::BTreeSet::new();
    for &v in numbers.iter().filter(|v| v.is_finite()) {
        if compact_seconds(v).is_none() {
            return false;
        }
        minutes.insert((v / 100.0) as i64);
    }
    minutes.len() >= 3
}

/// Seconds since midnight of a number such as 140305.5.
pub(in crate::read) fn compact_seconds(value: f64) -> Option<f64> {
    let (h, m, s) = (
        (value / 10_000.0).floor(),
        (value / 100.0).floor() % 100.0,
        value % 100.0,
    );
    ((0.0..24.0).contains(&h) && m < 60.0 && s < 60.0).then_some(h * 3600.0 + m * 60.0 + s)
}

/// The job's word on what seconds count from.
pub(super) fn as_job_says(found: &mut FoundClock, column: &SampleColumn, epoch: Epoch) {
    let usual = median(column.numbers.iter().copied()).unwrap_or(f64::NAN);
    if !column.is_numeric() || !(1e8..1e13).contains(&usual) {
        return;
    }
    found.doubt = None;
    let factor = if usual < 1e11 { 1.0 } else { 0.001 };
    (found.form, found.factor) = match epoch {
        Epoch::Unix => (ClockForm::Plain, 1.0),
        Epoch::Gps => (ClockForm::Gps, factor),
    };
    found.said = format!("seconds since the {} epoch, as the job says", epoch.name());
}

/// Whether numbers run on from row to row, as clocks and totals do (or back, in a table written backward).
pub(super) fn grows(column: &SampleColumn) -> bool {
    let steps: Vec<f64> = column
        .numbers
        .windows(2)
        .map(|w| w[1] - w[0])
        .filter(|d| d.is_finite())
        .collect();
    if steps.len() < 10 {
        return false;
    }
    let (up, down) = (
        steps.iter().filter(|d| **d > 0.0).count(),
        steps.iter().filter(|d| **d < 0.0).count(),
    );
    let moves = up.max(down);
    moves * 4 >= steps.len() && up.min(down) * 50 <= moves
}

/// Whether a column's cells can be times: written ones, a number from an epoch, or a count. `loosely`: its words rather
/// say something else, such as an interval, and only a count that grows is one.
pub(super) fn looks_like_one(column: &SampleColumn, loosely: bool) -> bool {
    if column.is_numeric() {
        let sorted = column.sorted();
        let middle = sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN);
        return (1e8..1e15).contains(&middle)
            || grows(column)
            || (!loosely && (column.numeric < 10 || restless(column)));
    }
    of_texts(column, None).is_some()
}

/// Whether numbers mostly change from row to row and spread far beyond their steps: a clock whose rows were shuffled.
fn restless(column: &SampleColumn) -> bool {
    let mut distinct = column.sorted();
    let all = distinct.len();
    distinct.dedup();
    distinct.len() * 10 >= all * 9 && all > 50
}

#[cfg(test)]
mod tests {
    use super::super::clock_form::DateForm;
    use super::super::sample::Sample;
    use super::*;
    use crate::read::source::Header;

    fn column(cells: impl IntoIterator<Item = String>) -> SampleColumn {
        let mut sample = Sample::new(&[Header::named("t")], false);
        for cell in cells {
            sample.push([cell.as_bytes()]);
        }
        sample.columns.remove(0)
    }

    fn form(cells: impl IntoIterator<Item = String>) -> Option<ClockForm> {
        clock(&column(cells), None, false, None, None, None).map(|c| c.form)
    }

    #[test]
    fn clocks_are_told_by_their_cells() {
        let rows = || (0..200).map(f64::from);
        use ClockForm as F;
        assert_eq!(
            form(rows().map(|k| format!("{}", 1_757_685_780.0 + k))),
            Some(F::Plain)
        );
        assert_eq!(
            form(rows().map(|k| format!("{:.7}", 45_912.5 + k / DAY_S))),
            Some(F::Serial)
        );
        assert_eq!(
            form(rows().map(|k| format!("{:.7}", 0.5 + k / DAY_S))),
            Some(F::DayTime(DayForm::Fraction))
        );
        let hms = |k: f64| format!("{:02}{:02}{:02}", 14, (k / 60.0) as i32, k as i32 % 60);
        assert_eq!(form(rows().map(hms)), Some(F::DayTime(DayForm::Compact)));
        assert_eq!(
            form(rows().map(|k| format!("20250912{}", hms(k)))),
            Some(F::Compact)
        );
        let text = |k: f64| format!("14:{:02}:{:02}", (k / 60.0) as i32, k as i32 % 60);
        assert_eq!(form(rows().map(text)), Some(F::DayTime(DayForm::Written)));
        assert_eq!(
            form(rows().map(|k| format!("13.09.2025 {}", text(k)))),
            Some(F::Written(DateForm::Written(DateOrder::DayMonthYear)))
        );
        assert_eq!(
            form(rows().map(|k| format!("05/09/2025 {}", text(k)))),
            Some(F::Written(DateForm::Unordered))
        );
        assert_eq!(
            form(rows().map(|k| format!("2025-09-12 {}", text(k)))),
            Some(F::Plain)
        );
        assert_eq!(form(rows().map(|_| "2025-09-12".to_owned())), None);
        assert_eq!(
            form(rows().map(|k| format!("{}", 50_000.0 + k))),
            Some(F::Plain)
        );
    }

    /// Two epochs, ten years apart: the season tells, and where there is none it is asked.
    #[test]
    fn the_season_tells_the_epoch() {
        let gps = 1_757_685_780.0 - GPS_EPOCH_S + GPS_LEAP_S;
        let cells = || (0..50).map(|k| format!("{}", gps + f64::from(k)));
        let with = |season, said| clock(&column(cells()), None, said, None, None, season);
        assert_eq!(
            with(Some(2025), false).map(|c| c.form),
            Some(ClockForm::Gps)
        );
        assert_eq!(
            with(Some(2015), false).map(|c| c.form),
            Some(ClockForm::Plain)
        );
        assert!(with(None, true).is_some_and(|c| c.doubt.is_some()));
    }
}
