//! Newly cut ground row by row.

use super::offsets::{Sides, sides};
use super::swath::Swaths;
use super::{Checked, HeaderWidthCheck, Rows, Spacing};
use crate::geometry::{Boundary, CutRaster, Pieces};

/// Angle between the raster's lines and the perpendicular to the passes, radians (our choice, 10°: within a row of
/// 1.5 m the header's ends move by a cell against the raster, so their rounding evens out).
const TURN: f64 = 0.1745;
/// Departure of a row's raster share from its neighbours' geometry that is rounding, in cells of the header's width.
/// Our choice: most of a cell; 2 % of a 9 m header.
const ROUNDING_CELLS: f64 = 0.75;
/// A row is narrow where the error of its width would exceed this part of it (our choice: a quarter).
const WORST_RELATIVE_ERROR: f64 = 0.25;
/// Highest share that GNSS error can make a row narrow at (our choice: full swaths stay).
const HIGHEST_FLOOR: f64 = 0.9;

/// Cut width of every row. Vectors have one entry per row of the log.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct CutWidth {
    /// Newly cut ground, m²: 0 where the row cuts nothing, NaN where its ground is unknown.
    #[serde(with = "crate::log::bytes")]
    pub new_area: Vec<f64>,
    /// Share of the header on standing crop, 0–1; NaN where the row covers no ground.
    #[serde(with = "crate::log::bytes")]
    pub share: Vec<f64>,
    /// Share of newly cut cells on the raster, 0–1, as logged positions have it; NaN where the row covers no ground.
    #[serde(with = "crate::log::bytes")]
    pub raster_share: Vec<f64>,
    /// Rows that cut, but too little ground for a yield: their area is small against its error.
    pub narrow: Vec<bool>,
    /// Least share that is not narrow, after the receiver's error.
    pub least_share: f64,
    /// Ground cut once, m²: the sum of `new_area`.
    pub cut_area_m2: f64,
    /// The part of it inside the boundary, m²; all of it where there is no boundary.
    pub cut_area_inside_m2: f64,
    /// Union of all swaths as logged, m².
    pub raster_area_m2: f64,
    /// The spacing of the passes, by which widths were judged.
    pub spacing: Spacing,
}

impl CutWidth {
    /// Receiver's error across the track, sd, m; `None` where the field cannot tell.
    pub fn gnss_cross_track_sd_m(&self) -> Option<f64> {
        self.spacing.cross_track_sd
    }

    /// The header width that the spacing of passes points to, where it is far from the one given.
    pub fn header_width_check(&self) -> Option<HeaderWidthCheck> {
        self.spacing.header_width_check
    }
}

/// Cut widths of a field.
///
/// # Panics
/// If the columns of `rows.passes` differ in length, or `rows.order` names a row beyond them.
pub fn cut_width(rows: Rows<'_>, boundary: Option<&Boundary>, settings: &Checked) -> CutWidth {
    let swaths = Swaths::new(rows, settings);
    let runs = swaths.runs();
    let pieces = Pieces::cut(
        runs.iter().map(Vec::as_slice),
        |row| swaths.ground(row).map(|g| [g.from, g.to]),
        settings.0.piece,
    );
    let width_at = |p: &crate::geometry::Piece| {
        rows.passes.header_width[runs[p.pass as usize][p.first as usize] as usize]
    };
    let width: Vec<f64> = pieces.iter().map(width_at).collect();
    let run: Vec<u32> = pieces.iter().map(|p| p.pass).collect();
    let sides = sides(&pieces, &width);
    let spacing = Spacing::of(&sides, &width, &run, settings.0.cross_track_sd);

    let rounding = ROUNDING_CELLS * settings.0.cell;
    let mut shares: Vec<Shares> = rows
        .passes
        .header_width
        .iter()
        .map(|w| Shares::open(rounding / w))
        .collect();
    for ((piece, sides), &w) in pieces.iter().zip(&sides).zip(&width) {
        let mut of_piece = Shares::of(sides, &spacing, w, rounding);
        if let Some(rows) = settings.0.row_spacing {
            of_piece = of_piece.whole_rows(w, rows);
        }
        for &row in &runs[piece.pass as usize][piece.first as usize..piece.end as usize] {
            shares[row as usize] = of_piece;
        }
    }

    let mut raster = CutRaster::new(settings.0.cell, across(&pieces));
    let mut cut = lay(rows, &swaths, &shares, spacing, &mut raster);
    cut.finish(rows, settings, &raster, boundary);
    cut
}

