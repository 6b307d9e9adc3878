//! The minimum of the disagreement over candidate delays, and how sure it is.

use super::curve::{Block, CANDIDATES, Curve, Curves, MIXING_S, Sums, candidate};
use super::vertex::{Vertex, vertex};
use crate::stats::student_975;

/// Minimum must stand out from all candidates at least this far away, s.
const APART_S: f64 = 4.0;
/// Weight of what the depth of the minimum says of the machine's mixing, as a share of what it would be were the
/// curve a likelihood. Our choice: it is none, and weighted in full it narrows the intervals more than the errors. On
/// simulated seasons intervals hold 95 % of the time at a weight of 1, 97 % at ½, 98 % at ¼ and 99 % at 0, and at ¼ the
/// fewest fields are refused for the same errors.
const MIXING_WEIGHT: f64 = 0.25;
/// Step between the constants that are weighed, s.
const MIXING_STEP_S: f64 = 0.5;

/// A curve's minimum.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Minimum {
    /// Delay, s.
    pub delay: f64,
    /// Its standard error, s: jackknife over blocks, and what the mixing is uncertain by.
    pub standard_error: f64,
    /// The part of it that the mixing is to blame for, s: fields of one machine share it.
    pub mixing_error: f64,
    /// Degrees of freedom behind the standard error.
    pub degrees: f64,
    /// Share of the variance that opposed passes do not share, at the minimum (1 − correlation).
    pub unshared: f64,
    /// How many standard errors the minimum lies below the lowest candidate at least four seconds away.
    pub separation: f64,
}

impl Minimum {
    /// Variance of what is the field's own, s².
    pub fn own_variance(&self) -> f64 {
        (self.standard_error.powi(2) - self.mixing_error.powi(2)).max(1e-6)
    }

    /// Half of the 95 % interval, s (Student's t).
    pub fn half_width(&self) -> f64 {
        student_975(self.degrees.max(2.0)) * self.standard_error
    }

    /// Whether the curve has a valley that is no chance.
    ///
    /// Our choice: 2.5 standard errors below every candidate 4 s away. That a second estimate lies near does not lower it:
    /// the delay would then be told by that alone.
    pub fn stands_out(&self) -> bool {
        self.separation > 2.5 && self.unshared < 0.97
    }

