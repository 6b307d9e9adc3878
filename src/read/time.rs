//! Times in cells: ISO 8601 with or without a zone, Unix seconds, or seconds from an unknown start.

use jiff::civil::DateTime;
use jiff::fmt::temporal::DateTimeParser;
use jiff::tz::TimeZone;

use super::number::number;
use crate::log::Clock;

/// Least number taken for Unix seconds (1973-03-03, our choice: no log is older, and no season lasts three years).
const LEAST_UNIX_S: f64 = 1e8;
/// Least number taken for Unix milliseconds (in seconds it would be the year 5138).
const LEAST_UNIX_MS: f64 = 1e11;
/// Numbers from here on are no times (as milliseconds: the year 2286).
const NO_TIME: f64 = 1e13;

/// Reads the times of one file, which all count from the same start.
pub(super) struct TimeReader<'a> {
    zone: &'a TimeZone,
    /// Seconds in one of the column's unit.
    factor: f64,
    decimal_comma: bool,
    minute: Minute,
    /// What the file's times count from; [`Clock::None`] until the first one is read.
    pub clock: Clock,
}

/// A cell that is not a time like the others of its file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NotATime;

impl<'a> TimeReader<'a> {
    pub fn new(zone: &'a TimeZone, factor: f64, decimal_comma: bool) -> Self {
        Self {
            zone,
            factor,
            decimal_comma,
            minute: Minute::default(),
            clock: Clock::None,
        }
    }

    /// The time in a cell, s; NaN where it is missing.
    pub fn read(&mut self, cell: &[u8]) -> Result<f64, NotATime> {
        let cell = cell.trim_ascii();
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

    /// What a time of this file looks like, for messages.
    pub fn expected(&self) -> &'static str {
        match self.clock {
            Clock::Relative => "a number of seconds from the start, as in the rows before",
            Clock::Unix | Clock::None => {
                "a time in ISO 8601 such as 2025-09-12T14:03:00Z, or in Unix seconds"
            }
        }
    }
}

/// The minute of the row before: rows mostly differ in their seconds alone, so that most times need no calendar.
#[derive(Debug, Default)]
struct Minute {
    /// The text up to the seconds, `2025-09-12T14:03:`.
    before: Vec<u8>,
    /// The text after the seconds: fraction and zone.
    after: Vec<u8>,
    /// Unix seconds of that text with the seconds 00.
    start: f64,
}

impl Minute {
    fn of_text(&mut self, cell: &[u8], zone: &TimeZone) -> Result<f64, NotATime> {
        let Some((before, rest)) = cell.split_at_checked(17) else {
            return of_text(cell, zone);
        };
        let seconds = match rest {
            [tens @ b'0'..=b'5', ones @ b'0'..=b'9', ..] => {
                f64::from((tens - b'0') * 10 + (ones - b'0'))
            }
            _ => return of_text(cell, zone),
        };
        let after = &rest[2..];
        if before == self.before && after == self.after {
            return Ok(self.start + seconds);
        }
        let time = of_text(cell, zone)?;
        // Only where those two digits are the seconds of `hh:mm:ss` do the times of a minute differ by them.
        if before[16] == b':' && before[13] == b':' {
            self.before.clear();
            self.before.extend_from_slice(before);
            self.after.clear();
            self.after.extend_from_slice(after);
            self.start = time - seconds;
        }
        Ok(time)
    }
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

/// Unix seconds of an ISO 8601 time; without a zone it is taken in `zone` (where clocks went back, the earlier one).
pub(super) fn of_text(cell: &[u8], zone: &TimeZone) -> Result<f64, NotATime> {
    static PARSER: DateTimeParser = DateTimeParser::new();
    let time_of_day = cell.get(10..).unwrap_or_default();
    let has_zone = time_of_day
        .iter()
        .any(|b| matches!(b, b'Z' | b'z' | b'+' | b'-'));
    let timestamp = if has_zone {
        PARSER.parse_timestamp(cell).map_err(|_| NotATime)?
    } else {
        let civil: DateTime = PARSER.parse_datetime(cell).map_err(|_| NotATime)?;
        zone.to_timestamp(civil).map_err(|_| NotATime)?
    };
    Ok(timestamp.as_second() as f64 + f64::from(timestamp.subsec_nanosecond()) * 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(cell: &str, zone: &TimeZone) -> Result<(f64, Clock), NotATime> {
        let mut reader = TimeReader::new(zone, 1.0, false);
        reader.read(cell.as_bytes()).map(|t| (t, reader.clock))
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
    fn the_minute_before_changes_no_time() {
        let zone = TimeZone::get("Europe/Berlin").expect("in the database");
        let mut reader = TimeReader::new(&zone, 1.0, false);
        for cell in [
            "2025-10-26T00:59:58Z",
            "2025-10-26T00:59:59Z",
            "2025-10-26T01:00:00Z",
            "2025-10-26T01:00:01+02:00",
            "2025-10-26T01:00:02+02:00",
            "2025-10-26T01:00:03",
            "2025-10-26T01:00:04",
            "2025-10-26 01:00:05.5",
            "2025-10-26 01:00:06.5",
            "2025-10-26 01:00:07.25",
        ] {
            assert_eq!(
                reader.read(cell.as_bytes()),
                of_text(cell.as_bytes(), &zone),
                "{cell}"
            );
        }
        assert_eq!(reader.read(b"2025-10-26 01:00:61.25"), Err(NotATime));
    }

    #[test]
    fn one_file_counts_from_one_start() {
        let utc = TimeZone::UTC;
        let mut reader = TimeReader::new(&utc, 1.0, false);
        assert_eq!(reader.read(b"3"), Ok(3.0));
        assert_eq!(reader.read(b"1757685780"), Err(NotATime));
        assert_eq!(reader.read(b"6"), Ok(6.0));
    }
}
