//! Evidence of one field on its machines' ramps.

use serde::{Deserialize, Serialize};

use crate::delay::{Signal, TrackSignals};
use crate::log::{Log, Timeline, Track};
use crate::passes::{Pass, Passes};

/// Seconds of a profile.
pub const PROFILE_S: usize = 46;
/// The pass's own level is taken between these seconds from its end: past any ramp, still near it.
const LEVEL_S: std::ops::Range<usize> = 18..36;
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
    /// One profile per pass, from its start on.
    pub entries: Vec<Profile>,
    /// One profile per pass, from its end back.
    pub exits: Vec<Profile>,
}

/// Takes the profiles of every machine's passes, with a provisional delay per machine (s, in the timeline's order).
///
/// Profiles reach [`PROFILE_S`] seconds plus a margin either side, so that they can still be moved.
pub fn gather(input: &RampInput, delays: &[f64]) -> Vec<Evidence> {
    let RampInput {
        log,
        timeline,
        passes,
        signals,
    } = *input;
    timeline
        .tracks
        .iter()
        .enumerate()
        .map(|(t, track)| {
            let TrackSignals {
                flow, intake: rate, ..
            } = &signals[t];
            let own: Vec<&Pass> = passes.passes.iter().filter(|p| p.track == t).collect();
            let stride = own.len().div_ceil(MOST_PASSES).max(1);
            let delay = delays[t];
            let (mut entries, mut exits) = (Vec::new(), Vec::new());
            for pass in own.into_iter().step_by(stride) {
                let (start, stop) = (track.start[pass.first], track.end[pass.end - 1]);
                entries.extend(profile(track, pass, flow, rate, delay, |s| start + s));
                exits.extend(profile(track, pass, flow, rate, delay, |s| stop - s));
            }
            Evidence {
                machine: log.machines[track.machine as usize].clone(),
                delay,
                entries,
                exits,
            }
        })
        .collect()
}

/// Yield along one end of a pass relative to its level; `None` for a pass without one.
fn profile(
    track: &Track,
    pass: &Pass,
    flow: &Signal,
    rate: &Signal,
    delay: f64,
    time: impl Fn(f64) -> f64,
) -> Option<Profile> {
    if track.end[pass.end - 1] - track.start[pass.first] < (2 * LEVEL_S.start) as f64 {
        return None;
    }
    let inside = |t: f64| t > track.start[pass.first] && t < track.end[pass.end - 1];
    let at = |s: usize| {
        let t = time(s as f64 + 0.5);
        (inside(t)).then(|| (flow.at(flow.cell(t + delay)), rate.at(rate.cell(t))))
    };
    let level_rate = median((0..PROFILE_S).filter_map(at).map(|v| v.1).collect())?;
    // The first second's cut area is blurred by the smoothing; within a third of the usual it is believed.
    let yields = |v: (f32, f32)| v.0 / v.1.clamp(level_rate / 1.5, level_rate * 1.5);
    let level = median(LEVEL_S.filter_map(at).map(yields).collect())?;
    (level > 0.0).then(|| {
        (0..PROFILE_S)
            .map(|s| at(s).map_or(f32::NAN, |v| yields(v) / level))
            .collect()
    })
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
