//! Numbers and times as text, appended to a buffer without allocation: layers hold millions of them.

use std::io::Write;

/// Powers of ten, exact in a double.
const POWER: [f64; 10] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9];
/// The same as whole numbers.
const WHOLE_POWER: [u64; 10] = [
    1,
    10,
    100,
    1_000,
    10_000,
    100_000,
    1_000_000,
    10_000_000,
    100_000_000,
    1_000_000_000,
];
/// Up to here a scaled number is an exact integer in a double (2⁵³).
const EXACT: f64 = 9_007_199_254_740_992.0;
const DAY_MS: i64 = 86_400_000;

/// Two digits at a time: "00" to "99".
const PAIRS: [[u8; 2]; 100] = {
    let mut pairs = [[0; 2]; 100];
    let mut n = 0;
    while n < 100 {
        pairs[n] = [b'0' + (n / 10) as u8, b'0' + (n % 10) as u8];
        n += 1;
    }
    pairs
};

/// Bytes of the longest text of a number that is put together here.
const WIDEST: usize = 24;

/// Appends `text[at..WIDEST]`: as many bytes as the widest number has, and those too many taken back. A copy of a fixed
/// size is a few instructions, one of any size a call.
fn append(out: &mut Vec<u8>, text: &[u8; 2 * WIDEST], at: usize) {
    let end = out.len() + WIDEST - at;
    if let Some(bytes) = text[at..].first_chunk::<WIDEST>() {
        out.extend_from_slice(bytes);
        out.truncate(end);
    }
}

/// Writes a whole number so that it ends before `end`; returns where it starts.
fn digits_before(text: &mut [u8; 2 * WIDEST], end: usize, value: u64) -> usize {
    let mut at = end;
    let mut rest = value;
    while rest >= 10 {
        at -= 2;
        text[at..at + 2].copy_from_slice(&PAIRS[(rest % 100) as usize]);
        rest /= 100;
    }
    if rest > 0 || at == end {
        at -= 1;
        text[at] = b'0' + rest as u8;
    }
    at
}

/// Appends a whole number.
pub(crate) fn push_integer(out: &mut Vec<u8>, value: u64) {
    let mut text = [0; 2 * WIDEST];
    let start = digits_before(&mut text, WIDEST, value);
    append(out, &text, start);
}

/// Appends a number rounded to `decimals` (at most 9), without trailing zeros. False, and nothing appended, where
/// the number is missing (NaN or infinite).
pub(crate) fn push_decimal(out: &mut Vec<u8>, value: f64, decimals: usize) -> bool {
    // To divide by a power that is known beforehand takes a fraction of the time.
    let push = [
        push_with::<0>,
        push_with::<1>,
        push_with::<2>,
        push_with::<3>,
        push_with::<4>,
        push_with::<5>,
        push_with::<6>,
        push_with::<7>,
        push_with::<8>,
        push_with::<9>,
    ][decimals];
    push(out, value)
}

fn push_with<const DECIMALS: usize>(out: &mut Vec<u8>, value: f64) -> bool {
    let decimals = DECIMALS;
    if !value.is_finite() {
        return false;
    }
    let scaled = value.abs() * POWER[decimals] + 0.5;
    if scaled >= EXACT {
        let start = out.len();
        // Writing to a vector cannot fail.
        let _ = write!(out, "{value:.decimals$}");
        if decimals > 0 {
            let end = out[start..]
                .iter()
                .rposition(|&b| b != b'0')
                .map_or(0, |p| start + p + 1);
            out.truncate(if out[end - 1] == b'.' { end - 1 } else { end });
        }
        return true;
    }
    let scaled = scaled as u64;
    let power = WHOLE_POWER[decimals];
    let (whole, mut fraction) = (scaled / power, scaled % power);
    let mut text = [b'0'; 2 * WIDEST];
    let mut at = WIDEST;
    let mut left = decimals;
    if fraction == 0 {
        left = 0;
    }
    while left > 0 && fraction % 10 == 0 {
        fraction /= 10;
        left -= 1;
    }
    if left > 0 {
        let point = at - left - 1;
        digits_before(&mut text, at, fraction); // zeros are there already
        text[point] = b'.';
        at = point;
    }
    at = digits_before(&mut text, at, whole);
    if value < 0.0 && scaled > 0 {
        at -= 1;
        text[at] = b'-';
    }
    append(out, &text, at);
    true
}

