//! The ordinary bootstrap over groups (passes, loads): rows of one group are drawn together, because they are not
//! independent of each other.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::robust::quantile_sorted;

/// Draws `groups` group numbers with replacement, `resamples` times, and collects what `statistic` makes of each
/// draw (Efron 1979, Ann. Stat. 7:1). Draws for which it answers `None` or no finite number are left out.
///
/// The same seed gives the same draws on every machine. Empty where there are no groups.
pub fn resample_groups(
    groups: usize,
    resamples: usize,
    seed: u64,
    mut statistic: impl FnMut(&[usize]) -> Option<f64>,
) -> Vec<f64> {
    if groups == 0 {
        return Vec::new();
    }
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut drawn = vec![0; groups];
    let mut results = Vec::with_capacity(resamples);
    for _ in 0..resamples {
        for d in &mut drawn {
            // As u64, so that machines of another word size draw the same.
            *d = rng.random_range(0..groups as u64) as usize;
        }
        results.extend(statistic(&drawn).filter(|v| v.is_finite()));
    }
    results
}

/// Percentile interval that holds `level` (0–1) of the draws, in equal tails. `None` for no draws.
pub fn interval(draws: &[f64], level: f64) -> Option<(f64, f64)> {
    let mut sorted: Vec<f64> = draws.iter().copied().filter(|v| v.is_finite()).collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let tail = 0.5 * (1.0 - level);
    Some((
        quantile_sorted(&sorted, tail)?,
        quantile_sorted(&sorted, 1.0 - tail)?,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seed_fixes_the_draws_and_groups_stay_in_range() {
        let run = |seed| resample_groups(7, 50, seed, |g| Some(g.iter().map(|&i| i as f64).sum()));
        assert_eq!(run(1), run(1));
        assert_ne!(run(1), run(2));
        assert!(run(1).iter().all(|&s| (0.0..=42.0).contains(&s)));
    }

    #[test]
    fn standard_error_of_a_mean_is_sigma_over_root_n() {
        // Values 1..=100: standard deviation (divisor n) 28.866, so 2.887 for their mean.
        let means = resample_groups(100, 4000, 3, |g| {
            Some(g.iter().map(|&i| (i + 1) as f64).sum::<f64>() / 100.0)
        });
        let mean = means.iter().sum::<f64>() / 4000.0;
        let sd = (means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / 3999.0).sqrt();
        assert!((sd - 2.887).abs() < 0.1, "{sd}");
        let (low, high) = interval(&means, 0.95).unwrap();
        assert!(
            (low - (50.5 - 1.96 * 2.887)).abs() < 0.5 && (high - (50.5 + 1.96 * 2.887)).abs() < 0.5
        );
    }

    #[test]
    fn nothing_to_draw_from_gives_nothing() {
        assert!(resample_groups(0, 10, 1, |_| Some(1.0)).is_empty());
        assert!(resample_groups(3, 10, 1, |_| None).is_empty());
        assert_eq!(interval(&[], 0.95), None);
        assert_eq!(interval(&[2.0], 0.95), Some((2.0, 2.0)));
    }
}
