//! What a track logged, as an evenly smoothed signal on a fine time grid.

use super::grid::{GRID_S, Grid, averages, thrice};
use super::phase::PhaseKernel;
use crate::log::Track;

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
    /// A signal whose first cell begins at `origin` on the track's clock, s.
    pub(super) fn new(origin: f64, value: Vec<f32>) -> Self {
        Self { origin, value }
    }

    /// Smooths `amount[k]` (per row of the track, e.g. kg) into a rate (e.g. kg/s) per grid cell.
    ///
    /// A row whose amount is NaN counts as not logged. Cells less than half covered by logged time are NaN.
    pub fn rate(track: &Track, amount: &[f64]) -> Self {
        Grid::new(track).rate(track, amount)
    }

    /// The same signal with `f` applied to every value.
    pub fn map(mut self, f: impl Fn(f32) -> f32) -> Self {
        self.value.iter_mut().for_each(|v| *v = f(*v));
        self
    }

    /// The signal without the cells within `reach` seconds of one below `floor`: where a machine fills, empties or was
    /// cut off by a display, its neighbourhood is smoothed with it.
    pub fn settled(mut self, floor: f32, reach: f64) -> Self {
        let reach = (reach / GRID_S).round() as usize;
        let n = self.value.len();
        let low: Vec<usize> = (0..n).filter(|&i| self.value[i] < floor).collect();
        let mut done = 0;
        for i in low {
            let (from, to) = (i.saturating_sub(reach).max(done), (i + reach + 1).min(n));
            if from < to {
                self.value[from..to].fill(f32::NAN);
                done = to;
            }
        }
        self
    }

    /// The signal smoothed further, near-Gaussian with standard deviation `sigma` (s). NaN cells are bridged by what
    /// stands beside them and stay NaN.
    pub fn smoothed(&self, sigma: f64) -> Self {
        if !(sigma > 0.0) || self.value.is_empty() {
            return self.clone();
        }
        let half = averages(sigma / GRID_S);
        let filled: Vec<f64> = fill(&self.value).into_iter().map(f64::from).collect();
        // A moving average counts nothing beyond the ends, so the ends are averaged over what is there.
        let n = filled.len();
        let sum = thrice(filled, half);
        let reach = 3 * half;
        let count = thrice(vec![1.0; n.min(2 * reach + 1)], half);
        let there = |i: usize| match i.min(n - 1 - i) {
            _ if count.len() == n => count[i], // both ends are near
            from_end if from_end < reach => count[from_end],
            _ => 1.0,
        };
        let value = (self.value.iter().zip(&sum).enumerate())
            .map(|(i, (v, s))| match v.is_nan() {
                true => f32::NAN,
                false => (s / there(i)) as f32,
            })
            .collect();
        Self {
            origin: self.origin,
            value,
        }
    }

    /// The signal as a machine of symmetric response would have logged it: the phase of first-order mixing with time
    /// constant `tau` (s) is undone, its mean delay is not. Noise keeps its spectrum, so signals symmetrised with
    /// different constants can be compared.
    ///
    /// NaN cells are bridged by what stands beside them and stay NaN.
    pub fn symmetrised(&self, kernel: &PhaseKernel) -> Self {
        self.symmetrised_from(&self.bridged(), kernel)
    }

    /// The same for many kernels: `bridged` is what [`Signal::bridged`] made of this signal.
    pub(super) fn symmetrised_from(&self, bridged: &[f32], kernel: &PhaseKernel) -> Self {
        if kernel.is_none() {
            return self.clone();
        }
        let mut value = kernel.apply(bridged);
        let (reach, n) = (kernel.reach(), value.len());
        let inner = reach.min(n)..n.saturating_sub(reach).max(reach.min(n));
        value[..inner.start].copy_from_slice(&self.value[..inner.start]);
        value[inner.end..].copy_from_slice(&self.value[inner.end..]);
        for (value, own) in value[inner.clone()].iter_mut().zip(&self.value[inner]) {
            if own.is_nan() {
                *value = f32::NAN;
            }
        }
        Self {
            origin: self.origin,
            value,
        }
    }

    /// All values, cell by cell; NaN replaced by the nearest finite value before, else after; 0 where there is none.
    pub(super) fn bridged(&self) -> Vec<f32> {
        fill(&self.value)
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

    /// All values, cell by cell.
    pub(super) fn values(&self) -> &[f32] {
        &self.value
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

/// The signals of a track that delay and ramps are sought in.
#[derive(Debug, Clone)]
pub struct TrackSignals {
    /// The track's grid.
    pub grid: Grid,
    /// Wet mass flow, kg/s.
    pub flow: Signal,
    /// Ground newly cut, m²/s.
    pub intake: Signal,
}

impl TrackSignals {
    /// From wet mass (kg, faults replaced) and newly cut area (m²) per row of the log.
    pub fn new(track: &Track, mass: &[f64], area: &[f64]) -> Self {
        let of = |column: &[f64]| -> Vec<f64> {
            track.rows.iter().map(|&i| column[i as usize]).collect()
        };
        let grid = Grid::new(track);
        let (flow, intake) = (grid.rate(track, &of(mass)), grid.rate(track, &of(area)));
        Self { grid, flow, intake }
    }
}

/// NaN replaced by the nearest finite value before, else after; 0 where there is none.
fn fill(values: &[f32]) -> Vec<f32> {
    let first = values
        .iter()
        .copied()
        .find(|v| v.is_finite())
        .unwrap_or_default();
    let mut last = first;
    values
        .iter()
        .map(|&v| {
            if v.is_finite() {
                last = v;
            }
            last
        })
        .collect()
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
    fn first_order_mixing_becomes_symmetric_about_its_mean() {
        // An impulse behind 4 s of dead time and a lag of 3 s: mean 7 s.
        let (theta, tau) = (4.0, 3.0);
        let n = 120;
        let answer = |t: f64| {
            if t < theta {
                0.0
            } else {
                1.0 - (-(t - theta) / tau).exp()
            }
        };
        let amount: Vec<f64> = (0..n)
            .map(|k| answer(k as f64 - 29.0) - answer(k as f64 - 30.0))
            .collect();
        let s = Signal::rate(&track(n, 1.0), &amount).symmetrised(&PhaseKernel::new(tau));
        let at = |t: f64| f64::from(s.at(s.cell(30.0 + t + 0.01)));
        let (mut sum, mut first) = (0.0, 0.0);
        for k in -40..80 {
            let t = 7.0 + f64::from(k) * GRID_S;
            sum += at(t);
            first += at(t) * t;
        }
        assert!((first / sum - 7.0).abs() < 0.15, "{}", first / sum);
        for d in [1.0, 2.0, 4.0] {
            assert!(
                (at(7.0 + d) - at(7.0 - d)).abs() < 0.08 * at(7.0),
                "{d}: {} {}",
                at(7.0 + d),
                at(7.0 - d)
            );
        }
    }

    #[test]
    fn noise_is_smoothed_alike_at_every_fraction_of_a_row() {
        // Alternating noise on a long track: the variance read on rows and between rows agrees within 10 %.
        let n = 4000;
        let mut seed = 1u64;
        let noise: Vec<f64> = (0..n) // about 1, since amounts are positive
            .map(|_| {
                seed = seed
                    .wrapping_mul(6364136223846793005)
                    .wrapping_add(1442695040888963407);
                (seed >> 33) as f64 / (1u64 << 31) as f64 + 0.5
            })
            .collect();
        let s = Signal::rate(&track(n, 1.0), &noise);
        let variance = |fraction: f64| {
            (10..n - 10)
                .map(|k| (s.at(s.cell(k as f64 + fraction)) - 1.0).powi(2))
                .sum::<f32>()
                / n as f32
        };
        let (on, between) = (variance(0.5), variance(0.01));
        assert!((on / between - 1.0).abs() < 0.1, "{on} {between}");
    }
}
