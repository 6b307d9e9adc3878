//! Signs that a log's grain was brought to a reference moisture before it was written.

use crate::stats::student_975;

/// Fewest readings that can be called constant (our choice: five minutes at 1 Hz).
const FEWEST_READINGS: usize = 300;
/// Readings within this of each other are the same, points (displays write one or two decimals).
const SAME: f64 = 0.005;
/// Fewest weighed loads that a slope is taken from (our choice: three degrees of freedom).
const FEWEST_LOADS: usize = 5;
/// A sensor's own error may follow moisture by this much (our choice; flow brought to a fixed moisture follows it by 1).
const SENSOR_SLOPE: f64 = 0.3;

/// The value that a column of moisture reads in every row, %. Grain is never alike over a field: such a column was
/// entered, or holds what the grain was brought to. `None` where readings differ, or are few.
///
/// ```
/// use fanmill::moisture::constant;
/// assert_eq!(constant(&[15.5; 400]), Some(15.5));
/// assert_eq!(constant(&[15.5; 20]), None);
/// ```
pub fn constant(moisture: &[f64]) -> Option<f64> {
    let mut readings = moisture.iter().copied().filter(|m| m.is_finite());
    let first = readings.next()?;
    let mut count = 1;
    for m in readings {
        if (m - first).abs() > SAME {
            return None;
        }
        count += 1;
    }
    (count >= FEWEST_READINGS).then_some(first)
}

/// How weighed over logged mass follows the moisture of the grain from load to load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FollowsMoisture {
    /// Slope of ln(weighed / logged) on ln(100 / (100 − moisture)): 0 where the log holds wet grain, 1 where it holds
    /// grain that was brought to one moisture, since then logged = wet · (100 − M) / (100 − reference).
    pub slope: f64,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl FollowsMoisture {
    /// Least squares over loads of (weighed / logged mass, moisture in %). `None` for fewer than five usable loads or
    /// where their moistures are one.
    pub fn of(loads: &[(f64, f64)]) -> Option<Self> {
        let points: Vec<(f64, f64)> = loads
            .iter()
            .filter(|(ratio, m)| *ratio > 0.0 && ratio.is_finite() && *m >= 0.0 && *m < 100.0)
            .map(|(ratio, m)| ((100.0 / (100.0 - m)).ln(), ratio.ln()))
            .collect();
        let n = points.len() as f64;
        if points.len() < FEWEST_LOADS {
            return None;
        }
        let mean = |pick: fn(&(f64, f64)) -> f64| points.iter().map(pick).sum::<f64>() / n;
        let (x0, y0) = (mean(|p| p.0), mean(|p| p.1));
        let sxx: f64 = points.iter().map(|p| (p.0 - x0).powi(2)).sum();
        if !(sxx > 1e-9) {
            return None;
        }
        let slope = points.iter().map(|p| (p.0 - x0) * (p.1 - y0)).sum::<f64>() / sxx;
        let rest: f64 = points
            .iter()
            .map(|p| (p.1 - y0 - slope * (p.0 - x0)).powi(2))
            .sum();
        let half = student_975(n - 2.0) * (rest / (n - 2.0) / sxx).sqrt();
        Some(Self {
            slope,
            low: slope - half,
            high: slope + half,
        })
    }

    /// Whether the log's grain was brought to one moisture: the slope is no sensor's own, and is 1 give or take a
    /// sensor's own. Tickets whose moistures lie close together leave the slope open (a drift over a day alone makes it
    /// 4 ± 4), and then nothing is said.
    pub fn is_dry_flow(&self) -> bool {
        let reach = SENSOR_SLOPE..2.0 - SENSOR_SLOPE;
        reach.contains(&self.low)
            && reach.contains(&self.high)
            && self.low <= 1.0 + SENSOR_SLOPE
            && self.high >= 1.0 - SENSOR_SLOPE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_column_that_never_changes_is_told_from_a_sensor() {
        let mut column = vec![15.5; 400];
        column[7] = f64::NAN;
        assert_eq!(constant(&column), Some(15.5));
        column[20] = 15.6;
        assert_eq!(constant(&column), None);
        assert_eq!(constant(&[]), None);
        assert_eq!(constant(&[f64::NAN; 400]), None);
    }

    #[test]
    fn dry_flow_follows_moisture_with_slope_one() {
        let moistures = [14.0, 16.0, 18.5, 20.0, 23.0, 26.0];
        let wobble = [1.004, 0.997, 1.002, 0.995, 1.003, 0.999];
        let loads = |f: fn(f64) -> f64| -> Vec<(f64, f64)> {
            (moistures.iter().zip(wobble))
                .map(|(&m, w)| (w * f(m), m))
                .collect()
        };
        // Flow brought to 15 %: 100 kg of wet grain at 20 % were logged as 80 / 0.85 = 94.1 kg.
        let dry = FollowsMoisture::of(&loads(|m| (100.0 - 15.0) / (100.0 - m))).unwrap();
        assert!(
            (dry.slope - 1.0).abs() < 0.05 && dry.is_dry_flow(),
            "{dry:?}"
        );
        let wet = FollowsMoisture::of(&loads(|_| 0.97)).unwrap();
        assert!(wet.slope.abs() < 0.05 && !wet.is_dry_flow(), "{wet:?}");
        // Moistures within a point, and a sensor that drifts: 1 is in the interval, and so is nearly anything.
        let drifting: Vec<(f64, f64)> = [0.93, 0.92, 0.93, 0.90, 0.92, 0.91, 0.89, 0.88, 0.88]
            .into_iter()
            .zip([20.2, 20.5, 20.4, 20.4, 20.0, 20.4, 20.0, 19.8, 19.6])
            .collect();
        let open = FollowsMoisture::of(&drifting).unwrap();
        assert!(
            open.low > SENSOR_SLOPE && open.low < 1.0 && open.high > 1.0,
            "{open:?}"
        );
        assert!(!open.is_dry_flow(), "{open:?}");
        assert!(FollowsMoisture::of(&loads(|_| 1.0)[..4]).is_none());
        assert!(FollowsMoisture::of(&[(1.0, 15.0); 8]).is_none());
        assert!(FollowsMoisture::of(&[(f64::NAN, 15.0); 8]).is_none());
    }
}
