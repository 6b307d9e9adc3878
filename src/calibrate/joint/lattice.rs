//! A Matérn field (ν = 1) as a Gaussian Markov random field on a lattice.
//!
//! Precision Q = h²/(4πκ²σ²)·KᵀK with K = κ²I − Δ_h and κ = √8/range: the stochastic partial differential equation's
//! solution for α = 2 (Lindgren, Rue & Lindström 2011, J. R. Stat. Soc. B 73:423). The lattice covers the ground and a
//! margin; at its edge nothing flows out (Neumann), which the margin keeps away from the ground.

use std::f64::consts::PI;
use std::sync::Mutex;

use crate::stats::sparse::Pattern;

/// Nodes that any place draws on, with their weights (bilinear).
pub(super) type Weights = [(usize, f64); 4];

/// The lattice.
#[derive(Debug)]
pub struct Lattice {
    /// Distance of nodes, m.
    pub(super) spacing: f64,
    /// Places of the nodes, ascending: a node's number is its place among them.
    nodes: Vec<(i32, i32)>,
    /// Lower triangle of the graph's Laplacian over h², and of its square: (i, j, L, L²).
    entries: Vec<(usize, usize, f64, f64)>,
    pattern: Pattern,
    /// κ² and what [`Lattice::log_root`] made of it.
    roots: Mutex<Vec<(f64, f64)>>,
}

impl Lattice {
    /// A lattice under some places, `margin` nodes wider. `None` where there are no places.
    pub fn new(places: &[[f64; 2]], spacing: f64, margin: i32) -> Option<Self> {
        let mut nodes: Vec<(i32, i32)> = places.iter().map(|p| corner(*p, spacing)).collect();
        nodes.sort_unstable();
        nodes.dedup();
        // Wider along either axis in turn: what most places share is met once.
        for (a, b) in [(1, 0), (0, 1)] {
            let wider = |&(i, j): &(i32, i32)| {
                (-margin..=1 + margin).map(move |by| (i + a * by, j + b * by))
            };
            nodes = nodes.iter().flat_map(wider).collect();
            nodes.sort_unstable();
            nodes.dedup();
        }
        let per = 1.0 / (spacing * spacing);
        let near = |&(i, j): &(i32, i32)| {
            [(i - 1, j), (i + 1, j), (i, j - 1), (i, j + 1)]
                .into_iter()
                .filter_map(|n| nodes.binary_search(&n).ok())
        };
        let rows: Vec<Vec<(usize, f64)>> = nodes
            .iter()
            .enumerate()
            .map(|(k, place)| {
                let around: Vec<usize> = near(place).collect();
                let mut row: Vec<(usize, f64)> = around.iter().map(|&n| (n, -per)).collect();
                row.push((k, around.len() as f64 * per));
                row
            })
            .collect();
        // Lower triangle of L and of L·L, a row at a time: entries of one place beside each other, then summed.
        let mut entries: Vec<(usize, usize, f64, f64)> = Vec::with_capacity(7 * rows.len());
        let mut of_row: Vec<(usize, f64, f64)> = Vec::new();
        for (i, row) in rows.iter().enumerate() {
            of_row.clear();
            for &(j, v) in row.iter().filter(|e| e.0 <= i) {
                of_row.push((j, v, 0.0));
            }
            for &(via, a) in row {
                for &(j, b) in rows[via].iter().filter(|e| e.0 <= i) {
                    of_row.push((j, 0.0, a * b));
                }
            }
            of_row.sort_by_key(|e| e.0);
            for of_place in of_row.chunk_by(|a, b| a.0 == b.0) {
                let sum = of_place
                    .iter()
                    .fold((0.0, 0.0), |s, e| (s.0 + e.1, s.1 + e.2));
                entries.push((i, of_place[0].0, sum.0, sum.1));
            }
        }
        let first_order = entries.iter().filter(|e| e.2 != 0.0);
        let pattern = Pattern::new(nodes.len(), first_order.map(|e| (e.0, e.1)))?;
        Some(Self {
            spacing,
            nodes,
            entries,
            pattern,
            roots: Mutex::default(),
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
        let node = |a: i32, b: i32| self.nodes.binary_search(&(i + a, j + b)).ok();
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
        if let Ok(roots) = self.roots.lock()
            && let Some(known) = roots.iter().find(|r| r.0 == k2)
        {
            return Some(known.1);
        }
        let mut values = vec![0.0; self.pattern.len()];
        for &(i, j, l, _) in &self.entries {
            if let Some(at) = self.pattern.index(i, j) {
                values[at] += l + if i == j { k2 } else { 0.0 };
            }
        }
        let root = self.pattern.factor(&values)?.log_determinant();
        if let Ok(mut roots) = self.roots.lock() {
            roots.push((k2, root));
        }
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
