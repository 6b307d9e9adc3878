//! Whether a machine's factors rise or fall with time.

use super::join::Batch;
use super::level::Level;
use super::{AGREE, AuditCode, AuditRemark};

/// Two-sided p = 0.001 of a normal variable (tables).
const SIGNIFICANT: f64 = 3.29;

/// Says so where the factors of a machine's trusted tickets go one way, by more than 3 % from the first third of them
/// to the last, and farther than chance does it once in a thousand.
pub(super) fn drift(batch: &Batch, level: &Level) -> Option<AuditRemark> {
    let mut by_time: Vec<(f64, usize)> = (level.trusted.iter())
        .filter_map(|&w| {
            let parts = &batch.weighings[w].parts;
            let start = parts.iter().filter_map(|&at| batch.load(at).start);
            Some((start.min_by(f64::total_cmp)?, w))
        })
        .collect();
    by_time.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let factors: Vec<f64> = (by_time.iter())
        .map(|&(_, w)| batch.weighings[w].factor())
        .collect();
    let third = factors.len() / 3;
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    if third == 0 || !(trend(&factors).abs() > SIGNIFICANT) {
        return None;
    }
    let (early, late) = (
        mean(&factors[..third]),
        mean(&factors[factors.len() - third..]),
    );
    let way = if late > early { "rise" } else { "fall" };
    ((late / early).ln().abs() > (1.0 + AGREE).ln()).then(|| {
        AuditRemark::new(
            AuditCode::Drift,
            format!(
                "its factors {way} with time, from {early:.3} in the first third of its tickets to {late:.3} in the last: loads that stray from one factor do so together, and the tickets need not be wrong"
            ),
            "keep a ticket for early, middle and late loads; look for what builds up or wears (dirt on the sensor, moisture through the day)",
        )
    })
}

/// Mann-Kendall statistic with its normal approximation (Mann 1945, Econometrica 13:245; Kendall 1975).
fn trend(values: &[f64]) -> f64 {
    let mut s = 0i64;
    for (i, a) in values.iter().enumerate() {
        for b in &values[i + 1..] {
            s += match b.total_cmp(a) {
                std::cmp::Ordering::Greater => 1,
                std::cmp::Ordering::Less => -1,
                std::cmp::Ordering::Equal => 0,
            };
        }
    }
    let n = values.len() as f64;
    let variance = n * (n - 1.0) * (2.0 * n + 5.0) / 18.0;
    if s == 0 {
        0.0
    } else {
        (s - s.signum()) as f64 / variance.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trend_is_counted_pair_by_pair() {
        // Ten rising values: S = 45, variance 10·9·25/18 = 125, z = 44/√125.
        let rising: Vec<f64> = (0..10).map(f64::from).collect();
        assert!((trend(&rising) - 44.0 / 125f64.sqrt()).abs() < 1e-12);
        let falling: Vec<f64> = rising.iter().rev().copied().collect();
        assert_eq!(trend(&falling), -trend(&rising));
        // 2, 1, 3: one pair falls, two rise; S = 1, and the continuity correction leaves nothing.
        assert_eq!(trend(&[2.0, 1.0, 3.0]), 0.0);
        assert_eq!(
            (trend(&[]), trend(&[1.0]), trend(&[1.0; 5])),
            (0.0, 0.0, 0.0)
        );
    }
}
