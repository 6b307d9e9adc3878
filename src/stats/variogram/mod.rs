//! Empirical variogram and the model fitted to it.
//!
//! Distances in the unit of the positions (m), semivariances in the squared unit of the values.

mod empirical;

pub use empirical::{Estimator, LagClass, LagClasses, empirical, empirical_of};

use super::robust::median;

/// Shape of a variogram model, in terms of h over the range parameter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// 1.5 h − 0.5 h³ up to 1, then 1: the sill is reached at the range.
    Spherical,
    /// 1 − e^(−h): 95 % of the sill is reached at three times the range parameter.
    Exponential,
}

impl Shape {
    /// Share of the partial sill reached at `h` times the range parameter.
    pub fn rise(self, h: f64) -> f64 {
        match self {
            Shape::Spherical if h >= 1.0 => 1.0,
            Shape::Spherical => h * (1.5 - 0.5 * h * h),
            Shape::Exponential => 1.0 - (-h).exp(),
        }
    }

    /// Distance at which the sill is reached (spherical) or nearly so (exponential, 95 %), in range parameters.
    pub fn practical_range(self) -> f64 {
        match self {
            Shape::Spherical => 1.0,
            Shape::Exponential => 3.0,
        }
    }
}

/// A fitted model: `nugget + partial_sill · rise(h / range)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model {
    /// Shape.
    pub shape: Shape,
    /// Semivariance just off distance 0.
    pub nugget: f64,
    /// What the structure adds to the nugget.
    pub partial_sill: f64,
    /// Range parameter.
    pub range: f64,
}

impl Model {
    /// Nugget + partial sill.
    pub fn sill(&self) -> f64 {
        self.nugget + self.partial_sill
    }

    /// Semivariance at distance `h` (the nugget's side of 0 at 0).
    pub fn gamma(&self, h: f64) -> f64 {
        self.nugget + self.partial_sill * self.shape.rise(h / self.range)
    }
}

/// Steps of the coarse search for the range (our choice: neighbouring candidates differ by about 6 %).
const RANGE_STEPS: usize = 80;

/// Weighted least squares fit with weights pairs / lag², so that the classes near the origin count most (the usual
/// choice in geostatistics, and that of the published fit in the tests). Nugget and partial sill are kept ≥ 0.
///
/// For a given range the model is linear, so the search is over the range alone, first coarse, then by golden section.
/// The practical range is sought between the second shortest lag (a structure that ends before it would be told from
/// a nugget by nothing) and three times the longest. `None` for fewer than three classes, or where
/// nothing varies.
pub fn fit(classes: &[LagClass], shape: Shape) -> Option<Model> {
    fit_rise(classes, shape, |lag, range| shape.rise(lag / range))
}

/// The same where values are means over ground and not of points: `rise(lag, range)` is then what share of the partial sill
/// of points two such means that far apart differ by, less what each differs by inside itself (Journel & Huijbregts 1978,
/// "Mining Geostatistics", section II.D). The model is that of points; its nugget is the means' own.
pub fn fit_rise(
    classes: &[LagClass],
    shape: Shape,
    rise: impl Fn(f64, f64) -> f64,
) -> Option<Model> {
    let usable: Vec<LagClass> = classes
        .iter()
        .copied()
        .filter(|c| c.lag > 0.0 && c.gamma.is_finite() && c.pairs > 0)
        .collect();
    let middle = median(&usable.iter().map(|c| c.gamma).collect::<Vec<_>>())?;
    if usable.len() < 3 || middle <= 0.0 {
        return None;
    }
    let mut lags: Vec<f64> = usable.iter().map(|c| c.lag).collect();
    lags.sort_unstable_by(f64::total_cmp);
    let per_range = shape.practical_range();
    let (low, high) = (
        (lags[1] / per_range).ln(),
        (3.0 * lags[lags.len() - 1] / per_range).ln(),
    );
    let step = (high - low) / RANGE_STEPS as f64;
    let linear = |range: f64| linear_part(&usable, |lag| rise(lag, range));
    let cost = |ln_range: f64| linear(ln_range.exp()).1;
    let best = (0..=RANGE_STEPS)
        .map(|k| low + step * k as f64)
        .min_by(|a, b| cost(*a).total_cmp(&cost(*b)))?;
    let range = golden_section(cost, (best - step).max(low), (best + step).min(high)).exp();
    let ((nugget, partial_sill), _) = linear(range);
    Some(Model {
        shape,
        nugget,
        partial_sill,
        range,
    })
}

