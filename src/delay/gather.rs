//! Evidence of one field on the delays of its machines.

use std::sync::LazyLock;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::compare::{curve, sites};
use super::curve::{Curves, MIXING_S};
use super::phase::PhaseKernel;
use super::{EntryEvidence, PassEnds, TrackSignals, opposed_pairs};
use crate::log::{Log, Timeline};
use crate::passes::Passes;
use crate::stats::median;

/// Pairs looked for in one field: beyond this the delay's error is no longer that of the noise (our choice).
const MOST_PAIRS: usize = 8_000;
/// Flow below this share of the usual one is filling, emptying or not logged.
const SETTLED_SHARE: f32 = 0.2;
/// Flow this near to such flow is not settled either: what smoothing reaches, in rows, and the foot of a ramp, s.
const SETTLE_ROWS: f64 = 3.5;
/// See [`SETTLE_ROWS`].
const SETTLE_S: f64 = 4.0;
/// Standard deviation of the smoothing under which passes are compared, s, or a row where that is longer. Noise is
/// white, ground is not, and the smoother the signal the less the machine's mixing matters: on simulated seasons errors
/// are least between 2 and 3 s when the mixing is known, and standard errors hold from 3 s on (at 2 s they are a
/// sixth too small).
const SMOOTHING_S: f64 = 3.0;
/// Ground taken in more slowly than this share of the usual says nothing of its yield.
const LEAST_INTAKE: f32 = 0.05;
/// Least half-width of the parabola through the minimum, s (our choice: four candidates either side).
const FIT_HALF_WIDTH_S: f64 = 2.0;
/// Rows this near to a start or stop of cutting take no part: the machine fills and empties there, s.
const END_MARGIN_S: f64 = 12.0;

/// The kernels of [`MIXING_S`], the same for every field.
static KERNELS: LazyLock<[PhaseKernel; MIXING_S.len()]> =
    LazyLock::new(|| MIXING_S.map(PhaseKernel::new));

/// What the delay is sought in.
#[derive(Debug, Clone, Copy)]
pub struct DelayInput<'a> {
    /// The log.
    pub log: &'a Log,
    /// Its clock.
    pub timeline: &'a Timeline,
    /// Its passes.
    pub passes: &'a Passes,
    /// Newly cut area per row, m²; NaN where none is known.
    pub area: &'a [f64],
    /// The signals of its tracks.
    pub signals: &'a [TrackSignals],
}

/// What one field says of one machine's delay.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Evidence {
    /// Machine name.
    pub machine: String,
    /// Disagreement of opposed passes over candidate delays, from log yield.
    pub grain: Curves,
    /// The same from moisture.
    pub moisture: Curves,
    /// Rise of flow at pass entry.
    pub entry: EntryEvidence,
    /// Filling and emptying where passes begin and end.
    pub ends: PassEnds,
    /// Usual interval of a row, s.
    pub interval: f64,
    /// Usual ground speed where passes were compared, m/s; `None` where none were.
    pub speed: Option<f64>,
}

/// Takes the evidence of one field, per machine.
pub fn gather(input: &DelayInput) -> Vec<Evidence> {
    let DelayInput {
        log,
        timeline,
        passes,
        area,
        signals,
    } = *input;
    let usable = |i: usize| {
        let cut = passes.since_start[i] + passes.until_stop[i];
        let margin = END_MARGIN_S.min(0.15 * cut);
        passes.since_start[i] >= margin && passes.until_stop[i] >= margin && area[i] > 0.0
    };
    let pairs = opposed_pairs(timeline, passes, usable, MOST_PAIRS);
    (timeline.tracks.par_iter().enumerate())
        .map(|(t, track)| {
            let TrackSignals {
                grid,
                flow,
                intake: rate,
            } = &signals[t];
            let entry = EntryEvidence::gather(timeline, passes, t, flow, rate);
            let ends = PassEnds::gather(timeline, passes, t, flow, rate);
            let floor = flow.median().unwrap_or(1.0).max(1e-6) * SETTLED_SHARE;
            let reach = SETTLE_S + SETTLE_ROWS * track.usual_step;
            let more = (SMOOTHING_S.powi(2) - track.usual_step.powi(2))
                .max(0.0)
                .sqrt();
            let log_flow = flow
                .clone()
                .settled(floor, reach)
                .map(f32::ln)
                .smoothed(more);
            let least = rate.median().unwrap_or(1.0).max(1e-6) * LEAST_INTAKE;
            let log_rate = rate
                .clone()
                .map(|v| if v > least { v.ln() } else { f32::NAN })
                .smoothed(more);
            let sites = sites(log, timeline, passes, t, &pairs);
            let half = track.usual_step.max(FIT_HALF_WIDTH_S);
            let offset = |time: f64| log_rate.at(log_rate.cell(time));
            let bridged = log_flow.bridged();
            let grain = KERNELS
                .par_iter()
                .map(|kernel| {
                    let signal = log_flow.symmetrised_from(&bridged, kernel);
                    curve(&sites, &signal, offset, half)
                })
                .collect();
            drop(bridged);
            let wet: Vec<f64> = (track.rows.iter().enumerate())
                .map(|(k, &i)| log.moisture[i as usize] * track.interval(k))
                .collect();
            let moisture = vec![curve(&sites, &grid.rate(track, &wet), |_| 0.0, half)];
            let machine = log.machines[track.machine as usize].clone();
            let speeds: Vec<f64> = (pairs.iter().map(|p| p.a as usize))
                .filter(|&i| log.machine[i] == track.machine)
                .map(|i| passes.speed[i])
                .filter(|v| v.is_finite())
                .collect();
            Evidence {
                machine,
                grain,
                moisture,
                entry,
                ends,
                interval: track.usual_interval,
                speed: median(&speeds),
            }
        })
        .collect()
}
