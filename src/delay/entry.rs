//! How flow rises where passes begin: the second, independent look at the delay.
//!
//! A machine that is logged as it runs is empty when it enters the crop; flow reaches half of its level one delay
//! later. A display that shifted its log before writing it leaves no such wait. So the rise tells a raw log from a
//! shifted one, and its half-time must agree with what the opposed passes say.

use serde::{Deserialize, Serialize};

use super::{Mixing, Signal};
use crate::log::{Timeline, Track};
use crate::passes::{Pass, Passes};

/// Seconds of the profile.
const PROFILE_S: usize = 55;
/// Seconds before entry at which it begins.
const BEFORE_S: usize = 10;
/// Shortest pass that has a level of its own to compare with, s: the longest delay and ramp, and ten seconds more.
const LEVEL_FROM_S: f64 = 28.0;
/// Seconds after the half-time whose flow is the level that a machine fills to.
const NEARBY_S: std::ops::Range<usize> = 7..15;
/// Fewest passes a profile is taken from.
const FEWEST_PASSES: usize = 4;

/// Rise of flow after pass entry, over the passes of one machine in one field.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct EntryEvidence {
    /// Passes behind the profile.
    pub passes: u32,
    /// Median over passes of flow as a share of the pass's own level, per second from ten seconds before entry on; NaN
    /// where not logged.
    pub profile: Vec<f32>,
    /// The same of the ground newly cut per second: how suddenly the machine takes the crop in.
    pub intake: Vec<f32>,
}

impl EntryEvidence {
    /// Takes the profile of the passes that start after the header came down.
    pub fn gather(
        timeline: &Timeline,
        passes: &Passes,
        t: usize,
        flow: &Signal,
        rate: &Signal,
    ) -> Self {
        let track = &timeline.tracks[t];
        let (mut flows, mut intakes) = (Columns::default(), Columns::default());
        let mut count = 0;
        for pass in passes.passes.iter().filter(|p| p.track == t) {
            if let (Some(usual), Some(taken)) = (level(track, pass, flow), level(track, pass, rate))
            {
                count += 1;
                flows.add(flow, track.start[pass.first], usual);
                intakes.add(rate, track.start[pass.first], taken);
            }
        }
        Self {
            passes: count,
            profile: flows.medians(),
            intake: intakes.medians(),
        }
    }

    /// Flow at a second after entry; NaN outside the profile.
    fn at(&self, second: usize) -> f32 {
        self.profile
            .get(BEFORE_S + second)
            .copied()
            .unwrap_or(f32::NAN)
    }

    /// Time after entry at which flow stays above half of its level, s; 0 where it begins above. `None` without profile.
    pub fn half_time(&self) -> Option<f64> {
        let last_low = (0..PROFILE_S - BEFORE_S).rev().find(|&s| self.at(s) < 0.5);
        match last_low {
            None => self.at(0).is_finite().then_some(0.0),
            Some(s) if self.at(s + 1).is_finite() => {
                let (a, b) = (f64::from(self.at(s)), f64::from(self.at(s + 1)));
                Some(s as f64 + 0.5 + (0.5 - a) / (b - a))
            }
            Some(_) => None,
        }
    }

    /// First-order mixing of the machine, from how steeply flow rises: an exponential goes from a quarter to three
    /// quarters of its level in τ ln 3. What the intake itself takes to rise (the machine gathers speed, its header
    /// meets the crop askew, rows are smoothed) is taken off in quadrature. `step`: usual time from row to row, s.
    /// `None` where the rise is not seen from below a quarter.
    pub fn mixing(&self, step: f64) -> Option<Mixing> {
        let rise = self.rise_of_flow()?;
        // Smoothing by a row's mean and the signal's own σ of one row.
        let sudden = 1.35 * 1.04 * step;
        let taken = self
            .rise_of_intake()
            .map_or(sudden, |r| r.width())
            .max(sudden);
        let tau = (rise.width().powi(2) - taken * taken).max(0.0).sqrt() / 3f64.ln();
        // How well such a rise can be read (our choice: a third of a row, a fifth of itself and of the intake's).
        let standard_error = (0.33 * step).hypot(0.2 * tau).hypot(0.2 * taken);
        Some(Mixing {
            seconds: tau,
            standard_error,
        })
    }

    /// Delay by the entries alone, s: from where half of the crop is taken in to where half of the flow is there, and
    /// from there to the mean of the response, τ(1 − ln 2) for first-order mixing. `None` where the rise is not seen.
    ///
    /// The first row of a pass is cut in its last part only, but what it took in stands for all of its time: the intake
    /// seems to begin a quarter of a row too early on average.
    pub fn delay(&self, step: f64) -> Option<f64> {
        let taken_in = self
            .rise_of_intake()
            .map_or(BEFORE_S as f64 - 0.5, |r| r.half);
        let mixing = self.mixing(step)?.seconds;
        let early = 0.25 * step;
        Some(self.rise_of_flow()?.half - taken_in - early + mixing * (1.0 - 2f64.ln()))
    }

    fn rise_of_flow(&self) -> Option<Rise> {
        if self.passes < FEWEST_PASSES as u32 || !(self.at(0) < 0.25) {
            return None;
        }
        Rise::of(&self.profile)
    }

    /// The intake begins at entry: only its first seconds count.
    fn rise_of_intake(&self) -> Option<Rise> {
        self.intake.get(..BEFORE_S + 25).and_then(Rise::of)
    }

