//! The points of a field, small enough to stand in its page: whole numbers in typed arrays, written as base64.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;

use crate::evidence::Evidence;
use crate::log::Reason;
use crate::map::YieldMap;
use crate::stats::quantile;

/// What stands for a missing number in 16 bits.
const MISSING: u16 = u16::MAX;
/// Highest number in 16 bits.
const MOST: f64 = 65_534.0;
/// Most points that colours are fixed from (our choice: percentiles need no more).
const LOOKED_AT: usize = 5_000;
/// Part of the kept points that is darker or lighter than the ends of the scale (our choice).
const BEYOND: f64 = 0.02;
/// Points are drawn as far as this beyond the field, m; a log has its ways on the road too.
const MARGIN_M: f64 = 40.0;

/// Points and what it takes to draw them. Lengths in m, `x` to the east and `y` to the north of the picture's corner.
#[derive(Debug, Serialize)]
pub(super) struct Points {
    /// How many.
    pub n: usize,
    /// Extent of the picture, m.
    pub size: [f64; 2],
    /// What a unit of `x` and `y` is, m.
    pub step: f64,
    /// What a unit of the yields is, in the job's unit.
    pub yield_step: f64,
    /// The job's unit.
    pub unit: String,
    /// Ends of the colour scale, in the job's unit.
    pub scale: [f64; 2],
    /// Width of a header, m.
    pub header: f64,
    /// `x`, `y`, logged yield, corrected yield, moisture (0.01 %), each 16 bits a point; cut width (0.1 m), speed
    /// (0.05 m/s), half its 95 % interval (0.25 %), reason (0: kept, else its place in `reasons` from 1), each 8 bits.
    pub data: String,
    /// [first point, log, row of it] wherever rows do not simply count on.
    pub rows: Vec<[u32; 3]>,
    /// [first point, machine] wherever it changes.
    pub machine: Vec<[u32; 2]>,
    /// [first point, load + 1 or 0] wherever it changes.
    pub load: Vec<[u32; 2]>,
    /// [first point, pass or 0] wherever it changes.
    pub pass: Vec<[u32; 2]>,
    /// Names.
    pub logs: Vec<String>,
    /// Names.
    pub machines: Vec<String>,
    /// Names.
    pub loads: Vec<String>,
    /// Codes of the reasons that occur.
    pub reasons: Vec<&'static str>,
    /// Rings of the boundary, m in the picture.
    pub boundary: Vec<Vec<[f64; 2]>>,
    /// Rows with a position beyond the picture.
    pub beyond: usize,
    /// Rows without a position.
    pub nowhere: usize,
}

/// The part of the plane that a picture shows: the kept points and the boundary.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    /// Lower left corner, m.
    pub low: [f64; 2],
    /// Upper right corner, m.
    pub high: [f64; 2],
}

impl Frame {
    /// `None` where there is nothing to show.
    pub fn of(map: &YieldMap, evidence: &Evidence) -> Option<Self> {
        let mut frame = Self {
            low: [f64::INFINITY; 2],
            high: [f64::NEG_INFINITY; 2],
        };
        let mut take = |p: [f64; 2]| {
            for (axis, v) in p.into_iter().enumerate() {
                frame.low[axis] = frame.low[axis].min(v);
                frame.high[axis] = frame.high[axis].max(v);
            }
        };
        for i in (0..evidence.x.len()).filter(|&i| map.verdicts.is_kept(i)) {
            take([evidence.x[i], evidence.y[i]]);
        }
        evidence.boundary.iter().flatten().for_each(|p| take(*p));
        let size = frame.size();
        (size[0].is_finite() && size[1].is_finite() && size[0].max(size[1]) > 0.0).then_some(frame)
    }

    /// Width and height, m.
    pub fn size(&self) -> [f64; 2] {
        [self.high[0] - self.low[0], self.high[1] - self.low[1]]
    }
}

/// Ends of the colour scale: round numbers about where the kept yields lie.
pub(super) fn scale(map: &YieldMap) -> Option<[f64; 2]> {
    let n = map.verdicts.len();
    let kept: Vec<f64> = (0..n)
        .filter(|&i| map.verdicts.is_kept(i) && map.yields[i].is_finite())
        .map(|i| map.yields[i])
        .collect();
    let looked: Vec<f64> = kept
        .iter()
        .copied()
        .step_by(kept.len().div_ceil(LOOKED_AT).max(1))
        .collect();
    let (low, high) = (quantile(&looked, BEYOND)?, quantile(&looked, 1.0 - BEYOND)?);
    let span = (high - low).max(1e-6 * high.abs()).max(1e-9);
    let round = 10f64.powf((span / 4.0).log10().floor());
    let ends = [(low / round).floor() * round, (high / round).ceil() * round];
    (ends[1] > ends[0]).then_some(ends)
}

