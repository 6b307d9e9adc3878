//! Moisture load by load: the mean that was logged, and its offset against the load's ticket.

use super::shrink::{check, offset};

/// What is known of a load's moisture.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LoadMoisture {
    /// Logged moisture, weighted by the grain that it was measured in, %; `None` where none was logged.
    pub logged: Option<f64>,
    /// The ticket's moisture, %.
    pub tested: Option<f64>,
    /// What to add to the logged moisture, percentage points; `None` where either is unknown.
    pub offset: Option<f64>,
}

impl LoadMoisture {
    /// The load's moisture: the ticket's, or what was logged where there is no ticket.
    pub fn mean(&self) -> Option<f64> {
        self.tested.or(self.logged)
    }
}

/// Each load's moisture. `mass` (kg) and `moisture` (%) row by row, `load` the row's load if it has one; `tested` the
/// ticket's moisture load by load. An impossible ticket moisture counts as none (whoever reads tickets reports it).
///
/// # Panics
/// If `mass`, `moisture` and `load` differ in length, or a row names a load beyond `tested`.
pub fn estimate(
    mass: &[f64],
    moisture: &[f64],
    load: &[Option<u32>],
    tested: &[Option<f64>],
) -> Vec<LoadMoisture> {
    assert!(
        mass.len() == moisture.len() && mass.len() == load.len(),
        "columns of one log are of one length"
    );
    let mut sums = vec![Mean::default(); tested.len()];
    for ((&m, &w), &l) in mass.iter().zip(moisture).zip(load) {
        if let Some(l) = l {
            sums[l as usize].add(m, w);
        }
    }
    let of_load = |(sum, &tested): (&Mean, &Option<f64>)| {
        let logged = sum.value();
        let tested = tested.filter(|&t| check(t).is_ok());
        LoadMoisture {
            logged,
            tested,
            offset: tested.zip(logged).and_then(|(t, l)| offset(t, l).ok()),
        }
    };
    sums.iter().zip(tested).map(of_load).collect()
}

/// Mean moisture weighted by mass, %. Rows without grain or without a possible moisture do not count.
///
/// ```
/// use fanmill::moisture::weighted_mean;
/// assert_eq!(weighted_mean(&[1.0, 3.0, 9.0], &[20.0, 16.0, f64::NAN]), Some(17.0));
/// ```
pub fn weighted_mean(mass: &[f64], moisture: &[f64]) -> Option<f64> {
    let mut mean = Mean::default();
    for (&m, &w) in mass.iter().zip(moisture) {
        mean.add(m, w);
    }
    mean.value()
}

/// Logged moisture with its load's offset, row by row, %. Missing stays missing; a sum that no grain can have is
/// missing too; rows of a load without an offset, or of none, stay as logged.
pub fn corrected(moisture: &[f64], load: &[Option<u32>], loads: &[LoadMoisture]) -> Vec<f64> {
    let row = |(&m, &l): (&f64, &Option<u32>)| {
        let add = l.and_then(|l| loads[l as usize].offset);
        check(add.map_or(m, |a| m + a)).unwrap_or(f64::NAN)
    };
    moisture.iter().zip(load).map(row).collect()
}

/// A mean in the making.
#[derive(Debug, Clone, Copy, Default)]
struct Mean {
    mass: f64,
    water: f64,
}

impl Mean {
    fn add(&mut self, mass: f64, moisture: f64) {
        if mass > 0.0 && mass.is_finite() && check(moisture).is_ok() {
            self.mass += mass;
            self.water += mass * moisture;
        }
    }

    fn value(&self) -> Option<f64> {
        (self.mass > 0.0).then(|| self.water / self.mass)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_load_has_its_own_offset() {
        let (a, b) = (Some(0), Some(1));
        let mass = [1.0, 1.0, 2.0, 5.0, f64::NAN];
        let moisture = [12.0, 14.0, 18.0, 99.0, 18.0];
        let load = [a, a, b, None, b];
        let loads = estimate(&mass, &moisture, &load, &[Some(12.0), None]);
        assert_eq!(
            loads[0],
            LoadMoisture {
                logged: Some(13.0),
                tested: Some(12.0),
                offset: Some(-1.0)
            }
        );
        assert_eq!(
            loads[1],
            LoadMoisture {
                logged: Some(18.0),
                tested: None,
                offset: None
            }
        );
        assert_eq!((loads[0].mean(), loads[1].mean()), (Some(12.0), Some(18.0)));
        assert_eq!(
            corrected(&moisture, &load, &loads),
            [11.0, 13.0, 18.0, 99.0, 18.0]
        );
    }

    #[test]
    fn what_is_missing_stays_missing() {
        assert_eq!(weighted_mean(&[], &[]), None);
        assert_eq!(weighted_mean(&[0.0, -1.0, f64::NAN], &[15.0; 3]), None);
        let loads = estimate(&[1.0], &[f64::NAN], &[Some(0)], &[Some(120.0)]);
        assert_eq!(loads, [LoadMoisture::default()]);
        let dry = [LoadMoisture {
            offset: Some(-3.0),
            ..LoadMoisture::default()
        }];
        assert!(
            corrected(&[f64::NAN, 2.0], &[Some(0); 2], &dry)
                .iter()
                .all(|m| m.is_nan())
        );
    }
}