/// The number that [`push_decimal`] writes, as a reader gets it back; `None` where it is missing.
pub(crate) fn rounded(value: f64, decimals: usize) -> Option<f64> {
    if !value.is_finite() {
        return None;
    }
    let scaled = value.abs() * POWER[decimals] + 0.5;
    if scaled >= EXACT {
        return Some(value); // beyond the digits that a double has after the point
    }
    // Both are exact, so their quotient is the double nearest to the decimal number.
    let magnitude = (scaled as u64) as f64 / POWER[decimals];
    Some(if value < 0.0 && magnitude > 0.0 {
        -magnitude
    } else {
        magnitude
    })
}

/// Milliseconds of a Unix time that [`TimeText`] can write.
pub(crate) fn unix_ms(unix: f64) -> Option<i64> {
    /// 0000-01-01 and 9999-12-31: the first day that has a date, and the first that has none.
    const DATED: std::ops::Range<i64> = -62_167_219_200_000..253_402_214_400_000;
    rounded_ms(unix).filter(|ms| DATED.contains(ms))
}

fn rounded_ms(unix: f64) -> Option<i64> {
    (unix.abs() < 1e12).then(|| (unix * 1e3).round() as i64)
}

/// Writes Unix times as ISO 8601 text in UTC; remembers the day, since neighbouring rows share it.
#[derive(Default)]
pub(crate) struct TimeText {
    day: Option<i64>,
    date: String,
}

impl TimeText {
    /// Appends `2025-10-03T14:05:09Z`, with up to three decimals of a second where they are not zero. False, and
    /// nothing appended, where the time is missing or not in the years 0000 to 9999.
    pub(crate) fn push(&mut self, out: &mut Vec<u8>, unix: f64) -> bool {
        let Some(ms) = rounded_ms(unix) else {
            return false;
        };
        let (day, in_day) = (ms.div_euclid(DAY_MS), ms.rem_euclid(DAY_MS) as u64);
        if self.day != Some(day) {
            let Some(date) = date(day) else { return false };
            (self.day, self.date) = (Some(day), date);
        }
        let second = in_day / 1000;
        let mut clock = *b"T00:00:00";
        for (at, part) in [(1, second / 3600), (4, second / 60 % 60), (7, second % 60)] {
            clock[at] += (part / 10) as u8;
            clock[at + 1] += (part % 10) as u8;
        }
        out.extend_from_slice(self.date.as_bytes());
        out.extend_from_slice(&clock);
        let fraction = in_day % 1000;
        if fraction > 0 {
            let digits = [
                b'0' + (fraction / 100) as u8,
                b'0' + (fraction / 10 % 10) as u8,
                b'0' + (fraction % 10) as u8,
            ];
            let end = digits.iter().rposition(|&d| d != b'0').map_or(0, |p| p + 1);
            out.push(b'.');
            out.extend_from_slice(&digits[..end]);
        }
        out.push(b'Z');
        true
    }
}

