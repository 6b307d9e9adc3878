//! Patches of ground of one load on one pass, from the rows of a field.

use super::Patch;
use super::edge::Edge;
use crate::delay::shift;
use crate::geometry::distance;
use crate::loads::Loads;
use crate::log::{Log, Timeline};
use crate::passes::{Activity, Passes};
use crate::width::CutWidth;

/// Length of a patch along its pass, m (our choice: a lattice spacing).
const LENGTH: f64 = 12.0;
/// Least share of the header on standing crop: a width's error counts double at a half.
const LEAST_SHARE: f64 = 0.6;
/// Least part of a row's shifted interval that was logged.
const COVERED: f64 = 0.9;
/// Rows so near to a ramp still fill or empty, s.
const BEYOND_RAMP: f64 = 3.0;
/// Passes further off the field's main direction cross the others: headlands, point rows. Degrees.
const CROSSING: f64 = 20.0;
/// Where less ground than this share lies along the main direction, there is none.
const LEAST_ALONG: f64 = 0.4;
/// Ground nearer to the edge than this has levels of its own, m (our choice: more than four headland rounds of 10 m).
const EDGE_BELT: f64 = 42.0;
/// Bins of the histogram of directions.
const BINS: usize = 36;

/// What patches are made from. Columns have one entry per row of the log.
#[derive(Debug, Clone, Copy)]
pub struct GroundInput<'a> {
    /// The log.
    pub log: &'a Log,
    /// Clocks.
    pub timeline: &'a Timeline,
    /// Passes.
    pub passes: &'a Passes,
    /// Cut widths.
    pub width: &'a CutWidth,
    /// Loads.
    pub loads: &'a Loads,
    /// Wet mass with faults replaced, kg.
    pub mass: &'a [f64],
    /// Whether a row's flow is no grain of its own.
    pub faulty: &'a [bool],
    /// Delay of each track, s.
    pub delay: &'a [f64],
    /// Entry and exit ramps of each track, s.
    pub ramps: &'a [(f64, f64)],
}

/// A row that can be compared.
struct Row {
    from: [f64; 2],
    to: [f64; 2],
    mass: f64,
    area: f64,
    time: f64,
    load: u32,
}

/// All patches of a field.
pub fn observe(input: &GroundInput) -> Vec<Patch> {
    let mut found = Vec::new();
    for t in 0..input.timeline.tracks.len() {
        found.extend(patches_of(input, t));
    }
    let Some(main) = main_direction(&found) else {
        return Vec::new();
    };
    let cut = cut_places(input);
    let edge = Edge::new(&cut);
    let along = |p: &Found| {
        let off = (p.direction - main).rem_euclid(std::f64::consts::PI);
        off.min(std::f64::consts::PI - off) <= CROSSING.to_radians()
    };
    let is_along: f64 = found.iter().filter(|p| along(p)).map(|p| p.area).sum();
    let all: f64 = found.iter().map(|p| p.area).sum();
    let has_direction = is_along >= LEAST_ALONG * all;
    let (cos, sin) = (main.cos(), main.sin());
    found
        .iter()
        .filter(|p| !has_direction || along(p))
        .map(|p| {
            let (distance, away) = edge.at(p.middle);
            let level = (distance < EDGE_BELT).then(|| {
                let bin = (distance / p.width) as u32;
                let is_end = away.is_some_and(|a| (a[0] * cos + a[1] * sin).abs() > 0.7);
                2 * bin + u32::from(is_end)
            });
            Patch {
                at: [
                    p.middle[0] * cos + p.middle[1] * sin,
                    p.middle[1] * cos - p.middle[0] * sin,
                ],
                ln_yield: p.ln_yield,
                ln_rate: p.ln_rate,
                rows: p.rows as f64,
                pass: p.pass,
                load: p.load,
                level,
            }
        })
        .collect()
}

struct Found {
    middle: [f64; 2],
    direction: f64,
    area: f64,
    width: f64,
    ln_yield: f64,
    ln_rate: f64,
    rows: usize,
    pass: u32,
    load: u32,
}

