use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::gather::{Evidence, PROFILE_S, Profile};

/// A profile is on its level within this share: less than a tenth of what a map's points scatter.
const TOLERANCE: f32 = 0.03;
/// Half of the passes must come this near to what they come to soon behind, however wide the band is.
const NEAR: f32 = 0.06;
/// Seconds behind which, and until which, a profile's level is taken (our choice: from where it must have stayed on it,
/// over half of a headland's usual width at the speeds of harvest).
const LEVEL_S: std::ops::Range<usize> = STAY_S..STAY_S + 10;
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
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
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
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
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
    let level = level_behind(&band);
    let share = median_shares(profiles);
    let passes = profiles.len();
    let on = |s: usize| {
        let [low, _, high] = band[s].map(|v| v / level[s]);
        low <= 1.0 + TOLERANCE && high >= 1.0 - TOLERANCE && (share[s] - 1.0).abs() <= NEAR
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

/// The level that the medians of a band come to soon behind each second: their mean there. NaN where none is known.
///
/// A ramp rises within seconds, whatever the crop; ground that yields less towards the headland does so over tens of
/// metres, on all passes alike, so that no band over passes shows it to be chance.
fn level_behind(band: &[[f32; 3]]) -> Vec<f32> {
    let medians: Profile = band.iter().map(|v| v[1]).collect();
    (0..PROFILE_S).map(|s| mean_behind(&medians, s)).collect()
}

/// Median over passes of each pass's profile as a share of what it comes to itself soon behind: what crop does to whole
/// passes is in both, so this scatters less than the profile.
fn median_shares(profiles: &[Profile]) -> Profile {
    (0..PROFILE_S)
        .map(|s| median(profiles.iter().map(|p| p[s] / mean_behind(p, s))))
        .collect()
}

fn mean_behind(profile: &Profile, s: usize) -> f32 {
    let (mut sum, mut n) = (0.0, 0.0);
    for v in profile.iter().take(s + LEVEL_S.end).skip(s + LEVEL_S.start) {
        if v.is_finite() {
            sum += v;
            n += 1.0;
        }
    }
    sum / n
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
    fn a_poor_headland_is_no_ramp() {
        // First order, τ = 2 s, on ground that gains 8 % over the first 25 s.
        let ground = |s: f32| 0.92 + 0.08 * (s / 25.0).min(1.0);
        let e = evidence(20, |p, s| {
            ground(s) * (1.0 - (-s / 2.0).exp()) * (1.0 + 0.01 * ((p % 5) as f32 - 2.0))
        });
        let r = estimate(&[(&e, 12.0)]);
        assert!(
            (4.0..=9.0).contains(&r.entry.seconds),
            "{:?}",
            r.entry.seconds
        );
    }

    #[test]
    fn what_crop_does_to_whole_passes_is_no_scatter() {
        // Passes from 0.6 to 1.4 of their level at this end, τ = 2 s: the median is 0.9, and yet there is a ramp to see.
        let e = evidence(20, |p, s| {
            (0.6 + 0.8 * (p % 7) as f32 / 6.0 - 0.1) * (1.0 - (-s / 2.0).exp())
        });
        let r = estimate(&[(&e, 12.0)]);
        assert!(
            (5.0..=7.0).contains(&r.entry.seconds),
            "{:?}",
            r.entry.seconds
        );
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
