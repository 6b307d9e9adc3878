use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::gather::{Evidence, PROFILE_S, Profile};

/// A profile is on its level within this share: less than a tenth of what a map's points scatter.
const TOLERANCE: f32 = 0.03;
/// The median itself must come as near as half its band is wide, within these limits (our choice): a wide band holds 1
/// long before the machine is full, but a median that few passes make cannot be held to less than its own scatter.
const NEAR: (f32, f32) = (0.06, 0.12);
/// Seconds for which a profile must stay on its level.
const STAY_S: usize = 5;
/// Longest ramp, s: four time constants of the slowest mixing reported (Arslan 2008) and a row.
const LONGEST_S: usize = 25;
/// Fewest passes that say anything.
const FEWEST: usize = 5;
/// Resamples of the passes.
const RESAMPLES: usize = 200;
/// Ramps where the data say nothing, s: the middle of fixed trims in use, 4–12 s and 0–8 s (common practice).
const DEFAULT_S: (f64, f64) = (6.0, 4.0);

/// One ramp.
#[derive(Debug, Clone, PartialEq)]
pub struct Ramp {
    /// Its length, s.
    pub seconds: f64,
    /// Whether the data gave it; otherwise it is the default.
    pub from_data: bool,
    /// Passes behind it.
    pub passes: usize,
    /// Median profile per second, with the low and high end of its 95 % band.
    pub profile: Vec<[f32; 3]>,
}

/// Both ramps of a machine in a crop.
#[derive(Debug, Clone, PartialEq)]
pub struct Ramps {
    /// Filling.
    pub entry: Ramp,
    /// Emptying.
    pub exit: Ramp,
}

/// Estimates a machine's ramps from its fields' evidence, each with the delay decided for that field (s).
pub fn estimate(fields: &[(&Evidence, f64)]) -> Ramps {
    let gather = |pick: fn(&Evidence) -> &[Profile], sign: f64| -> Vec<Profile> {
        fields
            .iter()
            .flat_map(|(e, delay)| {
                // With a delay one second longer the same reading belongs one second earlier: nearer to the pass's
                // start, farther from its end.
                let by = (sign * (delay - e.delay)).round() as i64;
                pick(e).iter().map(move |p| moved(p, by))
            })
            .collect()
    };
    Ramps {
        entry: ramp(&gather(|e| &e.entries, 1.0), DEFAULT_S.0),
        exit: ramp(&gather(|e| &e.exits, -1.0), DEFAULT_S.1),
    }
}

fn moved(profile: &Profile, by: i64) -> Profile {
    (0..PROFILE_S as i64)
        .map(|s| {
            usize::try_from(s + by)
                .ok()
                .and_then(|s| profile.get(s))
                .copied()
                .unwrap_or(f32::NAN)
        })
        .collect()
}

fn ramp(profiles: &[Profile], default: f64) -> Ramp {
    let band = band(profiles);
    let passes = profiles.len();
    let on = |s: usize| {
        let [low, middle, high] = band[s];
        let near = (0.5 * (high - low)).clamp(NEAR.0, NEAR.1);
        low <= 1.0 + TOLERANCE && high >= 1.0 - TOLERANCE && (middle - 1.0).abs() <= near
    };
    let end = (passes >= FEWEST)
        .then(|| (0..=LONGEST_S).find(|&s| (s..s + STAY_S).all(on)))
        .flatten();
    match end {
        Some(s) => Ramp {
            seconds: s as f64,
            from_data: true,
            passes,
            profile: band,
        },
        None => Ramp {
            seconds: default,
            from_data: false,
            passes,
            profile: band,
        },
    }
}