fn patches_of(input: &GroundInput, t: usize) -> Vec<Found> {
    let GroundInput { passes, width, .. } = input;
    let track = &input.timeline.tracks[t];
    let (delay, ramps) = (input.delay[t], input.ramps[t]);
    let mass: Vec<f64> = (track.rows.iter())
        .map(|&i| input.mass[i as usize])
        .collect();
    let shifted = shift(track, &mass, delay);
    let mut out = Vec::new();
    let mut open: Vec<Row> = Vec::new();
    let (mut of_pass, mut header) = (None, f64::NAN);
    let mut length = 0.0; // of the open patch
    let mut cursor = 0;
    for (k, &i) in track.rows.iter().enumerate() {
        let i = i as usize;
        let received = 0.5 * (track.start[k] + track.end[k]) + delay;
        while cursor + 1 < track.len() && track.end[cursor] < received {
            cursor += 1;
        }
        while cursor > 0 && track.start[cursor] > received && track.end[cursor - 1] >= received {
            cursor -= 1;
        }
        let near = cursor.saturating_sub(1)..(cursor + 2).min(track.len());
        let is_faulty = near.clone().any(|c| input.faulty[track.rows[c] as usize]);
        let row = passes.ground[i].filter(|_| {
            passes.activity[i] == Activity::Cutting
                && passes.pass_of[i].is_some()
                && width.share[i] >= LEAST_SHARE
                && !width.narrow[i]
                && width.new_area[i] > 0.0
                && shifted.covered[k] >= COVERED
                && shifted.amount[k] > 0.0
                && passes.since_start[i] > ramps.0 + BEYOND_RAMP
                && passes.until_stop[i] > ramps.1 + BEYOND_RAMP
                && !is_faulty
        });
        let load = input.loads.of_row[track.rows[cursor] as usize];
        let goes_on = of_pass == passes.pass_of[i]
            && open.last().is_none_or(|r| r.load == load)
            && length < LENGTH
            && row.is_some();
        if !goes_on {
            out.extend(close(&mut open, of_pass, header));
            length = 0.0;
        }
        of_pass = passes.pass_of[i];
        header = passes.header_width[i];
        if let Some(ground) = row {
            length += ground.length();
            open.push(Row {
                from: ground.from,
                to: ground.to,
                mass: shifted.amount[k],
                area: width.new_area[i],
                time: track.interval(k),
                load,
            });
        }
    }
    out.extend(close(&mut open, of_pass, header));
    out
}

/// Ends a patch; one of less than half the usual length is none.
fn close(open: &mut Vec<Row>, pass: Option<u32>, width: f64) -> Option<Found> {
    let rows = std::mem::take(open);
    let (first, last) = (rows.first()?, rows.last()?);
    let length: f64 = rows.iter().map(|r| distance(r.from, r.to)).sum();
    let (dx, dy) = (last.to[0] - first.from[0], last.to[1] - first.from[1]);
    let mass: f64 = rows.iter().map(|r| r.mass).sum();
    let area: f64 = rows.iter().map(|r| r.area).sum();
    let time: f64 = rows.iter().map(|r| r.time).sum();
    (length >= 0.5 * LENGTH && dx.hypot(dy) > 0.8 * length && width > 0.0 && time > 0.0).then(
        || Found {
            middle: [
                0.5 * (first.from[0] + last.to[0]),
                0.5 * (first.from[1] + last.to[1]),
            ],
            direction: dy.atan2(dx),
            area,
            width,
            ln_yield: (mass / area).ln(),
            ln_rate: (area / time).ln(),
            rows: rows.len(),
            pass: pass.unwrap_or(u32::MAX),
            load: first.load,
        },
    )
}

/// The direction of most ground, either way round, radians.
fn main_direction(found: &[Found]) -> Option<f64> {
    let pi = std::f64::consts::PI;
    let mut bins = [0.0; BINS];
    for p in found {
        let bin = (p.direction.rem_euclid(pi) / pi * BINS as f64) as usize;
        bins[bin.min(BINS - 1)] += p.area;
    }
    let around = |b: usize| bins[(b + BINS - 1) % BINS] + 2.0 * bins[b] + bins[(b + 1) % BINS];
    let best = (0..BINS).max_by(|&a, &b| around(a).total_cmp(&around(b)))?;
    let middle = (best as f64 + 0.5) * pi / BINS as f64;
    // Mean of the directions near it.
    let (mut x, mut y) = (0.0, 0.0);
    for p in found {
        let off = (p.direction - middle + 0.5 * pi).rem_euclid(pi) - 0.5 * pi;
        if off.abs() < 0.25 {
            x += p.area;
            y += p.area * off;
        }
    }
    (x > 0.0).then(|| middle + y / x)
}

/// Places over all ground that any pass covered, closer than the cells of [`Edge`].
fn cut_places(input: &GroundInput) -> Vec<[f64; 2]> {
    let passes = input.passes;
    let mut out = Vec::new();
    for (i, ground) in passes.ground.iter().enumerate() {
        let (Some(g), Some(_)) = (ground, passes.pass_of[i]) else {
            continue;
        };
        let (length, width) = (g.length(), passes.header_width[i]);
        if !(length > 0.0 && width > 0.0) || length > 60.0 {
            continue;
        }
        let ahead = [
            (g.to[0] - g.from[0]) / length,
            (g.to[1] - g.from[1]) / length,
        ];
        let steps = (length / 3.0).ceil() as usize;
        let across = (width / 3.0).ceil() as usize;
        for s in 0..steps {
            let along = (s as f64 + 0.5) / steps as f64 * length;
            for a in 0..=across {
                let side = (a as f64 / across as f64 - 0.5) * 0.95 * width;
                out.push([
                    g.from[0] + along * ahead[0] - side * ahead[1],
                    g.from[1] + along * ahead[1] + side * ahead[0],
                ]);
            }
        }
    }
    out
}