    /// Whether the machine is seen to fill: nearly no flow at first, half of the level not before three seconds.
    /// `None` where the entries do not tell.
    pub fn fills(&self) -> Option<bool> {
        let half = self.half_time()?;
        let first = Some(self.at(1)).filter(|v| v.is_finite())?;
        if first < 0.35 && half >= 3.0 {
            Some(true)
        } else if half < 2.5 {
            Some(false)
        } else {
            None
        }
    }

    /// Joins the entries of several fields, each weighted by its passes.
    pub fn join<'a>(all: impl IntoIterator<Item = &'a EntryEvidence> + Clone) -> Self {
        let mean = |pick: fn(&EntryEvidence) -> &[f32]| -> Vec<f32> {
            let mut sum = vec![(0.0f32, 0.0f32); PROFILE_S];
            for e in all.clone() {
                for (s, &v) in sum.iter_mut().zip(pick(e)) {
                    if v.is_finite() {
                        s.0 += v * e.passes as f32;
                        s.1 += e.passes as f32;
                    }
                }
            }
            sum.into_iter()
                .map(|(v, w)| if w > 0.0 { v / w } else { f32::NAN })
                .collect()
        };
        Self {
            passes: all.clone().into_iter().map(|e| e.passes).sum(),
            profile: mean(|e| &e.profile),
            intake: mean(|e| &e.intake),
        }
    }
}

/// Shares of many passes, second by second.
#[derive(Default)]
struct Columns(Vec<Vec<f32>>);

impl Columns {
    fn add(&mut self, signal: &Signal, start: f64, level: f32) {
        self.0.resize(PROFILE_S, Vec::new());
        for (s, column) in self.0.iter_mut().enumerate() {
            let v = signal.at(signal.cell(start + s as f64 + 0.5 - BEFORE_S as f64));
            if v.is_finite() {
                column.push(v / level);
            }
        }
    }

    fn medians(self) -> Vec<f32> {
        let median = |mut v: Vec<f32>| {
            if v.len() < FEWEST_PASSES {
                return f32::NAN;
            }
            let m = v.len() / 2;
            *v.select_nth_unstable_by(m, f32::total_cmp).1
        };
        self.0.into_iter().map(median).collect()
    }
}

/// When a profile passes a quarter, half and three quarters of its level, seconds from its begin.
#[derive(Debug, Clone, Copy)]
struct Rise {
    quarter: f64,
    half: f64,
    three_quarters: f64,
}

impl Rise {
    /// `None` where the profile does not begin below a quarter.
    ///
    /// The level is that of [`NEARBY_S`] after half of it is reached: where the headland is poorer than the field, the
    /// flow that a machine fills to is the headland's.
    fn of(profile: &[f32]) -> Option<Self> {
        let half = crossing(profile, 0.5)?.ceil() as usize;
        let near: Vec<f32> = profile
            .iter()
            .skip(half + NEARBY_S.start)
            .take(NEARBY_S.len())
            .copied()
            .filter(|v| v.is_finite())
            .collect();
        let level = if near.is_empty() {
            1.0
        } else {
            near.iter().sum::<f32>() / near.len() as f32
        };
        Some(Self {
            quarter: crossing(profile, 0.25 * level)?,
            half: crossing(profile, 0.5 * level)?,
            three_quarters: crossing(profile, 0.75 * level)?,
        })
    }

    fn width(&self) -> f64 {
        self.three_quarters - self.quarter
    }
}

/// Where a profile first comes above a level from below it, in seconds from its begin.
fn crossing(profile: &[f32], level: f32) -> Option<f64> {
    let s = (1..profile.len()).find(|&s| profile[s - 1] < level && profile[s] >= level)?;
    let (a, b) = (profile[s - 1], profile[s]);
    Some(s as f64 - f64::from((b - level) / (b - a)))
}

/// Median flow of a pass where it must have settled; `None` for a pass too short for that.
fn level(track: &Track, pass: &Pass, flow: &Signal) -> Option<f32> {
    let (from, to) = (
        track.start[pass.first] + LEVEL_FROM_S,
        track.end[pass.end - 1],
    );
    let mut v: Vec<f32> = (0..((to - from).max(0.0)) as usize)
        .map(|s| flow.at(flow.cell(from + s as f64)))
        .filter(|v| v.is_finite())
        .collect();
    if v.len() < 10 {
        return None;
    }
    let m = v.len() / 2;
    let level = *v.select_nth_unstable_by(m, f32::total_cmp).1;
    (level > 0.0).then_some(level)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile(rise: impl Fn(f32) -> f32) -> EntryEvidence {
        EntryEvidence {
            passes: 10,
            profile: (0..PROFILE_S)
                .map(|s| rise(s as f32 + 0.5 - BEFORE_S as f32))
                .collect(),
            intake: vec![f32::NAN; PROFILE_S],
        }
    }

    #[test]
    fn a_filling_machine_is_told_from_a_shifted_log() {
        let raw = profile(|s| {
            if s < 9.0 {
                0.0
            } else {
                1.0 - (-(s - 9.0) / 3.0).exp()
            }
        });
        // First-order lag behind a dead time: half of the level at θ + τ ln 2.
        assert!((raw.half_time().unwrap() - (9.0 + 3.0 * 2f64.ln())).abs() < 0.3);
        assert_eq!(raw.fills(), Some(true));
        assert!((raw.mixing(0.1).unwrap().seconds - 3.0).abs() < 0.4);
        assert!((raw.delay(0.1).unwrap() - 12.0).abs() < 0.5);
        let shifted = profile(|s| 1.0 - 0.4 * (-s / 2.0).exp());
        assert_eq!(shifted.half_time(), Some(0.0));
        assert_eq!(shifted.fills(), Some(false));
        assert_eq!(EntryEvidence::default().fills(), None);
    }
}
