//! Numbers in cells.

/// A cell that is neither a finite number nor missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NotANumber;

/// The number in a cell; NaN where it is missing: empty, or one of the words that tables write for nothing (`NA`,
/// `N/A`, `NaN`, `null`). A `%` behind it is no part of it. `decimal_comma`: a comma may stand for the decimal point.
pub(super) fn number(cell: &[u8], decimal_comma: bool) -> Result<f64, NotANumber> {
    let cell = cell.trim_ascii();
    if let Some(value) = plain(cell, decimal_comma) {
        return Ok(value);
    }
    if let Some(share) = cell
        .strip_suffix(b"%")
        .filter(|c| !c.is_empty() && !c.ends_with(b"%"))
    {
        return number(share, decimal_comma);
    }
    if let Some(value) = grouped(cell, decimal_comma) {
        return Ok(value);
    }
    let Ok(text) = std::str::from_utf8(cell) else {
        return Err(NotANumber);
    };
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        Ok(value) if value.is_nan() => Ok(f64::NAN),
        Ok(_) => Err(NotANumber),
        Err(_) if is_missing(cell) => Ok(f64::NAN),
        Err(_) if decimal_comma => with_comma(cell),
        Err(_) => Err(NotANumber),
    }
}

/// A number of at most 15 digits without an exponent, as nearly all cells of a log are; `None`: look closer.
///
/// Exact: its digits make an integer below 2⁵³ and the power of ten is one that an `f64` holds, so that the one
/// division rounds correctly (Clinger 1990, How to read floating point numbers accurately).
fn plain(cell: &[u8], decimal_comma: bool) -> Option<f64> {
    const POWERS: [f64; 16] = [
        1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
    ];
    let (negative, digits) = match cell {
        [b'-', digits @ ..] => (true, digits),
        digits => (false, digits),
    };
    if digits.is_empty() || digits.len() > 16 {
        return None;
    }
    let (mut whole, mut point) = (0u64, None);
    for (k, &b) in digits.iter().enumerate() {
        match b {
            b'0'..=b'9' => whole = whole * 10 + u64::from(b - b'0'),
            b'.' if point.is_none() => point = Some(k),
            b',' if decimal_comma && point.is_none() => point = Some(k),
            _ => return None,
        }
    }
    let decimals = match point {
        None if digits.len() > 15 => return None,
        None => 0,
        Some(_) if digits.len() == 1 => return None, // a point alone
        Some(k) => digits.len() - 1 - k,
    };
    let value = whole as f64 / POWERS[decimals];
    Some(if negative { -value } else { value })
}

fn is_missing(cell: &[u8]) -> bool {
    cell.is_empty()
        || [&b"na"[..], b"n/a", b"null"]
            .iter()
            .any(|w| cell.eq_ignore_ascii_case(w))
}

/// A number whose thousands are parted by a sign that can be nothing else: an apostrophe or a blank (also one that does not
/// break) before groups of three digits; commas or points where the other sign stands behind them, or where there are two
/// of them and more. `1,234` alone is not one: it may be a decimal comma.
#[cold]
fn grouped(cell: &[u8], decimal_comma: bool) -> Option<f64> {
    let (negative, digits) = match cell {
        [b'-', digits @ ..] => (true, digits),
        digits => (false, digits),
    };
    if digits.len() > 40 || !digits.first()?.is_ascii_digit() {
        return None;
    }
    // Signs of one kind each: blanks and apostrophes in UTF-8 and Windows-1252.
    let mut text = String::with_capacity(digits.len());
    let mut rest = digits;
    while let Some(&b) = rest.first() {
        let blank = [
            &b"\xe2\x80\xaf"[..],
            b"\xe2\x80\x89",
            b"\xc2\xa0",
            b"\xa0",
            b" ",
        ];
        let quote = [&b"\xe2\x80\x99"[..], b"'", b"\x92"];
        let of = |signs: &[&[u8]]| signs.iter().find(|s| rest.starts_with(s)).map(|s| s.len());
        let (sign, length) = match (b, of(&blank), of(&quote)) {
            (b'0'..=b'9' | b'.' | b',', ..) => (char::from(b), 1),
            (_, Some(n), _) => (' ', n),
            (_, _, Some(n)) => ('\'', n),
            _ => return None,
        };
        text.push(sign);
        rest = &rest[length..];
    }
    let sign = text.chars().find(|c| !c.is_ascii_digit())?;
    let groups = text.matches(sign).count();
    let (whole, part) = match text.rfind(|c: char| !c.is_ascii_digit() && c != sign) {
        Some(at) => (
            &text[..at],
            Some((text[at..].chars().next()?, &text[at + 1..])),
        ),
        None => (text.as_str(), None),
    };
    let mut parts = whole.split(sign);
    let first = parts.next()?.len();
    if !(1..=3).contains(&first)
        || parts.any(|p| p.len() != 3 || !p.bytes().all(|b| b.is_ascii_digit()))
    {
        return None;
    }
    let sure = match (sign, part.map(|p| p.0)) {
        (' ' | '\'', None | Some('.')) => true,
        (' ' | '\'', Some(',')) => decimal_comma,
        (',', Some('.')) => true,
        ('.', Some(',')) => decimal_comma,
        (',' | '.', None) => groups >= 2,
        _ => false,
    };
    let part = part.map_or("", |p| p.1);
    if !sure || !part.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let value: f64 = format!("{}.{part}0", whole.replace(sign, ""))
        .parse()
        .ok()?;
    Some(if negative { -value } else { value })
}

