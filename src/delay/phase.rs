//! Undoing the phase of first-order mixing.

use super::grid::GRID_S;

/// Reach of the phase kernel, s.
const KERNEL_S: f64 = 16.0;

/// Taps (in the order in which they meet the signal) of the filter with transfer exp(i(atan ωτ − ωτ)), by the inverse
/// Fourier integral up to the grid's Nyquist frequency, tapered by the smoothing that the signal has anyway.
///
/// First-order mixing has the transfer 1/(1 + iωτ), whose phase is −atan ωτ and whose mean delay is τ: after the
/// filter its phase is −ωτ, a pure delay.
#[derive(Debug, Clone)]
pub struct PhaseKernel(pub(super) Vec<f32>);

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
pub(super) fn dot(a: &[f32], b: &[f32]) -> f32 {
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
