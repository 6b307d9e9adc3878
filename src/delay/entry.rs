//! How flow rises where passes begin: the second, independent look at the delay.
//!
//! A machine that is logged as it runs is empty when it enters the crop; flow reaches half of its level one delay
//! later. A display that shifted its log before writing it leaves no such wait. So the rise tells a raw log from a
//! shifted one, and its half-time must agree with what the opposed passes say.

use serde::{Deserialize, Serialize};

use super::Signal;
use crate::log::{Timeline, Track};
use crate::passes::{Pass, Passes};

/// Seconds of the profile.
const PROFILE_S: usize = 45;
/// Shortest pass that has a level of its own to compare with, s: the longest delay and ramp, and ten seconds more.
const LEVEL_FROM_S: f64 = 28.0;
/// Fewest passes a profile is taken from.
const FEWEST_PASSES: usize = 4;

/// Rise of flow after pass entry, over the passes of one machine in one field.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct EntryEvidence {
    /// Passes behind the profile.
    pub passes: u32,
    /// Median over passes of flow as a share of the pass's own level, per second after entry; NaN where not logged.
    pub profile: Vec<f32>,
}

impl EntryEvidence {
    /// Takes the profile of the passes that start after the header came down.
    pub fn gather(timeline: &Timeline, passes: &Passes, t: usize, flow: &Signal) -> Self {
        let track = &timeline.tracks[t];
        let mut shares: Vec<Vec<f32>> = vec![Vec::new(); PROFILE_S];
        let mut count = 0;
        for pass in passes.passes.iter().filter(|p| p.track == t) {
            let Some(level) = level(track, pass, flow) else {
                continue;
            };
            count += 1;
            let start = track.start[pass.first];
            for (s, at) in shares.iter_mut().enumerate() {
                let v = flow.at(flow.cell(start + s as f64 + 0.5));
                if v.is_finite() {
                    at.push(v / level);
                }
            }
        }
        let profile = shares
            .into_iter()
            .map(|mut v| {
                if v.len() < FEWEST_PASSES {
                    return f32::NAN;
                }
                let m = v.len() / 2;
                *v.select_nth_unstable_by(m, f32::total_cmp).1
            })
            .collect();
        Self {
            passes: count,
            profile,
        }
    }

    /// Time after entry at which flow stays above half of its level, s; 0 where it begins above. `None` without profile.
    pub fn half_time(&self) -> Option<f64> {
        let p = &self.profile;
        let last_low = (0..p.len()).rev().find(|&s| p[s] < 0.5);
        match last_low {
            None => p.first().filter(|v| v.is_finite()).map(|_| 0.0),
            Some(s) if s + 1 < p.len() && p[s + 1].is_finite() => {
                let (a, b) = (f64::from(p[s]), f64::from(p[s + 1]));
                Some(s as f64 + 0.5 + (0.5 - a) / (b - a))
            }
            Some(_) => None,
        }
    }

    /// Whether the machine is seen to fill: nearly no flow at first, half of the level not before three seconds.
    /// `None` where the entries do not tell.
    pub fn fills(&self) -> Option<bool> {
        let half = self.half_time()?;
        let first = *self.profile.get(1)?;
        if first < 0.35 && half >= 3.0 {
            Some(true)
        } else if half < 2.5 {
            Some(false)
        } else {
            None
        }
    }

    /// Joins the entries of several fields, each weighted by its passes.
    pub fn join<'a>(all: impl IntoIterator<Item = &'a EntryEvidence>) -> Self {
        let mut sum = vec![(0.0f32, 0.0f32); PROFILE_S];
        let mut passes = 0;
        for e in all {
            passes += e.passes;
            for (s, &v) in sum.iter_mut().zip(&e.profile) {
                if v.is_finite() {
                    s.0 += v * e.passes as f32;
                    s.1 += e.passes as f32;
                }
            }
        }
        let profile = sum
            .into_iter()
            .map(|(v, w)| if w > 0.0 { v / w } else { f32::NAN })
            .collect();
        Self { passes, profile }
    }
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
            profile: (0..PROFILE_S).map(|s| rise(s as f32 + 0.5)).collect(),
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
        let shifted = profile(|s| 1.0 - 0.4 * (-s / 2.0).exp());
        assert_eq!(shifted.half_time(), Some(0.0));
        assert_eq!(shifted.fills(), Some(false));
        assert_eq!(EntryEvidence::default().fills(), None);
    }
}
