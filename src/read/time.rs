//! Times in cells, by the form that the file's clock was recognised to have.

use jiff::tz::TimeZone;

use super::iso_time::{Minute, of_text};
use super::number::number;
use super::recognise::{
    ClockForm, DAY_S, DateForm, DayForm, GPS_EPOCH_S, GPS_LEAP_S, SERIAL_EPOCH_DAYS,
    compact_seconds, written,
};
use crate::job::DateOrder;
use crate::log::Clock;

/// Least number taken for Unix seconds (1973-03-03, our choice: no log is older, and no season lasts three years).
const LEAST_UNIX_S: f64 = 1e8;
/// Least number taken for Unix milliseconds (in seconds it would be the year 5138).
const LEAST_UNIX_MS: f64 = 1e11;
/// Numbers from here on are no times (as milliseconds: the year 2286).
const NO_TIME: f64 = 1e13;

/// A time of day this much earlier than the row before is the next day's (our choice: receivers correct their clocks by
/// seconds, a change of zone moves them by an hour, and nobody harvests for 22 hours without a pause).
const NEXT_DAY_S: f64 = 2.0 * 3600.0;

/// Reads the times of one file, which all count from the same start.
pub(super) struct TimeReader<'a> {
    zone: &'a TimeZone,
    form: ClockForm,
    /// Seconds in one of the column's unit.
    factor: f64,
    decimal_comma: bool,
    minute: Minute,
    days: Days,
    /// What the file's times count from; [`Clock::None`] until the first one is read.
    pub clock: Clock,
}

/// Midnights since the first row, for times of day.
#[derive(Debug, Default)]
struct Days {
    /// Seconds of the row before, days included.
    last: f64,
    /// Its date as written, where there is one.
    date: Vec<u8>,
    passed: f64,
    begun: bool,
}

/// A cell that is not a time like the others of its file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NotATime;

impl<'a> TimeReader<'a> {
    pub fn new(zone: &'a TimeZone, form: ClockForm, factor: f64, decimal_comma: bool) -> Self {
        Self {
            zone,
            form,
            factor,
            decimal_comma,
            minute: Minute::default(),
            days: Days::default(),
            clock: Clock::None,
        }
    }

    /// The time in a cell, s; NaN where it is missing. `date`: the row's date, where it stands in a column of its own.
    pub fn read(&mut self, cell: &[u8], date: &[u8]) -> Result<f64, NotATime> {
        let cell = cell.trim_ascii();
        if self.form != ClockForm::Plain {
            return self.read_form(cell, date.trim_ascii());
        }
        let (clock, seconds) = if cell.get(4) == Some(&b'-') {
            (Clock::Unix, self.minute.of_text(cell, self.zone)?) // a year and a month: no number
        } else {
            match number(cell, self.decimal_comma) {
                Ok(value) if value.is_nan() => return Ok(f64::NAN),
                Ok(value) => of_number(value, self.factor)?,
                Err(_) => (Clock::Unix, of_text(cell, self.zone)?),
            }
        };
        if self.clock == Clock::None {
            self.clock = clock;
        }
        if self.clock == clock {
            Ok(seconds)
        } else {
            Err(NotATime)
        }
    }

