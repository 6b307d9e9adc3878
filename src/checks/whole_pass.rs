//! Whole passes off the passes on both sides.

use super::params::CheckedParams;
use super::pieces::{Beside, Pieces};
use super::sides::{MachineOffsets, Sides};
use crate::stats::{MAD_TO_SIGMA, median_in_place};

/// Fewest pieces of a pass with neighbours on both sides that a judgement rests on (our choice), and their least share
/// of the pass.
const FEWEST_PIECES: usize = 3;
const LEAST_SHARE: f64 = 0.5;

/// Passes (by index) whose log yield stands off both neighbouring passes, on the same side, by the margin and by several
/// times what passes usually differ.
///
/// A pass is compared with what runs beside it, piece by piece, so a field's own pattern cancels. One neighbour is not
/// enough: the pass at the edge of a field yields less, and of two passes either may be the odd one. Two odd passes side
/// by side agree with each other and stay. Machines are compared on the scale of one (see [`MachineOffsets`]), and
/// not at all where it is not known how they differ.
pub(super) fn odd_passes(
    pieces: &Pieces,
    offsets: &MachineOffsets,
    params: &CheckedParams,
) -> Vec<u32> {
    let passes = by_pass(pieces, offsets);
    let mut sizes: Vec<f64> = passes
        .iter()
        .flat_map(|p| [p.left, p.right])
        .map(f64::abs)
        .collect();
    let spread = median_in_place(&mut sizes).map(|m| params.pass_sigmas * MAD_TO_SIGMA * m);
    let limit = spread.map_or(params.pass_margin, |s| s.max(params.pass_margin));
    let odd = |p: &&PassDifference| {
        p.left.signum() == p.right.signum() && p.left.abs().min(p.right.abs()) > limit
    };
    passes.iter().filter(odd).map(|p| p.pass).collect()
}

/// Log yield of a pass less that of the passes on its two sides, by median over its pieces.
struct PassDifference {
    pass: u32,
    left: f64,
    right: f64,
}

fn by_pass(pieces: &Pieces, offsets: &MachineOffsets) -> Vec<PassDifference> {
    let mut found = Vec::new();
    let mut first = 0;
    for of_pass in pieces.pieces.chunk_by(|a, b| a.pass == b.pass) {
        let (mut left, mut right) = (Vec::new(), Vec::new());
        for (k, piece) in of_pass.iter().enumerate() {
            let sides = Sides::of(pieces, first + k, offsets, f64::NAN, Beside::is_parallel);
            if sides.left.is_finite() && sides.right.is_finite() {
                left.push(piece.value - sides.left);
                right.push(piece.value - sides.right);
            }
        }
        first += of_pass.len();
        let enough =
            left.len() >= FEWEST_PIECES && left.len() as f64 >= LEAST_SHARE * of_pass.len() as f64;
        if !enough {
            continue;
        }
        if let (Some(left), Some(right)) = (median_in_place(&mut left), median_in_place(&mut right))
        {
            found.push(PassDifference {
                pass: of_pass[0].pass,
                left,
                right,
            });
        }
    }
    found
}
