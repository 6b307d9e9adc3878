//! The ground that a row newly cut, as a quadrilateral.
//!
//! A header laps over ground that earlier passes cut, so the swaths of a field overlap. A row's share of standing crop
//! says how much of its swath was new; the raster says on which side the rest lies. The swath is narrowed there, so that
//! its area is that of the newly cut ground and neighbours hardly overlap. Where ground was cut before or behind the
//! header instead of beside it (a pass that runs into a headland), it is narrowed all the same: its area is right, its
//! shape is not. Exact differences of polygons would follow positions that are themselves decimetres off.

use super::apply::across;
use super::swath::Swaths;
use super::{Checked, Rows};
use crate::geometry::{CutRaster, Pieces};

/// Corners of each row's newly cut ground, counter-clockwise, m. `None` where a row cuts none. `share`: share of the
/// header on standing crop of each row.
///
/// # Panics
/// If `share` and the columns of `rows.passes` differ in length, or `rows.order` names a row beyond them.
pub fn newly_cut(rows: Rows<'_>, share: &[f64], settings: &Checked) -> Vec<Option<[[f64; 2]; 4]>> {
    let swaths = Swaths::new(rows, settings);
    let runs = swaths.runs();
    let pieces = Pieces::cut(
        runs.iter().map(Vec::as_slice),
        |row| swaths.ground(row).map(|g| [g.from, g.to]),
        settings.0.piece,
    );
    let mut raster = CutRaster::new(settings.0.cell, across(&pieces));
    let mut out = vec![None; share.len()];
    for &row in rows.order {
        let Some([right, far_right, far_left, left]) = swaths.quad(row) else {
            continue;
        };
        let (near, far) = (between(right, left, 0.5), between(far_right, far_left, 0.5));
        let mut cut_before = |quad| {
            let filled = raster.fill_quad(quad);
            if filled.cells == 0 {
                0.0
            } else {
                1.0 - f64::from(filled.new) / f64::from(filled.cells)
            }
        };
        let on_right = cut_before([right, far_right, far, near]);
        let on_left = cut_before([near, far, far_left, left]);
        let share = share[row as usize];
        if !(share > 0.0) {
            continue;
        }
        let [from, to] = kept_part(share, on_right, on_left);
        out[row as usize] = Some([
            between(right, left, from),
            between(far_right, far_left, from),
            between(far_right, far_left, to),
            between(right, left, to),
        ]);
    }
    out
}

/// Where the newly cut part of a header starts and ends, from its right end (0) to its left (1). `on_right`, `on_left`:
/// how much of each half was cut before.
fn kept_part(share: f64, on_right: f64, on_left: f64) -> [f64; 2] {
    let lost = 1.0 - share.min(1.0);
    let overlap = on_right + on_left;
    let right = if overlap > 0.0 {
        on_right / overlap
    } else {
        0.5
    };
    [lost * right, 1.0 - lost * (1.0 - right)]
}

fn between(a: [f64; 2], b: [f64; 2], part: f64) -> [f64; 2] {
    [a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1])]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_swath_is_narrowed_where_ground_was_cut_before() {
        assert_eq!(kept_part(1.0, 0.0, 0.0), [0.0, 1.0]);
        assert_eq!(kept_part(0.75, 0.5, 0.0), [0.25, 1.0]);
        assert_eq!(kept_part(0.75, 0.0, 0.5), [0.0, 0.75]);
        assert_eq!(kept_part(0.5, 0.4, 0.4), [0.25, 0.75]);
        // Lap that the raster does not see is taken from both sides alike.
        assert_eq!(kept_part(0.5, 0.0, 0.0), [0.25, 0.75]);
    }
}
