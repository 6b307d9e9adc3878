//! The figures.

use thiserror::Error;

use super::pairs::{opposed, predictors};
use super::params::CheckedQualityParams;
use crate::checks::PassRows;
use crate::checks::pieces::{Ground, Pieces};
use crate::stats::variogram::{Estimator, LagClasses, Shape, empirical_of, fit};
use crate::stats::{MAD_TO_SIGMA, median, median_in_place};
use crate::summary::MapQuality;

/// Borrowed columns, one entry per row of the log. NaN is missing.
#[derive(Debug, Clone, Copy)]
pub struct QualityInput<'a> {
    /// Middle of the row's ground, east, m.
    pub x: &'a [f64],
    /// Middle of the row's ground, north, m.
    pub y: &'a [f64],
    /// Index of the pass; `None` off passes. Rows of a pass stand in the order of travel.
    pub pass: &'a [Option<u32>],
    /// Direction of travel, radians counter-clockwise from east.
    pub direction: &'a [f64],
    /// Width of the header, m.
    pub header_width: &'a [f64],
    /// Yield of the map before, any unit.
    pub before: &'a [f64],
    /// Yield of the map after, any unit.
    pub after: &'a [f64],
    /// Whether the point is kept.
    pub kept: &'a [bool],
}

/// Columns that do not belong together: an error of the caller, not of data.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("quality: column {column} must have {expected} entries, but has {found}")]
pub struct QualityInputError {
    /// The column.
    pub column: &'static str,
    /// Entries it must have.
    pub expected: usize,
    /// Entries it has.
    pub found: usize,
}

/// Quality of two maps on the same points.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Quality {
    /// The map before.
    pub before: MapQuality,
    /// The map after.
    pub after: MapQuality,
    /// Points that both figures rest on.
    pub points: usize,
    /// Pairs of points on opposed passes.
    pub opposed_pairs: usize,
}

impl QualityInput<'_> {
    fn check(&self) -> Result<(), QualityInputError> {
        let expected = self.x.len();
        let lengths = [
            ("y", self.y.len()),
            ("pass", self.pass.len()),
            ("direction", self.direction.len()),
            ("header_width", self.header_width.len()),
            ("before", self.before.len()),
            ("after", self.after.len()),
            ("kept", self.kept.len()),
        ];
        match lengths.iter().find(|(_, n)| *n != expected) {
            Some(&(column, found)) => Err(QualityInputError {
                column,
                expected,
                found,
            }),
            None => Ok(()),
        }
    }

    /// Natural logarithm of one of the two columns where the point counts, else NaN.
    fn log_yield(&self, column: &[f64]) -> Vec<f64> {
        let counts = |i: usize| {
            self.kept[i]
                && self.pass[i].is_some()
                && self.before[i] > 0.0
                && self.after[i] > 0.0
                && [self.before[i], self.after[i], self.x[i], self.y[i]]
                    .iter()
                    .all(|v| v.is_finite())
        };
        (0..column.len())
            .map(|i| if counts(i) { column[i].ln() } else { f64::NAN })
            .collect()
    }
}

/// Measures both maps. A figure is `None` where too few pairs or pieces carry it.
pub fn measure(
    input: &QualityInput,
    params: &CheckedQualityParams,
) -> Result<Quality, QualityInputError> {
    input.check()?;
    let columns = [input.log_yield(input.before), input.log_yield(input.after)];
    let one_machine = vec![0; input.x.len()];
    let ground = Ground {
        x: input.x,
        y: input.y,
        direction: input.direction,
        machine: &one_machine,
        width: input.header_width,
        log_yield: &columns[0],
    };
    let rows = PassRows::new(input.pass, None);
    let pieces = Pieces::new(&ground, &rows, params.piece_length, params.piece_points);
    Ok(figures(&pieces, input, &columns, params))
}

/// The same on the pieces of passes that the checks went by, which then need not be looked for again: `piece_length` and
/// `piece_points` are theirs.
pub(crate) fn measure_on(
    pieces: Pieces,
    input: &QualityInput,
    params: &CheckedQualityParams,
) -> Result<Quality, QualityInputError> {
    input.check()?;
    let columns = [input.log_yield(input.before), input.log_yield(input.after)];
    let pieces = pieces.of_points(|i| columns[0][i].is_finite());
    Ok(figures(&pieces, input, &columns, params))
}

