//! How far a place is from the edge of what was cut, and which way that edge runs.

/// Side of a cell of the map of cut ground, m (our choice: less than half a header).
const CELL: f64 = 4.0;
/// Gaps of this many cells between swaths are no edge.
const CLOSE: usize = 1;
/// Cells around all.
const MARGIN: usize = 4;
/// Length of a step from cell to cell across a corner.
const DIAGONAL: f64 = std::f64::consts::SQRT_2;

/// Distance to the edge of the cut ground, on a lattice of cells.
#[derive(Debug)]
pub(super) struct Edge {
    low: [f64; 2],
    columns: usize,
    /// Distance in m, 0 outside; row by row.
    distance: Vec<f64>,
}

impl Edge {
    /// From places that were cut, no farther apart than a cell.
    pub(super) fn new(cut: &[[f64; 2]]) -> Self {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in cut {
            for a in 0..2 {
                low[a] = low[a].min(p[a]);
                high[a] = high[a].max(p[a]);
            }
        }
        if !(low[0] <= high[0] && low[1] <= high[1]) {
            (low, high) = ([0.0; 2], [0.0; 2]);
        }
        let low = low.map(|v| v - MARGIN as f64 * CELL);
        let size = |a: usize| ((high[a] - low[a]) / CELL) as usize + 1 + MARGIN;
        let (columns, rows) = (size(0), size(1));
        let mut is_cut = vec![false; columns * rows];
        for p in cut {
            let at = [0, 1].map(|a| ((p[a] - low[a]) / CELL) as usize);
            is_cut[at[1] * columns + at[0]] = true;
        }
        for _ in 0..CLOSE {
            is_cut = grown(&is_cut, columns, true);
        }
        for _ in 0..CLOSE {
            is_cut = grown(&is_cut, columns, false);
        }
        Self {
            low,
            columns,
            distance: distances(&is_cut, columns),
        }
    }

    fn rows(&self) -> usize {
        self.distance.len() / self.columns
    }

    fn cell(&self, column: i64, row: i64) -> f64 {
        let inside =
            (0..self.columns as i64).contains(&column) && (0..self.rows() as i64).contains(&row);
        if inside {
            self.distance[row as usize * self.columns + column as usize]
        } else {
            0.0
        }
    }

    /// Distance of a place from the edge, m, and the direction away from the edge (a unit vector, or nothing where the
    /// ground is alike on all sides).
    pub(super) fn at(&self, p: [f64; 2]) -> (f64, Option<[f64; 2]>) {
        let c = [0, 1].map(|a| ((p[a] - self.low[a]) / CELL).floor() as i64);
        let slope = [
            self.cell(c[0] + 1, c[1]) - self.cell(c[0] - 1, c[1]),
            self.cell(c[0], c[1] + 1) - self.cell(c[0], c[1] - 1),
        ];
        let length = slope[0].hypot(slope[1]);
        let away = (length > 0.0).then(|| slope.map(|s| s / length));
        (self.cell(c[0], c[1]), away)
    }
}

/// One step of growing (or, for what is not cut, shrinking) by the eight neighbours.
fn grown(is_cut: &[bool], columns: usize, grow: bool) -> Vec<bool> {
    let rows = is_cut.len() / columns;
    let mut out = is_cut.to_vec();
    for r in 1..rows.saturating_sub(1) {
        for c in 1..columns.saturating_sub(1) {
            let k = r * columns + c;
            if is_cut[k] != grow {
                let near = [
                    k - 1,
                    k + 1,
                    k - columns - 1,
                    k - columns,
                    k - columns + 1,
                    k + columns - 1,
                    k + columns,
                    k + columns + 1,
                ];
                if near.iter().any(|&n| is_cut[n] == grow) {
                    out[k] = grow;
                }
            }
        }
    }
    out
}

/// Distance of every cell to the nearest that is not cut, less half a cell, in two sweeps (chamfer distance: Borgefors
/// 1986, Comput. Vis. Graph. Image Process. 34:344).
fn distances(is_cut: &[bool], columns: usize) -> Vec<f64> {
    let rows = is_cut.len() / columns;
    let mut d: Vec<f64> = is_cut
        .iter()
        .map(|&c| if c { f64::INFINITY } else { 0.0 })
        .collect();
    let inner = |r: usize, c: usize| r > 0 && c > 0 && r + 1 < rows && c + 1 < columns;
    for r in 0..rows {
        for c in 0..columns {
            let k = r * columns + c;
            if inner(r, c) {
                let near = (d[k - 1].min(d[k - columns]) + 1.0)
                    .min(d[k - columns - 1].min(d[k - columns + 1]) + DIAGONAL);
                d[k] = d[k].min(near);
            }
        }
    }
    for r in (0..rows).rev() {
        for c in (0..columns).rev() {
            let k = r * columns + c;
            if inner(r, c) {
                let near = (d[k + 1].min(d[k + columns]) + 1.0)
                    .min(d[k + columns + 1].min(d[k + columns - 1]) + DIAGONAL);
                d[k] = d[k].min(near);
            }
        }
    }
    d.iter().map(|v| (CELL * (v - 0.5)).max(0.0)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distance_and_direction_in_a_rectangle_with_a_gap() {
        let mut cut = Vec::new();
        for i in 0..100 {
            for j in 0..50 {
                let p = [i as f64 * 2.0, j as f64 * 2.0];
                // A sliver between two swaths is no edge.
                if (p[1] - 50.0).abs() > 0.5 {
                    cut.push(p);
                }
            }
        }
        let edge = Edge::new(&cut);
        let (d, away) = edge.at([10.0, 48.0]);
        assert!((d - 11.0).abs() < 4.0, "{d}");
        assert!(away.unwrap()[0] > 0.99);
        let (d, away) = edge.at([100.0, 90.0]);
        assert!((d - 9.0).abs() < 4.0, "{d}");
        assert!(away.unwrap()[1] < -0.99);
        assert!(edge.at([100.0, 50.0]).0 > 40.0);
        assert_eq!(edge.at([-500.0, 1e6]), (0.0, None));
        assert_eq!(Edge::new(&[]).at([0.0, 0.0]).0, 0.0);
    }
}