/// A row's share of the header on standing crop, as the passes beside it have it.
#[derive(Debug, Clone, Copy)]
struct Shares {
    /// From the logged positions: what the raster should find.
    logged: f64,
    /// After judging the offsets.
    believed: f64,
    /// How far the raster may be off the former.
    tolerance: f64,
    /// The part of a row's own departure that is believed.
    own_part: f64,
}

impl Shares {
    /// Nothing beside.
    fn open(tolerance: f64) -> Self {
        Self {
            logged: 1.0,
            believed: 1.0,
            tolerance,
            own_part: 0.0,
        }
    }

    fn of(sides: &Sides, spacing: &Spacing, width: f64, rounding: f64) -> Self {
        let sum = |f: &dyn Fn(f64) -> f64| {
            sides
                .earlier
                .iter()
                .flatten()
                .map(|b| f(b.offset))
                .sum::<f64>()
                / width
        };
        Self {
            logged: (1.0 + sum(&|z| z.min(0.0))).max(0.0),
            believed: (1.0 + sum(&|z| spacing.believed(z, width))).clamp(0.0, 1.0),
            tolerance: (rounding + 2.0 * spacing.offset_error()) / width,
            own_part: 1.0 - spacing.error_part,
        }
    }

    /// The same with whole planted rows believed: those of the header that the nearest number of rows is. Within a
    /// piece a row more or less is no departure of a moment.
    fn whole_rows(self, width: f64, spacing: f64) -> Self {
        let of_header = (width / spacing).round().max(1.0);
        let rows = (self.believed * of_header).round();
        Self {
            believed: rows / of_header,
            tolerance: self.tolerance + 0.5 / of_header,
            own_part: 0.0,
            ..self
        }
    }

    /// The share that is believed where the raster found `found`: the piece's where the two agree, with as much of the
    /// row's own departure as is not error. Where they do not (point rows, headlands, ground run over again), the
    /// raster's, scaled as the piece's is.
    fn settle(&self, found: f64) -> f64 {
        if (found - self.logged).abs() <= self.tolerance {
            (self.believed + self.own_part * (found - self.logged)).clamp(0.0, 1.0)
        } else if found < self.logged {
            (found * self.believed / self.logged).min(1.0)
        } else {
            found
        }
    }
}

fn lay(
    rows: Rows<'_>,
    swaths: &Swaths<'_>,
    shares: &[Shares],
    spacing: Spacing,
    raster: &mut CutRaster,
) -> CutWidth {
    let n = rows.passes.ground.len();
    let mut cut = CutWidth {
        new_area: rows
            .passes
            .ground
            .iter()
            .map(|g| if g.is_some() { 0.0 } else { f64::NAN })
            .collect(),
        share: vec![f64::NAN; n],
        raster_share: vec![f64::NAN; n],
        narrow: vec![false; n],
        least_share: 0.0,
        cut_area_m2: 0.0,
        cut_area_inside_m2: 0.0,
        raster_area_m2: 0.0,
        spacing,
    };
    pulp::Arch::new().dispatch(Lay {
        rows,
        swaths,
        shares,
        raster,
        cut: &mut cut,
    });
    cut
}

/// Rows laid on the raster one after the other. For the widest instructions that the processor at hand has: to count bits is
/// one of them, which a plain x86-64 lacks.
struct Lay<'a> {
    rows: Rows<'a>,
    swaths: &'a Swaths<'a>,
    shares: &'a [Shares],
    raster: &'a mut CutRaster,
    cut: &'a mut CutWidth,
}

