//! A Matérn field (ν = 1) as a Gaussian Markov random field on a lattice.
//!
//! Precision Q = h²/(4πκ²σ²)·KᵀK with K = κ²I − Δ_h and κ = √8/range: the stochastic partial differential equation's
//! solution for α = 2 (Lindgren, Rue & Lindström 2011, J. R. Stat. Soc. B 73:423). The lattice covers the ground and a
//! margin; at its edge nothing flows out (Neumann), which the margin keeps away from the ground.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::f64::consts::PI;

use crate::stats::sparse::Pattern;

/// Nodes that any place draws on, with their weights (bilinear).
pub(super) type Weights = [(usize, f64); 4];

/// The lattice.
#[derive(Debug)]
pub struct Lattice {
    /// Distance of nodes, m.
    pub(super) spacing: f64,
    nodes: BTreeMap<(i32, i32), usize>,
    /// Lower triangle of the graph's Laplacian over h², and of its square: (i, j, L, L²).
    entries: Vec<(usize, usize, f64, f64)>,
    pattern: Pattern,
    /// κ² and what [`Lattice::log_root`] made of it.
    roots: RefCell<Vec<(f64, f64)>>,
}

impl Lattice {
    /// A lattice under some places, `margin` nodes wider. `None` where there are no places.
    pub fn new(places: &[[f64; 2]], spacing: f64, margin: i32) -> Option<Self> {
        let mut nodes: BTreeMap<(i32, i32), usize> = BTreeMap::new();
        for p in places {
            let (i, j) = corner(*p, spacing);
            for a in -margin..=1 + margin {
                for b in -margin..=1 + margin {
                    nodes.insert((i + a, j + b), 0);
                }
            }
        }
        for (k, index) in nodes.values_mut().enumerate() {
            *index = k;
        }
        let per = 1.0 / (spacing * spacing);
        let near = |&(i, j): &(i32, i32)| {
            [(i - 1, j), (i + 1, j), (i, j - 1), (i, j + 1)]
                .into_iter()
                .filter_map(|n| nodes.get(&n).copied())
        };
        let rows: Vec<Vec<(usize, f64)>> = nodes
            .iter()
            .map(|(place, &k)| {
                let around: Vec<usize> = near(place).collect();
                let mut row: Vec<(usize, f64)> = around.iter().map(|&n| (n, -per)).collect();
                row.push((k, around.len() as f64 * per));
                row
            })
            .collect();
        // Lower triangle of L and of L·L, entries of one place beside each other, then summed.
        let mut all: Vec<(usize, usize, f64, f64)> = Vec::with_capacity(20 * rows.len());
        for (i, row) in rows.iter().enumerate() {
            for &(j, v) in row.iter().filter(|e| e.0 <= i) {
                all.push((i, j, v, 0.0));
            }
            for &(via, a) in row {
                for &(j, b) in rows[via].iter().filter(|e| e.0 <= i) {
                    all.push((i, j, 0.0, a * b));
                }
            }
        }
        all.sort_by_key(|e| (e.0, e.1));
        let mut entries: Vec<(usize, usize, f64, f64)> = Vec::with_capacity(7 * rows.len());
        for e in all {
            match entries.last_mut().filter(|l| (l.0, l.1) == (e.0, e.1)) {
                Some(last) => (last.2, last.3) = (last.2 + e.2, last.3 + e.3),
                None => entries.push(e),
            }
        }
        let first_order = entries.iter().filter(|e| e.2 != 0.0);
        let pattern = Pattern::new(nodes.len(), first_order.map(|e| (e.0, e.1)))?;
        Some(Self {
            spacing,
            nodes,
            entries,
            pattern,
            roots: RefCell::default(),
        })
    }

    /// Nodes.
    pub fn len(&self) -> usize {
        self.nodes.len()
    }

    /// Whether there are none: never.
    pub fn is_empty(&self) -> bool {
        self.nodes.is_empty()
    }

    /// Nodes around a place and their weights; `None` off the lattice.
    pub(super) fn weights(&self, p: [f64; 2]) -> Option<Weights> {
        let (i, j) = corner(p, self.spacing);
        let (s, t) = (
            p[0] / self.spacing - f64::from(i),
            p[1] / self.spacing - f64::from(j),
        );
        let node = |a: i32, b: i32| self.nodes.get(&(i + a, j + b)).copied();
        Some([
            (node(0, 0)?, (1.0 - s) * (1.0 - t)),
            (node(1, 0)?, s * (1.0 - t)),
            (node(0, 1)?, (1.0 - s) * t),
            (node(1, 1)?, s * t),
        ])
    }

    /// Lower triangle of the precision of a field of that range (m) and variance.
    pub fn precision(
        &self,
        range: f64,
        variance: f64,
    ) -> impl Iterator<Item = (usize, usize, f64)> {
        let k2 = 8.0 / (range * range);
        let scale = self.spacing * self.spacing / (4.0 * PI * k2 * variance);
        self.entries.iter().map(move |&(i, j, l, square)| {
            let own = if i == j { k2 * k2 } else { 0.0 };
            (i, j, scale * (own + 2.0 * k2 * l + square))
        })
    }

    /// Places of the precision's entries.
    pub(super) fn places(&self) -> impl Iterator<Item = (usize, usize)> {
        self.entries.iter().map(|e| (e.0, e.1))
    }

    /// Logarithm of the precision's determinant.
    pub fn log_determinant(&self, range: f64, variance: f64) -> Option<f64> {
        let k2 = 8.0 / (range * range);
        let scale = self.spacing * self.spacing / (4.0 * PI * k2 * variance);
        Some(self.len() as f64 * scale.ln() + 2.0 * self.log_root(k2)?)
    }

    /// Logarithm of the determinant of K = κ²I − Δ_h. A search meets each range several times.
    fn log_root(&self, k2: f64) -> Option<f64> {
        let known = self.roots.borrow().iter().find(|r| r.0 == k2).map(|r| r.1);
        if known.is_some() {
            return known;
        }
        let mut values = vec![0.0; self.pattern.len()];
        for &(i, j, l, _) in &self.entries {
            if let Some(at) = self.pattern.index(i, j) {
                values[at] += l + if i == j { k2 } else { 0.0 };
            }
        }
        let root = self.pattern.factor(&values)?.log_determinant();
        self.roots.borrow_mut().push((k2, root));
        Some(root)
    }
}

fn corner(p: [f64; 2], spacing: f64) -> (i32, i32) {
    (
        (p[0] / spacing).floor() as i32,
        (p[1] / spacing).floor() as i32,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_determinant_is_that_of_the_precision() {
        let places: Vec<[f64; 2]> = (0..8).map(|i| [i as f64 * 10.0, 3.0]).collect();
        let lattice = Lattice::new(&places, 10.0, 2).unwrap();
        let pattern = Pattern::new(lattice.len(), lattice.places()).unwrap();
        let mut values = vec![0.0; pattern.len()];
        for (i, j, v) in lattice.precision(60.0, 0.02) {
            values[pattern.index(i, j).unwrap()] = v;
        }
        let direct = pattern.factor(&values).unwrap().log_determinant();
        let by_root = lattice.log_determinant(60.0, 0.02).unwrap();
        assert!((direct - by_root).abs() < 1e-8 * direct.abs().max(1.0));
        let w = lattice.weights([13.0, 4.0]).unwrap();
        assert!((w.iter().map(|x| x.1).sum::<f64>() - 1.0).abs() < 1e-15);
        assert!(lattice.weights([1e4, 0.0]).is_none());
        assert!(Lattice::new(&[], 10.0, 2).is_none());
    }
}
