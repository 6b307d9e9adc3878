//! The disagreement of pairs over candidate delays, in blocks that add up.

use serde::{Deserialize, Serialize};

/// Lowest candidate, s: displays may have shifted a log too far already.
pub const LOWEST_CANDIDATE_S: f64 = -15.0;
/// Highest candidate, s (typical delays are 8–15 s; 20 s has been seen).
pub const HIGHEST_CANDIDATE_S: f64 = 30.0;
/// Step between candidates, s; a multiple of the signal's grid.
pub const CANDIDATE_STEP_S: f64 = 0.5;
/// Number of candidates.
pub const CANDIDATES: usize =
    ((HIGHEST_CANDIDATE_S - LOWEST_CANDIDATE_S) / CANDIDATE_STEP_S) as usize + 1;

/// Delay of candidate `c`, s.
pub fn candidate(c: usize) -> f64 {
    LOWEST_CANDIDATE_S + c as f64 * CANDIDATE_STEP_S
}

/// A candidate counts where at least this share of the pairs can be read.
const LEAST_READ: f64 = 0.3;

/// Sums over the pairs of one block: disagreement and spread per candidate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Block {
    /// Σ of squared (winsorised) differences of log yield.
    pub disagreement: Vec<f32>,
    /// Σ of squared (winsorised) deviations of log yield at the two points.
    pub spread: Vec<f32>,
}

impl Block {
    /// Of no pairs.
    pub(super) fn empty() -> Self {
        Self {
            disagreement: vec![0.0; CANDIDATES],
            spread: vec![0.0; CANDIDATES],
        }
    }

    /// Adds another block's pairs.
    pub(super) fn add(&mut self, other: &Self) {
        for (a, b) in self.disagreement.iter_mut().zip(&other.disagreement) {
            *a += b;
        }
        for (a, b) in self.spread.iter_mut().zip(&other.spread) {
            *a += b;
        }
    }
}

/// The evidence of one field on one machine's delay: its pairs, parted twice into blocks.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Curve {
    /// Blocks along the direction of travel: a pass's noise at one place meets all its neighbours in one of them.
    pub along: Vec<Block>,
    /// The same sums in blocks of neighbouring passes: what errs for a whole pass, such as its position, stays in one.
    pub across: Vec<Block>,
    /// Pairs behind them.
    pub pairs: u32,
    /// Half-width of the parabola through the minimum, s: two seconds or a row, whichever is longer.
    pub fit_half_width: f64,
}

/// Time constants of first-order mixing that the signal is symmetrised for, s. A skewed response has its mode before
/// its mean, and rough ground follows the mode; with the machine's own constant undone, both are one. Dispersions of
/// 1–5 s are published (Arslan 2008, Sensors 8:952).
pub const MIXING_S: [f64; 5] = [0.0, 1.5, 3.0, 4.5, 6.0];

/// One curve per constant of [`MIXING_S`] over the same pairs and blocks; a single one where mixing is left alone.
pub type Curves = Vec<Curve>;

/// Disagreement and spread per candidate, summed over blocks.
#[derive(Debug, Clone)]
pub(super) struct Sums(Vec<(f64, f64)>);

impl Sums {
    /// Of some blocks.
    pub fn of(blocks: &[Block]) -> Self {
        let mut sums = vec![(0.0, 0.0); CANDIDATES];
        for block in blocks {
            let parts = block.disagreement.iter().zip(&block.spread);
            for (s, (d, v)) in sums.iter_mut().zip(parts) {
                s.0 += f64::from(*d);
                s.1 += f64::from(*v);
            }
        }
        Self(sums)
    }

    /// Without one of those blocks.
    pub fn without(&self, block: &Block) -> Self {
        let parts = block.disagreement.iter().zip(&block.spread);
        let less = (self.0.iter().zip(parts))
            .map(|(s, (d, v))| (s.0 - f64::from(*d), s.1 - f64::from(*v)))
            .collect();
        Self(less)
    }

    /// Log of the disagreement relative to the spread, per candidate.
    pub fn log_unshared(&self) -> Vec<f64> {
        // A candidate that few pairs can read (near gaps, or beyond where flow has settled) says nothing.
        let most = self.0.iter().map(|s| s.1).fold(0.0, f64::max);
        let log = |&(d, v): &(f64, f64)| {
            if v >= LEAST_READ * most {
                (d.max(1e-9) / v.max(1e-12)).ln()
            } else {
                0.0
            }
        };
        self.0.iter().map(log).collect()
    }
}
