//! Headland and interior: what grew on each.
//!
//! The headland is the strip along the boundary that is cut first, so that machines can turn on it. The passes inside
//! end at its inner edge: the distance of pass ends from the boundary is its depth.

use super::ground::Ground;
use super::map::Columns;
use crate::evidence::{Part, Parts};
use crate::map::YieldMap;
use crate::prepare::Prepared;
use crate::stats::quantile;
use crate::units::HECTARE_M2;

/// Passes shorter than this do not tell where the headland ends, m (our choice: point rows and pieces of rounds).
const SHORTEST_PASS_M: f64 = 40.0;
/// Pass ends agree on a depth where at least half of them lie this near to it, in header widths (our choice).
const AGREE_HEADERS: f64 = 0.75;
/// Depths that a headland has, in header widths (our choice: one to eight rounds).
const ROUNDS: std::ops::RangeInclusive<f64> = 0.8..=8.2;
/// What is taken for the headland where the passes do not tell, in header widths (our choice).
const DEFAULT_HEADERS: f64 = 2.0;
/// Cells across the strip (our choice: its area to about a hundredth) and most cells of the raster.
const CELLS_ACROSS: f64 = 12.0;
/// See [`CELLS_ACROSS`].
const MOST_CELLS: f64 = 4e6;

/// `None` where there is no boundary, or nothing on one of the two.
pub(super) fn of(
    field: &Prepared,
    ground: &Ground,
    columns: &Columns,
    map: &YieldMap,
) -> Option<Parts> {
    let segments = segments(field)?;
    let header = quantile(&widths(field), 0.5).filter(|w| *w > 0.0)?;
    let (depth, from_passes) = match depth(field, &segments, header) {
        Some(depth) => (depth, true),
        None => (DEFAULT_HEADERS * header, false),
    };
    let strip = Strip::new(&segments, depth)?;
    let mut sums = [(Part::default(), 0.0, 0.0); 2];
    for i in 0..map.verdicts.len() {
        let at = [columns.x[i], columns.y[i]];
        if !(at[0].is_finite() && at[1].is_finite() && columns.inside[i]) {
            continue;
        }
        let (part, reference, area) = &mut sums[usize::from(!strip.holds(at))];
        let cut = field.width.new_area[i];
        part.kg += ground.corrected[i];
        if cut > 0.0 {
            part.area_ha += cut / HECTARE_M2;
        }
        if !map.verdicts.is_kept(i) {
            part.set_aside_kg += ground.corrected[i];
        } else if cut > 0.0 {
            *reference += ground.reference[i];
            *area += cut * ground.covered[i];
        }
    }
    // The pieces of the points overlap by what a receiver's error hides: the field's own area is the better sum.
    let pieces = sums.iter().map(|s| s.0.area_ha).sum::<f64>();
    let share = field.width.cut_area_inside_m2 / HECTARE_M2 / pieces;
    let [headland, interior] = sums.map(|(part, reference, area)| Part {
        area_ha: part.area_ha * share,
        mean: (area > 0.0).then(|| reference / area * HECTARE_M2 * columns.unit),
        ..part
    });
    (headland.area_ha > 0.0 && interior.area_ha > 0.0).then_some(Parts {
        depth_m: depth,
        from_passes,
        headland,
        interior,
    })
}

type Segment = [[f64; 2]; 2];

/// Sides of the boundary's outer rings; `None` without a boundary.
fn segments(field: &Prepared) -> Option<Vec<Segment>> {
    let shape = field.boundary.as_ref()?.shape();
    let sides: Vec<Segment> = shape
        .iter()
        .flat_map(|p| p.exterior().lines())
        .map(|l| [[l.start.x, l.start.y], [l.end.x, l.end.y]])
        .collect();
    (!sides.is_empty()).then_some(sides)
}

fn widths(field: &Prepared) -> Vec<f64> {
    (0..field.input.log.len())
        .filter(|&i| field.passes.pass_of[i].is_some())
        .step_by(16)
        .map(|i| field.passes.header_width[i])
        .collect()
}

/// Depth that the ends of passes agree on, m.
fn depth(field: &Prepared, segments: &[Segment], header: f64) -> Option<f64> {
    let mut ends = Vec::new();
    for pass in &field.passes.passes {
        let rows = &field.timeline.tracks[pass.track].rows[pass.first..pass.end];
        let ground = |row: Option<&u32>| field.passes.ground[*row? as usize];
        let (Some(first), Some(last)) = (ground(rows.first()), ground(rows.last())) else {
            continue;
        };
        let chord = (last.to[0] - first.from[0]).hypot(last.to[1] - first.from[1]);
        if chord >= SHORTEST_PASS_M {
            ends.extend([first.from, last.to].map(|p| from_edge(segments, p)));
        }
    }
    let middle = quantile(&ends, 0.5)?;
    let near = |d: &&f64| (**d - middle).abs() <= AGREE_HEADERS * header;
    let agree = 2 * ends.iter().filter(near).count() >= ends.len();
    (agree && ROUNDS.contains(&(middle / header))).then_some(middle)
}

