//! The grid: mean yield of square cells, with how well each is known, by block kriging.
//!
//! A combine's point is no measurement of a place. It is the mean over a header's width and over the ground whose grain the
//! machine had mixed when it passed the sensor, it is off by an error that the points beside it on the same pass share, and
//! passes have errors of their own. So kept points are first joined to *stretches* of passes, 10 m or more; the
//! variogram is taken between stretches of different passes, and read as what means over such ground show of the variogram
//! of points (regularisation: Journel & Huijbregts 1978, "Mining Geostatistics", section II.D); what it leaves at distance
//! zero is the error of a stretch, and how much less than that stretches of one pass differ is the part that they share.
//!
//! A cell is then the mean over the field's ground in it, predicted from the stretches around (ordinary block kriging:
//! Σ λ_j C(v_i, v_j) + μ = C(v_i, B), Σ λ = 1; σ² = C(B, B) − 2 λ'c + λ'Kλ; any text on geostatistics, such as Isaaks &
//! Srivastava 1989, chapter 13). The error belongs to the stretches and not to the ground, so it is in K alone.
//!
//! The field's ground is what was cut inside the boundary. Nothing is predicted beyond it, nor where the nearest kept
//! ground is farther away than yields are alike.

mod apply;
mod estimate;
mod ground;
mod krige;
mod params;
mod stats;
mod stretches;
mod support;

pub use apply::{Grid, apply};
pub use estimate::{GridPlan, NoGrid, Structure, estimate};
pub use krige::block;
pub use params::{CheckedGridParams, GridParams, GridParamsError};
pub use stats::GridStats;

use crate::geometry::{Boundary, Frame, UtmZone};
use crate::passes::Ground;

/// What a grid is made from. Columns have an entry per row of the log; places are in the field's frame, m.
#[derive(Debug, Clone, Copy)]
pub struct GridInput<'a> {
    /// The field's frame.
    pub frame: &'a Frame,
    /// The field's boundary.
    pub boundary: Option<&'a Boundary>,
    /// The zone in which cells are laid.
    pub zone: UtmZone,
    /// Rows of each pass in the order of travel.
    pub passes: &'a [Vec<u32>],
    /// The ground of each row.
    pub ground: &'a [Option<Ground>],
    /// Header width, m.
    pub header_width: &'a [f64],
    /// Middle of the ground.
    pub x: &'a [f64],
    /// Middle of the ground.
    pub y: &'a [f64],
    /// Whether the point is kept.
    pub kept: &'a [bool],
    /// Corrected yield at reference moisture, kg/ha.
    pub yield_kg_ha: &'a [f64],
    /// Newly cut ground, m².
    pub area: &'a [f64],
    /// Effective cut width, m.
    pub cut_m: &'a [f64],
    /// Relative sd of the yield's level (factor of the load, sensor's curve), which points have in common.
    pub level_sd: &'a [f64],
    /// Sd along the pass of the ground whose grain is mixed, m.
    pub blur_m: &'a [f64],
}

/// Columns that do not belong together: an error of the caller, not of data.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("grid: column {column} must have {expected} entries, but has {found}")]
pub struct GridInputError {
    /// The column.
    pub column: &'static str,
    /// Entries it must have.
    pub expected: usize,
    /// Entries it has.
    pub found: usize,
}

impl GridInput<'_> {
    fn check(&self) -> Result<(), GridInputError> {
        let expected = self.x.len();
        let lengths = [
            ("ground", self.ground.len()),
            ("header_width", self.header_width.len()),
            ("y", self.y.len()),
            ("kept", self.kept.len()),
            ("yield_kg_ha", self.yield_kg_ha.len()),
            ("area", self.area.len()),
            ("cut_m", self.cut_m.len()),
            ("level_sd", self.level_sd.len()),
            ("blur_m", self.blur_m.len()),
        ];
        match lengths.iter().find(|(_, n)| *n != expected) {
            Some(&(column, found)) => Err(GridInputError {
                column,
                expected,
                found,
            }),
            None => Ok(()),
        }
    }

    /// Whether a row's point is on the map with all that a grid needs.
    fn counts(&self, row: usize) -> bool {
        let whole = [self.x[row], self.y[row], self.level_sd[row]];
        self.kept[row]
            && self.area[row] > 0.0
            && self.yield_kg_ha[row] > 0.0
            && self.yield_kg_ha[row].is_finite()
            && whole.iter().all(|v| v.is_finite())
    }
}
