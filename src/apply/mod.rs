//! Third act: the field, corrected with what was pooled.

mod evidence;
mod figures;
mod grid;
mod ground;
mod map;
mod parts;
mod warnings;

use crate::checks::{CheckInput, CheckParams, Checked, RampSeconds, apply as check};
use crate::evidence::Evidence;
use crate::grid::Grid;
use crate::job::{Job, Layer};
use crate::map::YieldMap;
use crate::pool::{MachineDecision, ScaleDecision};
use crate::prepare::Prepared;
use crate::quality::{QualityInput, QualityParams, measure_on};
use crate::summary::{HeadlandSummary, QualitySummary, Summary};

use ground::Ground;

/// The fault of a caller, not of data: columns that do not belong together, or settings out of range.
#[derive(Debug, thiserror::Error)]
pub enum ApplyError {
    /// Columns of the checks.
    #[error("the checks cannot run")]
    Input(#[from] crate::checks::CheckInputError),
    /// Settings of the checks.
    #[error("the checks' settings cannot be used")]
    Params(#[from] crate::checks::CheckParamsError),
    /// Columns of the quality measures.
    #[error("the map's quality cannot be measured")]
    Quality(#[from] crate::quality::QualityInputError),
    /// Settings of the quality measures.
    #[error("the quality measures' settings cannot be used")]
    QualityParams(#[from] crate::quality::QualityParamsError),
    /// Columns of the grid.
    #[error("the grid cannot be made")]
    Grid(#[from] crate::grid::GridInputError),
    /// Settings of the grid.
    #[error("the grid's settings cannot be used")]
    GridParams(#[from] crate::grid::GridParamsError),
    /// Settings of the cut width.
    #[error("the cut width's settings cannot be used")]
    Width(#[from] crate::width::WidthError),
}

/// A field, corrected.
#[derive(Debug, Clone)]
pub struct Applied {
    /// Its map.
    pub map: YieldMap,
    /// Its grid, where the job asks for one; empty where the data carry none.
    pub grid: Option<Grid>,
    /// Its figures.
    pub summary: Summary,
    /// What they rest on.
    pub evidence: Evidence,
}

/// Corrects a field: its map, its figures, and what they rest on.
///
/// `machines`: a decision per track of the field's timeline; `scale`: one for its loads.
pub fn apply(
    job: &Job,
    field: &Prepared,
    machines: &[MachineDecision],
    scale: &ScaleDecision,
) -> Result<Applied, ApplyError> {
    let ground = ground::place(field, machines, &scale.loads);
    let columns = map::Columns::new(job, field, &ground);
    let mut checked = run_checks(job, field, machines, &ground, &columns)?;
    let quality = judge_quality(field, &columns, &mut checked)?;
    let mut map = map::build(
        field,
        scale,
        &ground,
        &columns,
        &checked.verdicts,
        quality.after.opposite_pass_pct,
    );
    if job.layers.contains(&Layer::Swaths) {
        map.swaths = Some(map::swaths(field, &field.newly_cut(job)?));
    }
    let mut summary = figures::summarise(job, field, machines, scale, &ground, &columns, &map);
    (summary.quality.before, summary.quality.after) = (quality.before, quality.after);
    summary.warnings = warnings::collect(job, field, machines, scale, &ground, &checked, &summary);
    let mut grid = None;
    if job.layers.contains(&Layer::Grid) {
        let pooled = (machines, scale);
        let made = grid::make(job, field, pooled, &ground, &columns, &map)?;
        summary.warnings.extend(made.remarks);
        summary.grid = made.summary;
        grid = Some(made.grid);
    }
    let limits = &checked.limits;
    let evidence = evidence::collect(field, machines, scale, &ground, columns, &map, limits);
    summary.headland = evidence.parts.map(|p| HeadlandSummary {
        depth_m: p.depth_m,
        area_ha: p.headland.area_ha,
        corrected_kg: p.headland.kg,
        mean: p.headland.mean,
        interior_mean: p.interior.mean,
    });
    Ok(Applied {
        map,
        grid,
        summary,
        evidence,
    })
}

fn run_checks(
    job: &Job,
    field: &Prepared,
    machines: &[MachineDecision],
    ground: &Ground,
    columns: &map::Columns,
) -> Result<Checked, ApplyError> {
    let Prepared {
        input,
        timeline,
        passes,
        width,
        ..
    } = field;
    let mut ramps = vec![RampSeconds::default(); input.log.machines.len()];
    for (track, machine) in timeline.tracks.iter().zip(machines) {
        ramps[track.machine as usize] = RampSeconds {
            entry: machine.ramps.entry.seconds,
            exit: machine.ramps.exit.seconds,
        };
    }
    let params = CheckParams {
        fixed: job.limits.clone(),
        ..CheckParams::default()
    }
    .check()?;
    let checked = check(
        &CheckInput {
            x: &columns.x,
            y: &columns.y,
            pass: &passes.pass_of,
            direction: &passes.direction,
            activity: &passes.activity,
            machine: &input.log.machine,
            since_entry: &passes.since_start,
            until_exit: &passes.until_stop,
            interval: &timeline.interval,
            speed: &passes.speed,
            header_width: &passes.header_width,
            cut_share: &width.share,
            narrow: &width.narrow,
            no_flow: &ground.no_flow,
            yield_kg_ha: &columns.yield_kg_ha,
            moisture: &ground.moisture,
            fault: &ground.fault,
            inside: &columns.inside,
            ramps: &ramps,
            crop: &field.season.crop,
        },
        &params,
    )?;
    Ok(checked)
}

fn judge_quality(
    field: &Prepared,
    columns: &map::Columns,
    checked: &mut Checked,
) -> Result<QualitySummary, ApplyError> {
    let kept: Vec<bool> = checked.verdicts.iter().map(|v| v.is_none()).collect();
    let input = QualityInput {
        x: &columns.x,
        y: &columns.y,
        pass: &field.passes.pass_of,
        direction: &field.passes.direction,
        header_width: &field.passes.header_width,
        before: &columns.yield_log_kg_ha,
        after: &columns.yield_kg_ha,
        kept: &kept,
    };
    let pieces = std::mem::take(&mut checked.pieces);
    let quality = measure_on(pieces, &input, &QualityParams::default().check()?)?;
    Ok(QualitySummary {
        before: quality.before,
        after: quality.after,
        closure_pct: None,
    })
}
