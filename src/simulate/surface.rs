//! True yield and moisture: a random field by the spectral method, on a lattice, read by bilinear interpolation.
//!
//! A Matérn field of smoothness ν and length ℓ is a sum of cosines whose wave vectors follow a bivariate Student
//! distribution with 2ν degrees of freedom scaled by 1/ℓ (the normalised spectral density of the Matérn covariance:
//! Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, section 4.2.1).

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Exp1, StandardNormal};

use super::shape::{Shape, distance};
use super::spec::{Smoothness, SurfaceSpec};

/// Cosines in the sum (our choice: enough for the sum to be near Gaussian, quick to lay out).
const WAVES: usize = 256;
/// Spacing of the lattice that is read, m (our choice: finer than any header).
const SPACING: f64 = 2.0;
/// Ground beyond the field that is laid out, m.
const MARGIN: f64 = 12.0;
/// No yield below this share of the mean (our choice: a harvested spot is not bare).
const LOWEST_SHARE: f64 = 0.08;

/// Values on a square lattice.
#[derive(Debug, Clone)]
struct Lattice {
    low: [f64; 2],
    spacing: f64,
    columns: usize,
    rows: usize,
    values: Vec<f64>,
}

impl Lattice {
    fn new(low: [f64; 2], high: [f64; 2], spacing: f64) -> Self {
        let size = |axis: usize| ((high[axis] - low[axis]) / spacing).ceil() as usize + 2;
        let (columns, rows) = (size(0), size(1));
        Self {
            low,
            spacing,
            columns,
            rows,
            values: vec![0.0; columns * rows],
        }
    }

    fn place(&self, column: usize, row: usize) -> [f64; 2] {
        [
            self.low[0] + column as f64 * self.spacing,
            self.low[1] + row as f64 * self.spacing,
        ]
    }

    fn at(&self, p: [f64; 2]) -> f64 {
        let u = ((p[0] - self.low[0]) / self.spacing).clamp(0.0, (self.columns - 2) as f64);
        let v = ((p[1] - self.low[1]) / self.spacing).clamp(0.0, (self.rows - 2) as f64);
        let (i, j) = (u as usize, v as usize);
        let (s, t) = (u - i as f64, v - j as f64);
        let k = j * self.columns + i;
        let lower = self.values[k] + s * (self.values[k + 1] - self.values[k]);
        let k = k + self.columns;
        let upper = self.values[k] + s * (self.values[k + 1] - self.values[k]);
        lower + t * (upper - lower)
    }
}

/// True yield and moisture of every place of a field.
#[derive(Debug, Clone)]
pub(super) struct Surface {
    wet: Lattice,
    moisture: Lattice,
}

impl Surface {
    pub(super) fn new(spec: &SurfaceSpec, shape: &Shape, rng: &mut ChaCha8Rng) -> Self {
        let (low, high) = shape.bounds();
        let (low, high) = (
            [low[0] - MARGIN, low[1] - MARGIN],
            [high[0] + MARGIN, high[1] + MARGIN],
        );
        let z = random_field(low, high, spec.range, spec.smoothness, rng);
        let other = random_field(low, high, spec.moisture_range, Smoothness::Smooth, rng);
        let (rho, width) = (spec.moisture_yield_correlation, (high[0] - low[0]).max(1.0));
        let mut wet = Lattice::new(low, high, SPACING);
        let mut moisture = wet.clone();
        let open = shape.inset(spec.headland_width);
        for row in 0..wet.rows {
            let spans = open.spans(wet.place(0, row)[1]);
            for column in 0..wet.columns {
                let p = wet.place(column, row);
                let (a, b) = (z.at(p), other.at(p));
                let mut share = 1.0 + spec.cv * a + spec.trend * ((p[0] - low[0]) / width - 0.5);
                if spec.headland_width > 0.0 && !spans.iter().any(|s| s.0 <= p[0] && p[0] <= s.1) {
                    share *= 1.0 + spec.headland_effect;
                }
                for zone in &spec.zones {
                    if distance(p, zone.centre) < zone.radius {
                        share *= 1.0 + zone.effect;
                    }
                }
                let k = row * wet.columns + column;
                wet.values[k] = spec.mean_yield * share.max(LOWEST_SHARE);
                moisture.values[k] =
                    spec.moisture + spec.moisture_sd * (rho * a + (1.0 - rho * rho).sqrt() * b);
            }
        }
        Self { wet, moisture }
    }

    /// Wet yield, kg/ha.
    pub(super) fn wet(&self, p: [f64; 2]) -> f64 {
        self.wet.at(p)
    }

    /// Moisture on the first day, %.
    pub(super) fn moisture(&self, p: [f64; 2]) -> f64 {
        self.moisture.at(p)
    }
}

