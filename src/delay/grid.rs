//! A track's fine time grid: rows spread over it and smoothed alike.

use super::Signal;
use crate::log::Track;

/// Grid step, s. Candidates are multiples of it, so every candidate reads the grid itself and none interpolates.
pub const GRID_S: f64 = 0.25;

/// Part of a signal's largest amount below which there is nothing: what running sums leave of rounding is 10⁻¹⁴ of it, and
/// whether it came out above or below zero would decide whether a pass took anything in.
const NOTHING: f64 = 1e-9;

/// A track's grid: what all its signals share.
#[derive(Debug, Clone)]
pub struct Grid {
    origin: f64,
    cells: usize,
    half: usize,
    /// Smoothed share of each cell that rows cover, s.
    covered: Vec<f64>,
    least: f64,
}

impl Grid {
    /// The grid of a track.
    pub fn new(track: &Track) -> Self {
        let Some((&first, &last)) = track.start.first().zip(track.end.last()) else {
            return Self {
                origin: 0.0,
                cells: 0,
                half: 1,
                covered: Vec::new(),
                least: 0.0,
            };
        };
        // Half a cell early: the middles of rows of whole and half seconds then fall into the middle of cells. On their
        // edges every reading would come half a cell late, and so would the delay.
        let origin = first - 4.0 * track.usual_step - 0.5 * GRID_S;
        let cells = ((last - origin + 4.0 * track.usual_step) / GRID_S).ceil() as usize + 1;
        let half = averages(track.usual_step / GRID_S);
        let least = 0.5 * GRID_S * track.usual_interval / track.usual_step;
        let mut grid = Self {
            origin,
            cells,
            half,
            covered: Vec::new(),
            least,
        };
        grid.covered = grid.smooth(track, |k| track.interval(k));
        grid
    }

    /// The signal of an amount per row; see [`Signal::rate`].
    pub fn rate(&self, track: &Track, amount: &[f64]) -> Signal {
        let sum = self.smooth(track, |k| amount[k]);
        let own;
        let covered = if amount.iter().all(|a| a.is_finite()) {
            &self.covered
        } else {
            own = self.smooth(track, |k| {
                if amount[k].is_finite() {
                    track.interval(k)
                } else {
                    0.0
                }
            });
            &own
        };
        let nothing = NOTHING * sum.iter().copied().fold(0.0, f64::max);
        let value = sum
            .iter()
            .zip(covered)
            .map(|(&s, &t)| match (t >= self.least, s > nothing) {
                (true, true) => (s / t) as f32,
                (true, false) => 0.0,
                (false, _) => f32::NAN,
            })
            .collect();
        Signal::new(self.origin, value)
    }

    fn smooth(&self, track: &Track, amount: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut cells = vec![0.0f64; self.cells];
        for k in 0..track.len() {
            let a = amount(k);
            if track.interval(k) > 0.0 && a.is_finite() {
                spread(
                    &mut cells,
                    (track.start[k] - self.origin) / GRID_S,
                    (track.end[k] - self.origin) / GRID_S,
                    a,
                );
            }
        }
        thrice(cells, self.half)
    }
}

/// Half-width of each of three moving averages that together are near-Gaussian with `sigma` cells: three of w cells
/// have the variance 3(w² − 1)/12.
pub(super) fn averages(sigma: f64) -> usize {
    ((((4.0 * sigma * sigma + 1.0).sqrt() - 1.0) / 2.0).round() as usize).max(1)
}

/// Three moving averages one after the other: means over `half` cells either side, zero beyond the ends.
///
/// A running sum is an addition that waits for the one before. Here the three go side by side, each `half` cells behind
/// the one that it averages, so that a processor has three additions at a time to do and memory is gone through once.
pub(super) fn thrice(mut cells: Vec<f64>, half: usize) -> Vec<f64> {
    let (n, window) = (cells.len(), 2 * half + 1);
    let scale = 1.0 / window as f64;
    let (mut once, mut twice) = (Passed::new(window), Passed::new(window));
    let (mut first, mut second, mut third) = (0.0, 0.0, 0.0);
    for t in 0..n + 3 * half {
        let goes = t.checked_sub(window).map_or(0.0, |gone| at(&cells, gone));
        first += at(&cells, t) - goes;
        // Which cell an average is of; before the first cell a number larger than any.
        let is_cell = |behind: usize| t.wrapping_sub(behind) < n;
        second += once.change(t, if is_cell(half) { first * scale } else { 0.0 });
        third += twice.change(
            t,
            if is_cell(2 * half) {
                second * scale
            } else {
                0.0
            },
        );
        if is_cell(3 * half) {
            cells[t - 3 * half] = third * scale;
        }
    }
    cells
}

/// What an average passed on last, as far back as the next one's window.
struct Passed {
    values: Vec<f64>,
    window: usize,
}

impl Passed {
    fn new(window: usize) -> Self {
        let values = vec![0.0; window.next_power_of_two()];
        Self { values, window }
    }

    /// Takes the value of step `t`; by how much the sum over the window changes.
    fn change(&mut self, t: usize, value: f64) -> f64 {
        let mask = self.values.len() - 1;
        let gone = self.values[t.wrapping_sub(self.window) & mask];
        self.values[t & mask] = value;
        value - gone
    }
}

fn at(cells: &[f64], k: usize) -> f64 {
    cells.get(k).copied().unwrap_or_default()
}

/// Spreads an amount evenly over `[from, to)` in cell units, neither of them negative.
fn spread(cells: &mut [f64], from: f64, to: f64, amount: f64) {
    let density = amount / (to - from);
    // Whole numbers this way, because rounding is a call on processors without an instruction for it.
    let (a, last) = (from as usize, to as usize);
    let b = (last + usize::from(to > last as f64)).min(cells.len());
    for (c, cell) in cells.iter_mut().enumerate().take(b).skip(a) {
        let overlap = (to.min((c + 1) as f64) - from.max(c as f64)).max(0.0);
        *cell += density * overlap;
    }
}