/// Nugget and partial sill, both ≥ 0, that fit best with this rise, and their weighted sum of squares.
fn linear_part(classes: &[LagClass], rise: impl Fn(f64) -> f64) -> ((f64, f64), f64) {
    let (mut w, mut wf, mut wff, mut wg, mut wfg) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let risen: Vec<f64> = classes.iter().map(|c| rise(c.lag)).collect();
    for (c, &f) in classes.iter().zip(&risen) {
        let weight = c.pairs as f64 / (c.lag * c.lag);
        w += weight;
        wf += weight * f;
        wff += weight * f * f;
        wg += weight * c.gamma;
        wfg += weight * f * c.gamma;
    }
    let determinant = w * wff - wf * wf;
    let (mut nugget, mut sill) = if determinant > 1e-12 * w * wff {
        (
            (wff * wg - wf * wfg) / determinant,
            (w * wfg - wf * wg) / determinant,
        )
    } else {
        (wg / w, 0.0) // every class beyond the range: nothing tells the two apart
    };
    if nugget < 0.0 {
        (nugget, sill) = (0.0, wfg / wff);
    } else if sill < 0.0 {
        (nugget, sill) = (wg / w, 0.0);
    }
    let cost = classes
        .iter()
        .zip(&risen)
        .map(|(c, f)| {
            let miss = c.gamma - nugget - sill * f;
            c.pairs as f64 / (c.lag * c.lag) * miss * miss
        })
        .sum();
    ((nugget, sill), cost)
}

/// The place of a minimum of `cost` between `a` and `b`.
fn golden_section(cost: impl Fn(f64) -> f64, mut a: f64, mut b: f64) -> f64 {
    let ratio = 0.5 * (5.0_f64.sqrt() - 1.0);
    let (mut c, mut d) = (b - ratio * (b - a), a + ratio * (b - a));
    let (mut at_c, mut at_d) = (cost(c), cost(d));
    while b - a > 1e-9 {
        if at_c <= at_d {
            (b, d, at_d) = (d, c, at_c);
            c = b - ratio * (b - a);
            at_c = cost(c);
        } else {
            (a, c, at_c) = (c, d, at_d);
            d = a + ratio * (b - a);
            at_d = cost(d);
        }
    }
    0.5 * (a + b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_model_is_found_again_from_its_own_curve() {
        for shape in [Shape::Spherical, Shape::Exponential] {
            let truth = Model {
                shape,
                nugget: 0.3,
                partial_sill: 1.2,
                range: 40.0,
            };
            let classes: Vec<LagClass> = (1..=20)
                .map(|k| 5.0 * k as f64)
                .map(|lag| LagClass {
                    lag,
                    gamma: truth.gamma(lag),
                    pairs: 50,
                })
                .collect();
            let m = fit(&classes, shape).unwrap();
            assert!(
                (m.nugget - 0.3).abs() < 1e-5 && (m.partial_sill - 1.2).abs() < 1e-5,
                "{m:?}"
            );
            assert!(
                (m.range - 40.0).abs() < 1e-3 && (m.sill() - 1.5).abs() < 1e-5,
                "{m:?}"
            );
        }
    }

    #[test]
    fn pure_nugget_and_constant_values_are_defined() {
        let flat: Vec<LagClass> = (1..=5)
            .map(|k| LagClass {
                lag: k as f64,
                gamma: 2.0,
                pairs: 9,
            })
            .collect();
        let m = fit(&flat, Shape::Spherical).unwrap();
        assert!((m.sill() - 2.0).abs() < 1e-6);
        let zero: Vec<LagClass> = flat.iter().map(|c| LagClass { gamma: 0.0, ..*c }).collect();
        assert_eq!(fit(&zero, Shape::Spherical), None);
        assert_eq!(fit(&flat[..2], Shape::Spherical), None);
    }
}
