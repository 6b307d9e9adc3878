//! The antenna's distance from the cutter bar, told from the delay by fields that were cut at different speeds.
//!
//! A header that is x ahead of the logged position reaches a place x/v seconds earlier than the log has it there, so at
//! ground speed v passes show the delay D − x/v. At one speed the two cannot be told apart; fields cut at different
//! speeds lie on a line over 1/v, whose level is D and whose slope is −x.

use super::Minimum;
use crate::stats::student_975;

/// Fewest fields (our choice: two degrees of freedom behind the error).
const FEWEST_FIELDS: usize = 4;
/// Fastest over slowest field at least (our choice).
const LEAST_RATIO: f64 = 1.3;
/// Widest believable interval, either way, m (our choice: the span between a cabin and a header).
const WIDEST_M: f64 = 2.0;

/// How far the antenna seems to stand behind where the job says.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct AntennaOffset {
    /// Distance behind the cutter bar beyond what the job says, m; negative in front.
    pub behind_m: f64,
    /// Half of its 95 % interval, m.
    pub half_width_m: f64,
    /// Fields behind it.
    pub fields: usize,
}

/// The offset, from the minima and ground speeds (m/s) of a machine's fields. `None` where it is not identified: too few
/// fields, too little difference in speed, or an interval that is wide or holds 0.
///
/// Weighted least squares; the error is the larger of what the minima's own errors and the fields' scatter about the
/// line make it (less what the machine's mixing makes: it moves all fields alike). `field_variance`: how much fields of one machine differ otherwise, s².
pub(super) fn offset(fields: &[(Minimum, f64)], field_variance: f64) -> Option<AntennaOffset> {
    let points: Vec<(f64, f64, f64)> = fields
        .iter()
        .filter(|f| f.1 > 0.0)
        .map(|(m, v)| {
            let variance = m.own_variance() + field_variance;
            (1.0 / v, m.delay, 1.0 / variance)
        })
        .collect();
    let slowest = points.iter().map(|p| p.0).fold(0.0, f64::max);
    let fastest = points.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    if points.len() < FEWEST_FIELDS || !(slowest >= LEAST_RATIO * fastest) {
        return None;
    }
    let total: f64 = points.iter().map(|p| p.2).sum();
    let mean = |pick: fn(&(f64, f64, f64)) -> f64| {
        points.iter().map(|p| p.2 * pick(p)).sum::<f64>() / total
    };
    let (x0, y0) = (mean(|p| p.0), mean(|p| p.1));
    let sxx: f64 = points.iter().map(|p| p.2 * (p.0 - x0).powi(2)).sum();
    if !(sxx > 0.0) {
        return None;
    }
    let sxy: f64 = points.iter().map(|p| p.2 * (p.0 - x0) * (p.1 - y0)).sum();
    let slope = sxy / sxx;
    let degrees = (points.len() - 2) as f64;
    let scatter: f64 = points
        .iter()
        .map(|p| p.2 * (p.1 - y0 - slope * (p.0 - x0)).powi(2))
        .sum::<f64>()
        / degrees;
    let half = student_975(degrees) * (scatter.max(1.0) / sxx).sqrt();
    (half < WIDEST_M && slope.abs() > half).then_some(AntennaOffset {
        behind_m: -slope,
        half_width_m: half,
        fields: points.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn minimum(delay: f64) -> Minimum {
        Minimum {
            delay,
            standard_error: 0.1,
            mixing_error: 0.0,
            degrees: 15.0,
            unshared: 0.2,
            separation: 9.0,
        }
    }

    #[test]
    fn fields_at_different_speeds_tell_the_offset_and_at_one_speed_none() {
        let speeds = [1.0, 1.3, 1.6, 2.0, 2.4, 2.6];
        let wobble = [0.05, -0.04, 0.02, -0.05, 0.04, -0.02];
        let fields = |x: f64| -> Vec<(Minimum, f64)> {
            (speeds.iter().zip(wobble))
                .map(|(&v, w)| (minimum(12.0 - x / v + w), v))
                .collect()
        };
        let found = offset(&fields(3.0), 0.01).unwrap();
        assert!((found.behind_m - 3.0).abs() < 0.3, "{found:?}");
        assert!(found.half_width_m < 1.5 && found.fields == 6);
        assert_eq!(offset(&fields(0.0), 0.01), None);
        let one_speed: Vec<_> = (fields(3.0).iter()).map(|f| (f.0, 1.8)).collect();
        assert_eq!(offset(&one_speed, 0.01), None);
        assert_eq!(offset(&fields(3.0)[..3], 0.01), None);
        assert_eq!(offset(&[], 0.01), None);
    }
}
