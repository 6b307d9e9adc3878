//! Ground that has been cut, as a sparse raster of bits (bitmap method: Han et al. 1997, Trans. ASAE 40(2):485).
//!
//! Cells lie in tiles of 64 × 64, one word a line; a tile exists once something in it was cut, so memory follows the
//! field and not its bounding box (0.25 m cells: 2 bits and 20 kB a hectare).

use super::scanline::{Edge, first_centre, level};
use geo::MultiPolygon;
use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

/// Cells along a tile's side, and bits of a word.
const SIDE: i32 = 64;
/// Corners farther out than this many cells are taken as no place at all (our choice: 0.25 m × 1e9 is farther than
/// any place on earth; it keeps indices within `i32`).
const FARTHEST: f64 = 1e9;

/// What filling a quadrilateral did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Filled {
    /// Cells of the quadrilateral.
    pub cells: u32,
    /// Those of them that were not cut before.
    pub new: u32,
}

/// Which ground has been cut.
#[derive(Debug, Clone)]
pub struct CutRaster {
    cell: f64,
    /// Cosine and sine of the raster's axis over the cell: metres to cells.
    turn: [f64; 2],
    tiles: HashMap<u64, u32, BuildHasherDefault<TileHasher>>,
    words: Vec<u64>,
    /// The last tile used of each parity of column and line.
    recent: [Option<(u64, u32)>; 4],
    set: u64,
}

impl CutRaster {
    /// An empty raster. `cell`: side of a cell, m, more than 0. `axis`: direction of its lines, radians from x; memory
    /// and time are least where lines run across the passes.
    ///
    /// An edge that runs *exactly* along the lines would be rounded alike over a whole pass; a few degrees between axis
    /// and passes spread the rounding evenly within each row.
    pub fn new(cell: f64, axis: f64) -> Self {
        Self {
            cell,
            turn: [axis.cos() / cell, axis.sin() / cell],
            tiles: HashMap::default(),
            words: Vec::new(),
            recent: [None; 4],
            set: 0,
        }
    }

    /// Marks a quadrilateral as cut. Corners in order around it, m; it may be bent or crossed (a bow tie's two wings
    /// both count). A corner that is missing marks nothing.
    #[inline(always)]
    pub fn fill_quad(&mut self, corners: [[f64; 2]; 4]) -> Filled {
        let c = corners.map(|p| self.to_cells(p));
        if !c.iter().flatten().all(|v| v.abs() < FARTHEST) {
            return Filled::default();
        }
        let edges = [
            Edge::new(c[0], c[1]),
            Edge::new(c[1], c[2]),
            Edge::new(c[2], c[3]),
            Edge::new(c[3], c[0]),
        ];
        let low = c[0][1].min(c[1][1]).min(c[2][1]).min(c[3][1]);
        let high = c[0][1].max(c[1][1]).max(c[2][1]).max(c[3][1]);
        let mut filled = Filled::default();
        for line in first_centre(low)..first_centre(high) {
            let mut at = [f64::INFINITY; 4];
            let mut n = 0;
            for edge in &edges {
                if let Some(u) = edge.crossing(level(line)) {
                    at[n] = u;
                    n += 1;
                }
            }
            if n == 4 {
                at.sort_unstable_by(f64::total_cmp);
            } else if at[0] > at[1] {
                at.swap(0, 1);
            }
            for k in (0..n).step_by(2) {
                let span = first_centre(at[k])..first_centre(at[k + 1]);
                filled.cells += span.len() as u32;
                filled.new += self.fill_span(line, span);
            }
        }
        self.set += u64::from(filled.new);
        filled
    }

    /// Area of all ground cut, each place once, m².
    pub fn area(&self) -> f64 {
        self.set as f64 * self.cell * self.cell
    }

    /// Number of cut cells.
    pub fn cells(&self) -> u64 {
        self.set
    }

    /// Number of cut cells in a block of columns and lines of cells, counted along the raster's own axes from its origin.
    pub fn cells_in(&self, columns: std::ops::Range<i32>, lines: std::ops::Range<i32>) -> u64 {
        lines
            .map(|line| self.count_span(line, columns.clone()))
            .sum()
    }

    /// Area of the ground cut inside a shape (holes are outside), m².
    pub fn area_inside(&self, shape: &MultiPolygon<f64>) -> f64 {
        self.cells_inside(shape) as f64 * self.cell * self.cell
    }

