//! How far each piece of a pass lies from the passes beside it: 0 where the two swaths abut, negative where they
//! overlap, positive where a strip is left between them.

use crate::geometry::{Bearing, Neighbour, Neighbours, Piece, Pieces};

/// Passes whose centres are farther apart than this many header widths are not beside each other (our choice: one pass
/// left out makes 2, and the widest belief in a wrong header width is 1.5).
const BESIDE_WIDTHS: f64 = 1.6;
/// A piece is abreast of a neighbour whose middle is within this part of its length (a half, and a little for gaps
/// that whole rows leave; our choice).
const ABREAST: f64 = 0.55;

/// A pass beside a piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Beside {
    /// The run it belongs to.
    pub(super) run: u32,
    /// Ground between the two swaths, m; negative: overlap.
    pub(super) offset: f64,
    /// Header width of the pass beside, m.
    pub(super) width: f64,
}

/// What lies beside a piece, left and right.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Sides {
    /// The nearest pass on each side, whenever it was cut.
    pub(super) nearest: [Option<Beside>; 2],
    /// The nearest pass on each side of those cut earlier.
    pub(super) earlier: [Option<Beside>; 2],
}

/// The sides of every piece. `width`: header width piece by piece, m. Runs are numbered in the order of work.
pub(super) fn sides(pieces: &Pieces, width: &[f64]) -> Vec<Sides> {
    let widest = width.iter().copied().fold(0.0, f64::max);
    let longest = pieces.iter().map(|p| p.length).fold(0.0, f64::max);
    let neighbours = pieces.neighbours((BESIDE_WIDTHS * widest).hypot(longest));
    (0..pieces.len())
        .map(|i| sides_of(i, pieces, &neighbours, width))
        .collect()
}

fn sides_of(i: usize, pieces: &Pieces, neighbours: &Neighbours, width: &[f64]) -> Sides {
    let own = pieces.get(i);
    let mut sides = Sides::default();
    // Neighbours come by piece index, so those of one run stand together.
    for run in neighbours
        .of(i)
        .chunk_by(|a, b| pieces.get(a.piece as usize).pass == pieces.get(b.piece as usize).pass)
    {
        let Some((across, piece)) = across_abreast(own, run, pieces) else {
            continue;
        };
        let apart = (width[i] + width[piece]) / 2.0;
        if across.abs() > BESIDE_WIDTHS * apart {
            continue;
        }
        let run = pieces.get(piece).pass;
        let beside = Beside {
            run,
            offset: across.abs() - apart,
            width: width[piece],
        };
        let side = usize::from(across < 0.0);
        nearer(&mut sides.nearest[side], beside);
        if run < own.pass {
            nearer(&mut sides.earlier[side], beside);
        }
    }
    sides
}

fn nearer(slot: &mut Option<Beside>, beside: Beside) {
    if slot.is_none_or(|old| beside.offset < old.offset) {
        *slot = Some(beside);
    }
}

/// How far to the left a run passes a piece, m, and its piece abreast; `None` where it is not abreast or not parallel.
fn across_abreast(own: &Piece, run: &[Neighbour], pieces: &Pieces) -> Option<(f64, usize)> {
    let parallel = |n: &&Neighbour| n.bearing != Bearing::Crossing;
    let near = run
        .iter()
        .filter(parallel)
        .min_by(|a, b| a.along.abs().total_cmp(&b.along.abs()))?;
    let other = pieces.get(near.piece as usize);
    if near.along.abs() > ABREAST * other.length {
        return None;
    }
    // Between this piece and the next one on the other side of the perpendicular, the run is taken as straight.
    let next = run.iter().filter(parallel).find(|n| {
        n.piece.abs_diff(near.piece) == 1
            && (n.along > 0.0) != (near.along > 0.0)
            && n.along != near.along
    });
    let across = match next {
        Some(next) => {
            near.across - near.along * (next.across - near.across) / (next.along - near.along)
        }
        None => {
            let [ux, uy] = own.direction;
            let [vx, vy] = other.direction;
            near.across - near.along * (vy * ux - vx * uy) / (vx * ux + vy * uy)
        }
    };
    Some((across, near.piece as usize))
}