    fn read_form(&mut self, cell: &[u8], date: &[u8]) -> Result<f64, NotATime> {
        let text = std::str::from_utf8(cell).map_err(|_| NotATime)?;
        let value = number(cell, self.decimal_comma);
        if value.is_ok_and(f64::is_nan) {
            return Ok(f64::NAN);
        }
        let value = value.map_err(|_| NotATime);
        match self.form {
            ClockForm::Plain => Err(NotATime), // read above
            ClockForm::Gps => self.absolute(value? * self.factor + GPS_EPOCH_S - GPS_LEAP_S),
            ClockForm::Serial => {
                let days = value? - SERIAL_EPOCH_DAYS;
                // Serial days are local, and hold milliseconds at best.
                self.local((days * DAY_S * 1000.0).round() / 1000.0)
            }
            ClockForm::Compact => {
                let digits = text.get(..14).ok_or(NotATime)?;
                let day = day_of(
                    &digits[..8],
                    DateForm::Written(DateOrder::YearMonthDay),
                    self.decimal_comma,
                )?;
                let seconds: f64 = text[8..].replace(',', ".").parse().map_err(|_| NotATime)?;
                self.local(day * DAY_S + compact_seconds(seconds).ok_or(NotATime)?)
            }
            ClockForm::Written(DateForm::Unordered) => {
                let w = written(text, DateOrder::DayMonthYear)
                    .or_else(|| written(text, DateOrder::MonthDayYear))
                    .ok_or(NotATime)?;
                let date = text.split([' ', 'T']).next().unwrap_or_default();
                self.relative(w.seconds.ok_or(NotATime)?, date.as_bytes())
            }
            ClockForm::Written(form) => {
                let DateForm::Written(order) = form else {
                    return Err(NotATime);
                };
                let w = written(text, order).ok_or(NotATime)?;
                let (Some((y, m, d)), Some(seconds)) = (w.date, w.seconds) else {
                    return Err(NotATime);
                };
                let day = civil_day(y, m, d)?;
                match w.offset {
                    Some(offset) => self.absolute(day * DAY_S + seconds - offset),
                    None => self.local(day * DAY_S + seconds),
                }
            }
            ClockForm::DayTime(day) => {
                let seconds = self.day_seconds(day, text, value)?;
                self.relative(seconds, b"")
            }
            ClockForm::DateAndTime(form, day) => {
                let seconds = self.day_seconds(day, text, value)?;
                match form {
                    DateForm::Unordered => self.relative(seconds, date),
                    form => {
                        let date = std::str::from_utf8(date).map_err(|_| NotATime)?;
                        if date.is_empty() {
                            return Ok(f64::NAN);
                        }
                        self.local(day_of(date, form, self.decimal_comma)? * DAY_S + seconds)
                    }
                }
            }
        }
    }

    fn day_seconds(
        &self,
        form: DayForm,
        text: &str,
        value: Result<f64, NotATime>,
    ) -> Result<f64, NotATime> {
        match form {
            DayForm::Written => written(text, DateOrder::YearMonthDay)
                .and_then(|w| w.seconds)
                .ok_or(NotATime),
            DayForm::Compact => compact_seconds(value?).ok_or(NotATime),
            DayForm::Seconds => Some(value? * self.factor)
                .filter(|s| (0.0..=DAY_S).contains(s))
                .ok_or(NotATime),
            DayForm::Fraction => Some(value?)
                .filter(|v| (0.0..=1.0).contains(v))
                .map(|v| (v * DAY_S * 1000.0).round() / 1000.0)
                .ok_or(NotATime),
        }
    }

    fn absolute(&mut self, seconds: f64) -> Result<f64, NotATime> {
        self.clock = Clock::Unix;
        Ok(seconds)
    }

    /// Seconds on a wall clock of the reader's zone, counted as if they were UTC, in UTC.
    fn local(&mut self, wall: f64) -> Result<f64, NotATime> {
        self.clock = Clock::Unix;
        if *self.zone == TimeZone::UTC {
            return Ok(wall);
        }
        let whole = wall.floor();
        let civil = TimeZone::UTC
            .to_datetime(jiff::Timestamp::from_second(whole as i64).map_err(|_| NotATime)?);
        let there = self.zone.to_timestamp(civil).map_err(|_| NotATime)?;
        Ok(there.as_second() as f64 + (wall - whole))
    }

    /// A time of day on a clock that runs on over midnight: hours back, or another date, is another day.
    fn relative(&mut self, seconds: f64, date: &[u8]) -> Result<f64, NotATime> {
        self.clock = Clock::Relative;
        let days = &mut self.days;
        let another_date = days.begun && !date.is_empty() && date != days.date.as_slice();
        let step = seconds + days.passed * DAY_S - days.last;
        if days.begun && date.is_empty() && step > DAY_S - NEXT_DAY_S && days.passed > 0.0 {
            days.passed -= 1.0; // back over the midnight that was just passed
        } else if another_date || (days.begun && date.is_empty() && step < -NEXT_DAY_S) {
            days.passed += 1.0;
        }
        if days.date != date {
            days.date.clear();
            days.date.extend_from_slice(date);
        }
        days.begun = true;
        days.last = seconds + days.passed * DAY_S;
        Ok(days.last)
    }

