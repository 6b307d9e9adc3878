//! The disagreement of pairs over candidate delays: blocks that add up, their minimum, and how sure it is.

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
/// Minimum must stand out from all candidates at least this far away, s.
const APART_S: f64 = 4.0;

/// Sums over the pairs of one block: disagreement and spread per candidate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Block {
    /// Σ of squared (winsorised) differences of log yield.
    pub disagreement: Vec<f32>,
    /// Σ of squared (winsorised) deviations of log yield at the two points.
    pub spread: Vec<f32>,
}

/// The evidence of one field on one machine's delay: blocks of pairs that saw different ground.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Curve {
    /// Blocks; noise in one says nothing of noise in another.
    pub blocks: Vec<Block>,
    /// Pairs behind them.
    pub pairs: u32,
    /// Half-width of the parabola through the minimum, s: two seconds or a row, whichever is longer.
    pub fit_half_width: f64,
}

/// Time constants of first-order mixing that the signal is symmetrised for, s. A skewed response has its mode before
/// its mean, and rough ground follows the mode; with the machine's own constant undone, both are one. Dispersions of
/// 1–5 s are published (Arslan 2008, Sensors 8:952).
pub const MIXING_S: [f64; 4] = [0.0, 1.5, 3.0, 4.5];

/// One curve per constant of [`MIXING_S`], over the same pairs and blocks.
pub type Curves = [Curve; MIXING_S.len()];

/// A curve's minimum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Minimum {
    /// Delay, s.
    pub delay: f64,
    /// Its standard error, s (jackknife over blocks).
    pub standard_error: f64,
    /// Degrees of freedom behind the standard error.
    pub degrees: f64,
    /// Share of the variance that opposed passes do not share, at the minimum (1 − correlation).
    pub unshared: f64,
    /// Whether an independent estimate agrees and is part of it.
    pub supported: bool,
    /// How many standard errors the minimum lies below the lowest candidate at least four seconds away.
    pub separation: f64,
}

impl Minimum {
    /// The minimum joined with an independent estimate (value and standard error, s), weighted by their precision,
    /// where the two agree within `agree` seconds; as it is where they do not.
    pub fn joined(self, other: Option<(f64, f64)>, agree: f64) -> Self {
        let Some((value, error)) = other.filter(|o| (o.0 - self.delay).abs() <= agree) else {
            return self;
        };
        let (own, its) = (
            self.standard_error.max(1e-3).powi(-2),
            error.max(1e-3).powi(-2),
        );
        Self {
            delay: (own * self.delay + its * value) / (own + its),
            standard_error: (own + its).sqrt().recip(),
            supported: true,
            ..self
        }
    }

    /// Whether the data identify the delay: a minimum that stands out and is narrow.
    ///
    /// Our choice: 2.5 standard errors below every candidate 4 s away (1.5 where an independent estimate has left but
    /// few candidates), and a standard error below half a second, which is where a second's error becomes rare.
    pub fn identified(&self) -> bool {
        self.separation > if self.supported { 1.5 } else { 2.5 }
            && self.standard_error < 0.5
            && self.unshared < 0.97
    }
}

/// Log of the relative disagreement over candidates, summed over fields weighted by their pairs, without one block
/// (field index, block index) if asked for.
fn pooled(fields: &[&Curves], mixing: usize, without: Option<(usize, usize)>) -> Vec<f64> {
    let mut out = vec![0.0; CANDIDATES];
    let mut weight = 0.0;
    for (f, curves) in fields.iter().enumerate() {
        let curve = &curves[mixing];
        let mut sums = vec![(0.0f64, 0.0f64); CANDIDATES];
        for (b, block) in curve.blocks.iter().enumerate() {
            if without == Some((f, b)) {
                continue;
            }
            for (s, (d, v)) in sums
                .iter_mut()
                .zip(block.disagreement.iter().zip(&block.spread))
            {
                s.0 += f64::from(*d);
                s.1 += f64::from(*v);
            }
        }
        // A candidate that few pairs can read (near gaps, or beyond where flow has settled) says nothing.
        let most = sums.iter().map(|s| s.1).fold(0.0, f64::max);
        for (o, (d, v)) in out.iter_mut().zip(sums) {
            let unshared = if v >= LEAST_READ * most {
                d.max(1e-9) / v.max(1e-12)
            } else {
                1.0
            };
            *o += f64::from(curve.pairs) * unshared.ln();
        }
        weight += f64::from(curve.pairs);
    }
    out.iter_mut().for_each(|o| *o /= weight.max(1.0));
    out
}