/// The points of a map. `None` where there is no picture.
pub(super) fn of(map: &YieldMap, evidence: &Evidence, unit: &str) -> Option<Points> {
    let frame = Frame::of(map, evidence)?;
    let scale = scale(map)?;
    let low = frame.low.map(|v| v - MARGIN_M);
    let size = frame.size().map(|v| v + 2.0 * MARGIN_M);
    let step = size[0].max(size[1]) / MOST;
    let inside = |i: usize| {
        let (x, y) = (evidence.x[i] - low[0], evidence.y[i] - low[1]);
        (0.0..=size[0]).contains(&x) && (0.0..=size[1]).contains(&y)
    };
    let all = evidence.x.len();
    let shown: Vec<usize> = (0..all).filter(|&i| inside(i)).collect();
    let somewhere = evidence.x.iter().filter(|x| x.is_finite()).count();
    // The highest yields of the logged map are spikes; beyond four times the scale they look alike anyway.
    let yield_step = 4.0 * scale[1] / MOST;
    let mut packed = Packed::new(shown.len());
    packed.wide(&shown, |i| (evidence.x[i] - low[0]) / step);
    packed.wide(&shown, |i| (evidence.y[i] - low[1]) / step);
    packed.wide(&shown, |i| map.yield_log[i] / yield_step);
    packed.wide(&shown, |i| map.yields[i] / yield_step);
    packed.wide(&shown, |i| map.moist_pct[i] * 100.0);
    packed.narrow(&shown, |i| map.cut_m[i] * 10.0);
    packed.narrow(&shown, |i| map.speed_m_s[i] * 20.0);
    packed.narrow(&shown, |i| {
        400.0 * (map.yld_high[i] / map.yld_kg_ha[i] - 1.0)
    });
    let mut reasons: Vec<Reason> = Vec::new();
    packed.bytes.extend(shown.iter().map(|&i| {
        map.verdicts.reason(i).map_or(0, |reason| {
            let known = reasons.iter().position(|r| *r == reason);
            1 + known.unwrap_or_else(|| {
                reasons.push(reason);
                reasons.len() - 1
            }) as u8
        })
    }));
    Some(Points {
        n: shown.len(),
        size,
        step,
        yield_step,
        unit: unit.to_owned(),
        scale,
        header: evidence.spacing.header_m.unwrap_or(5.0),
        data: STANDARD.encode(&packed.bytes),
        rows: row_runs(map, &shown),
        machine: runs(&shown, |i| map.machine[i]),
        load: runs(&shown, |i| map.load[i].map_or(0, |l| l + 1)),
        pass: runs(&shown, |i| map.pass[i].unwrap_or(0)),
        logs: map.logs.clone(),
        machines: map.machines.clone(),
        loads: map.loads.clone(),
        reasons: reasons.iter().map(|r| r.name()).collect(),
        boundary: (evidence.boundary.iter())
            .map(|ring| {
                let tenth = |v: f64| (v * 10.0).round() / 10.0;
                ring.iter()
                    .map(|p| [tenth(p[0] - low[0]), tenth(p[1] - low[1])])
                    .collect()
            })
            .collect(),
        beyond: somewhere - shown.len(),
        nowhere: all - somewhere,
    })
}

/// Columns one after the other, little-endian.
struct Packed {
    bytes: Vec<u8>,
}

impl Packed {
    fn new(n: usize) -> Self {
        Self {
            bytes: Vec::with_capacity(14 * n),
        }
    }

    fn wide(&mut self, rows: &[usize], value: impl Fn(usize) -> f64) {
        for &i in rows {
            let v = value(i);
            let whole = if v.is_finite() {
                v.round().clamp(0.0, MOST) as u16
            } else {
                MISSING
            };
            self.bytes.extend(whole.to_le_bytes());
        }
    }

    /// 255 is missing, 254 is the highest.
    fn narrow(&mut self, rows: &[usize], value: impl Fn(usize) -> f64) {
        self.bytes.extend(rows.iter().map(|&i| {
            let v = value(i);
            if v.is_finite() {
                v.round().clamp(0.0, 254.0) as u8
            } else {
                255
            }
        }));
    }
}

fn runs(rows: &[usize], value: impl Fn(usize) -> u32) -> Vec<[u32; 2]> {
    let mut out: Vec<[u32; 2]> = Vec::new();
    for (k, &i) in rows.iter().enumerate() {
        let v = value(i);
        if out.last().is_none_or(|last| last[1] != v) {
            out.push([k as u32, v]);
        }
    }
    out
}

fn row_runs(map: &YieldMap, rows: &[usize]) -> Vec<[u32; 3]> {
    let mut out: Vec<[u32; 3]> = Vec::new();
    let mut next = (u32::MAX, 0);
    for (k, &i) in rows.iter().enumerate() {
        let here = (map.log[i], map.row[i]);
        if here != next {
            out.push([k as u32, here.0, here.1]);
        }
        next = (here.0, here.1 + 1);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_say_where_something_changes() {
        let rows = [0, 1, 2, 5, 6];
        assert_eq!(runs(&rows, |i| (i / 3) as u32), [[0, 0], [3, 1], [4, 2]]);
        assert!(runs(&[], |_| 0).is_empty());
    }

    #[test]
    fn numbers_keep_to_their_bits() {
        let mut packed = Packed::new(4);
        let values = [f64::NAN, -3.0, 258.0, 1e9];
        packed.wide(&[0, 1, 2, 3], |i| values[i]);
        packed.narrow(&[0, 1, 2, 3], |i| values[i]);
        assert_eq!(
            packed.bytes,
            [255, 255, 0, 0, 2, 1, 254, 255, 255, 0, 254, 254]
        );
    }
}
