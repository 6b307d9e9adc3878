//! The field's ground in each cell: what was cut, inside the boundary.

use rayon::prelude::*;

use super::{CheckedGridParams, GridInput};
use crate::geometry::{CutRaster, Lattice};
use crate::passes::Ground;

/// Side of a cell of the raster on which swaths are laid, m, at most (our choice: some parts of a header).
const LARGEST_RASTER_CELL: f64 = 1.0;
/// Raster cells along a part of a cell, at least (our choice: a half is then told to an eighth).
const RASTER_CELLS: u32 = 4;

/// Longest stretch between two rows of a pass that was cut without a row of its own, m (our choice: 10 s at 3 m/s; beyond it
/// something is missing).
const LONGEST_GAP: f64 = 30.0;

/// A cell with ground of the field in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cell {
    /// Column and row in the lattice.
    pub at: [i32; 2],
    /// A bit for each of its parts that is on the field's ground, from the south-west eastward and up.
    pub parts: u32,
}

impl Cell {
    /// Share of the cell on the field's ground.
    pub(super) fn share(self, parts: u32) -> f64 {
        f64::from(self.parts.count_ones()) / f64::from(parts * parts)
    }

    /// Middles of its parts on the field's ground, in the lattice, m.
    pub(super) fn places(self, parts: u32, side: f64) -> impl Iterator<Item = [f64; 2]> {
        (0..parts * parts)
            .filter(move |k| self.parts >> k & 1 == 1)
            .map(move |k| middle(self.at, k, parts, side))
    }
}

/// The middle of a part of a cell, in the lattice, m.
fn middle(at: [i32; 2], part: u32, parts: u32, side: f64) -> [f64; 2] {
    let along =
        |cell: i32, k: u32| (f64::from(cell) + (f64::from(k) + 0.5) / f64::from(parts)) * side;
    [along(at[0], part % parts), along(at[1], part / parts)]
}

/// The cells that hold enough of the field's ground, from north to south and from west to east.
///
/// A part of a cell is the field's ground where at least half of it was cut (passes as logged leave slits between them) and its
/// middle is inside the boundary.
pub(super) fn cells(
    input: &GridInput<'_>,
    lattice: &Lattice,
    params: &CheckedGridParams,
) -> Vec<Cell> {
    let (side, parts) = (lattice.side(), params.parts);
    let fine = RASTER_CELLS.max((side / f64::from(parts) / LARGEST_RASTER_CELL).ceil() as u32);
    let per_side = (parts * fine) as i32;
    let mut raster = CutRaster::new(side / f64::from(per_side), 0.0);
    let mut near: Vec<[i32; 2]> = Vec::new();
    let mut lay = |ground: Ground, width: f64| {
        let Some(quad) = swath(ground, width).and_then(|quad| in_lattice(quad, lattice)) else {
            return;
        };
        raster.fill_quad(quad);
        let reach = |axis: usize| {
            let all = quad.iter().map(|p| p[axis] / side);
            let low = all.clone().fold(f64::INFINITY, f64::min).floor() as i32;
            low..=all.fold(f64::NEG_INFINITY, f64::max).floor() as i32
        };
        for line in reach(1) {
            near.extend(reach(0).map(|column| [line, column]));
        }
        if near.len() > 1 << 16 {
            tidy(&mut near);
        }
    };
    for pass in input.passes {
        let mut last: Option<Ground> = None;
        for row in pass.iter().map(|&row| row as usize) {
            let Some(ground) = input.ground[row] else {
                continue;
            };
            let width = input.header_width[row];
            if let Some(gap) = last.and_then(|last| between(last, ground)) {
                lay(gap, width);
            }
            lay(ground, width);
            last = Some(ground);
        }
    }
    tidy(&mut near);
    let half = u64::from(fine * fine).div_ceil(2);
    let look = |&[line, column]: &[i32; 2]| {
        let at = [column, line];
        let is_ground = |k: &u32| {
            let corner = |axis: usize, k: u32| at[axis] * per_side + (k * fine) as i32;
            let (x, y) = (corner(0, k % parts), corner(1, k / parts));
            let cut = raster.cells_in(x..x + fine as i32, y..y + fine as i32);
            cut >= half && is_inside(input, lattice, middle(at, *k, parts, side))
        };
        let mask = (0..parts * parts)
            .filter(is_ground)
            .fold(0, |mask, k| mask | 1 << k);
        Cell { at, parts: mask }
    };
    let all: Vec<Cell> = near.par_iter().map(look).collect();
    let enough = |c: &Cell| c.parts != 0 && c.share(parts) >= params.least_ground;
    all.into_iter().filter(enough).collect()
}

/// Each once, from north to south and from west to east.
fn tidy(near: &mut Vec<[i32; 2]>) {
    near.sort_unstable_by(|a, b| b[0].cmp(&a[0]).then(a[1].cmp(&b[1])));
    near.dedup();
}

/// The ground between two rows of a pass, where a log is a sample of its rows: it was cut as well.
fn between(before: Ground, after: Ground) -> Option<Ground> {
    let gap = Ground {
        from: before.to,
        to: after.from,
    };
    (gap.length() > 0.0 && gap.length() <= LONGEST_GAP).then_some(gap)
}

/// The ground that the header went over, counter-clockwise, in the frame.
fn swath(ground: Ground, width: f64) -> Option<[[f64; 2]; 4]> {
    let length = ground.length();
    if !(length > 0.0 && width > 0.0) {
        return None;
    }
    let (from, to) = (ground.from, ground.to);
    let half = 0.5 * width / length;
    let across = [-(to[1] - from[1]) * half, (to[0] - from[0]) * half];
    let side = |p: [f64; 2], sign: f64| [p[0] + sign * across[0], p[1] + sign * across[1]];
    Some([
        side(from, -1.0),
        side(to, -1.0),
        side(to, 1.0),
        side(from, 1.0),
    ])
}

fn in_lattice(quad: [[f64; 2]; 4], lattice: &Lattice) -> Option<[[f64; 2]; 4]> {
    let mut out = quad;
    for corner in &mut out {
        *corner = lattice.from_frame(*corner)?;
    }
    Some(out)
}

fn is_inside(input: &GridInput<'_>, lattice: &Lattice, place: [f64; 2]) -> bool {
    let Some(boundary) = input.boundary else {
        return true;
    };
    lattice
        .to_frame(place)
        .is_some_and(|p| boundary.contains(p))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_counted_from_the_south_west() {
        let cell = Cell {
            at: [2, -1],
            parts: 0b10_0001,
        };
        assert_eq!(
            cell.places(5, 10.0).collect::<Vec<_>>(),
            [[21.0, -9.0], [21.0, -7.0]]
        );
        assert_eq!(cell.share(5), 0.08);
    }

    #[test]
    fn a_swath_runs_counter_clockwise() {
        let ground = Ground {
            from: [0.0, 0.0],
            to: [2.0, 0.0],
        };
        assert_eq!(
            swath(ground, 6.0),
            Some([[0.0, -3.0], [2.0, -3.0], [2.0, 3.0], [0.0, 3.0]])
        );
        assert_eq!(swath(ground, f64::NAN), None);
    }
}
