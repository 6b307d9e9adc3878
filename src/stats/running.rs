//! Median over a moving window.

use super::robust::median_in_place;

/// Median of the finite values within `half` places on either side of each place, the place itself included.
///
/// Windows are cut off at the ends. NaN where a window holds no finite value: a missing value among others gets its
/// neighbours' median. Work grows with `values.len() · half`, so windows should be short.
pub fn running_median(values: &[f64], half: usize) -> Vec<f64> {
    let mut window = Vec::with_capacity(2 * half.min(values.len()) + 1);
    (0..values.len())
        .map(|k| {
            let end = k.saturating_add(half).saturating_add(1).min(values.len());
            window.clear();
            window.extend(
                values[k.saturating_sub(half)..end]
                    .iter()
                    .copied()
                    .filter(|v| v.is_finite()),
            );
            median_in_place(&mut window).unwrap_or(f64::NAN)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_isolated_value_leaves_no_trace_and_a_step_stays_sharp() {
        assert_eq!(
            running_median(&[1.0, 1.0, 9.0, 1.0, 5.0, 5.0, 5.0], 1),
            [1.0, 1.0, 1.0, 5.0, 5.0, 5.0, 5.0]
        );
    }

    #[test]
    fn missing_values_are_skipped_and_windows_end_at_the_ends() {
        assert_eq!(running_median(&[2.0, f64::NAN, 4.0], 1), [2.0, 3.0, 4.0]);
        assert_eq!(running_median(&[2.0, f64::NAN, 4.0], usize::MAX), [3.0; 3]);
        assert!(running_median(&[f64::NAN], 2)[0].is_nan());
        assert!(running_median(&[], 2).is_empty());
        assert_eq!(running_median(&[3.0, 7.0], 0), [3.0, 7.0]);
    }
}