    /// What a time of this file looks like, for messages.
    pub fn expected(&self) -> &'static str {
        match (self.form, self.clock) {
            (ClockForm::Plain, Clock::Relative) => {
                "a number of seconds from the start, as in the rows before"
            }
            (ClockForm::Plain, _) => {
                "a time in ISO 8601 such as 2025-09-12T14:03:00Z, or in Unix seconds"
            }
            (ClockForm::Gps, _) => "a number of seconds since the GPS epoch, as in the rows before",
            (ClockForm::Serial, _) => "a serial day, as in the rows before",
            (ClockForm::Compact, _) => "a date and time in 14 digits, as in the rows before",
            (ClockForm::Written(_), _) => "a date and a time, as in the rows before",
            (ClockForm::DayTime(_), _) => "a time of day, as in the rows before",
            (ClockForm::DateAndTime(..), _) => "a time of day beside a date, as in the rows before",
        }
    }
}

/// Days since 1970-01-01 of a date in a column of its own.
fn day_of(text: &str, form: DateForm, decimal_comma: bool) -> Result<f64, NotATime> {
    match form {
        DateForm::Serial => number(text.as_bytes(), decimal_comma)
            .ok()
            .filter(|d| d.is_finite())
            .map(|d| d.floor() - SERIAL_EPOCH_DAYS)
            .ok_or(NotATime),
        DateForm::Written(order) => {
            let (y, m, d) = written(text, order).and_then(|w| w.date).ok_or(NotATime)?;
            civil_day(y, m, d)
        }
        DateForm::Unordered => Err(NotATime),
    }
}

fn civil_day(year: i16, month: i8, day: i8) -> Result<f64, NotATime> {
    let date = jiff::civil::Date::new(year, month, day).map_err(|_| NotATime)?;
    let zoned = TimeZone::UTC
        .to_timestamp(date.at(0, 0, 0, 0))
        .map_err(|_| NotATime)?;
    Ok(zoned.as_second() as f64 / DAY_S)
}

