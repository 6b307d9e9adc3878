//! The plan carried out: a row per cell.

use rayon::prelude::*;

use super::estimate::GridPlan;
use super::ground::{Cell, cells};
use super::krige::{Block, Kriging};
use super::stretches::usual;
use super::support::SHAPE;
use super::{CheckedGridParams, GridInput};
use crate::geometry::{Lattice, UtmZone};

/// Half of a 95 % interval in standard errors.
const HALF_95: f64 = 1.96;
/// Limits between classes, % of the field's mean; a limit belongs to the class above it. Our choice: the middle class is
/// what farms call average; the same in every field and season, so that classes can be compared.
pub(super) const CLASS_LIMITS: [f64; 4] = [80.0, 95.0, 105.0, 120.0];
/// Places along the side of a cell that lies wholly on the field's ground. Our choice: what 9 places make of the variance
/// inside a cell is within 7 % of what 225 make (a test below), and it is the smaller part of a cell's error.
const WHOLE: u32 = 3;

/// The cells of a field; columns with an entry per cell, from north to south and from west to east. Empty where the field's
/// data carry none.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Grid {
    /// The UTM zone in which cells are square.
    pub zone: Option<UtmZone>,
    /// Side of a cell, m of the zone.
    pub side: f64,
    /// Longitude and latitude of its corners, counter-clockwise from the south-west.
    pub corners: Vec<[[f64; 2]; 4]>,
    /// Easting and northing of its corners in the zone, m.
    pub zone_corners: Vec<[[f64; 2]; 4]>,
    /// Easting of its middle in the zone, m.
    pub east_m: Vec<f64>,
    /// Northing of its middle in the zone, m.
    pub north_m: Vec<f64>,
    /// Share of it on the field's ground, %.
    pub ground_pct: Vec<f64>,
    /// Kept points in it.
    pub points: Vec<u32>,
    /// Mean yield of the field's ground in it at reference moisture, kg/ha.
    pub yld_kg_ha: Vec<f64>,
    /// Standard error of that, kg/ha.
    pub yld_se: Vec<f64>,
    /// Lower end of its 95 % interval.
    pub yld_low: Vec<f64>,
    /// Upper end of its 95 % interval.
    pub yld_high: Vec<f64>,
    /// Mean yield in the job's unit.
    pub yields: Vec<f64>,
    /// Mean yield as a share of the mean of all cells, %.
    pub mean_pct: Vec<f64>,
    /// Class, 1 (lowest) to 5, of that share.
    pub class: Vec<u32>,
    /// Standard error without what the level of the whole field may be off by, kg/ha.
    pub kriging_se: Vec<f64>,
    /// Cells on the field's ground that were left out, because no kept ground is near enough.
    pub left_out: usize,
}

/// Makes the grid. `unit`: what kg/ha is multiplied with for the job's unit.
pub fn apply(
    input: &GridInput<'_>,
    plan: &GridPlan,
    params: &CheckedGridParams,
    unit: f64,
) -> Grid {
    let GridPlan {
        lattice,
        stretches,
        structure,
        ..
    } = plan;
    let side = lattice.side();
    let Some(usual_area) = usual(stretches, |s| s.area) else {
        return Grid::default();
    };
    let to_cover_twice = (2.0 * side * side / usual_area).ceil() as usize;
    let neighbours = to_cover_twice.clamp(params.neighbours, params.most_neighbours);
    let kriging = Kriging::new(stretches, *structure, neighbours, usual_area);
    let (least, most) = params.reach;
    let alike = structure.range * SHAPE.practical_range();
    let reach = alike.clamp(least, most).max(2.0 * side);
    let whole = (1 << (params.parts * params.parts)) - 1;
    let predict = |cell: &Cell| -> Option<Block> {
        let places: Vec<[f64; 2]> = if cell.parts == whole {
            let all = Cell {
                parts: (1 << (WHOLE * WHOLE)) - 1,
                ..*cell
            };
            all.places(WHOLE, side).collect()
        } else {
            cell.places(params.parts, side).collect()
        };
        kriging.mean_over(&places, reach)
    };
    let cells = cells(input, lattice, params);
    let blocks: Vec<Option<Block>> = cells.par_iter().map(predict).collect();
    let mut grid = Grid {
        zone: Some(lattice.zone()),
        side,
        left_out: blocks.iter().filter(|b| b.is_none()).count(),
        ..Grid::default()
    };
    let made: Vec<(Cell, Block)> = (cells.into_iter().zip(blocks))
        .filter_map(|(cell, block)| Some((cell, block?)))
        .collect();
    let points = points(input, lattice, &made);
    for ((cell, block), points) in made.into_iter().zip(points) {
        grid.push(
            lattice,
            cell.at,
            cell.share(params.parts),
            block,
            points,
            unit,
        );
    }
    grid.compare();
    grid
}

