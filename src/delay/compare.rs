//! Compares opposed passes at every candidate delay: from pairs of points to a [`Curve`].

use super::curve::{Block, CANDIDATE_STEP_S, CANDIDATES, Curve, LOWEST_CANDIDATE_S};
use super::grid::GRID_S;
use super::{OpposedPair, Signal};
use crate::log::{Log, Timeline};
use crate::passes::Passes;

/// Blocks the pairs are parted into, twice. Along the passes: a pass's own noise at one place meets all its neighbours in
/// the same block, so blocks are independent though pairs are not. By neighbouring passes: what errs for a whole pass,
/// such as a receiver's slow wander, meets few others.
const BLOCKS: usize = 16;
/// Fewest pairs a block needs.
const FEWEST_IN_BLOCK: usize = 12;
/// Length of a segment, m: longer than the features that tell the delay, shorter than drifts (our choice; between
/// 60 m and whole passes the minimum on the open maize log moves by less than its standard error).
const SEGMENT_M: f64 = 150.0;
/// Fewest pairs a segment needs.
const FEWEST_IN_SEGMENT: usize = 6;
/// Differences beyond this many robust standard deviations count no more than that.
const WINSOR: f32 = 3.0;

/// A pair as two times on the track's clock, and where it lies along and across the main direction of travel.
pub(super) struct Site {
    /// The two passes.
    passes: (u32, u32),
    a: f64,
    b: f64,
    along: f64,
    across: f64,
}

pub(super) fn sites(
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
            let pass = |i: u32| passes.pass_of[i as usize];
            let passes = (pass(p.a)?, pass(p.b)?);
            Some(Site {
                passes,
                a: middle[p.a as usize],
                b: middle[p.b as usize],
                along: x * axis.cos() + y * axis.sin(),
                across: y * axis.cos() - x * axis.sin(),
            })
        })
        .collect()
}

/// Curve of disagreement of `signal` (read one candidate later) less `offset` (read at the ground's own time).
///
/// The disagreement is that of the yields; the spread it is held against is the signal's usual one, the same at every
/// candidate. (The spread of the *yields* would not do: speed changes where the ground makes it change, on both passes
/// alike, and is structure that only a wrong delay leaves standing. Nor would the spread at each candidate: it grows
/// where candidates reach into filling and emptying.)
pub(super) fn curve(
    sites: &[Site],
    signal: &Signal,
    offset: impl Fn(f64) -> f32,
    fit_half_width: f64,
) -> Curve {
    let mut ordered: Vec<&Site> = sites.iter().collect();
    ordered.sort_by(|p, q| p.passes.cmp(&q.passes).then(p.along.total_cmp(&q.along)));
    let table = Table::read(&ordered, signal, offset);
    let mut curve = Curve {
        pairs: table.sites.len() as u32,
        fit_half_width,
        ..Curve::default()
    };
    let Some(scales) = Scales::of(&table) else {
        return curve;
    };
    let segments = table.segments();
    let rows: usize = segments.iter().map(|s| s.rows.len()).sum();
    let blocks = (rows / FEWEST_IN_BLOCK).min(BLOCKS).min(segments.len());
    if blocks < 4 {
        return curve;
    }
    let sums: Vec<Block> = segments
        .iter()
        .map(|s| table.sum(s.rows.clone(), &scales))
        .collect();
    curve.along = part(&segments, &sums, blocks, |s| s.along);
    curve.across = part(&segments, &sums, blocks, |s| s.across);
    curve
}

/// Parts segments into blocks of about as many pairs each, in the order of a coordinate.
fn part(
    segments: &[Segment],
    sums: &[Block],
    blocks: usize,
    by: impl Fn(&Segment) -> f64,
) -> Vec<Block> {
    let mut order: Vec<usize> = (0..segments.len()).collect();
    order.sort_by(|&p, &q| {
        by(&segments[p])
            .total_cmp(&by(&segments[q]))
            .then(p.cmp(&q))
    });
    let rows: usize = segments.iter().map(|s| s.rows.len()).sum();
    let mut out = vec![Block::empty(); blocks];
    let mut before = 0;
    for k in order {
        let block = (before * blocks / rows).min(blocks - 1);
        before += segments[k].rows.len();
        out[block].add(&sums[k]);
    }
    out
}

