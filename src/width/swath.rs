//! The ground of a row: the quadrilateral between the header's ends at the start and at the end of its interval.

use super::{Checked, Rows};
use crate::geometry::distance;
use crate::passes::{Activity, Ground};

/// Two stations nearer than this are one, m (our choice: far below a cell).
const SAME_STATION: f64 = 0.01;

/// Lays rows' swaths one after the other, so that rows of one pass share their edges.
pub(super) struct Swaths<'a> {
    rows: Rows<'a>,
    longest_step: f64,
    /// Unit vector of travel of each row; `None` where nothing tells it.
    headings: Vec<Option<[f64; 2]>>,
    /// The row before and the row after each row on its pass.
    neighbours: Vec<[Option<u32>; 2]>,
}

impl<'a> Swaths<'a> {
    pub(super) fn new(rows: Rows<'a>, settings: &Checked) -> Self {
        let mut swaths = Self {
            rows,
            longest_step: settings.0.longest_step,
            headings: Vec::new(),
            neighbours: vec![[None; 2]; rows.passes.ground.len()],
        };
        swaths.headings = (0..rows.passes.ground.len() as u32)
            .map(|row| swaths.direction(row))
            .collect();
        let mut last_of = vec![None; rows.passes.passes.len()];
        for &row in rows.order {
            let Some(pass) = rows.passes.pass_of[row as usize] else {
                continue;
            };
            let last: Option<u32> = last_of[pass as usize].replace(row);
            if let Some(last) = last.filter(|&last| swaths.joined(last, row)) {
                swaths.neighbours[last as usize][1] = Some(row);
                swaths.neighbours[row as usize][0] = Some(last);
            }
        }
        swaths
    }

    /// The ground of a row that cuts; `None` where it does not cut or the ground is unknown or beyond belief.
    pub(super) fn ground(&self, row: u32) -> Option<Ground> {
        let passes = self.rows.passes;
        let cuts = matches!(
            passes.activity[row as usize],
            Activity::Cutting | Activity::Turning
        );
        let ground = passes.ground[row as usize].filter(|_| cuts)?;
        let width = passes.header_width[row as usize];
        (ground.length() <= self.longest_step && width > 0.0).then_some(ground)
    }

    /// Corners of a row's swath, in order around it.
    pub(super) fn quad(&self, row: u32) -> Option<[[f64; 2]; 4]> {
        let ground = self.ground(row)?;
        let half = self.rows.passes.header_width[row as usize] / 2.0;
        let own = self.heading(row)?;
        let [before, after] = self.neighbours[row as usize];
        // The station between two rows is the later one's start, and its heading is between theirs.
        let start = before
            .and_then(|b| self.heading(b))
            .map_or(own, |h| mean(h, own));
        let stop = after
            .and_then(|a| self.heading(a))
            .map_or(own, |h| mean(own, h));
        let to = after
            .and_then(|a| self.ground(a))
            .map_or(ground.to, |next| next.from);
        let [right, left] = ends(ground.from, start, half);
        let [far_right, far_left] = ends(to, stop, half);
        let travel = [to[0] - ground.from[0], to[1] - ground.from[1]];
        let forward =
            |a: [f64; 2], b: [f64; 2]| (b[0] - a[0]) * travel[0] + (b[1] - a[1]) * travel[1] > 0.0;
        if forward(right, far_right) && forward(left, far_left) {
            return Some([right, far_right, far_left, left]);
        }
        // One end goes backwards: a machine that turns on the spot, or, more often, positions that jitter while it
        // hardly moves. The header is not swept round: the row cuts what it travels.
        let along = unit(travel)?;
        let ([right, left], [far_right, far_left]) =
            (ends(ground.from, along, half), ends(to, along, half));
        Some([right, far_right, far_left, left])
    }

    /// Rows of each run: a pass, or its part between changes of direction (so that a pass driven round and round is a
    /// neighbour to itself). In the order of work by their first rows.
    pub(super) fn runs(&self) -> Vec<Vec<u32>> {
        /// Cosine of the turn that begins another run, 60° (our choice: more than passes bend, less than a corner).
        const TURN: f64 = 0.5;
        let mut runs: Vec<Vec<u32>> = Vec::new();
        let mut open: Vec<Option<(usize, [f64; 2])>> = vec![None; self.rows.passes.passes.len()];
        for &row in self.rows.order {
            let Some(pass) = self.rows.passes.pass_of[row as usize] else {
                continue;
            };
            if self.ground(row).is_none() {
                continue;
            }
            let Some(heading) = self.heading(row) else {
                continue;
            };
            let slot = &mut open[pass as usize];
            match slot {
                Some((run, first)) if first[0] * heading[0] + first[1] * heading[1] > TURN => {
                    runs[*run].push(row)
                }
                _ => {
                    *slot = Some((runs.len(), heading));
                    runs.push(vec![row]);
                }
            }
        }
        runs
    }

    fn heading(&self, row: u32) -> Option<[f64; 2]> {
        self.headings[row as usize]
    }

    /// The row's direction, or that of its ground where no direction is known.
    fn direction(&self, row: u32) -> Option<[f64; 2]> {
        let direction = self.rows.passes.direction[row as usize];
        if direction.is_finite() {
            return Some([direction.cos(), direction.sin()]);
        }
        let ground = self.ground(row)?;
        unit([ground.to[0] - ground.from[0], ground.to[1] - ground.from[1]])
    }

    /// Whether the ground of one row ends where that of the next begins, under one header.
    fn joined(&self, row: u32, next: u32) -> bool {
        let width = &self.rows.passes.header_width;
        match (self.ground(row), self.ground(next)) {
            (Some(a), Some(b)) => {
                distance(a.to, b.from) < SAME_STATION && width[row as usize] == width[next as usize]
            }
            _ => false,
        }
    }
}

/// Right and left end of a header.
fn ends(at: [f64; 2], heading: [f64; 2], half: f64) -> [[f64; 2]; 2] {
    let across = [-heading[1] * half, heading[0] * half];
    [
        [at[0] - across[0], at[1] - across[1]],
        [at[0] + across[0], at[1] + across[1]],
    ]
}

/// The heading between two; the first where they are opposed.
fn mean(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    unit([a[0] + b[0], a[1] + b[1]]).unwrap_or(a)
}

fn unit(v: [f64; 2]) -> Option<[f64; 2]> {
    let size = distance([0.0; 2], v);
    (size > 1e-9).then(|| [v[0] / size, v[1] / size])
}
