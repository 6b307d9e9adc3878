//! Lands: strips of a field that are driven in parallel passes, and the blocks into which obstacles split them.

use super::shape::{Ground, along, dot, extent};

/// Shortest pass that is driven, m (our choice).
const SHORTEST_PASS: f64 = 6.0;

/// Share of a pass below which a strip is not worth a pass of its own (our choice).
const SLIVER: f64 = 0.12;

/// The axes of the passes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    ahead: [f64; 2],
    right: [f64; 2],
}

impl Frame {
    /// Passes with a heading, degrees clockwise from north.
    pub(super) fn new(heading: f64) -> Self {
        let (s, c) = heading.to_radians().sin_cos();
        Self {
            ahead: [s, c],
            right: [c, -s],
        }
    }

    /// Ground in the frame: x runs ahead, y to the right.
    fn ground(&self, ground: &Ground) -> Ground {
        ground.seen_by(|p| [dot(p, self.ahead), dot(p, self.right)])
    }

    /// A span as a line, lengthened before and behind.
    pub(super) fn line(&self, span: &Span, before: f64, behind: f64) -> Vec<[f64; 2]> {
        let start = along([0.0, 0.0], self.right, span.across);
        vec![
            along(start, self.ahead, span.from - before),
            along(start, self.ahead, span.to + behind),
        ]
    }
}

/// A part of a pass: how far to the right, from where and to where ahead, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Span {
    pub across: f64,
    pub from: f64,
    pub to: f64,
}

/// The header that drives a land.
#[derive(Debug, Clone, Copy)]
pub(super) struct Header {
    /// Its width, m.
    pub width: f64,
    /// Overlap with what is cut beside it, m.
    pub overlap: f64,
}

/// The passes of every land, from left to right; each pass is the list of its spans on the open ground. Land `i` is
/// driven by header `i` (from the start again after the last). `beside_cut`: the ground along the first land is cut.
pub(super) fn lands(
    open: &Ground,
    frame: &Frame,
    headers: &[Header],
    land_width: f64,
    beside_cut: bool,
) -> Vec<Vec<Vec<Span>>> {
    let open = frame.ground(open);
    let (mut from, end) = extent(open.rings.iter().flatten().map(|p| p[1]));
    let mut lands = Vec::new();
    while from < end - 0.5 {
        let Header { width, overlap } = headers[lands.len() % headers.len()];
        let to = (from + land_width).min(end);
        let lead = if beside_cut || !lands.is_empty() {
            overlap
        } else {
            0.0
        };
        let (more, spacing) = further_passes(to - from + lead - width, width, overlap);
        let pass = |k: usize| spans(&open, from - lead + 0.5 * width + k as f64 * spacing, width);
        lands.push((0..=more).map(pass).collect());
        from = to;
    }
    lands
}

/// How many passes follow the first over `rest` metres, and their spacing. A driver who sees a sliver coming gives
/// up some overlap instead.
fn further_passes(rest: f64, width: f64, overlap: f64) -> (usize, f64) {
    let passes = (rest / (width - overlap)).max(0.0);
    let (whole, sliver) = (passes.floor(), passes.fract());
    if sliver < SLIVER && whole > 0.0 && rest / whole <= width {
        (whole as usize, rest / whole)
    } else {
        (passes.ceil() as usize, width - overlap)
    }
}

/// What any part of the header meets on a line: slanted ends begin before the header's middle does.
fn spans(open: &Ground, across: f64, width: f64) -> Vec<Span> {
    let mut met: Vec<(f64, f64)> = [-0.45, 0.0, 0.45]
        .iter()
        .flat_map(|share| open.spans(across + share * width))
        .collect();
    met.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out: Vec<Span> = Vec::new();
    for (from, to) in met {
        match out.last_mut() {
            Some(last) if from <= last.to => last.to = last.to.max(to),
            _ => out.push(Span { across, from, to }),
        }
    }
    out.retain(|s| s.to - s.from >= SHORTEST_PASS);
    out
}

/// Splits a land into blocks that can be driven to and fro: a new block begins where a pass falls into more or
/// fewer spans than the one before (round a pond, at the inner corner of an L).
pub(super) fn blocks(land: Vec<Vec<Span>>) -> Vec<Vec<Span>> {
    let mut done = Vec::new();
    let mut open: Vec<Vec<Span>> = Vec::new();
    for pass in land {
        let meets =
            |s: &Span, block: &[Span]| block.last().is_some_and(|b| s.from < b.to && b.from < s.to);
        if pass.len() != open.len() || !pass.iter().zip(&open).all(|(s, block)| meets(s, block)) {
            done.append(&mut open);
            open = vec![Vec::new(); pass.len()];
        }
        for (s, block) in pass.into_iter().zip(&mut open) {
            block.push(s);
        }
    }
    done.append(&mut open);
    done.retain(|b| !b.is_empty());
    done
}

#[cfg(test)]
mod tests {
    use super::super::shape::Shape;
    use super::*;

    #[test]
    fn a_pond_splits_a_land_into_blocks() {
        let open = Shape::rectangle(90.0, 300.0)
            .with_pond([45.0, 150.0], 20.0)
            .inset(0.0);
        let header = Header {
            width: 9.0,
            overlap: 0.0,
        };
        let land = lands(&open, &Frame::new(0.0), &[header], f64::INFINITY, false).remove(0);
        assert_eq!(land.len(), 10);
        // The pond lies between 25 and 65 m: passes 3 to 7 (27–72 m) and part of pass 2 meet it.
        let blocks = blocks(land);
        assert!(blocks.len() >= 4, "{blocks:?}");
        assert!(blocks.iter().flatten().all(|s| s.to - s.from > 100.0));
    }

    #[test]
    fn a_sliver_is_taken_into_the_overlap() {
        // 81.5 m are 9.06 spacings of 9 m: nine passes 9.056 m apart will do, if the header is that wide.
        assert_eq!(further_passes(81.5, 9.1, 0.1), (9, 81.5 / 9.0));
        assert_eq!(further_passes(81.5, 9.0, 0.0), (10, 9.0));
        assert_eq!(further_passes(86.0, 9.1, 0.1), (10, 9.0));
        assert_eq!(further_passes(-3.0, 9.0, 0.5), (0, 8.5));
    }

    #[test]
    fn lands_of_two_headers_follow_their_own_widths() {
        let open = Shape::rectangle(180.0, 300.0).inset(0.0);
        let headers = [
            Header {
                width: 9.0,
                overlap: 0.0,
            },
            Header {
                width: 6.0,
                overlap: 0.0,
            },
        ];
        let lands = lands(&open, &Frame::new(0.0), &headers, 90.0, false);
        assert_eq!((lands.len(), lands[0].len(), lands[1].len()), (2, 10, 15));
        assert!((lands[1][0][0].across - 93.0).abs() < 1e-9);
    }
}
