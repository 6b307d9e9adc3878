//! What the field says of itself: side of the cells, how yields of its ground are alike, how stretches err.

use super::stretches::{Stretch, stretches, usual};
use super::support::{SHAPE, nodes, rise};
use super::{CheckedGridParams, GridInput, GridInputError};
use crate::geometry::Lattice;
use crate::stats::variogram::{Estimator, LagClass, LagClasses, empirical, fit_rise};
use crate::stats::{median, quantile};

/// All pairs count in full. The checks have set odd points aside, and a stretch is the mean of several; a robust estimator takes
/// the edge of a poor headland for an outlier, and standard errors then come out too small (see DEVELOPERS).
const ESTIMATOR: Estimator = Estimator::Matheron;
/// Least length of a stretch where cells are not smaller, m. Our choice: some points each, and as long as a machine blurs what it
/// cuts in any case; half a cell where that is more, so that few stretches cover it.
const STRETCH_M: f64 = 10.0;
/// Width of a class of the variogram in cut widths, as in `quality`: the first holds neighbouring passes.
const CLASS_WIDTHS: f64 = 1.5;
/// Fewest classes of the variogram, as in `quality`.
const CLASSES: usize = 8;
/// Directions between two stretches of parallel passes, from along to across, degrees (our choice: what pairs of different
/// passes are like once they are some widths apart).
const DIRECTIONS: [f64; 3] = [30.0, 60.0, 90.0];
/// Stretches of a pass up to this many steps apart are looked at for what they share (our choice: about the reach of a
/// cell's neighbours).
const STEPS: usize = 3;
/// Largest part of the error that stretches of a pass may share (our choice: with all of it their mean would be known
/// no better than one of them).
const MOST_SHARED: f64 = 0.95;

/// How alike yields are, in natural logarithms (so that they have no unit), and how stretches err.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Structure {
    /// Variance of the pattern of points; 0: there is none.
    pub sill: f64,
    /// Distance over which points of the pattern grow unlike: at three times it 95 % of the sill is reached (exponential
    /// model), m.
    pub range: f64,
    /// Variance of the error of a usual stretch.
    pub error: f64,
    /// Part of it that neighbouring stretches of one pass share, 0–1.
    pub shared: f64,
}

/// Why there is no grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoGrid {
    /// Too few stretches of kept points.
    TooFew {
        /// How many there are.
        stretches: usize,
        /// How many it takes.
        needed: usize,
    },
    /// No class of the variogram holds enough pairs: all on one pass, or too far apart.
    NoPairs,
    /// The field lies where no UTM zone can be used.
    NoZone,
}

/// What a grid is made with.
#[derive(Debug, Clone)]
pub struct GridPlan {
    pub(super) lattice: Lattice,
    pub(super) stretches: Vec<Stretch>,
    /// Usual cut width of kept points, m.
    pub swath: f64,
    /// What the field's yields are like.
    pub structure: Structure,
}

impl GridPlan {
    /// Side of a cell, m.
    pub fn side(&self) -> f64 {
        self.lattice.side()
    }
}

/// Plans the grid of a field.
///
/// # Errors
/// Columns that differ in length. `Ok(Err)`: the field's data carry no grid.
pub fn estimate(
    input: &GridInput<'_>,
    params: &CheckedGridParams,
) -> Result<Result<GridPlan, NoGrid>, GridInputError> {
    input.check()?;
    Ok(plan(input, params))
}

fn plan(input: &GridInput<'_>, params: &CheckedGridParams) -> Result<GridPlan, NoGrid> {
    let widths: Vec<f64> = (0..input.x.len())
        .filter(|&i| input.counts(i) && input.cut_m[i] > 0.0)
        .map(|i| input.cut_m[i])
        .collect();
    let too_few = |stretches| NoGrid::TooFew {
        stretches,
        needed: params.fewest_stretches,
    };
    let swath = median(&widths).ok_or(too_few(0))?;
    let side = side(params, swath);
    let lattice = Lattice::about(input.frame, input.zone, side).ok_or(NoGrid::NoZone)?;
    let stretches = stretches(input, &lattice, stretch_length(side));
    if stretches.len() < params.fewest_stretches {
        return Err(too_few(stretches.len()));
    }
    let structure = structure(&stretches, swath, params).ok_or(NoGrid::NoPairs)?;
    Ok(GridPlan {
        lattice,
        stretches,
        swath,
        structure,
    })
}

/// The side asked for; the next round one above the swath where that is wider, because a cell narrower than a header has
/// nothing of its own.
fn side(params: &CheckedGridParams, swath: f64) -> f64 {
    const HAIR: f64 = 1.01; // cut widths are no better known than that
    if params.side * HAIR >= swath {
        params.side
    } else {
        (swath / HAIR / params.round_side).ceil() * params.round_side
    }
}