/// A number whose only comma stands for the decimal point.
fn with_comma(cell: &[u8]) -> Result<f64, NotANumber> {
    let mut buffer = [0u8; 32];
    let buffer = buffer.get_mut(..cell.len()).ok_or(NotANumber)?;
    let mut commas = 0;
    for (to, &from) in buffer.iter_mut().zip(cell) {
        *to = match from {
            b',' => {
                commas += 1;
                b'.'
            }
            b'.' => return Err(NotANumber),
            other => other,
        };
    }
    if commas != 1 {
        return Err(NotANumber);
    }
    let value = std::str::from_utf8(buffer)
        .ok()
        .and_then(|t| t.parse::<f64>().ok());
    value.filter(|v| v.is_finite()).ok_or(NotANumber)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_numbers_missing_or_neither() {
        assert_eq!(number(b" -93.97842 ", false), Ok(-93.97842));
        assert_eq!(number(b"1e-3", false), Ok(0.001));
        assert_eq!(number(b"15.5 %", false), Ok(15.5));
        assert_eq!(number(b"15,5%", true), Ok(15.5));
        for missing in [&b""[..], b"  ", b"NA", b"n/a", b"NaN", b"null"] {
            assert!(number(missing, false).is_ok_and(f64::is_nan));
        }
        for bad in [
            &b"abc"[..],
            b"inf",
            b"-infinity",
            b"1e999",
            b"12,5",
            b"1 2",
            b"5 %%",
            b"0x10",
            b"\xFF",
        ] {
            assert_eq!(number(bad, false), Err(NotANumber), "{bad:?}");
        }
    }

    proptest::proptest! {
        /// The standard library is the oracle, to the last bit.
        #[test]
        fn the_short_way_agrees_with_the_standard_library(text in "-?[0-9]{0,9}(\\.[0-9]{0,9})?") {
            let ours = number(text.as_bytes(), false).ok().filter(|v| !v.is_nan()).map(f64::to_bits);
            proptest::prop_assert_eq!(ours, text.parse::<f64>().ok().map(f64::to_bits));
        }
    }

    #[test]
    fn thousands_may_be_parted() {
        for (text, comma, value) in [
            ("1,234.5", false, 1234.5),
            ("12,960", false, f64::INFINITY),
            ("-1,234,567", false, -1_234_567.0),
            ("1.234,5", true, 1234.5),
            ("1.234,5", false, f64::INFINITY),
            ("1.234.567", true, 1_234_567.0),
            ("12\u{202f}960,0", true, 12_960.0),
            ("12\u{a0}960", false, 12_960.0),
            ("12'960.25", false, 12_960.25),
            ("1’012’960", false, 1_012_960.0),
            ("1 2", false, f64::INFINITY),
            ("1234,567.8", false, f64::INFINITY),
            ("1,234.567.8", false, f64::INFINITY),
            ("12 960 kg", false, f64::INFINITY),
        ] {
            let found = number(text.as_bytes(), comma).unwrap_or(f64::INFINITY);
            assert_eq!(found, value, "{text}");
        }
        assert_eq!(number(b"12\xa0960", false), Ok(12_960.0));
    }

    #[test]
    fn a_comma_is_a_decimal_point_where_it_may_be() {
        assert_eq!(number(b"12,5", true), Ok(12.5));
        assert_eq!(number(b"-0,25", true), Ok(-0.25));
        for bad in [&b"1.23,5"[..], b"1,23,567", b",", b"1,2x"] {
            assert_eq!(number(bad, true), Err(NotANumber), "{bad:?}");
        }
    }
}