/// Both maps' figures. `columns`: their log yields, with values at the same points.
fn figures(
    pieces: &Pieces,
    input: &QualityInput,
    columns: &[Vec<f64>; 2],
    params: &CheckedQualityParams,
) -> Quality {
    let pairs = opposed(pieces, input.x, input.y, params.points);
    let predictors = predictors(pieces);
    let spread = |sizes: Vec<f64>| robust_pct(sizes, params.fewest);
    let nuggets = nuggets_to_sills(input, columns, params);
    let [before, after] = [0, 1].map(|k| (&columns[k], nuggets[k]));
    let [before, after] = [before, after].map(|(column, nugget_to_sill)| MapQuality {
        opposite_pass_pct: spread(
            pairs
                .iter()
                .map(|&(i, j)| column[i as usize] - column[j as usize])
                .collect(),
        ),
        nugget_to_sill,
        held_out_pct: spread(held_out(pieces, &predictors, column)),
    });
    Quality {
        before,
        after,
        points: columns[0].iter().filter(|v| v.is_finite()).count(),
        opposed_pairs: pairs.len(),
    }
}

/// 100 · 1.4826 · median |difference|; `None` for too few.
fn robust_pct(mut differences: Vec<f64>, fewest: usize) -> Option<f64> {
    differences.iter_mut().for_each(|d| *d = d.abs());
    if differences.len() < fewest {
        return None;
    }
    median_in_place(&mut differences).map(|m| 100.0 * MAD_TO_SIGMA * m)
}

/// Log yield of each piece less its prediction from the pieces beside it.
fn held_out(
    pieces: &Pieces,
    predictors: &[(usize, Vec<(usize, f64)>)],
    column: &[f64],
) -> Vec<f64> {
    let value = |k: usize| {
        let piece = pieces.pieces[k];
        let points = &pieces.points[piece.first..piece.end];
        median(
            &points
                .iter()
                .map(|&i| column[i as usize])
                .collect::<Vec<_>>(),
        )
        .unwrap_or(f64::NAN)
    };
    let values: Vec<f64> = (0..pieces.pieces.len()).map(value).collect();
    predictors
        .iter()
        .map(|(k, weights)| {
            let known = weights
                .iter()
                .filter(|(other, _)| values[*other].is_finite());
            let (sum, total) = known.fold((0.0, 0.0), |(sum, total), &(other, w)| {
                (sum + w * values[other], total + w)
            });
            values[*k] - sum / total
        })
        .filter(|d| d.is_finite())
        .collect()
}

/// Nugget over sill of the variogram of each column over pairs on different passes.
fn nuggets_to_sills(
    input: &QualityInput,
    columns: &[Vec<f64>; 2],
    params: &CheckedQualityParams,
) -> [Option<f64>; 2] {
    // Both columns have their values at the same points.
    let mut rows: Vec<usize> = (0..columns[0].len())
        .filter(|&i| columns[0][i].is_finite())
        .collect();
    let stride = rows.len().div_ceil(params.variogram_points).max(1);
    rows = rows.into_iter().step_by(stride).collect();
    let positions: Vec<[f64; 2]> = rows.iter().map(|&i| [input.x[i], input.y[i]]).collect();
    let [before, after] = columns
        .each_ref()
        .map(|column| rows.iter().map(|&i| column[i]).collect::<Vec<f64>>());
    let passes: Vec<u32> = rows.iter().filter_map(|&i| input.pass[i]).collect();
    let widths: Vec<f64> = rows.iter().map(|&i| input.header_width[i]).collect();
    let Some(width) = median(&widths) else {
        return [None; 2];
    };
    let classes = LagClasses {
        width: 1.5 * width,
        count: params.lags,
    };
    let variograms = empirical_of(
        &positions,
        [&before, &after],
        classes,
        Estimator::CressieHawkins,
        usize::MAX,
        Some(&passes),
    );
    variograms.map(|mut variogram| {
        variogram.retain(|class| class.pairs >= params.fewest);
        fit(&variogram, Shape::Spherical).map(|m| m.nugget / m.sill())
    })
}
