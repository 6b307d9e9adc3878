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
/// Rows that the robust deviations are taken from, at most (our choice: they are then known within 3 %).
const MOST_ROWS: usize = 1_000;
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

/// The pairs of a track, pass by pass and along each.
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
    let mut sites: Vec<Site> = own()
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
        .collect();
    sites.sort_by(|p, q| p.passes.cmp(&q.passes).then(p.along.total_cmp(&q.along)));
    sites
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
    let signal = Readings::new(signal);
    let table = Table::read(sites, &signal, offset);
    let mut curve = Curve {
        pairs: table.sites.len() as u32,
        fit_half_width,
        ..Curve::default()
    };
    let Some(scales) = Scales::of(&table, &signal) else {
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

/// Per pair and candidate: difference of yield.
struct Table<'a> {
    sites: Vec<&'a Site>,
    difference: Vec<f32>,
}

/// A signal with the cells that candidates read one after the other beside each other.
struct Readings<'a> {
    signal: &'a Signal,
    parts: [Vec<f32>; STRIDE],
}

/// Cells from candidate to candidate, and cells from a point's own to the lowest.
const STRIDE: usize = (CANDIDATE_STEP_S / GRID_S) as usize;
/// See [`STRIDE`].
const LOWEST: i64 = (LOWEST_CANDIDATE_S / GRID_S) as i64;

impl<'a> Readings<'a> {
    fn new(signal: &'a Signal) -> Self {
        Self {
            signal,
            parts: std::array::from_fn(|part| {
                signal
                    .values()
                    .iter()
                    .skip(part)
                    .step_by(STRIDE)
                    .copied()
                    .collect()
            }),
        }
    }

    /// At a pair's time and every candidate; NaN outside the signal.
    fn at(&self, time: f64) -> [f32; CANDIDATES] {
        let first = self.signal.cell(time) + LOWEST;
        let inside = usize::try_from(first).ok().and_then(|first| {
            let part = &self.parts[first % STRIDE];
            part.get(first / STRIDE..)?.first_chunk::<CANDIDATES>()
        });
        inside
            .copied()
            .unwrap_or_else(|| std::array::from_fn(|c| self.signal.at(first + (c * STRIDE) as i64)))
    }
}

impl<'a> Table<'a> {
    fn read(sites: &'a [Site], signal: &Readings<'_>, offset: impl Fn(f64) -> f32) -> Self {
        let mut table = Self {
            sites: Vec::with_capacity(sites.len()),
            difference: Vec::with_capacity(sites.len() * CANDIDATES),
        };
        for site in sites {
            let offset = offset(site.a) - offset(site.b);
            let mut row = signal.at(site.a);
            for (a, b) in row.iter_mut().zip(signal.at(site.b)) {
                *a = *a - b - offset;
            }
            // Near a gap in the log some candidates cannot be read; a pair needs at least half of them.
            let readable = row.iter().filter(|d| d.is_finite()).count();
            if readable >= CANDIDATES / 2 {
                table.difference.extend_from_slice(&row);
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
        let (mut n, mut s, mut ss) = (
            [0.0f32; CANDIDATES],
            [0.0f32; CANDIDATES],
            [0.0f32; CANDIDATES],
        );
        let table = &self.difference[rows.start * CANDIDATES..rows.end * CANDIDATES];
        for row in table.as_chunks::<CANDIDATES>().0 {
            // Candidates side by side, so that processors add several at once; what cannot be read adds nothing.
            let sums = n.iter_mut().zip(&mut s).zip(&mut ss);
            for (((n, s), ss), &d) in sums.zip(row) {
                let known = d.is_finite();
                let d = if known { d.clamp(-most, most) } else { 0.0 };
                *n += f32::from(u8::from(known));
                *s += d;
                *ss += d * d;
            }
        }
        for c in 0..CANDIDATES {
            if n[c] > 1.0 {
                block.disagreement[c] = (ss[c] - s[c] * s[c] / n[c]).max(0.0);
                block.spread[c] = (n[c] - 1.0) * 2.0 * scales.signal * scales.signal;
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
    fn of(table: &Table<'_>, signal: &Readings<'_>) -> Option<Self> {
        let rows = table.sites.len();
        let stride = rows.div_ceil(MOST_ROWS).max(1);
        let sample: Vec<[f32; CANDIDATES]> = (table.sites.iter().step_by(stride))
            .map(|site| signal.at(site.a))
            .collect();
        let all = table.difference.as_chunks::<CANDIDATES>().0;
        let difference = deviations(all.iter().step_by(stride))
            .into_iter()
            .min_by(f32::total_cmp)?;
        let mut signals = deviations(sample.iter());
        signals.sort_by(f32::total_cmp);
        let signal = signals.get(signals.len() / 2).copied()?;
        (difference > 0.0 && signal > 0.0).then_some(Self { difference, signal })
    }
}

/// Robust standard deviation of every fourth candidate over some rows, where it is known.
fn deviations<'r>(rows: impl Iterator<Item = &'r [f32; CANDIDATES]> + Clone) -> Vec<f32> {
    (0..CANDIDATES)
        .step_by(4)
        .filter_map(|c| {
            let mut column: Vec<f32> = (rows.clone())
                .map(|row| row[c])
                .filter(|v| v.is_finite())
                .collect();
            let centre = median(&mut column)?;
            column.iter_mut().for_each(|v| *v = (*v - centre).abs());
            Some(1.4826 * median(&mut column)?)
        })
        .collect()
}

/// Median (the upper one of two) of finite values; `None` where there are none.
fn median(values: &mut [f32]) -> Option<f32> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f32::total_cmp).1)
}
