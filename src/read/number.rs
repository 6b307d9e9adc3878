//! Numbers in cells.

/// A cell that is neither a finite number nor missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NotANumber;

/// The number in a cell; NaN where it is missing: empty, or one of the words that tables write for nothing (`NA`,
/// `N/A`, `NaN`, `null`). `decimal_comma`: a comma may stand for the decimal point.
pub(super) fn number(cell: &[u8], decimal_comma: bool) -> Result<f64, NotANumber> {
    let cell = cell.trim_ascii();
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

fn is_missing(cell: &[u8]) -> bool {
    cell.is_empty()
        || [&b"na"[..], b"n/a", b"null"]
            .iter()
            .any(|w| cell.eq_ignore_ascii_case(w))
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
            b"0x10",
            b"\xFF",
        ] {
            assert_eq!(number(bad, false), Err(NotANumber), "{bad:?}");
        }
    }

    #[test]
    fn a_comma_is_a_decimal_point_where_it_may_be() {
        assert_eq!(number(b"12,5", true), Ok(12.5));
        assert_eq!(number(b"-0,25", true), Ok(-0.25));
        for bad in [&b"1.234,5"[..], b"1,234,567", b",", b"1,2x"] {
            assert_eq!(number(bad, true), Err(NotANumber), "{bad:?}");
        }
    }
}
