//! Dates and times as people and spreadsheets write them, beside ISO 8601.

use crate::job::DateOrder;

/// A date and a time of day taken from one text.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in crate::read) struct Written {
    /// Year, month, day, where there is a date.
    pub date: Option<(i16, i8, i8)>,
    /// Seconds since midnight, where there is a time.
    pub seconds: Option<f64>,
    /// Seconds east of Greenwich, where the text names a zone.
    pub offset: Option<f64>,
}

/// Takes a text apart: a date in this order, a time of day, or both. `None` where it is neither.
pub(in crate::read) fn written(text: &str, order: DateOrder) -> Option<Written> {
    let text = text.trim();
    let mut out = Written::default();
    let (date, time) = parted(text);
    if !date.is_empty() {
        out.date = Some(date_of(date, order)?);
    }
    if !time.is_empty() {
        let (seconds, offset) = time_of_day(time)?;
        out.seconds = Some(seconds);
        out.offset = offset;
    }
    (out.date.is_some() || out.seconds.is_some()).then_some(out)
}

/// The text of the date and the text of the time: the time starts at the group of digits before the first `:`.
fn parted(text: &str) -> (&str, &str) {
    match text.find(':') {
        Some(colon) => {
            let bytes = text.as_bytes();
            let mut at = colon;
            while at > 0 && bytes[at - 1].is_ascii_digit() {
                at -= 1;
            }
            (
                text[..at]
                    .trim_end_matches([' ', 'T', 't', ',', '-', '_'])
                    .trim_end(),
                &text[at..],
            )
        }
        None => (text, ""),
    }
}

/// A date of three groups: digits, or a month by its English name.
fn date_of(text: &str, order: DateOrder) -> Option<(i16, i8, i8)> {
    let groups: Vec<&str> = text
        .split(|c: char| !c.is_alphanumeric())
        .filter(|g| !g.is_empty())
        .collect();
    let groups: [&str; 3] = match groups.as_slice() {
        [a, b, c] => [a, b, c],
        [one] if one.len() == 8 && one.bytes().all(|b| b.is_ascii_digit()) => match order {
            DateOrder::YearMonthDay => [&one[..4], &one[4..6], &one[6..]],
            _ => [&one[..2], &one[2..4], &one[4..]],
        },
        _ => return None,
    };
    let pick = match order {
        DateOrder::YearMonthDay => [0, 1, 2],
        DateOrder::DayMonthYear => [2, 1, 0],
        DateOrder::MonthDayYear => [2, 0, 1],
    };
    let [year, month, day] = pick.map(|k| groups[k]);
    let month = month_by_name(month).or_else(|| month.parse::<i8>().ok())?;
    let (day, digits) = (day.parse::<i8>().ok()?, year.len());
    let year: i16 = year.parse().ok()?;
    let year = match digits {
        2 => 2000 + year,
        4 => year,
        _ => return None,
    };
    jiff::civil::Date::new(year, month, day)
        .ok()
        .map(|_| (year, month, day))
}

fn month_by_name(text: &str) -> Option<i8> {
    const NAMES: [&str; 12] = [
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    ];
    let text = text.to_lowercase();
    if text.len() < 3 {
        return None;
    }
    NAMES
        .iter()
        .position(|n| n.starts_with(&text))
        .map(|k| k as i8 + 1)
}

/// Seconds since midnight of `14:03`, `14:03:05.25` or `2:03:05 PM`, and the zone behind it.
fn time_of_day(text: &str) -> Option<(f64, Option<f64>)> {
    let digits = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, ':' | '.' | ',')))
        .unwrap_or(text.len());
    let (clock, tail) = (text[..digits].replace(',', "."), text[digits..].trim());
    let parts: Vec<&str> = clock.split(':').collect();
    let (h, m, s) = match parts.as_slice() {
        [h, m] => (h.parse::<u32>().ok()?, m.parse::<u32>().ok()?, 0.0),
        [h, m, s] => (h.parse().ok()?, m.parse().ok()?, s.parse::<f64>().ok()?),
        _ => return None,
    };
    let (half, zone) = half_day(tail);
    let h = match half {
        None => h,
        Some(_) if !(1..=12).contains(&h) => return None,
        Some(after_noon) => h % 12 + if after_noon { 12 } else { 0 },
    };
    if h > 24 || m > 59 || !(0.0..61.0).contains(&s) {
        return None;
    }
    let seconds = f64::from(h * 3600 + m * 60) + s;
    match zone {
        "" => Some((seconds, None)),
        zone => Some((seconds, Some(offset(zone)?))),
    }
}

/// `AM` or `PM` at the start of what follows a time, and the rest.
fn half_day(tail: &str) -> (Option<bool>, &str) {
    let lower = tail.to_lowercase();
    for (word, after_noon) in [("a.m.", false), ("p.m.", true), ("am", false), ("pm", true)] {
        if lower.starts_with(word) {
            return (Some(after_noon), tail[word.len()..].trim());
        }
    }
    (None, tail)
}

/// Seconds east of Greenwich of `Z`, `UTC`, `+02:00`, `-0500`.
fn offset(zone: &str) -> Option<f64> {
    let zone = zone.trim_start_matches("UTC").trim_start_matches("GMT");
    if zone.is_empty() || zone.eq_ignore_ascii_case("z") {
        return Some(0.0);
    }
    let sign = match zone.as_bytes()[0] {
        b'+' => 1.0,
        b'-' => -1.0,
        _ => return None,
    };
    let digits: String = zone[1..].chars().filter(char::is_ascii_digit).collect();
    let (h, m) = match digits.len() {
        1 | 2 => (digits.as_str(), "0"),
        4 => digits.split_at(2),
        _ => return None,
    };
    Some(sign * (h.parse::<f64>().ok()? * 3600.0 + m.parse::<f64>().ok()? * 60.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_read_in_their_order() {
        let date = |t, o| written(t, o).and_then(|w| w.date);
        use DateOrder::{DayMonthYear as Dmy, MonthDayYear as Mdy, YearMonthDay as Ymd};
        for (text, order) in [
            ("12.09.2025", Dmy),
            ("09/12/2025", Mdy),
            ("9/12/25", Mdy),
            ("2025/09/12", Ymd),
            ("20250912", Ymd),
            ("12-Sep-2025", Dmy),
            ("Sep 12, 2025", Mdy),
        ] {
            assert_eq!(date(text, order), Some((2025, 9, 12)), "{text}");
        }
        assert_eq!(date("13/12/2025", Mdy), None);
        assert_eq!(date("2025-02-29", Ymd), None);
    }

    #[test]
    fn times_of_day_are_seconds() {
        let time = |t| written(t, DateOrder::YearMonthDay).and_then(|w| w.seconds);
        assert_eq!(time("14:03"), Some(50_580.0));
        assert_eq!(time("2:03:05.25 PM"), Some(50_585.25));
        assert_eq!(time("12:00:00 am"), Some(0.0));
        assert_eq!(time("25:00"), None);
        assert_eq!(time("13:00 PM"), None);
        assert_eq!(time("noon"), None);
    }

    #[test]
    fn both_together_may_name_a_zone() {
        let w = written("12.09.2025 14:03:05+02:00", DateOrder::DayMonthYear).expect("read");
        assert_eq!(
            (w.date, w.seconds, w.offset),
            (Some((2025, 9, 12)), Some(50_585.0), Some(7200.0))
        );
        assert_eq!(written("", DateOrder::DayMonthYear), None);
    }
}
