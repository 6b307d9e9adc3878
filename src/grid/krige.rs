//! Ordinary block kriging of one cell from the stretches around it.

use faer::linalg::solvers::Solve;
use faer::{Mat, Side};
use kiddo::{ImmutableKdTree, SquaredEuclidean};

use super::estimate::Structure;
use super::stretches::Stretch;
use super::support::{SHAPE, mean_over};

/// The mean yield of some ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Block {
    /// Its mean yield, kg/ha.
    pub yield_kg_ha: f64,
    /// Its standard error by distance, pattern and errors, kg/ha.
    pub kriging_se: f64,
    /// The same with what its level may be off by.
    pub se: f64,
}

/// Mean over some ground, and its kriging variance in the units of the structure, from values at points whose errors are
/// independent: what is done for a cell, by itself. `points`: place (m) and value. `ground`: places that stand
/// for the ground, at least one.
pub fn block(
    points: &[([f64; 2], f64)],
    structure: Structure,
    ground: &[[f64; 2]],
) -> Option<(f64, f64)> {
    let stretches: Vec<Stretch> = (0u32..)
        .zip(points)
        .map(|(pass, &(middle, value))| Stretch::at_point(middle, pass, value))
        .collect();
    let kriging = Kriging::new(&stretches, structure, stretches.len(), 1.0);
    let block = kriging.mean_over(ground, f64::INFINITY)?;
    let usual = points.iter().map(|p| p.1).sum::<f64>() / points.len() as f64;
    Some((block.yield_kg_ha, (block.kriging_se / usual).powi(2)))
}

/// Steps of [`Likeness`] in a range, and ranges that it goes (our choice: straight lines between steps are then within 1e-5 of
/// the sill of the curve, and what is left beyond is less).
const STEPS: usize = 128;
const RANGES: usize = 12;

/// Covariance of the pattern by distance, looked up in place of an exponential for each pair of places.
struct Likeness {
    per_step: f64,
    values: Vec<f64>,
}

impl Likeness {
    fn new(structure: Structure) -> Self {
        let at = |k: usize| structure.sill * (1.0 - SHAPE.rise(k as f64 / STEPS as f64));
        Self {
            per_step: STEPS as f64 / structure.range,
            values: (0..=STEPS * RANGES).map(at).collect(),
        }
    }

    #[inline]
    fn at(&self, distance: f64) -> f64 {
        let place = distance * self.per_step;
        let below = place as usize;
        match (self.values.get(below), self.values.get(below + 1)) {
            (Some(a), Some(b)) => a + (place - below as f64) * (b - a),
            _ => 0.0,
        }
    }
}

/// Predicts ground from stretches.
pub(super) struct Kriging<'a> {
    stretches: &'a [Stretch],
    structure: Structure,
    likeness: Likeness,
    tree: Option<ImmutableKdTree<f64, 2>>,
    neighbours: usize,
    usual_area: f64,
}

impl<'a> Kriging<'a> {
    /// `neighbours`: stretches that a prediction rests on.
    pub(super) fn new(
        stretches: &'a [Stretch],
        structure: Structure,
        neighbours: usize,
        usual_area: f64,
    ) -> Self {
        let places: Vec<[f64; 2]> = stretches.iter().map(|s| s.middle).collect();
        Self {
            stretches,
            structure,
            likeness: Likeness::new(structure),
            tree: ImmutableKdTree::new_from_slice(&places).ok(),
            neighbours,
            usual_area,
        }
    }

    /// Mean over ground that `places` stand for; `None` where the nearest stretch is farther than `reach`.
    pub(super) fn mean_over(&self, places: &[[f64; 2]], reach: f64) -> Option<Block> {
        let count = places.len() as f64;
        let middle = [0, 1].map(|k| places.iter().map(|p| p[k]).sum::<f64>() / count);
        let wanted = std::num::NonZero::new(self.neighbours)?;
        let query = self.tree.as_ref()?.query(&middle);
        let found = query.nearest_n::<SquaredEuclidean<f64>>(wanted).execute();
        if !(found.first()?.distance <= reach * reach) {
            return None;
        }
        let near: Vec<&Stretch> = found
            .iter()
            .map(|n| &self.stretches[n.item as usize])
            .collect();
        self.solve(&near, places)
    }

