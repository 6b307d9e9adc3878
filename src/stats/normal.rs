//! The normal distribution.

use std::f64::consts::{FRAC_1_SQRT_2, SQRT_2};

use libm::erfc;
use statrs::function::erf::erfc_inv;

/// Probability that a standard normal variable lies farther than `z` ≥ 0 from 0, to either side.
pub fn normal_two_sided(z: f64) -> f64 {
    erfc(z * FRAC_1_SQRT_2)
}

/// The value that a standard normal variable stays below with probability `p`. −∞ at 0, +∞ at 1, NaN outside.
///
/// ```
/// assert!((fanmill::stats::normal_quantile(0.975) - 1.959963984540054).abs() < 1e-14);
/// ```
pub fn normal_quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    -SQRT_2 * erfc_inv(2.0 * p)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_points_and_symmetry() {
        // Check points of algorithm AS 241 (Wichura 1988, Appl. Stat. 37:477): p = 0.25, 0.001, 1e-20.
        for (p, z) in [
            (0.25, -0.674_489_750_196_081_7),
            (0.001, -3.090_232_306_167_813),
            (1e-20, -9.262_340_089_798_408),
        ] {
            let found = normal_quantile(p);
            assert!((found / z - 1.0).abs() < 1e-14, "{p} {found}");
        }
        assert_eq!(normal_quantile(0.5), 0.0);
        assert!((normal_quantile(0.9) + normal_quantile(0.1)).abs() < 1e-14);
        // Back again; 1.96 and 5 %: any table.
        let two_sided = normal_two_sided(1.959_963_984_540_054);
        assert!((two_sided - 0.05).abs() < 1e-14, "{two_sided:e}");
        assert!((normal_two_sided(9.262_340_089_798_408) / 2e-20 - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_ends_are_infinite_and_outside_is_nan() {
        assert_eq!(
            (normal_quantile(0.0), normal_quantile(1.0)),
            (f64::NEG_INFINITY, f64::INFINITY)
        );
        assert!(
            [-0.1, 1.1, f64::NAN]
                .iter()
                .all(|&p| normal_quantile(p).is_nan())
        );
    }
}
