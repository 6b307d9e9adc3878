//! Evidence of one field on its machines' ramps.

use serde::{Deserialize, Serialize};

use crate::delay::{OpposedPair, TrackSignals, opposed_pairs};
use crate::log::{Log, Timeline, Track};
use crate::passes::{Pass, Passes};

/// Seconds of a profile.
pub const PROFILE_S: usize = 46;
/// The pass's own level is taken between these seconds from its end: past any ramp, still near it.
const LEVEL_S: std::ops::Range<usize> = 18..36;
/// A pass beside an entry shows its ground where it has been cutting for as long as the longest ramp takes, s, and goes
/// on until the machine no longer empties: these seconds and half a row before it leaves (our choice: the mixing of
/// slow machines, Arslan 2008, and a second).
const BESIDE_S: (f64, f64) = (25.0, 6.0);
/// Passes whose profiles are kept per field and machine, spread over the work: enough for a band of one per cent.
const MOST_PASSES: usize = 60;

/// What ramps are sought in.
#[derive(Debug, Clone, Copy)]
pub struct RampInput<'a> {
    /// The log.
    pub log: &'a Log,
    /// Its clock.
    pub timeline: &'a Timeline,
    /// Its passes.
    pub passes: &'a Passes,
    /// The signals of its tracks.
    pub signals: &'a [TrackSignals],
}

/// Yield at one end of a pass as a share of the pass's level, per second from that end (middle of the second); NaN
/// where not logged.
pub type Profile = Vec<f32>;

/// What one field says of one machine's ramps.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Evidence {
    /// Machine name.
    pub machine: String,
    /// Delay that the profiles were taken with, s; they move with the delay that is decided later.
    pub delay: f64,
    /// Usual time from row to row, s.
    pub step: f64,
    /// One profile per pass, from its start on.
    pub entries: Vec<Profile>,
    /// For each of them, what passes beside it that leave there say of the same ground: their yield as a share of the
    /// entering pass's level.
    pub beside: Vec<Profile>,
    /// One profile per pass, from its end back.
    pub exits: Vec<Profile>,
}

/// Takes the profiles of every machine's passes, with a provisional delay per machine (s, in the timeline's order).
pub fn gather(input: &RampInput, delays: &[f64]) -> Vec<Evidence> {
    let RampInput {
        log,
        timeline,
        passes,
        signals,
    } = *input;
    let near_an_end = |i: usize| {
        let reach = PROFILE_S as f64;
        passes.since_start[i] < reach || passes.until_stop[i] < reach
    };
    let pairs = opposed_pairs(timeline, passes, near_an_end, usize::MAX);
    let track = |(t, track): (usize, &Track)| {
        let ground = Flowing {
            track,
            signals: &signals[t],
            delay: delays[t],
        };
        let numbered = passes.passes.iter().enumerate();
        let own: Vec<(usize, &Pass)> = numbered.filter(|(_, p)| p.track == t).collect();
        let stride = own.len().div_ceil(MOST_PASSES).max(1);
        let leaving = Leaving::new(passes, track, &pairs);
        let mut out = Evidence {
            machine: log.machines[track.machine as usize].clone(),
            delay: delays[t],
            step: track.usual_step,
            ..Evidence::default()
        };
        for (p, pass) in own.into_iter().step_by(stride) {
            let (start, stop) = (track.start[pass.first], track.end[pass.end - 1]);
            if let Some((entry, level)) = ground.profile(pass, |s| start + s) {
                out.entries.push(entry);
                out.beside.push(leaving.profile(p, &ground, level));
            }
            out.exits
                .extend(ground.profile(pass, |s| stop - s).map(|(exit, _)| exit));
        }
        out
    };
    timeline.tracks.iter().enumerate().map(track).collect()
}

/// A pass's own level: flow and ground cut per second.
#[derive(Debug, Clone, Copy)]
struct Level {
    intake: f32,
    yields: f32,
}

/// One track with its delay undone.
struct Flowing<'a> {
    track: &'a Track,
    signals: &'a TrackSignals,
    delay: f64,
}

