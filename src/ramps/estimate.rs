use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::gather::{Evidence, PROFILE_S, Profile};
use super::response::{Fit, Fitter, Known, Response, Seen};
use crate::delay::Filling;

/// Fewest passes that say anything.
const FEWEST: usize = 5;
/// Fewest entries with a leaving pass beside them, from which entries are read against those (our choice).
const FEWEST_BESIDE: usize = 8;
/// Resamples of the passes.
const RESAMPLES: usize = 200;
/// Longest ramp, s: four time constants of the slowest mixing reported (Arslan 2008) and a row.
const LONGEST_S: f64 = 25.0;
/// A ramp whose 95 % interval is wider rests on what is usual rather than on these data, s (our choice: more than the span
/// of fixed trims in use).
const WIDEST_S: f64 = 10.0;
/// Seconds over which a pass and what lies beside it are brought to one level: behind the ramp.
const LEVEL_S: std::ops::Range<usize> = 15..36;
/// How far ground changes from a pass's end inwards, relative, sd over 30 s of travel: seen on the passes themselves, and
/// against passes beside (our choice).
const GROUND_SD: (f64, f64) = (0.1, 0.02);
/// How far a strip at a pass's end differs, relative, sd: seen on the passes themselves, and against passes beside, which
/// say nothing of its outermost part (our choice: headlands yield 5–25 % less, common practice).
const STRIP_SD: (f64, f64) = (0.15, 0.1);
/// Ramps where the data say nothing, s: the middle of fixed trims in use, 4–12 s and 0–8 s (common practice).
const DEFAULT_S: (f64, f64) = (8.0, 4.0);

/// One ramp.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Ramp {
    /// Its length, s.
    pub seconds: f64,
    /// 95 % interval, s; NaN where there is none.
    pub interval: [f64; 2],
    /// Whether the data tell it; otherwise it is a default, or rests mostly on what is usual.
    pub from_data: bool,
    /// Passes behind it.
    pub passes: usize,
    /// Passes of them that were read against passes beside them.
    pub against: usize,
    /// Median profile per second, with the low and high end of its 95 % band.
    pub profile: Vec<[f32; 3]>,
    /// The response fitted to it, where there is one.
    pub response: Option<Response>,
}

/// Both ramps of a machine in a crop.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Ramps {
    /// Filling.
    pub entry: Ramp,
    /// Emptying.
    pub exit: Ramp,
}

/// One field's part in a machine's ramps.
#[derive(Debug, Clone, Copy)]
pub struct FieldRamps<'a> {
    /// Its profiles.
    pub evidence: &'a Evidence,
    /// The delay that was decided for it, s.
    pub delay: f64,
    /// The machine's response as the ends of passes tell it.
    pub filling: Option<Filling>,
}

/// Estimates a machine's ramps from its fields.
pub fn estimate(fields: &[FieldRamps]) -> Ramps {
    let (mut own, mut against, mut exits) = (Vec::new(), Vec::new(), Vec::new());
    for FieldRamps {
        evidence: e, delay, ..
    } in fields
    {
        // With a delay one second longer the same reading belongs one second earlier: nearer to the pass's start, farther
        // from its end.
        let by = (delay - e.delay).round() as i64;
        for (k, entry) in e.entries.iter().enumerate() {
            let entry = moved(entry, by);
            if let Some(beside) = e.beside.get(k) {
                against.extend(read_against(&entry, &moved(beside, -by)));
            }
            own.push(entry);
        }
        exits.extend(e.exits.iter().map(|p| moved(p, -by)));
    }
    let step = fields.iter().map(|f| f.evidence.step).fold(0.0, f64::max);
    let fitter = Fitter::new(if step > 0.0 { step } else { 1.0 }, known(fields));
    let use_against = against.len() >= FEWEST_BESIDE;
    let (entries, entry_sd) = if use_against {
        (&against, (GROUND_SD.1, STRIP_SD.1))
    } else {
        (&own, (GROUND_SD.0, STRIP_SD.0))
    };
    let filling = Seen::of(entries, entry_sd);
    let emptying = Seen::of(&exits, (GROUND_SD.0, STRIP_SD.0));
    let fitted =
        |passes: usize, fit: &dyn Fn() -> Option<Fit>| (passes >= FEWEST).then(fit).flatten();
    let entry = fitted(entries.len(), &|| fitter.entry(&filling));
    let exit = fitted(exits.len(), &|| {
        fitter.exit(&emptying, &entry.as_ref()?.response)
    });
    Ramps {
        entry: Ramp {
            against: if use_against { against.len() } else { 0 },
            ..Ramp::new(entries.len(), entry, filling.band, DEFAULT_S.0)
        },
        exit: Ramp::new(exits.len(), exit, emptying.band, DEFAULT_S.1),
    }
}

