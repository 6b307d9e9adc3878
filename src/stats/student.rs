//! Student's t.

use statrs::function::beta::checked_beta_reg;

/// 97.5 % quantile of Student's t.
pub fn student_975(degrees: f64) -> f64 {
    student_quantile(0.975, degrees)
}

/// Quantile of Student's t for `p` > 0.5, by bisection on its distribution function.
pub fn student_quantile(p: f64, degrees: f64) -> f64 {
    let beyond = 2.0 * (1.0 - p);
    let below = |t: f64| student_two_sided(t, degrees) > beyond;
    let (mut low, mut high) = (0.0, 1.0);
    while below(high) && high < 1e6 {
        high *= 2.0;
    }
    // To the last bit but one; bisection beyond would move between neighbouring numbers.
    while high - low > 2.0 * f64::EPSILON * high {
        let middle = 0.5 * (low + high);
        if below(middle) {
            low = middle
        } else {
            high = middle
        }
    }
    0.5 * (low + high)
}

/// Probability that Student's t of `n` degrees of freedom lies farther than `t` ≥ 0 from 0, to either side: the regularised
/// incomplete beta function of n/2 and ½ at n/(n + t²). Small probabilities keep their digits. NaN
/// where either is not a number or `n` is not positive and finite.
pub fn student_two_sided(t: f64, n: f64) -> f64 {
    checked_beta_reg(0.5 * n, 0.5, n / (n + t * t)).unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn student_quantiles_match_the_tables() {
        // Any statistics text: t(0.975) = 12.706, 2.776, 2.228, 1.984 at 1, 4, 10, 100; t(0.9995) = 5.959 at 6... 3.390 at 100.
        for (n, t) in [(1.0, 12.706), (4.0, 2.776), (10.0, 2.228), (100.0, 1.984)] {
            assert!((student_975(n) - t).abs() < 2e-3, "{n} {}", student_975(n));
        }
        assert!((student_quantile(0.9995, 6.0) - 5.959).abs() < 2e-3);
    }

    #[test]
    fn tails_are_those_that_can_be_written_down() {
        // One degree of freedom is Cauchy's distribution: 1 − 2·atan(t)/π; two: 1 − t/√(2 + t²).
        for t in [0.0, 0.3, 1.0, 4.0, 60.0, 1e4] {
            let cauchy = 2.0 * f64::atan2(1.0, t) / std::f64::consts::PI;
            let root = f64::sqrt(2.0 + t * t);
            let two = 2.0 / (root * (root + t));
            assert!(
                (student_two_sided(t, 1.0) / cauchy - 1.0).abs() < 1e-11,
                "{t}"
            );
            assert!((student_two_sided(t, 2.0) / two - 1.0).abs() < 1e-11, "{t}");
        }
        assert!(student_two_sided(f64::NAN, 3.0).is_nan());
        assert_eq!(student_two_sided(f64::INFINITY, 3.0), 0.0);
    }
}
