//! The number on a ticket, and what it would be with a slip of the pen undone.

use crate::units::POUND_KG;

/// A weight as it stands on the ticket: a whole number of some unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Written {
    pub number: u64,
    pub unit: &'static str,
    pub unit_kg: f64,
}

impl Written {
    /// The whole number of kilograms, or of pounds, that a weight is; `None` where it is neither.
    pub fn of(net_kg: f64) -> Option<Self> {
        [("kg", 1.0), ("lb", POUND_KG)]
            .into_iter()
            .find_map(|(unit, unit_kg)| {
                let number = (net_kg / unit_kg).round();
                let whole = (net_kg / unit_kg - number).abs() < 1e-6 * number.max(1.0);
                (whole && (1.0..1e9).contains(&number)).then_some(Self {
                    number: number as u64,
                    unit,
                    unit_kg,
                })
            })
    }

    fn digits(&self) -> Vec<u8> {
        self.number.to_string().into_bytes()
    }

    fn with(&self, digits: &[u8]) -> Option<Self> {
        if digits.first().is_none_or(|&d| d == b'0') {
            return None;
        }
        let number = std::str::from_utf8(digits).ok()?.parse().ok()?;
        (number != self.number).then_some(Self { number, ..*self })
    }

    pub fn kg(&self) -> f64 {
        self.number as f64 * self.unit_kg
    }

    /// Two neighbouring digits exchanged.
    pub fn transposed(&self) -> Vec<Self> {
        let digits = self.digits();
        let swapped = |k: usize| {
            let mut other = digits.clone();
            other.swap(k, k + 1);
            self.with(&other)
        };
        (0..digits.len() - 1).filter_map(swapped).collect()
    }

    /// One digit replaced.
    pub fn one_digit(&self) -> Vec<Self> {
        let digits = self.digits();
        let mut out = Vec::new();
        for k in 0..digits.len() {
            for d in b'0'..=b'9' {
                let mut other = digits.clone();
                other[k] = d;
                out.extend(self.with(&other));
            }
        }
        out
    }

    /// A digit that was left out, put in.
    pub fn one_more(&self) -> Vec<Self> {
        let digits = self.digits();
        let mut out = Vec::new();
        for k in 0..=digits.len() {
            for d in b'0'..=b'9' {
                let mut other = digits.clone();
                other.insert(k, d);
                out.extend(self.with(&other));
            }
        }
        out
    }

    /// A digit too many, taken out.
    pub fn one_less(&self) -> Vec<Self> {
        let digits = self.digits();
        let without = |k: usize| {
            let mut other = digits.clone();
            other.remove(k);
            self.with(&other)
        };
        (0..digits.len()).filter_map(without).collect()
    }
}

impl std::fmt::Display for Written {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.number, self.unit)?;
        if self.unit_kg != 1.0 {
            write!(f, " ({:.0} kg)", self.kg())?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(list: Vec<Written>) -> Vec<u64> {
        list.into_iter().map(|w| w.number).collect()
    }

    #[test]
    fn a_weight_is_whole_kilograms_or_whole_pounds() {
        let kg = Written::of(7428.0).unwrap();
        assert_eq!((kg.number, kg.unit), (7428, "kg"));
        let lb = Written::of(16_380.0 * POUND_KG).unwrap();
        assert_eq!(
            (lb.number, lb.to_string().as_str()),
            (16_380, "16380 lb (7430 kg)")
        );
        assert_eq!(Written::of(292.3 * 25.401_172_72), None); // bushels
        assert_eq!(Written::of(0.0), None);
    }

    #[test]
    fn every_slip_is_undone() {
        let w = Written::of(704.0).unwrap();
        assert_eq!(numbers(w.transposed()), [740]); // 074 is no number
        assert_eq!(numbers(w.one_less()), [74, 70]); // 04 is none
        assert_eq!(w.one_digit().len(), 8 + 9 + 9);
        let more = numbers(w.one_more());
        assert!([7042, 1704, 7104].iter().all(|n| more.contains(n)));
        assert!(!more.contains(&704));
        assert!(Written::of(7.0).unwrap().transposed().is_empty());
        assert!(Written::of(7.0).unwrap().one_less().is_empty());
    }
}
