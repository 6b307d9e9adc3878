//! Pairs of points on neighbouring passes driven in opposite directions.

use crate::log::Timeline;
use crate::passes::{Activity, Passes};

/// Headings count as opposed within this angle of exactly opposed (cosine of 25°).
const OPPOSED_COS: f64 = -0.906;

/// Two rows that saw neighbouring ground in opposite directions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpposedPair {
    /// A row of the log.
    pub a: u32,
    /// A row on another pass of the same track.
    pub b: u32,
}

/// Finds, for up to about `most` rows spread evenly over the work, the nearest row of each neighbouring opposed pass.
///
/// `usable` says which rows may take part. Neighbouring: between 0.3 and 1.6 header widths across the track, and as
/// near along it as the rows lie. Each pair of passes is met from its earlier pass only.
pub fn opposed_pairs(
    timeline: &Timeline,
    passes: &Passes,
    usable: impl Fn(usize) -> bool,
    most: usize,
) -> Vec<OpposedPair> {
    let mut out = Vec::new();
    for track in &timeline.tracks {
        let rows: Vec<u32> = track
            .rows
            .iter()
            .copied()
            .filter(|&i| {
                let i = i as usize;
                passes.activity[i] == Activity::Cutting
                    && passes.pass_of[i].is_some()
                    && passes.ground[i].is_some()
                    && passes.direction[i].is_finite()
                    && usable(i)
            })
            .collect();
        pairs_of_track(passes, &rows, most, &mut out);
    }
    out
}

/// Rows that are looked at one by one, because their ground is the longest (our choice: no more than a search finds).
const FEW_LONG: usize = 24;
/// Widest reach across the track, header widths.
const REACH: f64 = 1.6;

fn pairs_of_track(passes: &Passes, rows: &[u32], most: usize, out: &mut Vec<OpposedPair>) {
    let length = |i: usize| passes.ground[i].map_or(0.0, |g| g.length());
    let points: Vec<Point> = (rows.iter())
        .filter_map(|&row| {
            let [x, y] = passes.ground[row as usize]?.middle();
            Some(Point { x, y, row })
        })
        .collect();
    let axis = axis(rows.iter().map(|&i| passes.direction[i as usize]));
    let widths = rows.iter().map(|&i| passes.header_width[i as usize]);
    let Some(strips) = Strips::new(points.clone(), axis, widths) else {
        return;
    };
    // Rows of ground as long as hardly any is would widen all searches: they are looked at one by one.
    let mut by_length: Vec<(f64, Point)> = (points.iter())
        .map(|p| (length(p.row as usize), *p))
        .collect();
    let few = FEW_LONG.min(by_length.len() - 1);
    by_length.select_nth_unstable_by(few, |a, b| b.0.total_cmp(&a.0));
    let (long, usual) = (&by_length[..few], by_length[few].0.max(0.5));
    let stride = rows.len().div_ceil(most.max(1)).max(1);
    let mut best: Vec<(u32, f64, u32)> = Vec::new(); // pass, |along|, row
    for k in (0..rows.len()).step_by(stride) {
        let i = rows[k] as usize;
        let width = passes.header_width[i];
        if !(width > 0.0) {
            continue;
        }
        let (sin, cos) = passes.direction[i].sin_cos();
        let own = length(i);
        best.clear();
        let radius = REACH * width;
        let here = points[k];
        let reach = 0.75 * own.max(usual);
        let around = strips.around(here, [cos, sin], [reach, radius]);
        for other in around.chain(long.iter().map(|l| l.1)) {
            let ju = other.row as usize;
            let (dx, dy) = (other.x - here.x, other.y - here.y);
            if dx * dx + dy * dy > radius * radius || passes.pass_of[ju] <= passes.pass_of[i] {
                continue;
            }
            let along = (dx * cos + dy * sin).abs();
            let across = (dy * cos - dx * sin).abs();
            let reach = 0.75 * own.max(length(ju)).max(0.5);
            // The cosine comes last: few rows are left by then, and it takes as long as all before it.
            if across < 0.3 * width
                || along > reach
                || (passes.direction[ju] - passes.direction[i]).cos() > OPPOSED_COS
            {
                continue;
            }
            let pass = passes.pass_of[ju].unwrap_or(u32::MAX);
            match best.iter_mut().find(|b| b.0 == pass) {
                Some(b) if (b.1, b.2) <= (along, other.row) => {}
                Some(b) => *b = (pass, along, other.row),
                None => best.push((pass, along, other.row)),
            }
        }
        best.sort_by_key(|b| b.0);
        out.extend(best.iter().map(|b| OpposedPair { a: rows[k], b: b.2 }));
    }
}

/// The middle of a row's ground, m.
#[derive(Debug, Clone, Copy)]
struct Point {
    x: f64,
    y: f64,
    row: u32,
}

/// Main axis of travel as cosine and sine: the mean of doubled angles, so that opposed directions are one axis.
fn axis(directions: impl Iterator<Item = f64>) -> [f64; 2] {
    let (s, c) = directions.fold((0.0, 0.0), |(s, c), d| {
        (s + (2.0 * d).sin(), c + (2.0 * d).cos())
    });
    let angle: f64 = 0.5 * f64::atan2(s, c);
    [angle.cos(), angle.sin()]
}

