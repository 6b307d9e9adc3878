//! Amounts that carry their unit in the text: `"9.1 m"`, `"56 lb"`, `"15.5 %"`.

use super::{Quantity, Unit};

/// Why a text is not an amount.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AmountError {
    /// No number at its start, or one that is not finite.
    #[error("\"{0}\" does not start with a finite number")]
    Number(String),
    /// A number without a unit.
    #[error("\"{0}\" has no unit")]
    NoUnit(String),
    /// A unit that the quantity does not have.
    #[error("\"{1}\" in \"{0}\" is not one of its units")]
    Unit(String, String),
    /// Bushels where no crop says what one weighs.
    #[error("\"{0}\" counts bushels, and no single crop says what one weighs")]
    Bushel(String),
    /// The ends of a range the wrong way round, or equal.
    #[error("{0} is not below {1}")]
    Order(String, String),
}

/// An amount in the inner unit of `quantity`. `bushel_kg`: the crop's conversion bushel, where there is one crop.
///
/// ```
/// use fanmill::units::{Quantity, parse_amount};
/// assert_eq!(parse_amount(Quantity::Length, "30 ft", None)?, 9.144);
/// assert_eq!(parse_amount(Quantity::Percent, "15.5 %", None)?, 15.5);
/// # Ok::<(), fanmill::units::AmountError>(())
/// ```
pub fn parse_amount(
    quantity: Quantity,
    text: &str,
    bushel_kg: Option<f64>,
) -> Result<f64, AmountError> {
    let trimmed = text.trim();
    let (number, unit) = split(trimmed);
    let value: f64 = number
        .parse()
        .map_err(|_| AmountError::Number(text.to_owned()))?;
    if !value.is_finite() {
        return Err(AmountError::Number(text.to_owned()));
    }
    if unit.is_empty() {
        return Err(AmountError::NoUnit(text.to_owned()));
    }
    let unit: &Unit = quantity
        .unit(unit)
        .ok_or_else(|| AmountError::Unit(text.to_owned(), unit.to_owned()))?;
    match bushel_kg {
        None if unit.needs_bushel() => Err(AmountError::Bushel(text.to_owned())),
        None => Ok(value * unit.factor(f64::NAN)),
        Some(bushel) => Ok(value * unit.factor(bushel)),
    }
}

/// The lowest and the highest of two amounts, in the inner unit of `quantity`.
pub fn parse_range(
    quantity: Quantity,
    low: &str,
    high: &str,
    bushel_kg: Option<f64>,
) -> Result<(f64, f64), AmountError> {
    let range = (
        parse_amount(quantity, low, bushel_kg)?,
        parse_amount(quantity, high, bushel_kg)?,
    );
    if range.0 < range.1 {
        Ok(range)
    } else {
        Err(AmountError::Order(low.to_owned(), high.to_owned()))
    }
}

impl Quantity {
    /// What [`parse_amount`] takes, as a regular expression for checkers: a number and the symbol of a unit. (Plain words
    /// for units, which it takes too, are left out.) `bushels`: whether a crop says what a bushel weighs.
    ///
    /// ```
    /// use fanmill::units::Quantity;
    /// assert!(Quantity::Speed.pattern(false).ends_with("(m/s|km/h|mph|kn|ft/s)"));
    /// ```
    pub fn pattern(self, bushels: bool) -> String {
        format!("{NUMBER}\\s*({})", self.written_units(bushels).join("|"))
    }

    /// Symbols of the units in which an amount may be written. `bushels`: whether a crop says what a bushel weighs.
    pub fn written_units(self, bushels: bool) -> Vec<&'static str> {
        self.units()
            .filter(|u| bushels || !u.needs_bushel())
            .map(|u| u.symbol)
            .collect()
    }
}

/// A number as Rust reads one that [`split`] finds; without the infinite ones, which have no digits.
const NUMBER: &str = r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?";

/// The number and the unit of an amount; an `e` is an exponent only where digits follow it.
fn split(text: &str) -> (&str, &str) {
    let bytes = text.as_bytes();
    let mut end = 0;
    while end < bytes.len() {
        let exponent = matches!(bytes[end], b'e' | b'E')
            && matches!(bytes.get(end + 1), Some(b'0'..=b'9' | b'+' | b'-'));
        if exponent {
            end += 2;
        } else if matches!(bytes[end], b'0'..=b'9' | b'.' | b'+' | b'-') {
            end += 1;
        } else {
            break;
        }
    }
    (&text[..end], text[end..].trim_start())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_become_si() {
        let lb = |t| parse_amount(Quantity::Mass, t, None);
        assert_eq!(lb("56 lb"), Ok(56.0 * 0.453_592_37));
        assert_eq!(lb("56lb"), lb("56 lb"));
        assert_eq!(lb(" 5.6e1 lb "), lb("56 lb"));
        assert_eq!(parse_amount(Quantity::Time, "-2 s", None), Ok(-2.0));
        assert_eq!(parse_amount(Quantity::Mass, "2 bu", Some(27.0)), Ok(54.0));
    }

    #[test]
    fn what_is_no_amount_says_why() {
        let m = |t| parse_amount(Quantity::Length, t, None).unwrap_err();
        assert_eq!(m("NaN m"), AmountError::Number("NaN m".into()));
        assert_eq!(m("inf m"), AmountError::Number("inf m".into()));
        assert_eq!(m("1e999 m"), AmountError::Number("1e999 m".into()));
        assert_eq!(m(""), AmountError::Number("".into()));
        assert_eq!(m("9.1"), AmountError::NoUnit("9.1".into()));
        assert_eq!(
            m("9.1 furlongs"),
            AmountError::Unit("9.1 furlongs".into(), "furlongs".into())
        );
        assert_eq!(
            parse_amount(Quantity::Mass, "2 bu", None),
            Err(AmountError::Bushel("2 bu".into()))
        );
        assert_eq!(
            parse_range(Quantity::Speed, "3 m/s", "0.5 m/s", None),
            Err(AmountError::Order("3 m/s".into(), "0.5 m/s".into()))
        );
    }
}
