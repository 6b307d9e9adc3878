//! Student's t.

/// 97.5 % quantile of Student's t.
pub fn student_975(degrees: f64) -> f64 {
    student_quantile(0.975, degrees)
}

/// Quantile of Student's t for `p` > 0.5, by bisection on its distribution function.
pub fn student_quantile(p: f64, degrees: f64) -> f64 {
    let whole = area(std::f64::consts::FRAC_PI_2, degrees);
    let below = |t: f64| 0.5 + 0.5 * area(angle(t, degrees), degrees) / whole < p;
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

/// Distribution function of Student's t at `t` ≥ 0, by Simpson's rule on the density in the angle θ = atan(t/√n):
/// the density becomes cosⁿ⁻¹θ, smooth on a finite interval.
pub fn student_cdf(t: f64, n: f64) -> f64 {
    0.5 + 0.5 * area(angle(t, n), n) / area(std::f64::consts::FRAC_PI_2, n)
}

fn angle(t: f64, n: f64) -> f64 {
    (t / n.sqrt()).atan()
}

/// Area under cosⁿ⁻¹θ from 0 to `to`.
fn area(to: f64, n: f64) -> f64 {
    let density = |a: f64| a.cos().powf(n - 1.0);
    let steps = 400;
    let h = to / steps as f64;
    (0..=steps)
        .map(|k| {
            let weight = if k == 0 || k == steps {
                1.0
            } else if k % 2 == 1 {
                4.0
            } else {
                2.0
            };
            weight * density(k as f64 * h)
        })
        .sum::<f64>()
        * h
        / 3.0
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
}
