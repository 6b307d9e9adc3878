//! The grid as two small pictures: what cells yield, and how well that is known.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::thumbnail::{encode, shade};
use crate::grid::Grid;
use crate::report::numbers::{count, optional, rounded, yield_decimals};
use crate::stats::quantile;
use crate::summary::Summary;

/// Most cells along a picture's longer side (our choice: a field is never that long; two of its parts may lie far apart).
const MOST: usize = 2_000;
/// Widths on the page that a cell is drawn at, pixels, from the few cells of a small field to many.
const DRAWN: [usize; 5] = [12, 8, 6, 4, 3];
/// Width of a picture on the page that is aimed at, pixels.
const AIM: usize = 420;

/// Both pictures with what there is to say.
pub(super) struct Cells {
    /// Mean yield, a PNG as base64.
    pub yields: String,
    /// Standard error, a PNG as base64.
    pub errors: String,
    /// Width and height on the page, pixels.
    pub size: [usize; 2],
    /// What they show.
    pub caption: String,
    /// What the second shows.
    pub errors_caption: String,
}

/// `scale`: ends of the maps' colours. `None` where there are no cells.
pub(super) fn of(grid: &Grid, s: &Summary, scale: Option<[f64; 2]>) -> Option<Cells> {
    let figures = s.grid.as_ref()?;
    let errors: Vec<f64> = (grid.kriging_se.iter().zip(&grid.yld_kg_ha))
        .map(|(se, y)| 100.0 * se / y)
        .collect();
    let ends = [quantile(&errors, 0.02)?, quantile(&errors, 0.98)?];
    let scale =
        scale.or_else(|| Some([quantile(&grid.yields, 0.02)?, quantile(&grid.yields, 0.98)?]))?;
    let frame = Frame::of(grid)?;
    let picture = |values: &[f64], ends| frame.picture(grid, values, ends);
    let side = DRAWN
        .into_iter()
        .find(|side| side * frame.size[0].max(frame.size[1]) <= AIM)
        .unwrap_or(2);
    let decimals = yield_decimals(&s.yields.unit);
    Some(Cells {
        yields: picture(&grid.yields, scale)?,
        errors: picture(&errors, ends)?,
        size: frame.size.map(|cells| cells * side),
        caption: format!(
            "{} squares of {} m, each the mean over the field's ground in it, predicted from the kept points around (block kriging); headlands and ends of passes are filled from there. Together they yield {} {}; all grain over all ground, {}. A square's 95 % interval is about two standard errors either way. Half of the squares have one below {} %; without what the level of the whole field may be off by, below {} %: so well can squares be told apart.",
            count(figures.cells),
            rounded(figures.cell_m, 1),
            optional(figures.mean, decimals),
            s.yields.unit,
            optional(s.yields.mean, decimals),
            optional(figures.se_pct, 1),
            optional(figures.se_within_pct, 1)
        ),
        errors_caption: format!(
            "Standard error without the common level: dark {} %, light {} %",
            rounded(ends[0], 1),
            rounded(ends[1], 1)
        ),
    })
}

/// Where cells lie in a picture.
struct Frame {
    west: f64,
    north: f64,
    size: [usize; 2],
}

impl Frame {
    fn of(grid: &Grid) -> Option<Self> {
        let range = |values: &[f64]| {
            let of = |pick: fn(f64, f64) -> f64| values.iter().copied().reduce(pick);
            Some([of(f64::min)?, of(f64::max)?])
        };
        let ([west, east], [south, north]) = (range(&grid.east_m)?, range(&grid.north_m)?);
        let cells = |span: f64| (span / grid.side).round() as usize + 1;
        let size = [cells(east - west), cells(north - south)];
        (size[0].max(size[1]) <= MOST).then_some(Self { west, north, size })
    }

    /// A pixel a cell, as base64.
    fn picture(&self, grid: &Grid, values: &[f64], [low, high]: [f64; 2]) -> Option<String> {
        let mut pixels = vec![0; self.size[0] * self.size[1]];
        for (k, value) in values.iter().enumerate() {
            let at = |span: f64| (span / grid.side).round() as usize;
            let (column, row) = (
                at(grid.east_m[k] - self.west),
                at(self.north - grid.north_m[k]),
            );
            if value.is_finite() {
                pixels[row * self.size[0] + column] = shade((value - low) / (high - low).max(1e-9));
            }
        }
        let bytes = encode(&pixels, self.size[0] as u32, self.size[1] as u32)?;
        Some(STANDARD.encode(bytes))
    }
}
