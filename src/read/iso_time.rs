//! Times in ISO 8601.

use jiff::civil::DateTime;
use jiff::fmt::temporal::DateTimeParser;
use jiff::tz::TimeZone;

use super::time::NotATime;

/// The minute of the row before: rows mostly differ in their seconds alone, so that most times need no calendar.
#[derive(Debug, Default)]
pub(super) struct Minute {
    /// The text up to the seconds, `2025-09-12T14:03:`.
    before: Vec<u8>,
    /// The text after the seconds: fraction and zone.
    after: Vec<u8>,
    /// Unix seconds of that text with the seconds 00.
    start: f64,
}

impl Minute {
    /// Unix seconds of a time, as [`of_text`] has them.
    pub fn of_text(&mut self, cell: &[u8], zone: &TimeZone) -> Result<f64, NotATime> {
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

    #[test]
    fn the_minute_before_changes_no_time() {
        let zone = TimeZone::get("Europe/Berlin").expect("in the database");
        let mut minute = Minute::default();
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
                minute.of_text(cell.as_bytes(), &zone),
                of_text(cell.as_bytes(), &zone),
                "{cell}"
            );
        }
        assert_eq!(
            minute.of_text(b"2025-10-26 01:00:61.25", &zone),
            Err(NotATime)
        );
    }
}
