//! Evidence of one field on the delays of its machines.

use serde::{Deserialize, Serialize};

use super::curve::{Block, CANDIDATE_STEP_S, CANDIDATES, Curve, LOWEST_CANDIDATE_S};
use super::signal::GRID_S;
use super::{EntryEvidence, OpposedPair, Signal, opposed_pairs};
use crate::log::{Log, Timeline};
use crate::passes::Passes;

/// Pairs looked for in one field: beyond this the delay's error is no longer that of the noise (our choice).
const MOST_PAIRS: usize = 8_000;
/// Blocks the pairs are parted into, across the direction of travel. A pass's own noise at one place meets all its
/// neighbours in the same block, so blocks are independent though pairs are not.
const BLOCKS: usize = 16;
/// Fewest pairs a block needs.
const FEWEST_IN_BLOCK: usize = 12;
/// Rows this near to a start or stop of cutting take no part: the machine fills and empties there, s.
const END_MARGIN_S: f64 = 12.0;
/// Differences beyond this many robust standard deviations count no more than that.
const WINSOR: f32 = 3.0;

/// What the delay is sought in.
#[derive(Debug, Clone, Copy)]
pub struct DelayInput<'a> {
    /// The log.
    pub log: &'a Log,
    /// Its clock.
    pub timeline: &'a Timeline,
    /// Its passes.
    pub passes: &'a Passes,
    /// Wet mass per row with faults replaced, kg.
    pub mass: &'a [f64],
    /// Newly cut area per row, m²; NaN where none is known.
    pub area: &'a [f64],
}

/// What one field says of one machine's delay.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Evidence {
    /// Machine name.
    pub machine: String,
    /// Disagreement of opposed passes over candidate delays, from log yield.
    pub grain: Curve,
    /// The same from moisture.
    pub moisture: Curve,
    /// Rise of flow at pass entry.
    pub entry: EntryEvidence,
    /// Usual interval of a row, s.
    pub interval: f64,
}

/// Takes the evidence of one field, per machine.
pub fn gather(input: &DelayInput) -> Vec<Evidence> {
    let DelayInput {
        log,
        timeline,
        passes,
        mass,
        area,
    } = *input;
    let usable = |i: usize| {
        let cut = passes.since_start[i] + passes.until_stop[i];
        let margin = END_MARGIN_S.min(0.15 * cut);
        passes.since_start[i] >= margin && passes.until_stop[i] >= margin && area[i] > 0.0
    };
    let pairs = opposed_pairs(timeline, passes, usable, MOST_PAIRS);
    timeline
        .tracks
        .iter()
        .enumerate()
        .map(|(t, track)| {
            let of = |column: &[f64]| -> Vec<f64> {
                track.rows.iter().map(|&i| column[i as usize]).collect()
            };
            let flow = Signal::rate(track, &of(mass));
            let rate = Signal::rate(track, &of(area));
            let entry = EntryEvidence::gather(timeline, passes, t, &flow);
            let floor = flow.median().unwrap_or(1.0).max(1e-6) * 0.02;
            let log_flow = flow.map(|v| v.max(floor).ln());
            let log_rate = rate.map(|v| if v > 0.0 { v.ln() } else { f32::NAN });
            let sites = sites(log, timeline, passes, t, &pairs);
            let half = (track.usual_interval).max(2.0);
            let grain = curve(
                &sites,
                &log_flow,
                |time| log_rate.at(log_rate.cell(time)),
                half,
            );
            let wet: Vec<f64> = (track.rows.iter().enumerate())
                .map(|(k, &i)| log.moisture[i as usize] * track.interval(k))
                .collect();
            let moisture = curve(&sites, &Signal::rate(track, &wet), |_| 0.0, half);
            let machine = log.machines[track.machine as usize].clone();
            Evidence {
                machine,
                grain,
                moisture,
                entry,
                interval: track.usual_interval,
            }
        })
        .collect()
}

/// A pair as two times on the track's clock, and where it lies along the main direction of travel.
struct Site {
    a: f64,
    b: f64,
    along: f64,
}

fn sites(
    log: &Log,
    timeline: &Timeline,
    passes: &Passes,
    t: usize,
    pairs: &[OpposedPair],
) -> Vec<Site> {
    let track = &timeline.tracks[t];
    let mut middle = vec![f64::NAN; log.len()];
    for (k, &i) in track.rows.iter().enumerate() {
        middle[i as usize] = 0.5 * (track.start[k] + track.end[k]);
    }
    // Main axis of travel: mean of doubled angles, so that opposed directions are one axis.
    let own = || {
        pairs
            .iter()
            .filter(|p| middle[p.a as usize].is_finite() && middle[p.b as usize].is_finite())
    };
    let (s, c) = own().fold((0.0, 0.0), |(s, c), p| {
        let d = 2.0 * passes.direction[p.a as usize];
        (s + d.sin(), c + d.cos())
    });
    let axis = 0.5 * f64::atan2(s, c);
    own()
        .filter_map(|p| {
            let [x, y] = passes.ground[p.a as usize]?.middle();
            Some(Site {
                a: middle[p.a as usize],
                b: middle[p.b as usize],
                along: x * axis.cos() + y * axis.sin(),
            })
        })
        .collect()
}

