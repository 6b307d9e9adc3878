//! What a track logged, as an evenly smoothed signal on a fine time grid.

use crate::log::Track;

/// Grid step, s. Candidates are multiples of it, so every candidate reads the grid itself and none interpolates.
pub const GRID_S: f64 = 0.25;

/// An amount per second over a track's clock, smoothed by about one row (σ) wherever it is read.
///
/// Reading rows at fractional positions by linear interpolation would smooth more between rows than on them, and fake
/// minima half-way; here each row is spread over its interval and the whole is smoothed alike.
#[derive(Debug, Clone)]
pub struct Signal {
    origin: f64,
    value: Vec<f32>,
}

impl Signal {
    /// Smooths `amount[k]` (per row of the track, e.g. kg) into a rate (e.g. kg/s) per grid cell.
    ///
    /// A row whose amount is NaN counts as not logged. Cells less than half covered by logged time are NaN.
    pub fn rate(track: &Track, amount: &[f64]) -> Self {
        let Some((&first, &last)) = track.start.first().zip(track.end.last()) else {
            return Self {
                origin: 0.0,
                value: Vec::new(),
            };
        };
        let origin = first - 4.0 * track.usual_step;
        let cells = ((last - origin + 4.0 * track.usual_step) / GRID_S).ceil() as usize + 1;
        let mut sum = vec![0.0f64; cells];
        let mut time = vec![0.0f64; cells];
        for (k, &a) in amount.iter().enumerate() {
            let span = track.interval(k);
            if span > 0.0 && a.is_finite() {
                spread(
                    &mut sum,
                    (track.start[k] - origin) / GRID_S,
                    (track.end[k] - origin) / GRID_S,
                    a,
                );
                spread(
                    &mut time,
                    (track.start[k] - origin) / GRID_S,
                    (track.end[k] - origin) / GRID_S,
                    span,
                );
            }
        }
        // Three moving averages of w cells have the variance 3(w² − 1)/12 cells²: near-Gaussian with σ = one row.
        let sigma = track.usual_step / GRID_S;
        let half = ((((4.0 * sigma * sigma + 1.0).sqrt() - 1.0) / 2.0).round() as usize).max(1);
        for _ in 0..3 {
            moving_average(&mut sum, half);
            moving_average(&mut time, half);
        }
        let value = sum
            .iter()
            .zip(&time)
            .map(|(&s, &t)| {
                if t >= 0.5 * GRID_S * track.usual_interval / track.usual_step {
                    (s / t) as f32
                } else {
                    f32::NAN
                }
            })
            .collect();
        Self { origin, value }
    }

    /// The same signal with `f` applied to every value.
    pub fn map(mut self, f: impl Fn(f32) -> f32) -> Self {
        self.value.iter_mut().for_each(|v| *v = f(*v));
        self
    }

    /// Grid cell of a time on the track's clock; may lie outside the signal.
    pub fn cell(&self, time: f64) -> i64 {
        ((time - self.origin) / GRID_S).floor() as i64
    }

    /// Value at a cell; NaN outside.
    pub fn at(&self, cell: i64) -> f32 {
        usize::try_from(cell)
            .ok()
            .and_then(|c| self.value.get(c))
            .copied()
            .unwrap_or(f32::NAN)
    }

    /// Median of the finite values; `None` where there are none.
    pub fn median(&self) -> Option<f32> {
        let mut v: Vec<f32> = self
            .value
            .iter()
            .copied()
            .filter(|v| v.is_finite())
            .collect();
        if v.is_empty() {
            return None;
        }
        let m = v.len() / 2;
        Some(*v.select_nth_unstable_by(m, f32::total_cmp).1)
    }
}

/// Spreads an amount evenly over `[from, to)` in cell units.
fn spread(cells: &mut [f64], from: f64, to: f64, amount: f64) {
    let density = amount / (to - from);
    let (a, b) = (from.floor() as usize, (to.ceil() as usize).min(cells.len()));
    for (c, cell) in cells.iter_mut().enumerate().take(b).skip(a) {
        let overlap = (to.min((c + 1) as f64) - from.max(c as f64)).max(0.0);
        *cell += density * overlap;
    }
}

/// Replaces each cell by the mean over `half` cells either side (zero beyond the ends).
fn moving_average(cells: &mut [f64], half: usize) {
    let width = 2 * half + 1;
    let n = cells.len();
    let mut prefix = Vec::with_capacity(n + 1);
    prefix.push(0.0);
    let mut total = 0.0;
    for &c in cells.iter() {
        total += c;
        prefix.push(total);
    }
    for (i, cell) in cells.iter_mut().enumerate() {
        let (a, b) = (i.saturating_sub(half), (i + half + 1).min(n));
        *cell = (prefix[b] - prefix[a]) / width as f64;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn track(n: usize, step: f64) -> Track {
        Track {
            machine: 0,
            rows: (0..n as u32).collect(),
            start: (0..n).map(|k| k as f64 * step).collect(),
            end: (0..n).map(|k| (k + 1) as f64 * step).collect(),
            usual_interval: step,
            usual_step: step,
        }
    }

    #[test]
    fn a_constant_stays_and_a_step_keeps_its_middle() {
        let t = track(40, 1.0);
        let constant = Signal::rate(&t, &[2.0; 40]);
        for time in [0.1, 10.3, 39.9] {
            assert!((constant.at(constant.cell(time)) - 2.0).abs() < 1e-5);
        }
        let step: Vec<f64> = (0..40).map(|k| if k < 20 { 1.0 } else { 3.0 }).collect();
        let s = Signal::rate(&t, &step);
        // The step is at 20 s; cells either side of it mirror each other.
        assert!((s.at(s.cell(19.99)) + s.at(s.cell(20.01)) - 4.0).abs() < 1e-4);
        assert!(s.at(s.cell(-60.0)).is_nan() && s.at(s.cell(90.0)).is_nan());
    }

    #[test]
    fn a_missing_row_is_bridged_by_its_neighbours() {
        let mut amount = vec![2.0; 40];
        amount[20] = f64::NAN;
        let s = Signal::rate(&track(40, 1.0), &amount);
        assert!((s.at(s.cell(20.5)) - 2.0).abs() < 1e-5);
        assert!(Signal::rate(&track(0, 1.0), &[]).median().is_none());
    }

    #[test]
    fn noise_is_smoothed_alike_at_every_fraction_of_a_row() {
        // Alternating noise on a long track: the variance read on rows and between rows agrees within 10 %.
        let n = 4000;
        let mut seed = 1u64;
        let noise: Vec<f64> = (0..n)
            .map(|_| {
                seed = seed
                    .wrapping_mul(6364136223846793005)
                    .wrapping_add(1442695040888963407);
                (seed >> 33) as f64 / (1u64 << 31) as f64 - 0.5
            })
            .collect();
        let s = Signal::rate(&track(n, 1.0), &noise);
        let variance = |fraction: f64| {
            (10..n - 10)
                .map(|k| s.at(s.cell(k as f64 + fraction)).powi(2))
                .sum::<f32>()
                / n as f32
        };
        let (on, between) = (variance(0.5), variance(0.01));
        assert!((on / between - 1.0).abs() < 0.1, "{on} {between}");
    }
}
