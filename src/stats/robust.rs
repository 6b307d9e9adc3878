//! Location, scale and quantiles that a few wild values cannot move.

/// Median absolute deviation of a normal variable times this is its standard deviation: 1 / Φ⁻¹(3/4)
/// (Rousseeuw & Croux 1993, J. Am. Stat. Assoc. 88:1273).
pub const MAD_TO_SIGMA: f64 = 1.482_602_218_505_602;

/// Rounds of the reweighting in [`huber_location`]. It starts from the median and its weights settle in a few; the
/// cap (our choice) only bounds the work.
const HUBER_ROUNDS: usize = 50;

/// The finite values of a column.
fn finite(values: &[f64]) -> Vec<f64> {
    values.iter().copied().filter(|v| v.is_finite()).collect()
}

/// Median of the finite values; the mean of the two middle ones where their number is even.
///
/// ```
/// use fanmill::stats::median;
/// assert_eq!(median(&[3.0, f64::NAN, 1.0, 2.0, 10.0]), Some(2.5));
/// assert_eq!(median(&[f64::NAN]), None);
/// ```
pub fn median(values: &[f64]) -> Option<f64> {
    median_in_place(&mut finite(values))
}

/// Median of finite numbers; reorders them. `None` when there are none.
pub fn median_in_place(values: &mut [f64]) -> Option<f64> {
    debug_assert!(values.iter().all(|v| v.is_finite()));
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (below, &mut upper, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    if n % 2 == 1 {
        return Some(upper);
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(lower + 0.5 * (upper - lower))
}

/// Quantile `p` (0–1) of the finite values by linear interpolation between order statistics at `p·(n − 1)`:
/// definition 7 of Hyndman & Fan 1996, Am. Stat. 50:361 (the default of R and NumPy). `None` for no values or `p`
/// outside 0–1.
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    let mut values = finite(values);
    if values.is_empty() || !(0.0..=1.0).contains(&p) {
        return None;
    }
    let place = p * (values.len() - 1) as f64;
    let (_, &mut below, beyond) =
        values.select_nth_unstable_by(place.floor() as usize, f64::total_cmp);
    let above = beyond.iter().copied().min_by(f64::total_cmp);
    Some(below + (place - place.floor()) * (above.unwrap_or(below) - below))
}

/// [`quantile`] of finite numbers in ascending order.
pub fn quantile_sorted(sorted: &[f64], p: f64) -> Option<f64> {
    debug_assert!(sorted.is_sorted());
    if sorted.is_empty() || !(0.0..=1.0).contains(&p) {
        return None;
    }
    let place = p * (sorted.len() - 1) as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    Some(sorted[below] + (place - below as f64) * (sorted[above] - sorted[below]))
}

/// Quantile `p` (0–1) of weighted values: the least value at which the running total of weight, in ascending
/// order, reaches `p` of the whole; where it reaches it exactly, the mean of that value and the next.
///
/// With equal weights this is definition 2 of Hyndman & Fan 1996. Values that are not finite and weights that are
/// not positive and finite are skipped. `None` where nothing is left, or for `p` outside 0–1.
///
/// # Panics
/// When the two slices differ in length (an error of the caller, not of data).
pub fn weighted_quantile(values: &[f64], weights: &[f64], p: f64) -> Option<f64> {
    let [one] = weighted_quantiles(values, weights, [p]);
    one
}

/// Several of them, for which values are put in order once; see [`weighted_quantile`].
///
/// # Panics
/// When the two slices differ in length (an error of the caller, not of data).
pub fn weighted_quantiles<const N: usize>(
    values: &[f64],
    weights: &[f64],
    p: [f64; N],
) -> [Option<f64>; N] {
    assert_eq!(values.len(), weights.len(), "a weight per value");
    let mut pairs: Vec<(f64, f64)> = values
        .iter()
        .zip(weights)
        .filter(|(v, w)| v.is_finite() && w.is_finite() && **w > 0.0)
        .map(|(&v, &w)| (v, w))
        .collect();
    pairs.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let whole: f64 = pairs.iter().map(|&(_, w)| w).sum();
    p.map(|p| {
        if !(0.0..=1.0).contains(&p) {
            return None;
        }
        let wanted = p * whole;
        let slack = 1e-12 * whole; // sums of weights such as 0.1 are not exact
        let mut total = 0.0;
        for (k, &(value, weight)) in pairs.iter().enumerate() {
            total += weight;
            if total >= wanted - slack {
                let exactly = total <= wanted + slack;
                return Some(match pairs.get(k + 1) {
                    Some(&(next, _)) if exactly => 0.5 * (value + next),
                    _ => value,
                });
            }
        }
        pairs.last().map(|&(value, _)| value)
    })
}

/// A robust centre and the standard deviation that goes with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Median.
    pub centre: f64,
    /// Scaled median absolute deviation: the standard deviation, were the values normal. 0 where more than half
    /// of the values are equal.
    pub sigma: f64,
}

impl Spread {
    /// Median and scaled MAD of the finite values; `None` when there are none.
    pub fn of(values: &[f64]) -> Option<Self> {
        Self::of_in_place(&mut finite(values))
    }

    /// [`Spread::of`] for finite numbers; overwrites them.
    pub fn of_in_place(values: &mut [f64]) -> Option<Self> {
        let centre = median_in_place(values)?;
        for v in values.iter_mut() {
            *v = (*v - centre).abs();
        }
        Some(Self {
            centre,
            sigma: MAD_TO_SIGMA * median_in_place(values)?,
        })
    }
}

