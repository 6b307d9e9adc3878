//! Kept points, joined along their passes.

use super::GridInput;
use super::support::{NODES, nodes};
use crate::geometry::{Lattice, Piece, Pieces, distance};
use crate::stats::median;

/// A stretch of a pass with the mean yield of its kept points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stretch {
    /// Its middle in the lattice, m.
    pub middle: [f64; 2],
    /// Places that stand for the ground its grain came from.
    pub nodes: [[f64; 2]; NODES],
    /// Its pass.
    pub pass: u32,
    /// How far along the pass its middle is, m.
    pub along: f64,
    /// Ground that its kept points cut, m².
    pub area: f64,
    /// Their yield over that ground, kg/ha.
    pub yield_kg_ha: f64,
    /// Relative sd of their level.
    pub level_sd: f64,
    /// Sd of the ground along the pass and across, m.
    pub sd: [f64; 2],
}

impl Stretch {
    /// A single point, a pass by itself, with a level that is known.
    pub(super) fn at_point(middle: [f64; 2], pass: u32, yield_kg_ha: f64) -> Self {
        Self {
            middle,
            nodes: [middle; NODES],
            pass,
            along: 0.0,
            area: 1.0,
            yield_kg_ha,
            level_sd: 0.0,
            sd: [0.0; 2],
        }
    }
}

/// The stretches of a field, about `length` long, pass by pass in the order of travel.
pub(super) fn stretches(input: &GridInput<'_>, lattice: &Lattice, length: f64) -> Vec<Stretch> {
    let pieces = Pieces::cut(
        input.passes.iter().map(Vec::as_slice),
        |row| input.ground[row as usize].map(|g| [g.from, g.to]),
        length,
    );
    let mut out = Vec::with_capacity(pieces.len());
    let (mut pass, mut along) = (None, 0.0);
    for piece in pieces.iter() {
        if pass != Some(piece.pass) {
            (pass, along) = (Some(piece.pass), 0.0);
        }
        let rows = &input.passes[piece.pass as usize][piece.first as usize..piece.end as usize];
        if let Some(stretch) = join(input, lattice, piece, rows, along + 0.5 * piece.length) {
            out.push(stretch);
        }
        along += piece.length;
    }
    out
}

fn join(
    input: &GridInput<'_>,
    lattice: &Lattice,
    piece: &Piece,
    rows: &[u32],
    along: f64,
) -> Option<Stretch> {
    let (mut area, mut grain, mut level, mut blur) = (0.0, 0.0, 0.0, 0.0);
    let (mut x, mut y, mut driven) = (0.0, 0.0, 0.0);
    for i in rows
        .iter()
        .map(|&r| r as usize)
        .filter(|&i| input.counts(i))
    {
        let a = input.area[i];
        area += a;
        grain += a * input.yield_kg_ha[i];
        level += a * input.level_sd[i];
        blur += a * if input.blur_m[i] > 0.0 {
            input.blur_m[i]
        } else {
            0.0
        };
        x += a * input.x[i];
        y += a * input.y[i];
        driven += input.ground[i].map_or(0.0, |g| g.length());
    }
    if !(area > 0.0 && driven > 0.0) {
        return None;
    }
    let middle = [x / area, y / area];
    let here = lattice.from_frame(middle)?;
    // The lattice is turned against the frame.
    let ahead = lattice.from_frame([
        middle[0] + piece.direction[0],
        middle[1] + piece.direction[1],
    ])?;
    let step = distance(here, ahead);
    let heading = [(ahead[0] - here[0]) / step, (ahead[1] - here[1]) / step];
    // Evenly over its length and its width (variance l²/12), and mixed along it.
    let width = area / driven;
    let sd = [
        (driven * driven / 12.0 + (blur / area).powi(2)).sqrt(),
        width / 12f64.sqrt(),
    ];
    Some(Stretch {
        middle: here,
        nodes: nodes(here, heading, sd[0], sd[1]),
        pass: piece.pass,
        along,
        area,
        yield_kg_ha: grain / area,
        level_sd: level / area,
        sd,
    })
}

/// The usual one of some numbers of stretches.
pub(super) fn usual(stretches: &[Stretch], of: impl Fn(&Stretch) -> f64) -> Option<f64> {
    median(&stretches.iter().map(of).collect::<Vec<f64>>())
}