fn from_edge(segments: &[Segment], p: [f64; 2]) -> f64 {
    segments
        .iter()
        .map(|s| distance(s, p))
        .fold(f64::INFINITY, f64::min)
}

fn distance(&[a, b]: &Segment, p: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length = dx * dx + dy * dy;
    let along = ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length;
    let t = if length > 0.0 {
        along.clamp(0.0, 1.0)
    } else {
        0.0
    };
    (p[0] - a[0] - t * dx).hypot(p[1] - a[1] - t * dy)
}

/// The ground within a distance of a line, as a raster.
struct Strip {
    origin: [f64; 2],
    cell: f64,
    size: [usize; 2],
    near: Vec<bool>,
}

impl Strip {
    fn new(segments: &[Segment], depth: f64) -> Option<Self> {
        let ends = || segments.iter().flatten();
        let bound = |axis: usize, pick: fn(f64, f64) -> f64, start: f64| {
            ends().map(|p| p[axis]).fold(start, pick)
        };
        let low = [0, 1].map(|a| bound(a, f64::min, f64::INFINITY));
        let high = [0, 1].map(|a| bound(a, f64::max, f64::NEG_INFINITY));
        let (w, h) = (high[0] - low[0], high[1] - low[1]);
        if !(w > 0.0 && h > 0.0 && depth > 0.0) {
            return None;
        }
        let cell = (depth / CELLS_ACROSS).max((w * h / MOST_CELLS).sqrt());
        let size = [w, h].map(|d| (d / cell).ceil() as usize + 1);
        let mut strip = Self {
            origin: low,
            cell,
            size,
            near: vec![false; size[0] * size[1]],
        };
        for segment in segments {
            let span = |axis: usize| {
                let (a, b) = (segment[0][axis], segment[1][axis]);
                let from = (a.min(b) - depth - low[axis]) / cell;
                let to = (a.max(b) + depth - low[axis]) / cell;
                (from.max(0.0) as usize)..((to.max(0.0) as usize + 1).min(size[axis]))
            };
            for row in span(1) {
                for column in span(0) {
                    let middle = [
                        low[0] + (column as f64 + 0.5) * cell,
                        low[1] + (row as f64 + 0.5) * cell,
                    ];
                    let at = row * size[0] + column;
                    strip.near[at] = strip.near[at] || distance(segment, middle) <= depth;
                }
            }
        }
        Some(strip)
    }

    fn holds(&self, p: [f64; 2]) -> bool {
        let at = |axis: usize| ((p[axis] - self.origin[axis]) / self.cell).floor();
        let (column, row) = (at(0), at(1));
        if !(column >= 0.0 && row >= 0.0) {
            return false;
        }
        let (column, row) = (column as usize, row as usize);
        column < self.size[0] && row < self.size[1] && self.near[row * self.size[0] + column]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SQUARE: [Segment; 4] = [
        [[0.0, 0.0], [200.0, 0.0]],
        [[200.0, 0.0], [200.0, 100.0]],
        [[200.0, 100.0], [0.0, 100.0]],
        [[0.0, 100.0], [0.0, 0.0]],
    ];

    #[test]
    fn distances_are_to_the_nearest_side() {
        assert_eq!(from_edge(&SQUARE, [100.0, 30.0]), 30.0);
        assert_eq!(from_edge(&SQUARE, [190.0, 50.0]), 10.0);
        assert_eq!(from_edge(&SQUARE, [203.0, 104.0]), 5.0);
        assert_eq!(distance(&[[1.0, 1.0], [1.0, 1.0]], [4.0, 5.0]), 5.0);
    }

    /// 20 m along the sides of 200 m × 100 m leave 160 m × 60 m.
    #[test]
    fn a_strip_has_its_area() {
        let strip = Strip::new(&SQUARE, 20.0).expect("a strip");
        let mut inside = 0;
        for x in 0..200 {
            for y in 0..100 {
                inside += usize::from(strip.holds([f64::from(x) + 0.5, f64::from(y) + 0.5]));
            }
        }
        let expected = 200.0 * 100.0 - 160.0 * 60.0;
        assert!((inside as f64 / expected - 1.0).abs() < 0.02, "{inside}");
        assert!(!strip.holds([-5.0, 50.0]) && !strip.holds([f64::NAN, 0.0]));
    }

    #[test]
    fn a_line_has_no_strip() {
        assert!(Strip::new(&[[[0.0, 0.0], [0.0, 9.0]]], 5.0).is_none());
        assert!(Strip::new(&SQUARE, 0.0).is_none());
    }
}
