//! A grid in figures.

use super::support::SHAPE;
use super::{Grid, GridPlan};
use crate::stats::quantile;
use crate::units::HECTARE_M2;

/// What there is to say of a grid.
#[derive(Debug, Clone, PartialEq)]
pub struct GridStats {
    /// Side of a cell, m.
    pub side: f64,
    /// CRS in which cells are square.
    pub crs: String,
    /// Cells.
    pub cells: u64,
    /// Cells on the field's ground that were left out.
    pub left_out: u64,
    /// The field's ground in them, ha.
    pub area_ha: f64,
    /// Mean yield over that ground, kg/ha.
    pub mean_kg_ha: Option<f64>,
    /// Median standard error, % of the cell's yield.
    pub se_pct: Option<f64>,
    /// The same without what the level of the field may be off by.
    pub se_within_pct: Option<f64>,
    /// Sd of the pattern of points, %.
    pub pattern_sd_pct: f64,
    /// Distance beyond which points of it are no longer alike, m; `None` without a pattern.
    pub range_m: Option<f64>,
    /// Sd of the error of a stretch of a pass, %.
    pub error_sd_pct: f64,
    /// Part of its variance that neighbouring stretches of one pass share.
    pub error_shared: f64,
}

impl GridStats {
    /// Of a grid and what it was made with.
    pub fn of(grid: &Grid, plan: &GridPlan) -> Self {
        let relative = |se: &[f64]| {
            let all: Vec<f64> = (se.iter().zip(&grid.yld_kg_ha))
                .filter(|(_, y)| **y > 0.0)
                .map(|(se, y)| 100.0 * se / y)
                .collect();
            quantile(&all, 0.5)
        };
        let structure = plan.structure;
        let cell_ha = grid.side * grid.side / HECTARE_M2;
        Self {
            side: grid.side,
            crs: grid.zone.map(|z| z.code()).unwrap_or_default(),
            cells: grid.len() as u64,
            left_out: grid.left_out as u64,
            area_ha: grid.ground_pct.iter().map(|p| p / 100.0 * cell_ha).sum(),
            mean_kg_ha: grid.mean_kg_ha(),
            se_pct: relative(&grid.yld_se),
            se_within_pct: relative(&grid.kriging_se),
            pattern_sd_pct: 100.0 * structure.sill.sqrt(),
            range_m: (structure.sill > 0.0).then(|| structure.range * SHAPE.practical_range()),
            error_sd_pct: 100.0 * structure.error.sqrt(),
            error_shared: structure.shared,
        }
    }
}