/// What the ends of passes tell of the response before its profile is looked at: the mean over the fields.
fn known(fields: &[FieldRamps]) -> Option<Known> {
    let told: Vec<(Filling, f64)> = (fields.iter())
        .filter_map(|f| Some((f.filling?, f.delay)))
        .collect();
    let mean =
        |of: fn(&(Filling, f64)) -> f64| told.iter().map(of).sum::<f64>() / told.len() as f64;
    (!told.is_empty()).then(|| Known {
        mixing: mean(|(f, _)| f.total.0),
        mixing_sd: mean(|(f, _)| f.total.1),
        centre: mean(|(f, delay)| f.seen - delay),
        centre_sd: mean(|(f, _)| f.error),
    })
}

impl Ramp {
    fn new(passes: usize, fit: Option<Fit>, profile: Vec<[f32; 3]>, default: f64) -> Self {
        let possible = fit.filter(|f| f.ramp <= LONGEST_S);
        let told = possible.filter(|f| f.interval[1] - f.interval[0] <= WIDEST_S);
        // Where much is possible, the default is taken, or what is as likely too long as too short where that is longer:
        // a cautious end of a wide interval would cost more sound points than the ramp can hold.
        let seconds = told.map(|f| f.ramp).unwrap_or_else(|| {
            possible.map_or(default, |f| default.max(f.middle).min(f.interval[1]))
        });
        Self {
            seconds,
            interval: fit.map_or([f64::NAN; 2], |f| f.interval),
            from_data: told.is_some(),
            passes,
            against: 0,
            profile,
            response: fit.map(|f| f.response),
        }
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

/// An entry's yield as a share of what passes beside it say of the same ground, both brought to one level behind the
/// ramp; nearer to the end than they tell, their last value goes on. `None` where they tell too little.
fn read_against(entry: &Profile, beside: &Profile) -> Option<Profile> {
    /// Seconds that a reading stands for, either way: rows are seconds apart.
    const REACH_S: usize = 3;
    let near = |s: usize| -> f32 {
        let from = s.saturating_sub(REACH_S);
        mean(&beside[from..(s + REACH_S + 1).min(PROFILE_S)])
    };
    let first = (0..PROFILE_S).find(|&s| beside[s].is_finite())?;
    if first > LEVEL_S.start - 3 {
        return None;
    }
    let ground: Vec<f32> = (0..PROFILE_S).map(|s| near(s.max(first))).collect();
    let shares: Profile = (0..PROFILE_S).map(|s| entry[s] / ground[s]).collect();
    let behind: Vec<f32> = LEVEL_S
        .map(|s| shares[s])
        .filter(|v| v.is_finite())
        .collect();
    if behind.len() * 2 < LEVEL_S.len() {
        return None;
    }
    let level = median(behind.into_iter());
    (level > 0.0).then(|| shares.iter().map(|v| v / level).collect())
}

fn mean(values: &[f32]) -> f32 {
    let (mut sum, mut n) = (0.0, 0.0);
    for v in values.iter().filter(|v| v.is_finite()) {
        sum += v;
        n += 1.0;
    }
    sum / n
}

impl Seen {
    fn of(profiles: &[Profile], (ground_sd, strip_sd): (f64, f64)) -> Self {
        let band = band(profiles);
        Self {
            value: band.iter().map(|v| f64::from(v[1])).collect(),
            // 95 % of a normal distribution are 3.92 standard deviations.
            sd: (band.iter())
                .map(|v| f64::from(v[2] - v[0]) / 3.92)
                .collect(),
            band,
            ground_sd,
            strip_sd,
        }
    }
}

/// Low end, median and high end per second: 95 % of the medians of resampled passes.
fn band(profiles: &[Profile]) -> Vec<[f32; 3]> {
    let mut rng = ChaCha8Rng::seed_from_u64(0x5eed);
    let n = profiles.len();
    // How often each pass is drawn, resample by resample.
    let draws: Vec<Vec<u32>> = (0..RESAMPLES)
        .map(|_| {
            let mut times = vec![0; n];
            (0..n).for_each(|_| times[rng.random_range(0..n.max(1))] += 1);
            times
        })
        .collect();
    let mut order: Vec<usize> = Vec::new();
    (0..PROFILE_S)
        .map(|s| {
            // The profiles that tell of this second, from the lowest value up.
            order.clear();
            order.extend((0..n).filter(|&k| profiles[k][s].is_finite()));
            // Where few passes were logged, nothing is known.
            if order.len() * 5 < n || order.len() < FEWEST {
                return [f32::NAN; 3];
            }
            order.sort_unstable_by(|&a, &b| profiles[a][s].total_cmp(&profiles[b][s]));
            let middle = profiles[order[order.len() / 2]][s];
            let drawn = |times: &Vec<u32>| -> Option<f32> {
                let all: u32 = order.iter().map(|&k| times[k]).sum();
                let mut below = 0;
                let at = order.iter().find(|&&k| {
                    below += times[k];
                    below > all / 2
                })?;
                Some(profiles[*at][s])
            };
            let mut medians: Vec<f32> = draws.iter().filter_map(drawn).collect();
            medians.sort_unstable_by(f32::total_cmp);
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

    fn of(evidence: &Evidence, delay: f64) -> Ramps {
        estimate(&[FieldRamps {
            evidence,
            delay,
            filling: None,
        }])
    }

    fn evidence(n: usize, shape: impl Fn(usize, f32) -> f32) -> Evidence {
        let profiles: Vec<Profile> = (0..n)
            .map(|p| (0..PROFILE_S).map(|s| shape(p, s as f32 + 0.5)).collect())
            .collect();
        Evidence {
            machine: "C1".into(),
            delay: 12.0,
            step: 1.0,
            entries: profiles.clone(),
            beside: vec![],
            exits: profiles,
        }
    }

    /// First order, τ = 2 s, behind a mean of 0: 1.5 % is lacking at 2·(ln(1/0.015) − 1) = 6.4 s.
    fn filling(s: f32) -> f32 {
        1.0 - (-(s + 2.0).max(0.0) / 2.0).exp()
    }

    #[test]
    fn a_ramp_ends_where_the_machine_has_filled() {
        let e = evidence(20, |p, s| {
            filling(s) * (1.0 + 0.02 * ((p % 5) as f32 - 2.0))
        });
        let r = of(&e, 12.0);
        assert!(
            r.entry.from_data && (6.0..=8.5).contains(&r.entry.seconds),
            "{:?}",
            r.entry
        );
        let [low, high] = r.entry.interval;
        assert!(low <= r.entry.seconds && r.entry.seconds <= high && low <= 6.4 && 6.4 <= high);
    }

    #[test]
    fn a_poor_headland_is_told_from_a_ramp_by_the_passes_that_leave_there() {
        // Ground that gains a third within some ten seconds, which a leaving pass sees from 7 s on.
        let ground = |s: f32| 0.75 + 0.25 / (1.0 + ((14.0 - s) / 2.0).exp());
        let noise = |p: usize| 1.0 + 0.01 * ((p % 5) as f32 - 2.0);
        let mut e = evidence(20, |p, s| ground(s) * filling(s) * noise(p));
        let alone = of(&e, 12.0).entry;
        let seen = |p: usize, s: f32| {
            if s < 7.0 {
                f32::NAN
            } else {
                ground(s) * noise(p + 2)
            }
        };
        e.beside = evidence(20, seen).entries;
        let told = of(&e, 12.0).entry;
        assert_eq!((alone.against, told.against), (0, 20));
        assert!(!alone.from_data, "{alone:?}"); // a ramp of half a minute is believed of no machine
        assert!(
            told.from_data && (6.0..=11.0).contains(&told.seconds),
            "{told:?}"
        );
        assert!(told.interval[0] <= 6.4, "{told:?}");
    }

    #[test]
    fn what_crop_does_to_whole_passes_is_no_scatter() {
        // Passes from 0.8 to 1.2 of their level at this end.
        let e = evidence(21, |p, s| (0.8 + 0.4 * (p % 7) as f32 / 6.0) * filling(s));
        let r = of(&e, 12.0);
        assert!(
            (5.5..=9.5).contains(&r.entry.seconds),
            "{:?}",
            r.entry.seconds
        );
    }

    #[test]
    fn profiles_move_with_the_delay_that_is_decided() {
        // Filling that begins 8 s late, emptying that begins 8 s before the end.
        let e = Evidence {
            exits: evidence(20, |_, s| 1.0 - filling(6.0 - s)).exits,
            ..evidence(20, |_, s| filling(s - 8.0))
        };
        let [early, late] = [12.0, 15.0].map(|delay| of(&e, delay));
        let by = |pick: fn(&Ramps) -> f64| pick(&early) - pick(&late);
        assert!(
            (by(|r| r.entry.seconds) - 3.0).abs() <= 0.6,
            "{early:?} {late:?}"
        );
        assert!(
            (by(|r| r.exit.seconds) + 3.0).abs() <= 0.6,
            "{early:?} {late:?}"
        );
        assert!(
            (7.0..=9.5).contains(&early.exit.seconds),
            "{:?}",
            early.exit
        );
    }

    #[test]
    fn a_display_that_trims_the_ends_of_passes_makes_the_exit_longer() {
        let e = Evidence {
            exits: evidence(20, |_, s| if s < 6.0 { 0.0 } else { 1.0 }).exits,
            ..evidence(20, |_, s| filling(s))
        };
        let r = of(&e, 12.0);
        assert!((5.5..=8.5).contains(&r.exit.seconds), "{:?}", r.exit);
    }

    #[test]
    fn few_or_silent_passes_give_the_default() {
        let r = of(&evidence(3, |_, _| 1.0), 12.0);
        assert!(
            !r.entry.from_data && r.entry.seconds == DEFAULT_S.0 && r.exit.seconds == DEFAULT_S.1
        );
        let r = of(&evidence(20, |_, _| f32::NAN), 12.0);
        assert!(!r.entry.from_data);
        assert!(!estimate(&[]).exit.from_data);
    }
}
