//! Standing crop: which cells of the field are cut already, and by which pass.

use super::shape::{Shape, crossing, extent};

/// Side of a cell, m (our choice: a thirtieth of a usual header).
pub(super) const CELL: f64 = 0.25;

const UNCUT: u16 = 0;
const OUTSIDE: u16 = u16::MAX;

/// The field as cells. A pass sees its own cells as standing, so that the ground under a moving header is
/// measured along the track without the steps of the cells.
#[derive(Debug, Clone)]
pub(super) struct Crop {
    low: [f64; 2],
    columns: usize,
    rows: usize,
    cells: Vec<u16>,
}

impl Crop {
    pub(super) fn new(shape: &Shape) -> Self {
        let (low, high) = shape.bounds();
        let size = |axis: usize| ((high[axis] - low[axis]) / CELL).ceil() as usize;
        let (columns, rows) = (size(0), size(1));
        let mut crop = Self {
            low,
            columns,
            rows,
            cells: vec![OUTSIDE; columns * rows],
        };
        let ground = shape.inset(0.0);
        for row in 0..rows {
            let y = low[1] + (row as f64 + 0.5) * CELL;
            for (from, to) in ground.spans(y) {
                crop.span(row, from, to, |cell| *cell = UNCUT);
            }
        }
        crop
    }

    /// Whether crop stands at a place before the header of pass `pass` reaches it.
    pub(super) fn stands(&self, p: [f64; 2], pass: u16) -> bool {
        let (u, v) = ((p[0] - self.low[0]) / CELL, (p[1] - self.low[1]) / CELL);
        if !(u >= 0.0 && v >= 0.0 && u < self.columns as f64 && v < self.rows as f64) {
            return false;
        }
        let cell = self.cells[v as usize * self.columns + u as usize];
        cell == UNCUT || cell == pass
    }

    /// Cuts the standing cells whose middles lie in a convex quadrilateral.
    pub(super) fn cut(&mut self, quad: [[f64; 2]; 4], pass: u16) {
        let (lowest, highest) = extent(quad.iter().map(|p| p[1]));
        let first = (((lowest - self.low[1]) / CELL - 0.5).ceil().max(0.0)) as usize;
        let end = ((((highest - self.low[1]) / CELL - 0.5).floor() + 1.0).max(0.0) as usize)
            .min(self.rows);
        for row in first..end {
            let y = self.low[1] + (row as f64 + 0.5) * CELL;
            let (mut from, mut to) = (f64::INFINITY, f64::NEG_INFINITY);
            for i in 0..4 {
                let (a, b) = (quad[i], quad[(i + 1) % 4]);
                if (a[1] > y) != (b[1] > y) {
                    let x = crossing(a, b, y);
                    from = from.min(x);
                    to = to.max(x);
                }
            }
            self.span(row, from, to, |cell| {
                if *cell == UNCUT {
                    *cell = pass;
                }
            });
        }
    }

    fn span(&mut self, row: usize, from: f64, to: f64, mut change: impl FnMut(&mut u16)) {
        let first = ((from - self.low[0]) / CELL - 0.5).ceil().max(0.0) as usize;
        let end =
            ((((to - self.low[0]) / CELL - 0.5).floor() + 1.0).max(0.0) as usize).min(self.columns);
        if first < end {
            self.cells[row * self.columns + first..row * self.columns + end]
                .iter_mut()
                .for_each(&mut change);
        }
    }

    /// Area still standing, m².
    pub(super) fn standing_area(&self) -> f64 {
        self.cells.iter().filter(|&&c| c == UNCUT).count() as f64 * CELL * CELL
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_add_up_to_the_area() {
        assert_eq!(
            Crop::new(&Shape::rectangle(30.0, 20.0)).standing_area(),
            600.0
        );
        let pond = Shape::rectangle(100.0, 100.0).with_pond([50.0, 50.0], 20.0);
        assert!((Crop::new(&pond).standing_area() / pond.area() - 1.0).abs() < 1e-3);
    }

    #[test]
    fn a_pass_cuts_what_stands_and_sees_its_own_cells_as_standing() {
        let mut crop = Crop::new(&Shape::rectangle(30.0, 20.0));
        crop.cut([[0.0, 0.0], [6.0, 0.0], [6.0, 20.0], [0.0, 20.0]], 1);
        assert_eq!(crop.standing_area(), 24.0 * 20.0);
        assert!(crop.stands([5.9, 3.0], 1));
        assert!(!crop.stands([5.9, 3.0], 2));
        assert!(crop.stands([6.1, 3.0], 2));
        assert!(!crop.stands([-0.1, 3.0], 2));
        // Turned by 45°, a square of 2 m √2 cuts 8 m² within the cells' resolution.
        crop.cut(
            [
                [15.03, 8.06],
                [17.03, 10.06],
                [15.03, 12.06],
                [13.03, 10.06],
            ],
            2,
        );
        assert!((480.0 - crop.standing_area() - 8.0).abs() < 0.5);
    }
}