    /// Whether the data identify the delay: a valley that is no chance, and narrow.
    ///
    /// Our choice: a standard error below half a second, which is where a second's error becomes rare.
    pub fn identified(&self) -> bool {
        self.stands_out() && self.standard_error < 0.5
    }
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

/// The fields' curves of one mixing constant, pooled: log of the relative disagreement, weighted by pairs.
struct Node<'a> {
    fields: Vec<(&'a Curve, Sums, Vec<f64>)>,
    pairs: f64,
    curve: Vec<f64>,
}

impl<'a> Node<'a> {
    fn new(fields: &[&'a Curves], node: usize) -> Self {
        let fields: Vec<(&Curve, Sums, Vec<f64>)> = fields
            .iter()
            .filter_map(|curves| curves.get(node))
            .map(|curve| {
                let sums = Sums::of(&curve.along);
                let log = sums.log_unshared();
                (curve, sums, log)
            })
            .collect();
        let pairs: f64 = fields.iter().map(|f| f64::from(f.0.pairs)).sum();
        let pairs = pairs.max(1.0);
        let mut curve = vec![0.0; CANDIDATES];
        for (field, _, log) in &fields {
            for (c, l) in curve.iter_mut().zip(log) {
                *c += f64::from(field.pairs) / pairs * l;
            }
        }
        Self {
            fields,
            pairs,
            curve,
        }
    }

    /// The pooled curve without one block of a field.
    fn without(&self, field: usize, block: &Block) -> Vec<f64> {
        let (curve, sums, log) = &self.fields[field];
        let share = f64::from(curve.pairs) / self.pairs;
        let less = sums.without(block).log_unshared();
        (self.curve.iter().zip(log.iter().zip(&less)))
            .map(|(c, (with, without))| c + share * (without - with))
            .collect()
    }
}

/// The curves at all constants, and between them.
struct Nodes<'a>(Vec<Node<'a>>);

impl<'a> Nodes<'a> {
    /// `None` without fields or curves.
    fn new(fields: &[&'a Curves]) -> Option<Self> {
        let fields: Vec<&Curves> = fields.iter().copied().filter(|c| !c.is_empty()).collect();
        let nodes = fields.iter().map(|c| c.len()).min()?;
        Some(Self((0..nodes).map(|n| Node::new(&fields, n)).collect()))
    }

    /// Nodes below and above a constant, and how far it lies between them.
    fn place(&self, seconds: f64) -> (usize, usize, f64) {
        let last = self.0.len() - 1;
        let place = (seconds / (MIXING_S[1] - MIXING_S[0])).clamp(0.0, last as f64);
        let below = (place.floor() as usize).min(last.saturating_sub(1));
        (below, (below + 1).min(last), place - below as f64)
    }

    fn at(&self, seconds: f64) -> Vec<f64> {
        let (below, above, part) = self.place(seconds);
        between(&self.0[below].curve, &self.0[above].curve, part)
    }

    /// The curves at a constant without each block of a partition in turn.
    fn parts(&self, seconds: f64, blocks: fn(&Curve) -> &[Block]) -> Vec<Vec<f64>> {
        let (below, above, part) = self.place(seconds);
        let (below, above) = (&self.0[below], &self.0[above]);
        let mut out = Vec::new();
        for (f, (low, high)) in below.fields.iter().zip(&above.fields).enumerate() {
            for (b, h) in blocks(low.0).iter().zip(blocks(high.0)) {
                out.push(between(&below.without(f, b), &above.without(f, h), part));
            }
        }
        out
    }
}

/// The two ways in which a curve's pairs are parted.
const PARTINGS: [fn(&Curve) -> &[Block]; 2] = [along, across];

fn along(curve: &Curve) -> &[Block] {
    &curve.along
}

fn across(curve: &Curve) -> &[Block] {
    &curve.across
}

/// The fields' curves together at a mixing constant (s): log of the relative disagreement per candidate. `None` without
/// fields or curves.
pub(super) fn curve_at(fields: &[&Curves], seconds: f64) -> Option<Vec<f64>> {
    Nodes::new(fields).map(|nodes| nodes.at(seconds))
}

fn between(low: &[f64], high: &[f64], part: f64) -> Vec<f64> {
    (low.iter().zip(high))
        .map(|(l, h)| (1.0 - part) * l + part * h)
        .collect()
}

/// The minimum of the fields' curves, with its standard error: the larger of two jackknives, over blocks along the
/// passes and over blocks of passes, and what the mixing's own error makes of it. `None` without at least four blocks,
/// or where the curve has no valley.
pub fn minimum(fields: &[&Curves], mixing: Mixing) -> Option<Minimum> {
    let nodes = Nodes::new(fields)?;
    let first = nodes.0.first()?;
    let blocks: usize = first.fields.iter().map(|f| f.0.along.len()).sum();
    if blocks < 4 {
        return None;
    }
    let half = (first.fields.iter())
        .map(|f| f.0.fit_half_width)
        .fold(1.0, f64::max);
    let curve = nodes.at(mixing.seconds);
    let lowest = vertex(&curve, half, None)?;
    let n = blocks as f64;
    let jackknife = |values: &[f64]| {
        let mean = values.iter().sum::<f64>() / n;
        ((n - 1.0) / n * values.iter().map(|v| (v - mean).powi(2)).sum::<f64>()).sqrt()
    };
    let (mut error, mut separation) = (0f64, f64::INFINITY);
    for parting in PARTINGS {
        let parts = nodes.parts(mixing.seconds, parting);
        let near = Some(lowest.candidate);
        let delays: Vec<f64> = parts
            .iter()
            .map(|p| vertex(p, half, near).map_or(lowest.delay, |v| v.delay))
            .collect();
        error = error.max(jackknife(&delays));
        for c in (0..CANDIDATES).filter(|&c| (candidate(c) - lowest.delay).abs() >= APART_S) {
            let contrast: Vec<f64> = parts.iter().map(|p| p[c] - p[lowest.candidate]).collect();
            let depth = curve[c] - curve[lowest.candidate];
            separation = separation.min(depth / jackknife(&contrast).max(1e-9));
        }
    }
    let weighed = weigh_mixing(&nodes, mixing, &lowest, error, half);
    Some(Minimum {
        delay: weighed.0,
        standard_error: error.hypot(weighed.1),
        mixing_error: weighed.1,
        degrees: n - 1.0,
        unshared: curve[lowest.candidate].exp(),
        separation,
    })
}

/// Mean and spread (s) of the minimum over the mixing's constants, each weighted by what is known of the mixing and,
/// in part, by how deep the minimum is with it: with the right constant opposed passes agree best.
///
/// The depth is brought to the scale of a likelihood by the curvature that the jackknife's error stands for.
fn weigh_mixing(
    nodes: &Nodes,
    mixing: Mixing,
    lowest: &Vertex,
    error: f64,
    half: f64,
) -> (f64, f64) {
    if nodes.0.len() < 2 || !(mixing.standard_error > 0.0) {
        return (lowest.delay, 0.0);
    }
    let scale = MIXING_WEIGHT / (error.max(1e-2).powi(2) * lowest.curvature);
    let most = MIXING_S[nodes.0.len() - 1];
    let steps = (most / MIXING_STEP_S).round() as usize;
    let log_weights: Vec<(f64, f64)> = (0..=steps)
        .filter_map(|k| {
            let seconds = k as f64 * MIXING_STEP_S;
            let v = vertex(&nodes.at(seconds), half, Some(lowest.candidate))?;
            let off = (seconds - mixing.seconds.min(most)) / mixing.standard_error;
            Some((v.delay, -0.5 * off * off - scale * v.depth))
        })
        .collect();
    let top = (log_weights.iter()).fold(f64::NEG_INFINITY, |t, w| t.max(w.1));
    let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
    for (delay, log) in log_weights {
        let (w, d) = ((log - top).exp(), delay - lowest.delay);
        sum += w;
        first += w * d;
        second += w * d * d;
    }
    if !(sum > 0.0) {
        return (lowest.delay, 0.0);
    }
    let mean = first / sum;
    let variance = (second / sum - mean * mean).max(0.0);
    (lowest.delay + mean, variance.sqrt())
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
        let curve = Curve {
            along: blocks.clone(),
            across: blocks,
            pairs: 100,
            fit_half_width: 2.0,
        };
        vec![curve; MIXING_S.len()]
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
            .flat_map(|c| c.along.iter_mut().chain(&mut c.across))
            .for_each(|b| b.disagreement.iter_mut().for_each(|d| *d = 1.0));
        assert!(minimum(&[&c], Mixing::UNKNOWN).is_none_or(|m| !m.identified()));
        assert!(minimum(&[&Curves::default()], Mixing::UNKNOWN).is_none());
    }

