//! The checks in their order.

use super::estimate::{Limits, limits, speed_change, speed_step};
use super::input::{CheckInput, CheckInputError};
use super::neighbours::Points;
use super::params::CheckedParams;
use super::pass_rows::PassRows;
use super::physical::physical;
use super::pieces::{Ground, Pieces};
use super::sides::MachineOffsets;
use super::stats::CheckStats;
use super::whole_pass::odd_passes;
use crate::log::{Reason, Verdicts};
use crate::summary::Remark;

/// What the checks found.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// Kept, or set aside and why; one entry per row.
    pub verdicts: Verdicts,
    /// The limits that were used.
    pub limits: Limits,
    /// Counts.
    pub stats: CheckStats,
    /// What to know about them.
    pub remarks: Vec<Remark>,
    /// The pieces of passes that points were held against: what was kept, and what was set aside against them.
    pub(crate) pieces: Pieces,
}

/// Gives every row its verdict.
pub fn apply(input: &CheckInput, params: &CheckedParams) -> Result<Checked, CheckInputError> {
    input.check()?;
    let rows = PassRows::new(input.pass, Some(input.since_entry));
    let mut verdicts = Verdicts::all_kept(input.rows());
    physical(input, &rows, params, &mut verdicts);
    let limits = limits(input, &rows, &verdicts, params);
    by_limits(input, &rows, &limits, &mut verdicts);
    let pieces = by_neighbours(input, &rows, &limits, params, &mut verdicts);
    let stats = CheckStats::of(&verdicts);
    let remarks = stats.remarks(params);
    Ok(Checked {
        verdicts,
        limits,
        stats,
        remarks,
        pieces,
    })
}

/// Speed, moisture, and yields beyond the bounds that nothing excuses.
fn by_limits(input: &CheckInput, rows: &PassRows, limits: &Limits, verdicts: &mut Verdicts) {
    for i in 0..input.rows() {
        let outside = |value: f64, (low, high): (f64, f64)| value < low || value > high; // false for missing
        let reasons = [
            (outside(input.speed[i], limits.speed), Reason::SpeedLimits),
            (
                outside(input.moisture[i], limits.moisture),
                Reason::MoistureLimits,
            ),
            (
                outside(input.yield_kg_ha[i], limits.yield_bounds),
                Reason::YieldLimits,
            ),
        ];
        if let Some((_, reason)) = reasons.into_iter().find(|(applies, _)| *applies) {
            verdicts.set_aside(i, reason);
        }
    }
    for rows in rows.iter() {
        let step = speed_step(input, rows);
        for pair in rows.windows(step + 1) {
            if speed_change(input, pair[0] as usize, pair[step] as usize).abs()
                > limits.abrupt_change
            {
                // Flow and ground are mismatched on either side of the change.
                for &i in pair {
                    verdicts.set_aside(i as usize, Reason::AbruptSpeed);
                }
            }
        }
    }
}

/// Yields beyond the data's limits, whole passes, and single points, against the passes beside them. Hands back the pieces
/// of passes that points were held against.
fn by_neighbours(
    input: &CheckInput,
    rows: &PassRows,
    limits: &Limits,
    params: &CheckedParams,
    verdicts: &mut Verdicts,
) -> Pieces {
    let mut log_yield: Vec<f64> = (0..input.rows())
        .map(|i| {
            if verdicts.is_kept(i) {
                input.yield_kg_ha[i].ln()
            } else {
                f64::NAN
            }
        })
        .collect();
    let cut = |log_yield: &[f64]| {
        Pieces::new(
            &ground(input, log_yield),
            rows,
            params.piece_length,
            params.piece_points,
        )
    };
    let pieces = cut(&log_yield);
    let offsets = MachineOffsets::new(&pieces, input.ramps.len());
    let odd = odd_passes(&pieces, &offsets, params);
    for (i, value) in log_yield.iter_mut().enumerate() {
        if input.pass[i].is_some_and(|p| odd.binary_search(&p).is_ok()) {
            verdicts.set_aside(i, Reason::PassOutlier);
            *value = f64::NAN;
        }
    }
    // An odd pass must not speak for or against the points beside it.
    let pieces = if odd.is_empty() {
        pieces
    } else {
        cut(&log_yield)
    };
    let ground = ground(input, &log_yield);
    let points = Points::new(input, &ground, &pieces, &offsets);
    let beyond =
        |i: usize| input.yield_kg_ha[i] < limits.yields.0 || input.yield_kg_ha[i] > limits.yields.1;
    for row in points.without_company(beyond) {
        verdicts.set_aside(row, Reason::YieldLimits);
    }
    // What belongs to no piece has nothing beside it either.
    let mut in_piece = vec![false; input.rows()];
    for piece in &pieces.pieces {
        pieces.points[piece.first..piece.end]
            .iter()
            .for_each(|&row| in_piece[row as usize] = true);
    }
    for i in (0..input.rows()).filter(|&i| beyond(i) && !in_piece[i]) {
        verdicts.set_aside(i, Reason::YieldLimits);
    }
    for row in points.outliers(params) {
        verdicts.set_aside(row, Reason::NeighbourOutlier);
    }
    pieces
}

fn ground<'a>(input: &CheckInput<'a>, log_yield: &'a [f64]) -> Ground<'a> {
    Ground {
        x: input.x,
        y: input.y,
        direction: input.direction,
        machine: input.machine,
        width: input.header_width,
        log_yield,
    }
}