/// What is known of a machine's first-order mixing, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mixing {
    /// Its time constant.
    pub seconds: f64,
    /// Its standard error.
    pub standard_error: f64,
}

impl Mixing {
    /// Where nothing tells: the middle of the published 1–5 s, and its spread.
    pub const UNKNOWN: Mixing = Mixing {
        seconds: 3.0,
        standard_error: 1.2,
    };
}

/// The minimum of the fields' curves at a machine's mixing, with its standard error: jackknife over blocks, and what
/// the mixing's own error makes of it. `None` without at least four blocks, or where the curve has no valley.
pub fn minimum(fields: &[&Curves], mixing: Mixing) -> Option<Minimum> {
    let all: Vec<(usize, usize)> = fields
        .iter()
        .enumerate()
        .flat_map(|(f, c)| (0..c[0].blocks.len()).map(move |b| (f, b)))
        .collect();
    if all.len() < 4 {
        return None;
    }
    let half = fields
        .iter()
        .map(|c| c[0].fit_half_width)
        .fold(1.0, f64::max);
    let curve = at_mixing(fields, mixing.seconds, None);
    let (index, delay, _) = vertex(&curve, half, None)?;
    let parts: Vec<Vec<f64>> = all
        .iter()
        .map(|&block| at_mixing(fields, mixing.seconds, Some(block)))
        .collect();
    let n = parts.len() as f64;
    let jackknife = |values: &[f64]| {
        let mean = values.iter().sum::<f64>() / n;
        ((n - 1.0) / n * values.iter().map(|v| (v - mean).powi(2)).sum::<f64>()).sqrt()
    };
    let delays: Vec<f64> = parts
        .iter()
        .map(|p| vertex(p, half, Some(index)).map_or(delay, |v| v.1))
        .collect();
    let moved = |by: f64| {
        vertex(
            &at_mixing(fields, mixing.seconds + by, None),
            half,
            Some(index),
        )
        .map_or(delay, |v| v.1)
    };
    let by_mixing = 0.5 * (moved(mixing.standard_error) - moved(-mixing.standard_error));
    let separation = (0..CANDIDATES)
        .filter(|&c| (candidate(c) - delay).abs() >= APART_S)
        .map(|c| {
            let contrast: Vec<f64> = parts.iter().map(|p| p[c] - p[index]).collect();
            (curve[c] - curve[index]) / jackknife(&contrast).max(1e-9)
        })
        .fold(f64::INFINITY, f64::min);
    Some(Minimum {
        delay,
        standard_error: jackknife(&delays).hypot(by_mixing),
        degrees: n - 1.0,
        unshared: curve[index].exp(),
        supported: false,
        separation,
    })
}

/// The pooled curve at any mixing constant, between those of [`MIXING_S`].
pub(super) fn at_mixing(
    fields: &[&Curves],
    seconds: f64,
    without: Option<(usize, usize)>,
) -> Vec<f64> {
    let step = MIXING_S[1] - MIXING_S[0];
    let place = (seconds / step).clamp(0.0, (MIXING_S.len() - 1) as f64);
    let below = (place.floor() as usize).min(MIXING_S.len() - 2);
    let part = place - below as f64;
    let low = pooled(fields, below, without);
    let high = pooled(fields, below + 1, without);
    low.iter()
        .zip(&high)
        .map(|(l, h)| (1.0 - part) * l + part * h)
        .collect()
}

/// Lowest candidate, and the vertex (s) and depth of the parabola fitted around it; `None` at the ends of the range or where the
/// curve is not convex there. `near`: look within two parabola widths of this candidate only.
fn vertex(curve: &[f64], half_width: f64, near: Option<usize>) -> Option<(usize, f64, f64)> {
    let h = (half_width / CANDIDATE_STEP_S).round().max(2.0) as usize;
    let (from, to) = match near {
        Some(c) => (
            c.saturating_sub(2 * h).max(h),
            (c + 2 * h).min(CANDIDATES - 1 - h),
        ),
        None => (h, CANDIDATES - 1 - h),
    };
    let lowest = (from..=to).min_by(|&a, &b| curve[a].total_cmp(&curve[b]))?;
    let mut at = lowest;
    // The parabola is centred on its own vertex, as far as whole candidates go, so that neither flank weighs more.
    for _ in 0..4 {
        let fit = Parabola::fit(curve, at, h);
        let offset = fit.vertex()?;
        let next = (at as f64 + offset.clamp(-2.0, 2.0).round()) as usize;
        let next = next.clamp(h, CANDIDATES - 1 - h);
        if next == at {
            break;
        }
        at = next;
    }
    let fit = Parabola::fit(curve, at, h);
    let offset = fit.vertex()?;
    (offset.abs() <= h as f64).then(|| {
        (
            lowest,
            candidate(at) + offset * CANDIDATE_STEP_S,
            fit.value(offset),
        )
    })
}