/// Curve of disagreement of `signal` (read one candidate later) less `offset` (read at the ground's own time).
fn curve(
    sites: &[Site],
    signal: &Signal,
    offset: impl Fn(f64) -> f32,
    fit_half_width: f64,
) -> Curve {
    let step = (CANDIDATE_STEP_S / GRID_S) as i64;
    let lowest = (LOWEST_CANDIDATE_S / GRID_S) as i64;
    let read = |time: f64, out: &mut [f32]| {
        let o = offset(time);
        let base = signal.cell(time) + lowest;
        for (c, v) in out.iter_mut().enumerate() {
            *v = signal.at(base + c as i64 * step) - o;
        }
    };
    let mut ordered: Vec<&Site> = sites.iter().collect();
    ordered.sort_by(|p, q| p.along.total_cmp(&q.along));
    let mut differences = vec![0f32; ordered.len() * CANDIDATES];
    let mut means = vec![0f32; ordered.len() * CANDIDATES];
    let (mut a, mut b) = (vec![0f32; CANDIDATES], vec![0f32; CANDIDATES]);
    let mut used = 0;
    for site in ordered {
        read(site.a, &mut a);
        read(site.b, &mut b);
        // Near a gap in the log some candidates cannot be read; a pair needs at least half of them.
        if a.iter()
            .zip(&b)
            .filter(|(a, b)| (**a - **b).is_finite())
            .count()
            < CANDIDATES / 2
        {
            continue;
        }
        let row = used * CANDIDATES..(used + 1) * CANDIDATES;
        for (d, (a, b)) in differences[row.clone()].iter_mut().zip(a.iter().zip(&b)) {
            *d = a - b;
        }
        for (m, (a, b)) in means[row].iter_mut().zip(a.iter().zip(&b)) {
            *m = 0.5 * (a + b);
        }
        used += 1;
    }
    let count = (used / FEWEST_IN_BLOCK).min(BLOCKS);
    if count < 4 {
        return Curve {
            blocks: Vec::new(),
            pairs: used as u32,
            fit_half_width,
        };
    }
    let scale = robust_scale(&differences, used);
    let level: Vec<f32> = (0..CANDIDATES)
        .map(|c| median_of(&means, used, c))
        .collect();
    let spread_scale = (0..CANDIDATES)
        .step_by(4)
        .map(|c| 1.4826 * median_about(&means, used, c, level[c]))
        .fold(0.0, f32::max);
    if !(scale > 0.0 && spread_scale > 0.0) {
        return Curve {
            blocks: Vec::new(),
            pairs: used as u32,
            fit_half_width,
        };
    }
    let (most_d, most_m) = ((WINSOR * scale).powi(2), (WINSOR * spread_scale).powi(2));
    let blocks = (0..count)
        .map(|block| {
            let mut out = Block {
                disagreement: vec![0.0; CANDIDATES],
                spread: vec![0.0; CANDIDATES],
            };
            for r in block * used / count..(block + 1) * used / count {
                let row = r * CANDIDATES..(r + 1) * CANDIDATES;
                for (c, (d, m)) in differences[row.clone()].iter().zip(&means[row]).enumerate() {
                    // (a − b)²/2 + 2(m − level)² = (a − level)² + (b − level)²
                    if !d.is_finite() {
                        continue;
                    }
                    let half_difference = 0.5 * (d * d).min(most_d);
                    out.disagreement[c] += half_difference;
                    out.spread[c] += half_difference + 2.0 * ((m - level[c]).powi(2)).min(most_m);
                }
            }
            out
        })
        .collect();
    // Sum over both points: 2(1 − ρ)/2 … a disagreement of one half means no correlation, so it is doubled here.
    let mut curve = Curve {
        blocks,
        pairs: used as u32,
        fit_half_width,
    };
    for b in &mut curve.blocks {
        b.disagreement.iter_mut().for_each(|d| *d *= 2.0);
    }
    curve
}

/// Robust standard deviation of the differences at the candidate where it is least.
fn robust_scale(differences: &[f32], rows: usize) -> f32 {
    (0..CANDIDATES)
        .step_by(4)
        .map(|c| 1.4826 * median_about(differences, rows, c, median_of(differences, rows, c)))
        .fold(f32::INFINITY, f32::min)
}

/// Median of column `c`.
fn median_of(table: &[f32], rows: usize, c: usize) -> f32 {
    median(table, rows, c, |v| v)
}

/// Median distance of column `c` from `centre`.
fn median_about(table: &[f32], rows: usize, c: usize, centre: f32) -> f32 {
    median(table, rows, c, |v| (v - centre).abs())
}

/// Median of `f` over the finite entries of column `c`, at most 1,000 rows; NaN where there are none.
fn median(table: &[f32], rows: usize, c: usize, f: impl Fn(f32) -> f32) -> f32 {
    let stride = rows.div_ceil(1_000).max(1);
    let mut v: Vec<f32> = (0..rows)
        .step_by(stride)
        .map(|r| f(table[r * CANDIDATES + c]))
        .filter(|v| v.is_finite())
        .collect();
    if v.is_empty() {
        return f32::NAN;
    }
    let m = v.len() / 2;
    *v.select_nth_unstable_by(m, f32::total_cmp).1
}
