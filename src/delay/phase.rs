//! Undoing the phase of first-order mixing.

use super::grid::GRID_S;

/// Reach of the phase kernel, s.
const KERNEL_S: f64 = 16.0;
/// Cells from tap to tap. Signals are smoothed by 3 s or more before their phase is undone, so that nothing is left of
/// them beyond half of this spacing's Nyquist frequency, and a tap a second does what one a cell would.
const CELLS_PER_TAP: usize = 4;
/// Outputs that are worked out together: their sums stay in a processor's registers.
const TOGETHER: usize = 32;

/// Taps (in the order in which they meet the signal) of the filter with transfer exp(i(atan ωτ − ωτ)), by the inverse
/// Fourier integral up to the taps' Nyquist frequency, whole up to half of it and tapered beyond.
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
        let spacing = GRID_S * CELLS_PER_TAP as f64;
        let half = (KERNEL_S / spacing) as i64;
        let nyquist = std::f64::consts::PI / spacing;
        let steps = 2000;
        let h = nyquist / f64::from(steps);
        let spectrum: Vec<(f64, f64, f64)> = (0..steps)
            .map(|k| {
                let w = (f64::from(k) + 0.5) * h;
                let beyond = (2.0 * w / nyquist - 1.0).max(0.0);
                let taper = 0.5 * (1.0 + (std::f64::consts::PI * beyond).cos());
                (w, taper, (w * tau).atan() - w * tau)
            })
            .collect();
        let taps: Vec<f64> = (-half..=half)
            .map(|j| {
                // Tap j meets the signal j spacings later: the impulse response at lag −j.
                let t = -(j as f64) * spacing;
                spectrum
                    .iter()
                    .map(|(w, taper, phase)| taper * (phase + w * t).cos())
                    .sum()
            })
            .collect();
        let total: f64 = taps.iter().sum();
        Self(taps.iter().map(|t| (t / total) as f32).collect())
    }

    /// Whether it leaves signals alone.
    pub(super) fn is_none(&self) -> bool {
        self.0.len() == 1
    }

    /// Cells at either end of a signal that it cannot be applied to.
    pub(super) fn reach(&self) -> usize {
        self.0.len() / 2 * CELLS_PER_TAP
    }

    /// The filtered signal. `values` are finite; cells within [`PhaseKernel::reach`] of an end come out as 0.
    pub(super) fn apply(&self, values: &[f32]) -> Vec<f32> {
        let mut out = vec![0.0; values.len()];
        let (from, to) = (self.reach(), values.len().saturating_sub(self.reach()));
        if from < to {
            pulp::Arch::new().dispatch(Apply {
                taps: &self.0,
                values,
                out: &mut out[from..to],
            });
        }
        out
    }
}

/// The sums of a kernel, in the widest lanes that the processor at hand has. Each sum is the same in any.
struct Apply<'a> {
    taps: &'a [f32],
    values: &'a [f32],
    out: &'a mut [f32],
}

impl pulp::NullaryFnOnce for Apply<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Apply { taps, values, out } = self;
        let (whole, rest) = out.as_chunks_mut::<TOGETHER>();
        let done = whole.len() * TOGETHER;
        // Tap by tap over some outputs: neighbouring outputs read neighbouring cells, which processors do side by side.
        for (k, outputs) in whole.iter_mut().enumerate() {
            let mut sums = [0.0f32; TOGETHER];
            for (j, tap) in taps.iter().enumerate() {
                let from = k * TOGETHER + j * CELLS_PER_TAP;
                for (sum, cell) in sums.iter_mut().zip(&values[from..from + TOGETHER]) {
                    *sum += tap * cell;
                }
            }
            *outputs = sums;
        }
        for (j, tap) in taps.iter().enumerate() {
            for (output, cell) in rest.iter_mut().zip(&values[done + j * CELLS_PER_TAP..]) {
                *output += tap * cell;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slow_wave_is_moved_by_what_mixing_left_of_its_delay() {
        // A wave of 40 s behind mixing of τ = 3 s comes atan(ωτ)/ω late and τ after the filter.
        let (tau, w) = (3.0, std::f64::consts::TAU / 40.0);
        let n = 1600;
        let wave = |delay: f64| -> Vec<f32> {
            (0..n)
                .map(|k| (w * (k as f64 * GRID_S - delay)).sin() as f32)
                .collect()
        };
        let kernel = PhaseKernel::new(tau);
        let moved = kernel.apply(&wave((w * tau).atan() / w));
        let expected = wave(tau);
        let reach = kernel.reach();
        for k in reach..n - reach {
            assert!((moved[k] - expected[k]).abs() < 0.01, "{k}");
        }
        assert!(PhaseKernel::new(0.0).is_none() && !kernel.is_none());
        assert!(kernel.apply(&[1.0; 30]).iter().all(|v| *v == 0.0));
    }
}
