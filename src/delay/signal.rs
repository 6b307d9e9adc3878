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
        let ones = vec![1.0; filled.len()];
        let (sum, count) = (thrice(filled, half), thrice(ones, half));
        let value = (self.value.iter().zip(sum.iter().zip(&count)))
            .map(|(v, (s, c))| if v.is_nan() { f32::NAN } else { (s / c) as f32 })
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
        let kernel = &kernel.0;
        if kernel.len() == 1 {
            return self.clone();
        }
        let half = kernel.len() / 2;
        let filled = fill(&self.value);
        let n = filled.len();
        let value = (0..n)
            .map(|i| {
                if self.value[i].is_nan() {
                    return f32::NAN;
                }
                if i < half || i + half >= n {
                    return self.value[i];
                }
                dot(kernel, &filled[i - half..=i + half])
            })
            .collect();
        Self {
            origin: self.origin,
            value,
        }
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

/// Reach of the phase kernel, s.
const KERNEL_S: f64 = 16.0;

/// Taps (in the order in which they meet the signal) of the filter with transfer exp(i(atan ωτ − ωτ)), by the inverse
/// Fourier integral up to the grid's Nyquist frequency, tapered by the smoothing that the signal has anyway.
///
/// First-order mixing has the transfer 1/(1 + iωτ), whose phase is −atan ωτ and whose mean delay is τ: after the
/// filter its phase is −ωτ, a pure delay.
#[derive(Debug, Clone)]
pub struct PhaseKernel(Vec<f32>);

impl PhaseKernel {
    /// The kernel for mixing with time constant `tau`, s; 0 leaves the signal alone.
    pub fn new(tau: f64) -> Self {
        if !(tau > 0.0) {
            return Self(vec![1.0]);
        }
        let half = (KERNEL_S / GRID_S) as i64;
        let nyquist = std::f64::consts::PI / GRID_S;
        let steps = 2000;
        let h = nyquist / f64::from(steps);
        let spectrum: Vec<(f64, f64, f64)> = (0..steps)
            .map(|k| {
                let w = (f64::from(k) + 0.5) * h;
                let taper = 0.5 * (1.0 + (std::f64::consts::PI * w / nyquist).cos());
                (w, taper, (w * tau).atan() - w * tau)
            })
            .collect();
        let taps: Vec<f64> = (-half..=half)
            .map(|j| {
                // Tap j meets the signal j cells later: the impulse response at lag −j.
                let t = -(j as f64) * GRID_S;
                spectrum
                    .iter()
                    .map(|(w, taper, phase)| taper * (phase + w * t).cos())
                    .sum()
            })
            .collect();
        let total: f64 = taps.iter().sum();
        Self(taps.iter().map(|t| (t / total) as f32).collect())
    }
}

/// Sum of products, in eight sums side by side: one after the other would wait for every addition.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0f32; 8];
    let (a8, a_rest) = a.as_chunks::<8>();
    let (b8, b_rest) = b.as_chunks::<8>();
    for (x, y) in a8.iter().zip(b8) {
        for (lane, (x, y)) in lanes.iter_mut().zip(x.iter().zip(y)) {
            *lane += x * y;
        }
    }
    lanes.iter().sum::<f32>() + a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum::<f32>()
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
        let origin = first - 4.0 * track.usual_step;
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
        let value = sum
            .iter()
            .zip(covered)
            .map(|(&s, &t)| {
                if t >= self.least {
                    (s / t).max(0.0) as f32
                } else {
                    f32::NAN
                }
            })
            .collect();
        Signal {
            origin: self.origin,
            value,
        }
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
fn averages(sigma: f64) -> usize {
    ((((4.0 * sigma * sigma + 1.0).sqrt() - 1.0) / 2.0).round() as usize).max(1)
}

/// Three moving averages.
fn thrice(mut cells: Vec<f64>, half: usize) -> Vec<f64> {
    let mut other = vec![0.0; cells.len()];
    for _ in 0..3 {
        moving_average(&cells, &mut other, half);
        std::mem::swap(&mut cells, &mut other);
    }
    cells
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

/// Mean over `half` cells either side of each cell (zero beyond the ends).
fn moving_average(cells: &[f64], out: &mut [f64], half: usize) {
    let scale = 1.0 / (2 * half + 1) as f64;
    let n = cells.len();
    let mut sum: f64 = cells.iter().take(half).sum();
    for i in 0..n {
        if i + half < n {
            sum += cells[i + half];
        }
        out[i] = sum * scale;
        if i >= half {
            sum -= cells[i - half];
        }
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