/// Median absolute deviation from the median, scaled by [`MAD_TO_SIGMA`]; 0 for a single value.
pub fn mad(values: &[f64]) -> Option<f64> {
    Spread::of(values).map(|s| s.sigma)
}

/// Huber's weight of a standardised residual: 1 up to `k`, then `k / |r|` (Huber 1964, Ann. Math. Stat. 35:73).
/// 0 for a residual that is NaN.
pub fn huber_weight(residual: f64, k: f64) -> f64 {
    let size = residual.abs();
    if size <= k {
        1.0
    } else if size > k {
        k / size
    } else {
        0.0
    }
}

/// Huber's M-estimate of location of the finite values: scale fixed at the scaled MAD, bend at `k` of it.
///
/// Where the MAD is 0 the median itself. `None` when there are no values.
pub fn huber_location(values: &[f64], k: f64) -> Option<f64> {
    let values = finite(values);
    let Spread { centre, sigma } = Spread::of(&values)?;
    if sigma == 0.0 {
        return Some(centre);
    }
    let mut location = centre;
    for _ in 0..HUBER_ROUNDS {
        let (mut sum, mut weights) = (0.0, 0.0);
        for &v in &values {
            let w = huber_weight((v - location) / sigma, k);
            sum += w * v;
            weights += w;
        }
        let next = sum / weights;
        let settled = (next - location).abs() <= 1e-12 * sigma;
        location = next;
        if settled {
            break;
        }
    }
    Some(location)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn empty_single_equal_and_missing_values_are_defined() {
        for f in [
            median,
            mad,
            |v: &[f64]| quantile(v, 0.3),
            |v: &[f64]| huber_location(v, 1.5),
        ] {
            assert_eq!(f(&[]), None);
            assert_eq!(f(&[f64::NAN, f64::INFINITY]), None);
        }
        assert_eq!((median(&[4.0]), mad(&[4.0])), (Some(4.0), Some(0.0)));
        assert_eq!((median(&[4.0; 6]), mad(&[4.0; 6])), (Some(4.0), Some(0.0)));
        assert_eq!(huber_location(&[4.0; 6], 1.5), Some(4.0));
        assert_eq!(quantile(&[f64::NAN, 4.0], 1.0), Some(4.0));
    }

    #[test]
    fn median_of_an_even_number_is_the_middle_of_two() {
        assert_eq!(median(&[8.0, 1.0, 4.0, 2.0]), Some(3.0));
        assert_eq!(median(&[8.0, 1.0, 4.0]), Some(4.0));
    }

    #[test]
    fn quantile_interpolates_at_p_times_n_minus_one() {
        // 0.25 · 3 = 0.75: three quarters of the way from 1 to 2 (numpy.quantile([1, 2, 4, 8], 0.25) = 1.75).
        let v = [8.0, 1.0, 4.0, 2.0];
        assert_eq!(quantile(&v, 0.25), Some(1.75));
        assert_eq!(
            (quantile(&v, 0.0), quantile(&v, 1.0)),
            (Some(1.0), Some(8.0))
        );
        assert_eq!((quantile(&v, 1.1), quantile(&v, f64::NAN)), (None, None));
    }

    #[test]
    fn weighted_quantile_counts_weight_not_values() {
        // Running weights 1, 4, 6 of 6: half is 3, reached at 20.
        assert_eq!(
            weighted_quantile(&[10.0, 20.0, 30.0], &[1.0, 3.0, 2.0], 0.5),
            Some(20.0)
        );
        // Half reached exactly at 10: between 10 and 20.
        assert_eq!(
            weighted_quantile(&[10.0, 20.0, 30.0], &[3.0, 1.0, 2.0], 0.5),
            Some(15.0)
        );
        let w = [0.1; 4];
        assert_eq!(weighted_quantile(&[1.0, 2.0, 3.0, 4.0], &w, 0.5), Some(2.5));
        assert_eq!(
            weighted_quantile(&[1.0, f64::NAN, 9.0], &[1.0, 1.0, 0.0], 0.9),
            Some(1.0)
        );
        assert_eq!(weighted_quantile(&[1.0, 2.0], &[0.0, f64::NAN], 0.5), None);
        assert_eq!(weighted_quantile(&[], &[], 0.5), None);
    }

    #[test]
    fn mad_is_scaled_to_a_standard_deviation() {
        // Median 3, deviations 2 1 0 1 97: median 1.
        assert_eq!(mad(&[1.0, 2.0, 3.0, 4.0, 100.0]), Some(MAD_TO_SIGMA));
    }

    #[test]
    fn huber_weighs_down_beyond_k_only() {
        assert_eq!(
            [1.5, -3.0, 0.0].map(|r| huber_weight(r, 1.5)),
            [1.0, 0.5, 1.0]
        );
        assert_eq!(
            (
                huber_weight(f64::NAN, 1.5),
                huber_weight(f64::INFINITY, 1.5)
            ),
            (0.0, 0.0)
        );
    }

    #[test]
    fn huber_location_solves_its_equation() {
        // Median 2, MAD 1, bend c = 1.5 · 1.4826 = 2.2239: the wild value pulls as if it stood c above the estimate.
        // m = (0 + 1 + 2 + 3 + m + c) / 5  →  m = (6 + c) / 4 = 2.05598.
        let m = huber_location(&[0.0, 1.0, 2.0, 3.0, 1000.0], 1.5).unwrap();
        assert!((m - (6.0 + 1.5 * MAD_TO_SIGMA) / 4.0).abs() < 1e-9, "{m}");
    }
}