/// Kept points in each cell.
fn points(input: &GridInput<'_>, lattice: &Lattice, made: &[(Cell, Block)]) -> Vec<u32> {
    let key = |at: [i32; 2]| (-at[1], at[0]); // cells stand from north to south and from west to east
    let mut out = vec![0; made.len()];
    for i in (0..input.x.len()).filter(|&i| input.counts(i)) {
        let Some(place) = lattice.from_frame([input.x[i], input.y[i]]) else {
            continue;
        };
        let at = place.map(|c| (c / lattice.side()).floor() as i32);
        if let Ok(k) = made.binary_search_by_key(&key(at), |(cell, _)| key(cell.at)) {
            out[k] += 1;
        }
    }
    out
}

impl Grid {
    /// Number of cells.
    pub fn len(&self) -> usize {
        self.yld_kg_ha.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.yld_kg_ha.is_empty()
    }

    fn push(
        &mut self,
        lattice: &Lattice,
        at: [i32; 2],
        share: f64,
        block: Block,
        points: u32,
        unit: f64,
    ) {
        let corners = lattice.corners(at);
        let degrees = corners.map(|c| lattice.zone().inverse(c).unwrap_or([f64::NAN; 2]));
        let y = block.yield_kg_ha;
        self.corners.push(degrees);
        self.zone_corners.push(corners);
        self.east_m.push(0.5 * (corners[0][0] + corners[1][0]));
        self.north_m.push(0.5 * (corners[0][1] + corners[3][1]));
        self.ground_pct.push(100.0 * share);
        self.points.push(points);
        self.yld_kg_ha.push(y);
        self.yld_se.push(block.se);
        self.yld_low.push((y - HALF_95 * block.se).max(0.0));
        self.yld_high.push(y + HALF_95 * block.se);
        self.yields.push(y * unit);
        self.kriging_se.push(block.kriging_se);
    }

    /// Fills in what needs the mean of all cells.
    fn compare(&mut self) {
        let mean = self.mean_kg_ha().unwrap_or(f64::NAN);
        self.mean_pct = self.yld_kg_ha.iter().map(|y| 100.0 * y / mean).collect();
        self.class = self.mean_pct.iter().map(|&share| class(share)).collect();
    }

    /// Mean yield of the field's ground over all cells, kg/ha; `None` without cells.
    pub fn mean_kg_ha(&self) -> Option<f64> {
        let area: f64 = self.ground_pct.iter().sum();
        let grain: f64 = (self.ground_pct.iter())
            .zip(&self.yld_kg_ha)
            .map(|(a, y)| a * y)
            .sum();
        (area > 0.0).then(|| grain / area)
    }
}

/// The class of a share of the field's mean, %.
fn class(share: f64) -> u32 {
    1 + CLASS_LIMITS.iter().filter(|&&limit| share >= limit).count() as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::support::mean_over;

    #[test]
    fn a_limit_belongs_to_the_class_above() {
        assert_eq!(
            [0.0, 79.9, 80.0, 100.0, 105.0, 119.9, 120.0, 300.0].map(class),
            [1, 1, 2, 3, 4, 4, 5, 5]
        );
    }

    #[test]
    fn nine_places_stand_for_a_whole_cell() {
        let places = |parts: u32| -> Vec<[f64; 2]> {
            let at = |k: u32| (f64::from(k) + 0.5) / f64::from(parts) * 10.0;
            (0..parts * parts)
                .map(|k| [at(k % parts), at(k / parts)])
                .collect()
        };
        let inside = |parts: u32, range: f64| {
            let all = places(parts);
            mean_over(&all, &all, |h| SHAPE.rise(h / range))
        };
        for range in [10.0, 30.0, 100.0] {
            let ratio = inside(WHOLE, range) / inside(15, range);
            assert!((ratio - 1.0).abs() < 0.07, "{range} m: {ratio}");
        }
    }

    #[test]
    fn the_mean_counts_ground() {
        let grid = Grid {
            ground_pct: vec![100.0, 20.0],
            yld_kg_ha: vec![6000.0, 12_000.0],
            ..Grid::default()
        };
        assert_eq!(grid.mean_kg_ha(), Some(7000.0));
        assert_eq!(Grid::default().mean_kg_ha(), None);
    }
}