/// The date of a day counted from 1970-01-01.
fn date(day: i64) -> Option<String> {
    let stamp = jiff::Timestamp::from_second(day.checked_mul(86_400)?).ok()?;
    let date = jiff::tz::Offset::UTC.to_datetime(stamp).date();
    (date.year() >= 0).then(|| date.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    fn decimal(value: f64, decimals: usize) -> String {
        let mut out = vec![];
        assert_eq!(push_decimal(&mut out, value, decimals), value.is_finite());
        String::from_utf8(out).unwrap()
    }

    fn time(unix: f64) -> Option<String> {
        let mut out = vec![];
        TimeText::default()
            .push(&mut out, unix)
            .then(|| String::from_utf8(out).unwrap())
    }

    #[test]
    fn decimals_end_where_the_number_does() {
        for (value, decimals, text) in [
            (12.340, 4, "12.34"),
            (-0.000_04, 4, "0"),
            (-0.000_05, 4, "-0.0001"),
            (100.0, 2, "100"),
            (0.05, 2, "0.05"),
            (-93.123_456_78, 7, "-93.1234568"),
            (1e17, 3, "100000000000000000"),
            (-123_456_789_012_345.25, 2, "-123456789012345.25"),
            (0.0, 0, "0"),
            (10.0, 0, "10"),
            (1e16, 0, "10000000000000000"),
            (f64::NAN, 3, ""),
            (f64::INFINITY, 3, ""),
        ] {
            assert_eq!(decimal(value, decimals), text, "{value}");
        }
    }

    #[test]
    fn integers_are_whole() {
        let mut out = vec![];
        for n in [0, 7, 10, u64::MAX] {
            push_integer(&mut out, n);
            out.push(b' ');
        }
        assert_eq!(
            String::from_utf8(out).unwrap(),
            "0 7 10 18446744073709551615 "
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(7), ..ProptestConfig::default() })]

        #[test]
        fn a_rounded_number_is_what_its_text_reads_as(value in -1e13..1e13_f64, decimals in 0..8_usize) {
            for value in [value, value * 1e-9] {
                let read: f64 = decimal(value, decimals).parse().unwrap();
                prop_assert_eq!(rounded(value, decimals), Some(read));
            }
        }

        #[test]
        fn a_time_has_milliseconds_where_it_has_a_text(unix in -7e10..3e11_f64) {
            let text = time(unix).map(|t| t.parse::<jiff::Timestamp>().unwrap().as_millisecond());
            prop_assert_eq!(unix_ms(unix), text);
        }
    }

    #[test]
    fn the_first_and_the_last_day_have_times() {
        for unix in [
            -62_167_219_200.001,
            -62_167_219_200.0,
            253_402_214_399.999,
            253_402_214_400.0,
        ] {
            assert_eq!(unix_ms(unix).is_some(), time(unix).is_some(), "{unix}");
        }
        assert_eq!(unix_ms(f64::NAN), None);
        assert_eq!(rounded(f64::NAN, 2), None);
    }

    /// 1759500309 = 2025-10-03T14:05:09Z: GNU `date -u -d @1759500309`.
    #[test]
    fn times_are_utc() {
        assert_eq!(time(1_759_500_309.0).unwrap(), "2025-10-03T14:05:09Z");
        assert_eq!(time(1_759_500_309.25).unwrap(), "2025-10-03T14:05:09.25Z");
        assert_eq!(time(1_759_500_309.999_9).unwrap(), "2025-10-03T14:05:10Z");
        assert_eq!(time(-1.0).unwrap(), "1969-12-31T23:59:59Z");
        assert_eq!(time(f64::NAN), None);
        assert_eq!(time(1e300), None);
        assert_eq!(time(9e11), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

        #[test]
        fn a_number_reads_back_to_half_its_last_decimal(value in -1e9..1e9_f64, decimals in 0_usize..=6) {
            let back: f64 = decimal(value, decimals).parse().unwrap();
            prop_assert!((back - value).abs() <= 0.500_001 * 10_f64.powi(-(decimals as i32)) + 1e-7);
        }

        #[test]
        fn times_agree_with_jiff(ms in -60_000_000_000_000_i64..250_000_000_000_000) {
            let expected = jiff::Timestamp::from_millisecond(ms).unwrap().to_string();
            prop_assert_eq!(time(ms as f64 / 1e3).unwrap(), expected);
        }
    }
}
