//! Factors of loads from neighbouring ground: yield field and factors estimated together.

mod doubt;
mod edge;
mod equations;
mod field;
mod known;
mod lattice;
mod models;
mod nodes;
mod observe;
mod parts;
mod search;
mod settle;
mod wander;

use serde::{Deserialize, Serialize};

pub use doubt::{Doubt, Risk};
pub use field::{Texture, links, links_with};
pub use known::{Known, Wander};
pub use lattice::Lattice;
pub use nodes::{LoadNode, TicketNode};
pub use observe::{GroundInput, observe};
pub use settle::{OneFactor, Settlement, settle};
pub use wander::{Adjusted, Widest, adjust};

/// A patch of ground that one load cut on one pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Patch {
    /// Its middle, m, along and across the field's main direction.
    pub at: [f64; 2],
    /// Logarithm of logged wet yield, kg/m².
    pub ln_yield: f64,
    /// Logarithm of the ground cut per second, m²/s.
    pub ln_rate: f64,
    /// Rows behind it.
    pub rows: f64,
    /// Pass.
    pub pass: u32,
    /// Index of the load that received its grain.
    pub load: u32,
    /// Which kind of edge it lies along; `None`: inside.
    pub level: Option<u32>,
}

/// What one field says of the log factors u = ln(true/logged) of its loads against each other: a normal likelihood with
/// precision `information` and `information`·u = `score`. The common level is free.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Links {
    /// Indices of the loads.
    pub loads: Vec<u32>,
    /// Precision: its lower triangle, row by row ((0, 0), (1, 0), (1, 1), …).
    pub information: Vec<f64>,
    /// Right-hand side.
    pub score: Vec<f64>,
    /// Mean log of logged wet yield (kg/m²) of each load's patches.
    pub ln_yield: Vec<f64>,
    /// Mean log of the ground they cut per second (m²/s).
    pub ln_rate: Vec<f64>,
    /// The field's range and variances.
    pub texture: Texture,
    /// Patches used.
    pub patches: u64,
}