    fn cells_inside(&self, shape: &MultiPolygon<f64>) -> u64 {
        let Some(bounds) = self.bounds() else {
            return 0;
        };
        let mut crossings: Vec<(i32, f64)> = Vec::new();
        for ring in shape
            .iter()
            .flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()))
        {
            for segment in ring.lines() {
                let [a, b] = [segment.start, segment.end].map(|c| self.to_cells([c.x, c.y]));
                let edge = Edge::new(a, b);
                let lines = edge.lines();
                for line in lines.start.max(bounds[1])..lines.end.min(bounds[3]) {
                    crossings.extend(edge.crossing(level(line)).map(|u| (line, u)));
                }
            }
        }
        crossings.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        crossings
            .chunks_exact(2)
            .map(|pair| {
                let span =
                    first_centre(pair[0].1).max(bounds[0])..first_centre(pair[1].1).min(bounds[2]);
                self.count_span(pair[0].0, span)
            })
            .sum()
    }

    /// First column and line, one past the last column and line, that a tile covers.
    fn bounds(&self) -> Option<[i32; 4]> {
        self.tiles
            .keys()
            .map(|&key| tile_of(key))
            .fold(None, |bounds, [tx, ty]| {
                let [x, y] = [tx * SIDE, ty * SIDE];
                let b = bounds.unwrap_or([x, y, x + SIDE, y + SIDE]);
                Some([
                    b[0].min(x),
                    b[1].min(y),
                    b[2].max(x + SIDE),
                    b[3].max(y + SIDE),
                ])
            })
    }

    #[inline(always)]
    fn to_cells(&self, p: [f64; 2]) -> [f64; 2] {
        let [cos, sin] = self.turn;
        [p[0] * cos + p[1] * sin, p[1] * cos - p[0] * sin]
    }

    #[inline(always)]
    fn fill_span(&mut self, line: i32, span: std::ops::Range<i32>) -> u32 {
        let mut new = 0;
        for (column, mask) in words(span) {
            let tile = self.tile(key_of(column, line >> 6));
            let word = &mut self.words[tile as usize * SIDE as usize + (line & 63) as usize];
            new += (mask & !*word).count_ones();
            *word |= mask;
        }
        new
    }

    fn count_span(&self, line: i32, span: std::ops::Range<i32>) -> u64 {
        words(span)
            .filter_map(|(column, mask)| {
                let tile = *self.tiles.get(&key_of(column, line >> 6))?;
                let word = self.words[tile as usize * SIDE as usize + (line & 63) as usize];
                Some(u64::from((word & mask).count_ones()))
            })
            .sum()
    }

    /// The tile's number; made where it is new.
    #[inline(always)]
    fn tile(&mut self, key: u64) -> u32 {
        let slot = ((key & 1) | ((key >> 31) & 2)) as usize;
        if let Some((recent, tile)) = self.recent[slot]
            && recent == key
        {
            return tile;
        }
        let next = self.tiles.len() as u32;
        let tile = *self.tiles.entry(key).or_insert(next);
        if tile == next {
            self.words.resize(self.words.len() + SIDE as usize, 0);
        }
        self.recent[slot] = Some((key, tile));
        tile
    }
}

/// The words that a span of cells touches: column of the tile, and the span's bits in it.
#[inline(always)]
fn words(span: std::ops::Range<i32>) -> impl Iterator<Item = (i32, u64)> {
    let last = span.end - 1;
    let columns = if span.is_empty() {
        0..0
    } else {
        (span.start >> 6)..(last >> 6) + 1
    };
    columns.map(move |column| {
        let from = if column == span.start >> 6 {
            u64::MAX << (span.start & 63)
        } else {
            u64::MAX
        };
        let to = if column == last >> 6 {
            u64::MAX >> (63 - (last & 63))
        } else {
            u64::MAX
        };
        (column, from & to)
    })
}

#[inline(always)]
fn key_of(column: i32, line: i32) -> u64 {
    (u64::from(line as u32) << 32) | u64::from(column as u32)
}

fn tile_of(key: u64) -> [i32; 2] {
    [key as u32 as i32, (key >> 32) as u32 as i32]
}

/// Multiplicative hash of a tile's key (Knuth 1998, "The Art of Computer Programming" vol. 3, section 6.4).
#[derive(Debug, Clone, Copy, Default)]
struct TileHasher(u64);

