//! Numbers as people read them: rounded, with thousands apart, and a dash where there is none.

/// What stands for a missing number.
pub(crate) const MISSING: &str = "–";

/// A number with `decimals`, thousands apart: `-12,345.6`.
pub(crate) fn rounded(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return MISSING.to_owned();
    }
    let text = format!("{:.decimals$}", value.abs());
    let (whole, fraction) = text.split_at(text.find('.').unwrap_or(text.len()));
    let mut grouped = String::new();
    for (k, digit) in whole.chars().enumerate() {
        if k > 0 && (whole.len() - k).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    let negative = value < 0.0 && text.chars().any(|c| ('1'..='9').contains(&c));
    format!("{}{grouped}{fraction}", if negative { "-" } else { "" })
}

/// The same for a number that may be missing.
pub(crate) fn optional(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| MISSING.to_owned(), |v| rounded(v, decimals))
}

/// A count, thousands apart.
pub(crate) fn count(value: u64) -> String {
    rounded(value as f64, 0)
}

/// ` (9.41 to 9.53)`; nothing where an end is missing.
pub(crate) fn interval(low: Option<f64>, high: Option<f64>, decimals: usize) -> String {
    match (low, high) {
        (Some(low), Some(high)) => {
            format!(
                " ({} to {})",
                rounded(low, decimals),
                rounded(high, decimals)
            )
        }
        _ => String::new(),
    }
}

/// Decimals at which a yield in this unit is worth reading: some 0.1 % of a usual one.
pub(crate) fn yield_decimals(unit: &str) -> usize {
    match unit {
        "t/ha" => 2,
        "bu/ac" => 1,
        _ => 0,
    }
}

/// `1 point`, `2 points`.
pub(crate) fn counted(n: u64, one: &str, many: &str) -> String {
    format!("{} {}", count(n), if n == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_stand_apart() {
        for (value, decimals, text) in [
            (0.0, 0, "0"),
            (999.0, 0, "999"),
            (1000.0, 0, "1,000"),
            (-1_234_567.891, 1, "-1,234,567.9"),
            (-0.04, 1, "0.0"),
            (999.96, 1, "1,000.0"),
            (f64::NAN, 1, MISSING),
        ] {
            assert_eq!(rounded(value, decimals), text);
        }
        assert_eq!(interval(Some(1.0), None, 1), "");
        assert_eq!(counted(1, "point", "points"), "1 point");
        assert_eq!(counted(1200, "point", "points"), "1,200 points");
    }
}
