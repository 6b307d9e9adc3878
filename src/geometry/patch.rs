//! A smooth map of the plane, learnt over a rectangle: a polynomial of degree 5 in each variable through the map's
//! values at Chebyshev nodes (interpolation there is near the best: Trefethen 2013, "Approximation Theory and
//! Approximation Practice", chapter 8). A projection over one field is so smooth that a fraction of a millimetre is left.

/// Nodes per axis. Our choice: six leave less than 0.01 mm of a transverse Mercator over 20 km.
const NODES: usize = 6;

/// A map from the plane to the plane over one rectangle.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub(super) struct Patch {
    centre: [f64; 2],
    half: [f64; 2],
    /// Coefficient of `s^i t^j`, where s and t run over [-1, 1].
    coefficients: [[[f64; NODES]; NODES]; 2],
}

impl Patch {
    /// Learns `map` over the rectangle from `low` to `high`; `None` where `map` has no value at a node.
    pub(super) fn learn(
        low: [f64; 2],
        high: [f64; 2],
        map: impl Fn([f64; 2]) -> Option<[f64; 2]>,
    ) -> Option<Self> {
        let centre = [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0];
        let half = [(high[0] - low[0]) / 2.0, (high[1] - low[1]) / 2.0];
        let basis = lagrange_basis();
        let mut coefficients = [[[0.0; NODES]; NODES]; 2];
        for (a, by_s) in basis.iter().enumerate() {
            for (b, by_t) in basis.iter().enumerate() {
                let value = map([centre[0] + half[0] * node(a), centre[1] + half[1] * node(b)])?;
                for (axis, table) in coefficients.iter_mut().enumerate() {
                    for (row, &s) in table.iter_mut().zip(by_s) {
                        for (cell, &t) in row.iter_mut().zip(by_t) {
                            *cell += value[axis] * s * t;
                        }
                    }
                }
            }
        }
        Some(Self {
            centre,
            half,
            coefficients,
        })
    }

    /// The map at `p`; `None` outside the rectangle (or for NaN).
    #[inline]
    pub(super) fn at(&self, p: [f64; 2]) -> Option<[f64; 2]> {
        let s = (p[0] - self.centre[0]) / self.half[0];
        let t = (p[1] - self.centre[1]) / self.half[1];
        if !(s.abs() <= 1.0 && t.abs() <= 1.0) {
            return None;
        }
        Some(self.coefficients.each_ref().map(|table| {
            table.iter().rev().fold(0.0, |sum, row| {
                sum * s + row.iter().rev().fold(0.0, |inner, &c| inner * t + c)
            })
        }))
    }

    /// Largest departure from `map` on either axis over a grid of points that are no nodes; infinite where `map` has
    /// no value.
    pub(super) fn worst_error(&self, map: impl Fn([f64; 2]) -> Option<[f64; 2]>) -> f64 {
        const STEPS: usize = 8;
        let mut worst: f64 = 0.0;
        for i in 0..=STEPS {
            for j in 0..=STEPS {
                // 0.999: the rim itself, yet inside the rectangle whatever the rounding.
                let part = |k: usize| 0.999 * (2.0 * k as f64 / STEPS as f64 - 1.0);
                let p = [
                    self.centre[0] + self.half[0] * part(i),
                    self.centre[1] + self.half[1] * part(j),
                ];
                let (Some(here), Some(there)) = (self.at(p), map(p)) else {
                    return f64::INFINITY;
                };
                worst = worst
                    .max((here[0] - there[0]).abs())
                    .max((here[1] - there[1]).abs());
            }
        }
        worst
    }
}

/// Chebyshev node `k` of the first kind on [-1, 1].
fn node(k: usize) -> f64 {
    ((2 * k + 1) as f64 * std::f64::consts::PI / (2 * NODES) as f64).cos()
}

/// Coefficients of each node's Lagrange polynomial: 1 at its node, 0 at the others.
fn lagrange_basis() -> [[f64; NODES]; NODES] {
    std::array::from_fn(|k| {
        let mut polynomial = [0.0; NODES];
        polynomial[0] = 1.0;
        for m in (0..NODES).filter(|&m| m != k) {
            let scale = 1.0 / (node(k) - node(m));
            for i in (0..NODES).rev() {
                let below = if i > 0 { polynomial[i - 1] } else { 0.0 };
                polynomial[i] = (below - node(m) * polynomial[i]) * scale;
            }
        }
        polynomial
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_polynomial_of_its_own_degree_is_learnt_exactly() {
        let map = |[x, y]: [f64; 2]| Some([1.0 + 2.0 * x - y.powi(5), x.powi(3) * y * y]);
        let patch = Patch::learn([-1.0, 2.0], [3.0, 4.0], map).unwrap();
        assert!(patch.worst_error(map) < 1e-9);
        let [a, b] = patch.at([2.0, 3.0]).unwrap();
        assert!(
            (a - -238.0).abs() < 1e-10 && (b - 72.0).abs() < 1e-10,
            "{a} {b}"
        ); // 1 + 4 - 243; 8 * 9
    }

    #[test]
    fn outside_its_rectangle_it_has_no_value() {
        let patch = Patch::learn([0.0, 0.0], [1.0, 1.0], Some).unwrap();
        assert!(patch.at([1.1, 0.5]).is_none() && patch.at([0.5, f64::NAN]).is_none());
        assert!(Patch::learn([0.0, 0.0], [1.0, 1.0], |_| None).is_none());
    }

    #[test]
    fn what_it_cannot_follow_shows_in_the_error() {
        let map = |[x, y]: [f64; 2]| Some([(9.0 * x).sin(), y]);
        assert!(
            Patch::learn([-1.0, -1.0], [1.0, 1.0], map)
                .unwrap()
                .worst_error(map)
                > 0.1
        );
    }
}