impl Flowing<'_> {
    /// Flow, and ground cut per second, of the ground of a time.
    fn at(&self, time: f64) -> (f32, f32) {
        let TrackSignals { flow, intake, .. } = self.signals;
        (
            flow.at(flow.cell(time + self.delay)),
            intake.at(intake.cell(time)),
        )
    }

    /// Yield along one end of a pass relative to its level; `None` for a pass without one.
    fn profile(&self, pass: &Pass, time: impl Fn(f64) -> f64) -> Option<(Profile, Level)> {
        let (start, stop) = (self.track.start[pass.first], self.track.end[pass.end - 1]);
        if stop - start < (2 * LEVEL_S.start) as f64 {
            return None;
        }
        let at = |s: usize| {
            let t = time(s as f64 + 0.5);
            (t > start && t < stop).then(|| self.at(t))
        };
        let intake = median((0..PROFILE_S).filter_map(at).map(|v| v.1).collect())?;
        // The first second's cut area is blurred by the smoothing; within a third of the usual it is believed.
        let yields = |v: (f32, f32)| v.0 / v.1.clamp(intake / 1.5, intake * 1.5);
        let level = median(LEVEL_S.filter_map(at).map(yields).collect())?;
        (level > 0.0).then(|| {
            let profile = (0..PROFILE_S)
                .map(|s| at(s).map_or(f32::NAN, |v| yields(v) / level))
                .collect();
            (
                profile,
                Level {
                    intake,
                    yields: level,
                },
            )
        })
    }
}

/// Where passes beside an entry leave: (entering pass, second since it began, time at which a pass beside cut that ground, s).
struct Leaving(Vec<(u32, usize, f64)>);

impl Leaving {
    fn new(passes: &Passes, track: &Track, pairs: &[OpposedPair]) -> Self {
        let mut place = vec![u32::MAX; passes.pass_of.len()];
        for (k, &i) in track.rows.iter().enumerate() {
            place[i as usize] = k as u32;
        }
        let middle = |row: u32| -> Option<f64> {
            let k = place[row as usize] as usize;
            (k < track.len()).then(|| 0.5 * (track.start[k] + track.end[k]))
        };
        let until = BESIDE_S.1 + 0.5 * track.usual_step;
        let settled = |row: u32| {
            let i = row as usize;
            passes.since_start[i] > BESIDE_S.0 && passes.until_stop[i] > until
        };
        let mut found = Vec::new();
        for &OpposedPair { a, b } in pairs {
            for (entering, leaving) in [(a, b), (b, a)] {
                if let (Some(at), Some(then)) = (middle(entering), middle(leaving))
                    && let Some(p) = passes.pass_of[entering as usize]
                    && settled(leaving)
                {
                    let since = at - track.start[passes.passes[p as usize].first];
                    if (0.0..PROFILE_S as f64).contains(&since) {
                        found.push((p, since as usize, then));
                    }
                }
            }
        }
        found.sort_unstable_by(|a, b| (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2)));
        Self(found)
    }

    /// Yield beside the entry of pass `p`, relative to that pass's level; NaN where no pass beside tells.
    fn profile(&self, p: usize, ground: &Flowing<'_>, level: Level) -> Profile {
        let mut out = vec![(0.0, 0.0); PROFILE_S];
        let from = self.0.partition_point(|f| (f.0 as usize) < p);
        for &(_, second, time) in self.0[from..].iter().take_while(|f| f.0 as usize == p) {
            let (flow, intake) = ground.at(time);
            // Half a header of crop tells nothing of its yield.
            if flow.is_finite() && intake > 0.5 * level.intake {
                let (sum, n) = &mut out[second];
                *sum += flow / intake / level.yields;
                *n += 1.0;
            }
        }
        out.into_iter().map(|(sum, n)| sum / n).collect()
    }
}

/// Median of the finite values; `None` where there are fewer than three.
fn median(mut v: Vec<f32>) -> Option<f32> {
    v.retain(|x| x.is_finite());
    if v.len() < 3 {
        return None;
    }
    let m = v.len() / 2;
    Some(*v.select_nth_unstable_by(m, f32::total_cmp).1)
}