fn of_number(value: f64, factor: f64) -> Result<(Clock, f64), NotATime> {
    let seconds = value * factor;
    if seconds.abs() < LEAST_UNIX_S {
        Ok((Clock::Relative, seconds))
    } else if (LEAST_UNIX_S..LEAST_UNIX_MS).contains(&seconds) {
        Ok((Clock::Unix, seconds))
    } else if (LEAST_UNIX_MS..NO_TIME).contains(&seconds) {
        Ok((Clock::Unix, seconds / 1000.0))
    } else {
        Err(NotATime)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(cell: &str, zone: &TimeZone) -> Result<(f64, Clock), NotATime> {
        let mut reader = TimeReader::new(zone, ClockForm::Plain, 1.0, false);
        reader.read(cell.as_bytes(), b"").map(|t| (t, reader.clock))
    }

    /// POSIX's own example of seconds since the Epoch, and RFC 3339's examples of one instant.
    #[test]
    fn iso_times_are_unix_seconds() {
        let utc = TimeZone::UTC;
        assert_eq!(read("1970-01-01T00:00:00Z", &utc), Ok((0.0, Clock::Unix)));
        assert_eq!(read("2001-09-09T01:46:40Z", &utc), Ok((1e9, Clock::Unix))); // the billionth second
        assert_eq!(
            read("1996-12-19T16:39:57-08:00", &utc),
            read("1996-12-20T00:39:57Z", &utc)
        );
        assert_eq!(
            read("2001-09-09 01:46:40.25", &utc),
            Ok((1e9 + 0.25, Clock::Unix))
        );
    }

    #[test]
    fn a_time_without_a_zone_is_local() {
        let berlin = TimeZone::get("Europe/Berlin").expect("in the database");
        assert_eq!(read("2001-09-09T03:46:40", &berlin), Ok((1e9, Clock::Unix))); // summer time: UTC + 2
        assert_eq!(
            read("2001-09-09T01:46:40Z", &berlin),
            Ok((1e9, Clock::Unix))
        );
    }

    #[test]
    fn numbers_are_unix_relative_or_neither() {
        let utc = TimeZone::UTC;
        assert_eq!(read("1757685780", &utc), Ok((1_757_685_780.0, Clock::Unix)));
        assert_eq!(
            read("1757685780000", &utc),
            Ok((1_757_685_780.0, Clock::Unix))
        );
        assert_eq!(read("12.5", &utc), Ok((12.5, Clock::Relative)));
        for bad in [
            "20250912140300",
            "12/09/2025 14:03",
            "noon",
            "2025-13-01T00:00:00Z",
            "-1e9",
        ] {
            assert_eq!(read(bad, &utc), Err(NotATime), "{bad}");
        }
        assert!(read("", &utc).is_ok_and(|(t, clock)| t.is_nan() && clock == Clock::None));
    }

    #[test]
    fn one_file_counts_from_one_start() {
        let utc = TimeZone::UTC;
        let mut reader = TimeReader::new(&utc, ClockForm::Plain, 1.0, false);
        assert_eq!(reader.read(b"3", b""), Ok(3.0));
        assert_eq!(reader.read(b"1757685780", b""), Err(NotATime));
        assert_eq!(reader.read(b"6", b""), Ok(6.0));
    }

    fn all(form: ClockForm, zone: &TimeZone, cells: &[(&str, &str)]) -> (Vec<f64>, Clock) {
        let mut reader = TimeReader::new(zone, form, 1.0, false);
        let times = cells
            .iter()
            .map(|(t, d)| reader.read(t.as_bytes(), d.as_bytes()).expect("a time"))
            .collect();
        (times, reader.clock)
    }

    /// 2001-09-09T01:46:40Z is the billionth second; GPS time was then 13 s ahead of UTC, yet the offset of today is
    /// used for every year (5 s off then, right since 2017). Serial day 37143 is 2001-09-09 (spreadsheet arithmetic:
    /// 36526 is 2000-01-01).
    #[test]
    fn one_instant_in_every_form() {
        let utc = TimeZone::UTC;
        let dmy = DateForm::Written(DateOrder::DayMonthYear);
        for (form, time, date) in [
            (ClockForm::Written(dmy), "09.09.2001 01:46:40", ""),
            (ClockForm::Written(dmy), "09/09/2001 03:46:40+02:00", ""),
            (ClockForm::Gps, "684035218", ""),
            (ClockForm::Compact, "20010909014640", ""),
            (
                ClockForm::DateAndTime(dmy, DayForm::Written),
                "1:46:40 AM",
                "09-09-2001",
            ),
            (
                ClockForm::DateAndTime(dmy, DayForm::Compact),
                "014640",
                "09092001",
            ),
            (
                ClockForm::DateAndTime(DateForm::Serial, DayForm::Seconds),
                "6400",
                "37143",
            ),
        ] {
            assert_eq!(
                all(form, &utc, &[(time, date)]),
                (vec![1e9], Clock::Unix),
                "{form:?}"
            );
        }
        let (t, _) = all(ClockForm::Serial, &utc, &[("37143.074074074", "")]);
        assert!((t[0] - 1e9).abs() < 0.002, "{t:?}");
        let berlin = TimeZone::get("Europe/Berlin").expect("in the database");
        assert_eq!(
            all(
                ClockForm::Written(dmy),
                &berlin,
                &[("09.09.2001 03:46:40.5", "")]
            )
            .0,
            [1e9 + 0.5]
        );
    }

    #[test]
    fn a_time_of_day_runs_on_over_midnight() {
        let form = ClockForm::DayTime(DayForm::Written);
        let cells = [
            ("23:59:58", ""),
            ("23:59:59", ""),
            ("00:00:00", ""),
            ("23:59:59", ""),
            ("00:00:01", ""),
        ];
        let (t, clock) = all(form, &TimeZone::UTC, &cells);
        assert_eq!(clock, Clock::Relative);
        assert_eq!(t[2] - t[1], 1.0);
    }

    #[test]
    fn unordered_dates_still_part_days() {
        let form = ClockForm::Written(DateForm::Unordered);
        let cells = [
            ("05/09/2025 10:00:00", ""),
            ("05/09/2025 10:00:01", ""),
            ("06/09/2025 09:00:00", ""),
        ];
        let (t, clock) = all(form, &TimeZone::UTC, &cells);
        assert_eq!((t[2] - t[1], clock), (DAY_S - 3601.0, Clock::Relative));
    }
}