    fn solve(&self, near: &[&Stretch], places: &[[f64; 2]]) -> Option<Block> {
        let n = near.len();
        let like = |h: f64| self.likeness.at(h);
        let alike = Mat::from_fn(n, n, |i, j| {
            if i < j {
                0.0 // the lower half is read
            } else {
                mean_over(&near[i].nodes, &near[j].nodes, like) + self.error(near, i, j)
            }
        });
        let sides = Mat::from_fn(n, 2, |i, k| {
            if k == 0 {
                mean_over(&near[i].nodes, places, like)
            } else {
                1.0
            }
        });
        let solved = alike.llt(Side::Lower).ok()?.solve(&sides);
        let sum = |k: usize| (0..n).map(|i| solved[(i, k)]).sum::<f64>();
        let lagrange = (1.0 - sum(0)) / sum(1);
        let weight = |i: usize| solved[(i, 0)] + lagrange * solved[(i, 1)];
        // With Kλ = c + m·1 and Σλ = 1: λ'Kλ − 2λ'c = m − λ'c.
        let explained: f64 = (0..n).map(|i| weight(i) * sides[(i, 0)]).sum();
        let variance = mean_over(places, places, like) + lagrange - explained;
        let weighted =
            |of: &dyn Fn(&Stretch) -> f64| -> f64 { (0..n).map(|i| weight(i) * of(near[i])).sum() };
        let yield_kg_ha = weighted(&|s| s.yield_kg_ha).max(0.0);
        // Loads' factors are off together: their sds add up as the weights do.
        let level = weighted(&|s| s.level_sd).max(0.0) * yield_kg_ha;
        let usual = near.iter().map(|s| s.yield_kg_ha).sum::<f64>() / n as f64;
        let kriging_se = variance.max(0.0).sqrt() * usual;
        let block = Block {
            yield_kg_ha,
            kriging_se,
            se: kriging_se.hypot(level),
        };
        block.se.is_finite().then_some(block)
    }

    /// Covariance of the errors of two stretches. A short one errs by more, at most as if its points erred apart.
    fn error(&self, near: &[&Stretch], i: usize, j: usize) -> f64 {
        let Structure { error, shared, .. } = self.structure;
        if i == j {
            error * (self.usual_area / near[i].area).max(1.0)
        } else if near[i].pass == near[j].pass {
            error * shared
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(x: f64, pass: u32, yield_kg_ha: f64) -> Stretch {
        Stretch {
            middle: [x, 0.0],
            nodes: [[x, 0.0]; 4],
            pass,
            along: 0.0,
            area: 90.0,
            yield_kg_ha,
            level_sd: 0.03,
            sd: [0.0; 2],
        }
    }

    fn structure(sill: f64, error: f64, shared: f64) -> Structure {
        Structure {
            sill,
            range: 100.0,
            error,
            shared,
        }
    }

    /// Two points 20 m either side of a place, C(h) = e^(−h/100): by symmetry weights ½ and ½; with C(20) = 0.818731 and
    /// C(40) = 0.670320, σ² = 1 + ½(1 + 0.670320) − 2·0.818731 = 0.197698.
    #[test]
    fn a_place_between_two_points() {
        let stretches = [at(-20.0, 1, 4000.0), at(20.0, 2, 6000.0)];
        let kriging = Kriging::new(&stretches, structure(1.0, 0.0, 0.0), 2, 90.0);
        let block = kriging.mean_over(&[[0.0, 0.0]], 30.0).expect("a block");
        assert!((block.yield_kg_ha - 5000.0).abs() < 1e-9);
        assert!((block.kriging_se / 5000.0 - 0.197_698f64.sqrt()).abs() < 2e-5);
        assert!((block.se - block.kriging_se.hypot(150.0)).abs() < 1e-9);
        assert!(kriging.mean_over(&[[0.0, 0.0]], 19.0).is_none());
    }

    /// Without a pattern every stretch counts alike, and the error is that of a mean; what a pass shares stays.
    #[test]
    fn without_a_pattern_it_is_the_mean() {
        let four = [
            at(-9.0, 1, 4000.0),
            at(0.0, 2, 5000.0),
            at(9.0, 3, 6000.0),
            at(5.0, 4, 5000.0),
        ];
        let block = Kriging::new(&four, structure(0.0, 0.01, 0.0), 4, 90.0)
            .mean_over(&[[0.0, 0.0]], 30.0)
            .expect("a block");
        assert!((block.yield_kg_ha - 5000.0).abs() < 1e-9);
        assert!((block.kriging_se - 0.05 * 5000.0).abs() < 1e-9);
        let one_pass = four.map(|s| Stretch { pass: 1, ..s });
        let block = Kriging::new(&one_pass, structure(0.0, 0.01, 0.5), 4, 90.0)
            .mean_over(&[[0.0, 0.0]], 30.0)
            .expect("a block");
        // 0.01·(0.5 + 0.5/4)
        assert!((block.kriging_se - 0.00625f64.sqrt() * 5000.0).abs() < 1e-9);
    }

    #[test]
    fn stretches_on_one_place_and_a_field_where_nothing_varies_are_solved() {
        let same = [at(0.0, 1, 5000.0); 6];
        let block = Kriging::new(&same, structure(0.02, 2.5e-5, 0.0), 6, 90.0)
            .mean_over(&[[0.0, 0.0], [5.0, 5.0]], 30.0)
            .expect("a block");
        assert!((block.yield_kg_ha - 5000.0).abs() < 1e-6 && block.kriging_se > 0.0);
    }
}