    #[test]
    fn the_wider_of_the_two_partings_counts_and_pooling_adds_up() {
        let mut one = valley(12.0, 0.5);
        let narrow = valley(12.0, 0.0);
        for (c, n) in one.iter_mut().zip(&narrow) {
            c.across.clone_from(&n.along);
        }
        let alone = minimum(&[&one], Mixing::UNKNOWN).unwrap();
        let both = minimum(&[&one, &one], Mixing::UNKNOWN).unwrap();
        assert!(alone.standard_error > 0.3);
        assert!((both.delay - alone.delay).abs() < 1e-9);
        let ratio = alone.standard_error / both.standard_error;
        assert!((ratio - 2f64.sqrt()).abs() < 0.1, "{ratio}");
    }

    #[test]
    fn mixing_is_weighed_by_what_is_known_and_by_depth() {
        // With each constant the valley lies elsewhere; one of them makes it deeper.
        let curves = |deep: Option<usize>| -> Curves {
            (0..MIXING_S.len())
                .map(|k| {
                    let mut c = valley(12.0 + 0.2 * k as f64, 0.3).swap_remove(0);
                    if deep == Some(k) {
                        for b in c.along.iter_mut().chain(&mut c.across) {
                            b.disagreement.iter_mut().for_each(|d| *d *= 0.5);
                        }
                    }
                    c
                })
                .collect()
        };
        let known = Mixing {
            seconds: 3.0,
            standard_error: 0.0,
        };
        assert!((minimum(&[&curves(None)], known).unwrap().delay - 12.4).abs() < 0.03);
        let flat = minimum(&[&curves(None)], Mixing::UNKNOWN).unwrap();
        assert!((flat.delay - 12.4).abs() < 0.03);
        let sure = minimum(&[&curves(None)], known).unwrap();
        assert!(flat.standard_error > sure.standard_error);
        let deep = minimum(&[&curves(Some(4))], Mixing::UNKNOWN).unwrap();
        assert!(deep.delay > flat.delay + 0.05, "{deep:?}");
    }
}