impl pulp::NullaryFnOnce for Lay<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Lay {
            rows,
            swaths,
            shares,
            raster,
            cut,
        } = self;
        for &row in rows.order {
            let (Some(quad), Some(ground)) = (swaths.quad(row), swaths.ground(row)) else {
                continue;
            };
            let filled = raster.fill_quad(quad);
            if filled.cells == 0 {
                continue;
            }
            let row = row as usize;
            let found = f64::from(filled.new) / f64::from(filled.cells);
            cut.raster_share[row] = found;
            cut.share[row] = shares[row].settle(found);
            cut.new_area[row] = cut.share[row] * ground.length() * rows.passes.header_width[row];
        }
    }
}

impl CutWidth {
    fn finish(
        &mut self,
        rows: Rows<'_>,
        settings: &Checked,
        raster: &CutRaster,
        boundary: Option<&Boundary>,
    ) {
        use crate::passes::Activity;
        let cuts = |row: usize| {
            matches!(
                rows.passes.activity[row],
                Activity::Cutting | Activity::Turning
            )
        };
        let (mut widths, mut n) = (0.0, 0.0);
        for (row, share) in self.share.iter().enumerate() {
            if share.is_finite() {
                widths += rows.passes.header_width[row];
                n += 1.0;
            }
        }
        let uncertain = if n > 0.0 {
            self.spacing.offset_error() / (widths / n) / WORST_RELATIVE_ERROR
        } else {
            0.0
        };
        self.least_share = settings.0.least_share.max(uncertain.min(HIGHEST_FLOOR));
        for (row, narrow) in self.narrow.iter_mut().enumerate() {
            *narrow = cuts(row)
                && self.new_area[row].is_finite()
                && (self.share[row].is_nan() || self.share[row] < self.least_share);
        }
        self.cut_area_m2 = self.new_area.iter().filter(|a| a.is_finite()).sum();
        self.raster_area_m2 = raster.area();
        self.cut_area_inside_m2 = match boundary {
            Some(boundary) if self.raster_area_m2 > 0.0 => {
                let part = raster.area_inside(boundary.shape()) / self.raster_area_m2;
                (self.cut_area_m2 * part).min(boundary.area())
            }
            _ => self.cut_area_m2,
        };
    }
}

/// Direction of the raster's lines: across the main direction of travel, and a little off it.
pub(super) fn across(pieces: &Pieces) -> f64 {
    // Headings and their opposites count alike: their doubled angles are averaged (Mardia & Jupp 2000, section 1.1).
    let [c, s] = pieces.iter().fold([0.0, 0.0], |[c, s], p| {
        let [x, y] = p.direction;
        [c + p.length * (x * x - y * y), s + p.length * 2.0 * x * y]
    });
    0.5 * s.atan2(c) + std::f64::consts::FRAC_PI_2 + TURN
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_rows_are_those_nearest() {
        // Twelve rows 0.762 m apart: 9.144 m.
        let share = |believed: f64, width: f64| {
            let piece = Shares {
                believed,
                logged: believed,
                ..Shares::open(0.02)
            };
            piece.whole_rows(width, 0.762)
        };
        assert_eq!(share(0.97, 9.144).believed, 1.0); // 11.64 rows
        assert_eq!(share(0.95, 9.144).believed, 11.0 / 12.0); // 11.4 rows
        assert_eq!(share(0.36, 9.144).believed, 4.0 / 12.0);
        assert_eq!(share(0.03, 9.144).believed, 0.0);
        assert_eq!(share(0.97, 9.0).believed, 1.0); // a header of 11.8 rows has twelve
        assert_eq!(share(1.0, 0.3).believed, 1.0); // less than one row is one
        // Rows within half a planted row of it are the piece; a point row is what the raster finds.
        let s = share(0.97, 9.144);
        assert_eq!(s.settle(0.93), 1.0);
        assert!((s.settle(0.485) - 0.5).abs() < 1e-9);
    }
}