/// A stretch of two neighbouring passes.
struct Segment {
    rows: std::ops::Range<usize>,
    along: f64,
    across: f64,
}

/// Per pair and candidate: difference of yield, and the first point's reading of the signal.
struct Table<'a> {
    sites: Vec<&'a Site>,
    difference: Vec<f32>,
    reading: Vec<f32>,
}

impl<'a> Table<'a> {
    fn read(sites: &[&'a Site], signal: &Signal, offset: impl Fn(f64) -> f32) -> Self {
        let step = (CANDIDATE_STEP_S / GRID_S) as i64;
        let lowest = (LOWEST_CANDIDATE_S / GRID_S) as i64;
        let mut table = Self {
            sites: Vec::new(),
            difference: Vec::new(),
            reading: Vec::new(),
        };
        for site in sites {
            let (a, b) = (signal.cell(site.a) + lowest, signal.cell(site.b) + lowest);
            let offset = offset(site.a) - offset(site.b);
            let keep = table.reading.len();
            let mut readable = 0;
            for c in 0..CANDIDATES as i64 {
                let reading = signal.at(a + c * step);
                let difference = reading - signal.at(b + c * step) - offset;
                readable += usize::from(difference.is_finite());
                table.reading.push(reading);
                table.difference.push(difference);
            }
            // Near a gap in the log some candidates cannot be read; a pair needs at least half of them.
            if readable < CANDIDATES / 2 {
                table.reading.truncate(keep);
                table.difference.truncate(keep);
            } else {
                table.sites.push(site);
            }
        }
        table
    }

    /// Parts the pairs of each two passes into stretches of at most [`SEGMENT_M`].
    fn segments(&self) -> Vec<Segment> {
        let mut out: Vec<Segment> = Vec::new();
        let mut from = 0;
        for r in 1..=self.sites.len() {
            let ends = r == self.sites.len()
                || self.sites[r].passes != self.sites[from].passes
                || self.sites[r].along - self.sites[from].along > SEGMENT_M;
            if ends {
                if r - from >= FEWEST_IN_SEGMENT {
                    out.push(Segment {
                        rows: from..r,
                        along: 0.5 * (self.sites[from].along + self.sites[r - 1].along),
                        across: 0.5 * (self.sites[from].across + self.sites[r - 1].across),
                    });
                }
                from = r;
            }
        }
        out
    }

    /// Sums over a segment: squares about the segment's own mean, so that what two passes differ by as a whole
    /// (another width, another day, drift) and what the field does over long distances count for nothing.
    fn sum(&self, rows: std::ops::Range<usize>, scales: &Scales) -> Block {
        let mut block = Block::empty();
        let most = WINSOR * scales.difference;
        for c in 0..CANDIDATES {
            let (mut n, mut s, mut ss) = (0.0f32, 0.0f32, 0.0f32);
            for r in rows.clone() {
                let d = self.difference[r * CANDIDATES + c];
                if d.is_finite() {
                    let d = d.clamp(-most, most);
                    n += 1.0;
                    s += d;
                    ss += d * d;
                }
            }
            if n > 1.0 {
                block.disagreement[c] = (ss - s * s / n).max(0.0);
                block.spread[c] = (n - 1.0) * 2.0 * scales.signal * scales.signal;
            }
        }
        block
    }
}

/// Robust standard deviations of the whole table.
struct Scales {
    /// Of the differences, at the candidate where it is least (near the true delay).
    difference: f32,
    /// Of the readings, at the usual candidate.
    signal: f32,
}

impl Scales {
    /// `None` where nothing varies.
    fn of(table: &Table<'_>) -> Option<Self> {
        let rows = table.sites.len();
        let deviations = |t: &[f32]| -> Vec<f32> {
            (0..CANDIDATES)
                .step_by(4)
                .map(|c| {
                    let centre = median(t, rows, c, |v| v);
                    1.4826 * median(t, rows, c, |v| (v - centre).abs())
                })
                .filter(|v| v.is_finite())
                .collect()
        };
        let difference = deviations(&table.difference)
            .into_iter()
            .min_by(f32::total_cmp)?;
        let mut signals = deviations(&table.reading);
        signals.sort_by(f32::total_cmp);
        let signal = signals.get(signals.len() / 2).copied()?;
        (difference > 0.0 && signal > 0.0).then_some(Self { difference, signal })
    }
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