/// About how long stretches are for cells of a side, m.
fn stretch_length(side: f64) -> f64 {
    (0.5 * side).max(side.min(STRETCH_M))
}

/// Variogram between passes and along them. `None` where no class holds enough pairs.
fn structure(stretches: &[Stretch], swath: f64, params: &CheckedGridParams) -> Option<Structure> {
    let values: Vec<f64> = stretches.iter().map(|s| s.yield_kg_ha.ln()).collect();
    let passes: Vec<u32> = stretches.iter().map(|s| s.pass).collect();
    let places: Vec<[f64; 2]> = stretches.iter().map(|s| s.middle).collect();
    let width = CLASS_WIDTHS * swath;
    let classes = LagClasses {
        width,
        count: CLASSES.max((params.variogram_reach / width).ceil() as usize),
    };
    let mut between = empirical(
        &places,
        &values,
        classes,
        ESTIMATOR,
        params.anchors,
        Some(&passes),
    );
    between.retain(|c| c.pairs >= params.fewest_pairs);
    if between.is_empty() {
        return None;
    }
    let sd = [0, 1].map(|k| usual(stretches, |s| s.sd[k]));
    let here = nodes([0.0; 2], [1.0, 0.0], sd[0]?, sd[1]?);
    let at = |distance: f64, degrees: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        here.map(|[x, y]| [x + distance * cos, y + distance * sin])
    };
    let mean_rise = |lag: f64, range: f64| {
        let sum: f64 = DIRECTIONS
            .iter()
            .map(|&d| rise(&here, &at(lag, d), range))
            .sum();
        sum / DIRECTIONS.len() as f64
    };
    let least = params.least_error.powi(2);
    let Some(model) = fit_rise(&between, SHAPE, mean_rise) else {
        // Too few classes, or nothing varies: no pattern, and what differs is error.
        let all = median(&between.iter().map(|c| c.gamma).collect::<Vec<_>>())?;
        return Some(Structure {
            sill: 0.0,
            range: swath,
            error: all.max(least),
            shared: 0.0,
        });
    };
    let error = model.nugget.max(least);
    let along = along_passes(stretches, &values, params);
    let differ: Vec<f64> = along
        .iter()
        .map(|c| c.gamma - model.partial_sill * rise(&here, &at(c.lag, 0.0), model.range))
        .collect();
    let shared = median(&differ).map_or(0.0, |d| (1.0 - d / error).clamp(0.0, MOST_SHARED));
    Some(Structure {
        sill: model.partial_sill,
        range: model.range,
        error,
        shared,
    })
}

/// Variogram of stretches of the same pass, a class a step.
fn along_passes(
    stretches: &[Stretch],
    values: &[f64],
    params: &CheckedGridParams,
) -> Vec<LagClass> {
    const APART: f64 = 1e6; // passes are laid end to end, so far apart that no pair reaches the next
    let line: Vec<[f64; 2]> = stretches
        .iter()
        .map(|s| [f64::from(s.pass) * APART + s.along, 0.0])
        .collect();
    let steps: Vec<f64> = stretches
        .windows(2)
        .filter(|w| w[0].pass == w[1].pass)
        .map(|w| w[1].along - w[0].along)
        .collect();
    let Some(step) = quantile(&steps, 0.5).filter(|s| *s > 0.0) else {
        return vec![];
    };
    // Half a step aside, so that classes hold one step each.
    let classes = LagClasses {
        width: 0.5 * step,
        count: 2 * STEPS + 1,
    };
    let mut all = empirical(&line, values, classes, ESTIMATOR, usize::MAX, None);
    all.retain(|c| c.pairs >= params.fewest_pairs && c.lag > 0.5 * step);
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridParams;

    #[test]
    fn stretches_are_short_against_large_cells() {
        assert_eq!(
            [4.0, 10.0, 15.0, 20.0, 50.0, 200.0].map(stretch_length),
            [4.0, 10.0, 10.0, 10.0, 25.0, 100.0]
        );
    }

    #[test]
    fn a_cell_is_never_finer_than_the_swath() {
        let params = GridParams::default().check().expect("the defaults");
        for (swath, expected) in [
            (4.5, 10.0),
            (10.0, 10.0),
            (10.05, 10.0),
            (10.7, 15.0),
            (15.1, 15.0),
            (18.3, 20.0),
        ] {
            assert_eq!(side(&params, swath), expected, "{swath}");
        }
        let asked = GridParams {
            side: 12.5,
            ..GridParams::default()
        }
        .check()
        .expect("a side");
        assert_eq!(side(&asked, 12.2), 12.5);
    }
}
