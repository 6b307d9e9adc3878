//! Pairs of points on neighbouring passes driven in opposite directions.

use kiddo::{ImmutableKdTree, SquaredEuclidean};

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

fn pairs_of_track(passes: &Passes, rows: &[u32], most: usize, out: &mut Vec<OpposedPair>) {
    let middle = |i: u32| passes.ground[i as usize].map(|g| g.middle());
    let points: Vec<[f64; 2]> = rows.iter().filter_map(|&i| middle(i)).collect();
    // The immutable tree takes any number of points that share a coordinate; standing combines make such.
    let Some(tree) = (!points.is_empty())
        .then(|| ImmutableKdTree::new_from_slice(&points))
        .and_then(Result::ok)
    else {
        return;
    };
    let stride = rows.len().div_ceil(most.max(1)).max(1);
    let mut best: Vec<(u32, f64, u32)> = Vec::new(); // pass, |along|, row
    for k in (0..rows.len()).step_by(stride) {
        let i = rows[k] as usize;
        let width = passes.header_width[i];
        if !(width > 0.0) {
            continue;
        }
        let (sin, cos) = passes.direction[i].sin_cos();
        let own = passes.ground[i].map_or(0.0, |g| g.length());
        best.clear();
        let radius = 1.6 * width;
        let near = tree
            .query(&points[k])
            .within::<SquaredEuclidean<f64>>(radius * radius)
            .unsorted()
            .execute();
        for item in near {
            let j = rows[item.item as usize];
            let ju = j as usize;
            if passes.pass_of[ju] <= passes.pass_of[i] {
                continue;
            }
            let p = points[item.item as usize];
            let (dx, dy) = (p[0] - points[k][0], p[1] - points[k][1]);
            let along = (dx * cos + dy * sin).abs();
            let across = (dy * cos - dx * sin).abs();
            let reach = 0.75
                * own
                    .max(passes.ground[ju].map_or(0.0, |g| g.length()))
                    .max(0.5);
            // The cosine comes last: few rows are left by then, and it takes as long as all before it.
            if across < 0.3 * width
                || along > reach
                || (passes.direction[ju] - passes.direction[i]).cos() > OPPOSED_COS
            {
                continue;
            }
            let pass = passes.pass_of[ju].unwrap_or(u32::MAX);
            match best.iter_mut().find(|b| b.0 == pass) {
                Some(b) if (b.1, b.2) <= (along, j) => {}
                Some(b) => *b = (pass, along, j),
                None => best.push((pass, along, j)),
            }
        }
        best.sort_by_key(|b| b.0);
        out.extend(best.iter().map(|b| OpposedPair { a: rows[k], b: b.2 }));
    }
}