/// A field of mean 0 and variance 1.
fn random_field(
    low: [f64; 2],
    high: [f64; 2],
    range: f64,
    smoothness: Smoothness,
    rng: &mut ChaCha8Rng,
) -> Lattice {
    let (length, spacing) = match smoothness {
        Smoothness::Rough => (range / 3.0, range / 20.0), // exp(-3) = 0.05
        Smoothness::Smooth => (range / 2.0, range / 10.0), // ℓ = √(2ν)/κ with κ = √8/range
    };
    let mut lattice = Lattice::new(low, high, spacing.clamp(2.0, 8.0));
    let h = lattice.spacing;
    let scale = (2.0 / WAVES as f64).sqrt();
    for _ in 0..WAVES {
        let k = loop {
            let (x, y): (f64, f64) = (rng.sample(StandardNormal), rng.sample(StandardNormal));
            // Student with 2ν degrees of freedom: normal over √(χ²/2ν).
            let spread = match smoothness {
                Smoothness::Rough => rng.sample::<f64, _>(StandardNormal).abs(),
                Smoothness::Smooth => rng.sample::<f64, _>(Exp1).sqrt(),
            };
            let k = [x / spread / length, y / spread / length];
            if k[0].hypot(k[1]) * h < std::f64::consts::PI {
                break k;
            }
        };
        let phase = std::f64::consts::TAU * rng.random::<f64>();
        let turn = 2.0 * (k[0] * h).cos();
        for row in 0..lattice.rows {
            // cos(a + nb) by its recurrence.
            let a = phase + k[1] * h * row as f64;
            let (mut before, mut now) = ((a - k[0] * h).cos(), a.cos());
            for value in &mut lattice.values[row * lattice.columns..(row + 1) * lattice.columns] {
                *value += scale * now;
                (before, now) = (now, turn * now - before);
            }
        }
    }
    lattice
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn variance_and_correlation_are_those_of_the_covariance() {
        // Averages over 40 fields of 600 m. Matérn ν = 1 at half the range: x·K₁(x) with x = √2, K₁(√2) = 0.314
        // (from the tables' K₁(1.4) = 0.3208); exponential at 28 of 80 m: e^(−3·28/80) = 0.350.
        for (smoothness, lag, expected) in [
            (Smoothness::Smooth, 40.0, 0.444),
            (Smoothness::Rough, 28.0, 0.350),
        ] {
            let (mut var, mut cov, mut n) = (0.0, 0.0, 0.0);
            for seed in 0..40 {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                let f = random_field([0.0, 0.0], [600.0, 600.0], 80.0, smoothness, &mut rng);
                for i in 0..40 {
                    for j in 0..40 {
                        let p = [i as f64 * 13.0, j as f64 * 13.0];
                        // On lattice nodes, so that interpolation takes nothing away.
                        let p = p.map(|x: f64| (x / f.spacing).round() * f.spacing);
                        var += f.at(p).powi(2);
                        cov += f.at(p) * f.at([p[0] + (lag / f.spacing).round() * f.spacing, p[1]]);
                        n += 1.0;
                    }
                }
            }
            assert!(
                (var / n - 1.0).abs() < 0.06,
                "{smoothness:?} variance {}",
                var / n
            );
            assert!(
                (cov / var - expected).abs() < 0.05,
                "{smoothness:?} correlation {}",
                cov / var
            );
        }
    }

    #[test]
    fn a_flat_field_is_flat() {
        let spec = SurfaceSpec {
            cv: 0.0,
            moisture_sd: 0.0,
            mean_yield: 9_000.0,
            ..SurfaceSpec::default()
        };
        let s = Surface::new(
            &spec,
            &Shape::rectangle(50.0, 50.0),
            &mut ChaCha8Rng::seed_from_u64(1),
        );
        assert_eq!(
            (s.wet([20.3, 31.0]), s.moisture([3.0, 4.0])),
            (9_000.0, 18.5)
        );
    }

    #[test]
    fn headland_and_zone_change_the_yield() {
        let zones = vec![super::super::spec::Zone {
            centre: [100.0, 100.0],
            radius: 20.0,
            effect: -0.5,
        }];
        let spec = SurfaceSpec {
            cv: 0.0,
            headland_width: 20.0,
            headland_effect: -0.25,
            zones,
            ..SurfaceSpec::default()
        };
        let s = Surface::new(
            &spec,
            &Shape::rectangle(200.0, 200.0),
            &mut ChaCha8Rng::seed_from_u64(1),
        );
        assert_eq!(s.wet([10.0, 100.0]), 0.75 * spec.mean_yield);
        assert_eq!(s.wet([60.0, 60.0]), spec.mean_yield);
        assert_eq!(s.wet([100.0, 100.0]), 0.5 * spec.mean_yield);
    }
}