/// Low end, median and high end per second: 95 % of the medians of resampled passes.
fn band(profiles: &[Profile]) -> Vec<[f32; 3]> {
    let mut rng = ChaCha8Rng::seed_from_u64(0x5eed);
    let n = profiles.len();
    let draws: Vec<Vec<usize>> = (0..RESAMPLES)
        .map(|_| (0..n).map(|_| rng.random_range(0..n.max(1))).collect())
        .collect();
    (0..PROFILE_S)
        .map(|s| {
            let column: Vec<f32> = profiles.iter().map(|p| p[s]).collect();
            // Where most passes were not logged, nothing is known.
            if column.iter().filter(|v| v.is_finite()).count() * 2 < n || n == 0 {
                return [f32::NAN; 3];
            }
            let middle = median(column.iter().copied());
            let mut medians: Vec<f32> = draws
                .iter()
                .map(|d| median(d.iter().map(|&k| column[k])))
                .collect();
            medians.sort_by(f32::total_cmp);
            let at = |q: f64| medians[((medians.len() - 1) as f64 * q).round() as usize];
            [at(0.025), middle, at(0.975)]
        })
        .collect()
}

fn median(values: impl Iterator<Item = f32>) -> f32 {
    let mut v: Vec<f32> = values.filter(|v| v.is_finite()).collect();
    if v.is_empty() {
        return f32::NAN;
    }
    let m = v.len() / 2;
    *v.select_nth_unstable_by(m, f32::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn evidence(n: usize, shape: impl Fn(usize, f32) -> f32) -> Evidence {
        let profiles: Vec<Profile> = (0..n)
            .map(|p| (0..PROFILE_S).map(|s| shape(p, s as f32 + 0.5)).collect())
            .collect();
        Evidence {
            machine: "C1".into(),
            delay: 12.0,
            entries: profiles.clone(),
            exits: profiles,
        }
    }

    #[test]
    fn a_ramp_ends_where_the_band_reaches_one() {
        // First order, τ = 2 s, centred: within 3 % after 2·ln(1/0.03) = 7 s.
        let e = evidence(20, |p, s| {
            (1.0 - (-s / 2.0).exp()) * (1.0 + 0.02 * ((p % 5) as f32 - 2.0))
        });
        let r = estimate(&[(&e, 12.0)]);
        assert!(
            r.entry.from_data && (5.0..=7.0).contains(&r.entry.seconds),
            "{:?}",
            r.entry.seconds
        );
    }

    #[test]
    fn a_median_is_held_to_no_less_than_its_own_scatter() {
        // Passes that scatter by ± 30 % about a level of 0.92: chance, and no ramp.
        let wide = |p: usize| 0.30 * ((p % 7) as f32 - 3.0) / 3.0;
        let r = estimate(&[(&evidence(21, |p, _| 0.92 + wide(p)), 12.0)]);
        assert_eq!((r.entry.from_data, r.entry.seconds), (true, 0.0));
        // The same level where all passes agree is one.
        let r = estimate(&[(
            &evidence(21, |p, s| if s < 9.0 { 0.92 } else { 1.0 } + 0.03 * wide(p)),
            12.0,
        )]);
        assert_eq!(r.entry.seconds, 9.0);
    }

    #[test]
    fn profiles_move_with_the_delay_that_is_decided() {
        let e = evidence(20, |_, s| if s < 8.0 { 0.2 } else { 1.0 });
        assert_eq!(estimate(&[(&e, 12.0)]).entry.seconds, 8.0);
        assert_eq!(estimate(&[(&e, 15.0)]).entry.seconds, 5.0);
        assert_eq!(estimate(&[(&e, 15.0)]).exit.seconds, 11.0);
    }

    #[test]
    fn few_or_silent_passes_give_the_default() {
        let r = estimate(&[(&evidence(3, |_, _| 1.0), 12.0)]);
        assert!(
            !r.entry.from_data && r.entry.seconds == DEFAULT_S.0 && r.exit.seconds == DEFAULT_S.1
        );
        let r = estimate(&[(&evidence(20, |_, _| f32::NAN), 12.0)]);
        assert!(!r.entry.from_data);
        assert!(!estimate(&[]).exit.from_data);
    }
}