/// Points in strips along the main axis of travel, in each by their place along it. What is sought is a narrow piece of
/// ground at right angles to the track: a tree of points looks through all that is as near in any direction, ten times as
/// many.
struct Strips {
    axis: [f64; 2],
    /// Where the first strip begins, and how wide each is, m.
    first: f64,
    width: f64,
    /// Where each strip's points start; one more than strips.
    starts: Vec<usize>,
    /// Place along the axis, m, and the point.
    points: Vec<(f64, Point)>,
}

impl Strips {
    /// `widths`: of headers, m. `None` without points, or where none has a place.
    fn new(points: Vec<Point>, axis: [f64; 2], widths: impl Iterator<Item = f64>) -> Option<Self> {
        let across = |p: &Point| p.y * axis[0] - p.x * axis[1];
        let (low, high) = (points.iter().map(across))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
                (l.min(v), h.max(v))
            });
        let narrowest = widths.filter(|w| *w > 0.0).fold(f64::INFINITY, f64::min);
        if !(low.is_finite() && high.is_finite() && narrowest.is_finite()) {
            return None;
        }
        // No more strips than points, wherever a stray fix lies.
        let width = (0.5 * narrowest)
            .max((high - low) / points.len() as f64)
            .max(0.1);
        let count = ((high - low) / width) as usize + 1;
        let strip = |p: &Point| (((across(p) - low) / width) as usize).min(count - 1);
        let mut starts = vec![0; count + 1];
        points.iter().for_each(|p| starts[strip(p) + 1] += 1);
        (0..count).for_each(|s| starts[s + 1] += starts[s]);
        let mut points: Vec<(usize, f64, Point)> = (points.into_iter())
            .map(|p| (strip(&p), p.x * axis[0] + p.y * axis[1], p))
            .collect();
        points.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        Some(Self {
            axis,
            first: low,
            width,
            starts,
            points: points.into_iter().map(|(_, along, p)| (along, p)).collect(),
        })
    }

    /// Points that lie no farther from one than `reach` along and across a direction (cosine and sine), and some more.
    fn around(
        &self,
        from: Point,
        direction: [f64; 2],
        reach: [f64; 2],
    ) -> impl Iterator<Item = Point> + '_ {
        let [cos, sin] = self.axis;
        let turned = [
            (direction[0] * cos + direction[1] * sin).abs(),
            (direction[1] * cos - direction[0] * sin).abs(),
        ];
        // A millimetre more than the rectangle's corners, for rounding.
        let half = [
            reach[0] * turned[0] + reach[1] * turned[1] + 1e-3,
            reach[0] * turned[1] + reach[1] * turned[0] + 1e-3,
        ];
        let (along, across) = (
            from.x * cos + from.y * sin,
            from.y * cos - from.x * sin - self.first,
        );
        let last = self.starts.len() - 2;
        let strip = |v: f64| ((v / self.width).max(0.0) as usize).min(last);
        (strip(across - half[1])..=strip(across + half[1])).flat_map(move |s| {
            let all = &self.points[self.starts[s]..self.starts[s + 1]];
            let from = all.partition_point(|p| p.0 < along - half[0]);
            (all[from..].iter())
                .take_while(move |p| p.0 <= along + half[0])
                .map(|p| p.1)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(3), cases: 60, ..ProptestConfig::default() })]

        #[test]
        fn all_that_lies_in_reach_is_found(
            places in prop::collection::vec((-90.0..90.0_f64, -300.0..300.0_f64), 1..120),
            travel in 0.0..3.2_f64,
            heading in 0.0..6.3_f64,
            stray in 0.0..1e7_f64,
        ) {
            let mut points: Vec<Point> = (0..).zip(&places).map(|(row, &(x, y))| Point { x, y, row }).collect();
            points.push(Point { x: stray, y: -stray, row: places.len() as u32 });
            let strips = Strips::new(points.clone(), [travel.cos(), travel.sin()], [9.0, 6.0].into_iter()).unwrap();
            let (sin, cos) = heading.sin_cos();
            for from in points.iter().step_by(7) {
                let found: Vec<u32> = strips.around(*from, [cos, sin], [3.0, 14.0]).map(|p| p.row).collect();
                for p in &points {
                    let (dx, dy) = (p.x - from.x, p.y - from.y);
                    let near = (dx * cos + dy * sin).abs() <= 3.0 && (dy * cos - dx * sin).abs() <= 14.0;
                    prop_assert!(!near || found.contains(&p.row));
                }
            }
        }
    }

    #[test]
    fn nothing_has_no_strips() {
        let nowhere = Point {
            x: f64::NAN,
            y: 0.0,
            row: 0,
        };
        for points in [vec![], vec![nowhere]] {
            assert!(Strips::new(points, [1.0, 0.0], [9.0].into_iter()).is_none());
        }
    }
}
