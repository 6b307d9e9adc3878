//! The grid layer.

use super::ApplyError;
use super::ground::Ground;
use super::map::{Columns, level_sd};
use crate::geometry::UtmZone;
use crate::grid::{self, Grid, GridInput, GridParams, GridPlan, GridStats, NoGrid};
use crate::job::Job;
use crate::map::YieldMap;
use crate::pool::{MachineDecision, ScaleDecision};
use crate::prepare::Prepared;
use crate::summary::{GridSummary, Remark};

/// Sd of the time over which a machine mixes grain, s, where its own is not known: that of the delay's prior.
const USUAL_MIXING_S: f64 = 3.0;

/// A grid, or why there is none.
pub(super) struct Made {
    /// Empty where there is none.
    pub grid: Grid,
    /// Its figures.
    pub summary: Option<GridSummary>,
    /// What to know.
    pub remarks: Vec<Remark>,
}

impl Made {
    fn nothing(why: &str) -> Self {
        Self {
            grid: Grid::default(),
            summary: None,
            remarks: vec![Remark::new("no-grid", format!("the grid is empty: {why}"))],
        }
    }
}

/// Makes the grid of a field.
pub(super) fn make(
    job: &Job,
    field: &Prepared,
    (machines, scale): (&[MachineDecision], &ScaleDecision),
    ground: &Ground,
    columns: &Columns,
    map: &YieldMap,
) -> Result<Made, ApplyError> {
    let params = GridParams {
        side: job.grid_cell,
        ..GridParams::default()
    }
    .check()?;
    let Some([lon, lat]) = map.middle() else {
        return Ok(Made::nothing("no point has a position"));
    };
    let rows = 0..map.verdicts.len();
    let kept: Vec<bool> = rows.clone().map(|i| map.verdicts.is_kept(i)).collect();
    let level: Vec<f64> = rows.map(|i| level_sd(field, scale, ground, i)).collect();
    let passes: Vec<Vec<u32>> = (field.passes.passes.iter())
        .map(|p| field.timeline.tracks[p.track].rows[p.first..p.end].to_vec())
        .collect();
    let input = GridInput {
        frame: &field.frame,
        boundary: field.boundary.as_ref(),
        zone: UtmZone::of(lon, lat),
        passes: &passes,
        ground: &field.passes.ground,
        header_width: &field.passes.header_width,
        x: &columns.x,
        y: &columns.y,
        kept: &kept,
        yield_kg_ha: &columns.yield_kg_ha,
        area: &field.width.new_area,
        cut_m: &map.cut_m,
        level_sd: &level,
        blur_m: &blur(field, machines),
    };
    let plan = match grid::estimate(&input, &params)? {
        Ok(plan) => plan,
        Err(why) => return Ok(Made::nothing(&in_words(why))),
    };
    let grid = grid::apply(&input, &plan, &params, columns.unit);
    if grid.is_empty() {
        return Ok(Made::nothing("no cell holds enough of the field's ground"));
    }
    let stats = GridStats::of(&grid, &plan);
    Ok(Made {
        remarks: remarks(job, &plan, &stats),
        summary: Some(summary(&stats, columns.unit)),
        grid,
    })
}

/// Sd along the pass of the ground whose grain is mixed, of each row, m.
fn blur(field: &Prepared, machines: &[MachineDecision]) -> Vec<f64> {
    let mut out = vec![f64::NAN; field.input.log.len()];
    for (track, machine) in field.timeline.tracks.iter().zip(machines) {
        let found = machine.delay.mixing_s;
        let seconds = if found > 0.0 { found } else { USUAL_MIXING_S };
        for &row in &track.rows {
            out[row as usize] = seconds * field.passes.speed[row as usize];
        }
    }
    out
}

fn in_words(why: NoGrid) -> String {
    match why {
        NoGrid::TooFew { stretches, needed } => format!(
            "{stretches} stretches of passes have kept points, and it takes {needed} to see how alike yields are"
        ),
        NoGrid::NoPairs => {
            "too few stretches lie beside another pass, so that nothing tells how alike yields are"
                .into()
        }
        NoGrid::NoZone => "no UTM zone can be laid over the field".into(),
    }
}

fn summary(stats: &GridStats, unit: f64) -> GridSummary {
    GridSummary {
        cell_m: stats.side,
        crs: stats.crs.clone(),
        cells: stats.cells,
        left_out: stats.left_out,
        area_ha: stats.area_ha,
        mean: stats.mean_kg_ha.map(|m| m * unit),
        se_pct: stats.se_pct,
        se_within_pct: stats.se_within_pct,
        pattern_sd_pct: stats.pattern_sd_pct,
        range_m: stats.range_m,
        error_sd_pct: stats.error_sd_pct,
        error_shared: stats.error_shared,
    }
}

fn remarks(job: &Job, plan: &GridPlan, stats: &GridStats) -> Vec<Remark> {
    let mut out = Vec::new();
    if stats.side > job.grid_cell {
        out.push(Remark::new(
            "grid-coarser",
            format!(
                "cells are {} m wide instead of {}: the header cut {:.1} m, and a narrower cell has nothing of its own",
                stats.side, job.grid_cell, plan.swath
            ),
        ));
    }
    if stats.left_out > 0 {
        out.push(Remark::new(
            "grid-gaps",
            format!(
                "{} of {} cells on the field's ground are left out: kept points are farther away than yields are alike",
                stats.left_out,
                stats.left_out + stats.cells
            ),
        ));
    }
    out
}