/// A least-squares parabola, in candidate steps from its centre.
struct Parabola {
    level: f64,
    slope: f64,
    quadratic: f64,
}

impl Parabola {
    /// Through the `2h + 1` candidates around `at`.
    fn fit(curve: &[f64], at: usize, h: usize) -> Self {
        let n = (2 * h + 1) as f64;
        let hf = h as f64;
        let s2 = hf * (hf + 1.0) * (2.0 * hf + 1.0) / 3.0;
        let s4 = s2 * (3.0 * hf * hf + 3.0 * hf - 1.0) / 5.0;
        let (mut y0, mut y1, mut y2) = (0.0, 0.0, 0.0);
        for j in 0..=2 * h {
            let t = j as f64 - hf;
            let y = curve[at + j - h];
            y0 += y;
            y1 += t * y;
            y2 += t * t * y;
        }
        let quadratic = (y2 - s2 / n * y0) / (s4 - s2 * s2 / n);
        Self {
            level: (y0 - quadratic * s2) / n,
            slope: y1 / s2,
            quadratic,
        }
    }

    fn value(&self, at: f64) -> f64 {
        self.level + self.slope * at + self.quadratic * at * at
    }

    /// Where it is lowest; `None` where it is not convex.
    fn vertex(&self) -> Option<f64> {
        (self.quadratic > 0.0).then(|| -0.5 * self.slope / self.quadratic)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn valley(delay: f64, tilt: f64) -> Curves {
        let blocks: Vec<Block> = (0..8)
            .map(|b| Block {
                disagreement: (0..CANDIDATES)
                    .map(|c| {
                        let e = candidate(c) - delay - tilt * (b as f64 - 3.5);
                        (1.0 - 0.7 * (-e * e / 50.0).exp()) as f32
                    })
                    .collect(),
                spread: vec![1.0; CANDIDATES],
            })
            .collect();
        std::array::from_fn(|_| Curve {
            blocks: blocks.clone(),
            pairs: 100,
            fit_half_width: 2.0,
        })
    }

    #[test]
    fn the_vertex_is_found_between_candidates() {
        for delay in [-6.3, 0.0, 11.74, 12.26] {
            let m = minimum(&[&valley(delay, 0.0)], Mixing::UNKNOWN).unwrap();
            assert!((m.delay - delay).abs() < 0.02, "{delay}: {m:?}");
            assert!(m.standard_error < 1e-3 && m.identified());
        }
    }

    #[test]
    fn blocks_that_disagree_widen_the_interval() {
        let m = minimum(&[&valley(12.0, 0.5)], Mixing::UNKNOWN).unwrap();
        // Eight blocks 0.5 s apart: standard deviation 1.22 s, over √8.
        assert!(
            (m.standard_error - 1.2247 / 8f64.sqrt()).abs() < 0.06,
            "{m:?}"
        );
    }

    #[test]
    fn a_flat_curve_identifies_nothing() {
        let mut c = valley(12.0, 0.0);
        c.iter_mut()
            .flat_map(|c| &mut c.blocks)
            .for_each(|b| b.disagreement.iter_mut().for_each(|d| *d = 1.0));
        assert!(minimum(&[&c], Mixing::UNKNOWN).is_none_or(|m| !m.identified()));
        assert!(minimum(&[&Curves::default()], Mixing::UNKNOWN).is_none());
    }

    #[test]
    fn a_parabola_is_fitted_exactly() {
        let y: Vec<f64> = (0..CANDIDATES)
            .map(|c| 3.0 + 0.5 * (c as f64 - 40.3).powi(2))
            .collect();
        let (_, delay, depth) = vertex(&y, 2.0, None).unwrap();
        assert!((depth - 3.0).abs() < 1e-9);
        assert!((delay - (LOWEST_CANDIDATE_S + 40.3 * CANDIDATE_STEP_S)).abs() < 1e-9);
    }
}
