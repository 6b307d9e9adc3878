//! The bottom of a valley of a curve over candidate delays.

use super::curve::{CANDIDATE_STEP_S, CANDIDATES, candidate};

/// The bottom of a valley.
pub(super) struct Vertex {
    /// Lowest candidate.
    pub candidate: usize,
    /// Where the parabola fitted around it is lowest, s.
    pub delay: f64,
    /// Its value there.
    pub depth: f64,
    /// Its second derivative, per s².
    pub curvature: f64,
}

/// `None` at the ends of the range or where the curve is not convex there. `near`: look within two parabola widths of
/// this candidate only.
pub(super) fn vertex(curve: &[f64], half_width: f64, near: Option<usize>) -> Option<Vertex> {
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
    (offset.abs() <= h as f64).then(|| Vertex {
        candidate: lowest,
        delay: candidate(at) + offset * CANDIDATE_STEP_S,
        depth: fit.value(offset),
        curvature: 2.0 * fit.quadratic / CANDIDATE_STEP_S.powi(2),
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
    use super::super::curve::LOWEST_CANDIDATE_S;
    use super::*;

    #[test]
    fn a_parabola_is_fitted_exactly() {
        let y: Vec<f64> = (0..CANDIDATES)
            .map(|c| 3.0 + 0.5 * (c as f64 - 40.3).powi(2))
            .collect();
        let v = vertex(&y, 2.0, None).unwrap();
        assert!((v.depth - 3.0).abs() < 1e-9 && (v.curvature - 4.0).abs() < 1e-9);
        assert!((v.delay - (LOWEST_CANDIDATE_S + 40.3 * CANDIDATE_STEP_S)).abs() < 1e-9);
    }
}