impl Hasher for TileHasher {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for &b in bytes {
            self.write_u64(u64::from(b));
        }
    }

    #[inline]
    fn write_u64(&mut self, key: u64) {
        let mixed = (self.0 ^ key).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        self.0 = mixed ^ (mixed >> 32);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    fn rectangle(x0: f64, y0: f64, x1: f64, y1: f64) -> [[f64; 2]; 4] {
        [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]
    }

    #[test]
    fn ground_is_cut_once() {
        let mut raster = CutRaster::new(0.25, 0.0);
        assert_eq!(
            raster.fill_quad(rectangle(0.0, 0.0, 9.0, 1.5)),
            Filled {
                cells: 216,
                new: 216
            }
        ); // 36 × 6
        assert_eq!(raster.fill_quad(rectangle(0.0, 0.0, 9.0, 1.5)).new, 0);
        assert_eq!(
            raster.fill_quad(rectangle(-20.0, -1.5, 20.0, 0.0)),
            Filled {
                cells: 960,
                new: 960
            }
        ); // abuts
        assert_eq!(raster.area(), 73.5);
    }

    #[test]
    fn a_block_of_cells_is_counted() {
        let mut raster = CutRaster::new(0.5, 0.0);
        raster.fill_quad(rectangle(-3.0, -2.0, 40.0, 50.0)); // 86 × 104 cells over several tiles
        assert_eq!(raster.cells_in(-6..80, -4..100), 86 * 104);
        assert_eq!(raster.cells_in(70..90, 90..200), 10 * 10);
        assert_eq!(raster.cells_in(-200..-6, 0..10), 0);
    }

    #[test]
    fn a_wheel_of_quads_that_share_edges_has_neither_slits_nor_doubles() {
        // Spokes at odd angles from one rim to another: every edge is shared, none is level.
        let mut raster = CutRaster::new(0.25, 0.3);
        let at = |r: f64, k: usize| {
            let a = (k % 37) as f64 * std::f64::consts::TAU / 37.0;
            [r * a.cos() + 0.013, r * a.sin() - 3.7]
        };
        let mut sum = 0;
        for k in 0..37 {
            let filled =
                raster.fill_quad([at(5.0, k), at(14.0, k), at(14.0, k + 1), at(5.0, k + 1)]);
            assert_eq!(filled.cells, filled.new);
            sum += u64::from(filled.new);
        }
        assert_eq!(sum, raster.cells());
        // Two regular 37-gons, 37/2 r² sin(2π/37) each.
        let exact = 18.5 * (14.0f64.powi(2) - 25.0) * (std::f64::consts::TAU / 37.0).sin();
        assert!(
            (raster.area() / exact - 1.0).abs() < 2e-3,
            "{} {exact}",
            raster.area()
        );
    }

    #[test]
    fn both_wings_of_a_bow_tie_count() {
        let mut raster = CutRaster::new(0.1, 0.0);
        raster.fill_quad([[0.0, 0.0], [4.0, 4.0], [4.0, 0.0], [0.0, 4.0]]);
        assert!((raster.area() - 8.0).abs() < 0.2, "{}", raster.area());
    }

    #[test]
    fn a_missing_or_absurd_corner_marks_nothing() {
        let mut raster = CutRaster::new(0.25, 0.0);
        for bad in [f64::NAN, f64::INFINITY, 1e30] {
            assert_eq!(
                raster.fill_quad(rectangle(0.0, 0.0, bad, 1.0)),
                Filled::default()
            );
        }
        assert_eq!(
            (raster.cells(), raster.area_inside(&MultiPolygon(vec![]))),
            (0, 0.0)
        );
    }

    #[test]
    fn only_what_lies_inside_a_shape_counts_there() {
        let mut raster = CutRaster::new(0.25, 0.2);
        for k in 0..40 {
            raster.fill_quad(rectangle(
                -50.0,
                f64::from(k) * 2.0,
                50.0,
                f64::from(k + 1) * 2.0,
            ));
        }
        let shape = MultiPolygon(vec![polygon!(
            exterior: [(x: 0.0, y: 10.0), (x: 90.0, y: 10.0), (x: 90.0, y: 70.0), (x: 0.0, y: 70.0)],
            interiors: [[(x: 10.0, y: 20.0), (x: 20.0, y: 20.0), (x: 20.0, y: 30.0), (x: 10.0, y: 30.0)]],
        )]);
        let inside = raster.area_inside(&shape); // 50 × 60 less the hole of 10 × 10
        assert!((inside / 2900.0 - 1.0).abs() < 1e-3, "{inside}");
        assert!((raster.area() / 8000.0 - 1.0).abs() < 1e-3);
    }
}
