//! What the passes to the left and right of a piece say of it.

use super::pieces::{Beside, Pieces};
use crate::stats::median_in_place;

/// Fewest pairs of pieces from which two machines' difference is taken (our choice: several passes' worth).
const FEWEST_PAIRS: usize = 50;

/// By how much machines differ where they cut side by side: log yield of one less that of the other, by median over
/// pairs of pieces. A machine that reads high is a matter of calibration, not of single points or passes.
#[derive(Debug, Clone)]
pub(super) struct MachineOffsets {
    machines: usize,
    /// NaN for too few pairs.
    offset: Vec<f64>,
}

impl MachineOffsets {
    pub fn new(pieces: &Pieces, machines: usize) -> Self {
        let mut differences = vec![Vec::new(); machines * machines];
        if machines > 1 {
            for (k, piece) in pieces.pieces.iter().enumerate() {
                for b in pieces.beside(k).iter().filter(|b| b.is_parallel()) {
                    let other = pieces.pieces[b.piece];
                    if other.machine != piece.machine {
                        let pair = piece.machine as usize * machines + other.machine as usize;
                        differences[pair].push(piece.value - other.value);
                    }
                }
            }
        }
        let median = |mut d: Vec<f64>| {
            let enough = d.len() >= FEWEST_PAIRS;
            median_in_place(&mut d)
                .filter(|_| enough)
                .unwrap_or(f64::NAN)
        };
        let mut offset: Vec<f64> = differences.into_iter().map(median).collect();
        for m in 0..machines {
            offset[m * machines + m] = 0.0;
        }
        Self { machines, offset }
    }

    /// Log yield of `machine` less that of `other`; NaN where it is not known.
    pub fn get(&self, machine: u32, other: u32) -> f64 {
        self.offset[machine as usize * self.machines + other as usize]
    }
}

/// What lies beside a piece, in log yield on the scale of the piece's own machine; NaN where nothing does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sides {
    pub left: f64,
    pub right: f64,
}

impl Sides {
    /// Medians of the neighbours on either side that `counts` admits. Machines whose difference is not known are left
    /// out, or taken as they are, as `unknown` is NaN or 0.
    pub fn of(
        pieces: &Pieces,
        piece: usize,
        offsets: &MachineOffsets,
        unknown: f64,
        counts: impl Fn(&Beside) -> bool,
    ) -> Self {
        let own = pieces.pieces[piece].machine;
        let side = |left: bool| {
            let mut values: Vec<f64> = pieces
                .beside(piece)
                .iter()
                .filter(|b| b.left == left && counts(b))
                .map(|b| {
                    let other = pieces.pieces[b.piece];
                    let offset = offsets.get(own, other.machine);
                    other.value + if offset.is_nan() { unknown } else { offset }
                })
                .filter(|v| v.is_finite())
                .collect();
            median_in_place(&mut values).unwrap_or(f64::NAN)
        };
        Self {
            left: side(true),
            right: side(false),
        }
    }

    /// How far a value lies above (positive) or below (negative) *both* sides, or the one side there is; 0 in between.
    /// NaN where nothing lies beside.
    pub fn beyond(&self, value: f64) -> f64 {
        beyond(value, self.left, self.right)
    }

    /// Middle of the two sides, or the one there is.
    pub fn middle(&self) -> f64 {
        match (self.left.is_nan(), self.right.is_nan()) {
            (false, false) => 0.5 * (self.left + self.right),
            (false, true) => self.left,
            _ => self.right,
        }
    }
}

/// How far `value` lies outside the interval between `a` and `b`, with its sign; a NaN end does not count; NaN where
/// both are.
pub(super) fn beyond(value: f64, a: f64, b: f64) -> f64 {
    // min and max pass over NaN.
    let (low, high) = (a.min(b), a.max(b));
    if value > high {
        value - high
    } else if value < low {
        value - low
    } else if low.is_nan() {
        f64::NAN
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beyond_both_sides_or_the_one_there_is() {
        assert_eq!(beyond(5.0, 1.0, 3.0), 2.0);
        assert_eq!(beyond(0.0, 3.0, 1.0), -1.0);
        assert_eq!(beyond(2.0, 1.0, 3.0), 0.0);
        assert_eq!(beyond(5.0, f64::NAN, 3.0), 2.0);
        assert!(beyond(5.0, f64::NAN, f64::NAN).is_nan());
        assert_eq!(
            Sides {
                left: 1.0,
                right: 3.0
            }
            .middle(),
            2.0
        );
        assert_eq!(
            Sides {
                left: 1.0,
                right: f64::NAN
            }
            .middle(),
            1.0
        );
        assert_eq!(
            Sides {
                left: f64::NAN,
                right: 3.0
            }
            .middle(),
            3.0
        );
    }
}
