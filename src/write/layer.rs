//! A layer: rows of the map as points or as the ground they cut, or the cells of the grid, with their attributes. Every
//! format writes it alike, whatever it is made of.

use rayon::prelude::*;

use super::attributes::{Attribute, CELL, POINT, REASON, Values};
use crate::grid::Grid;
use crate::job::Layer;
use crate::map::YieldMap;
use crate::units::YieldUnit;

/// The features of a layer.
pub(crate) struct Features<'a> {
    /// The map of the field season.
    pub map: &'a YieldMap,
    /// Its grid.
    grid: &'a Grid,
    /// Rows of the map, or cells of the grid, that belong to the layer, in order.
    pub rows: Vec<u32>,
    /// Unit of the yields.
    pub unit: YieldUnit,
    /// Which layer it is.
    pub layer: Layer,
}

/// An attribute of a layer's features, with its column.
#[derive(Clone, Copy)]
pub(crate) struct Shown<'a> {
    /// Its name, the same in every format.
    pub name: &'static str,
    /// What it means, for people.
    pub about: &'static str,
    /// Its unit, where its numbers have one.
    pub unit: Option<&'static str>,
    /// Decimals that are written.
    pub decimals: usize,
    /// Its column, by row.
    pub values: Values<'a>,
}

impl<'a> Features<'a> {
    /// A layer's features.
    pub(crate) fn new(map: &'a YieldMap, grid: &'a Grid, layer: Layer, unit: YieldUnit) -> Self {
        let of_map = |kept: bool| {
            (0..map.verdicts.len())
                .filter(|&r| map.verdicts.is_kept(r) == kept)
                .map(|r| r as u32)
                .collect()
        };
        let rows = match layer {
            Layer::Points | Layer::Swaths => of_map(true),
            Layer::SetAside => of_map(false),
            Layer::Grid => (0..grid.len() as u32).collect(),
        };
        Self {
            map,
            grid,
            rows,
            unit,
            layer,
        }
    }

    /// The attributes its features have.
    pub(crate) fn attributes(&self) -> Vec<Shown<'a>> {
        match self.layer {
            Layer::Points | Layer::Swaths => self.shown(&POINT, self.map),
            Layer::SetAside => {
                let mut all = self.shown(&POINT, self.map);
                all.extend(self.shown(&[REASON], self.map));
                all
            }
            Layer::Grid => self.shown(&CELL, self.grid),
        }
    }

    fn shown<S>(&self, attributes: &[Attribute<S>], source: &'a S) -> Vec<Shown<'a>> {
        let show = |a: &Attribute<S>| Shown {
            name: a.name,
            about: a.about,
            unit: a.unit(self.unit),
            decimals: a.decimals(self.unit),
            values: (a.values)(source),
        };
        attributes.iter().map(show).collect()
    }

    /// The column that the layer is coloured by, where that is a yield.
    pub(crate) fn yields(&self) -> &'a [f64] {
        match self.layer {
            Layer::Points | Layer::SetAside | Layer::Swaths => &self.map.yields,
            Layer::Grid => &self.grid.yields,
        }
    }

    /// Positions that the geometry of a feature has: one of a point, four corners of a swath or a cell.
    pub(crate) fn corners(&self) -> usize {
        match self.layer {
            Layer::Points | Layer::SetAside => 1,
            Layer::Swaths | Layer::Grid => 4,
        }
    }

    /// Whether its features are polygons.
    pub(crate) fn has_polygons(&self) -> bool {
        self.corners() > 1
    }

    /// Longitude and latitude of a point, where they are a place on Earth.
    pub(crate) fn position(&self, row: usize) -> Option<[f64; 2]> {
        self.map.position(row)
    }

    /// Longitude and latitude of the corners of a polygon, counter-clockwise: of a row's newly cut ground, or of a cell. One
    /// across the antimeridian ends there on the side of its point, or of its first corner: longitudes stay within ±180°.
    pub(crate) fn polygon(&self, row: usize) -> Option<[[f64; 2]; 4]> {
        let (mut quad, lon) = match self.layer {
            Layer::Grid => {
                let quad = *self.grid.corners.get(row)?;
                (quad, quad[0][0])
            }
            _ => {
                let [lon, _] = self.position(row)?;
                (*self.map.swaths.as_ref()?.get(row)?, lon)
            }
        };
        for corner in &mut quad {
            if (corner[0] - lon).abs() > 180.0 {
                corner[0] = 180_f64.copysign(lon);
            }
        }
        quad.iter()
            .all(|[x, y]| x.abs() <= 180.0 && y.abs() <= 90.0)
            .then_some(quad)
    }

    /// Longitude and latitude of all features, [`Features::corners`] positions each, row by row; NaN where a feature
    /// has no place.
    pub(crate) fn positions(&self) -> Vec<(f64, f64)> {
        const NOWHERE: [f64; 2] = [f64::NAN; 2];
        if self.has_polygons() {
            let quad = |&r: &u32| self.polygon(r as usize).unwrap_or([NOWHERE; 4]).map(pair);
            return self.rows.par_iter().flat_map_iter(quad).collect();
        }
        (self.rows.iter())
            .map(|&r| pair(self.position(r as usize).unwrap_or(NOWHERE)))
            .collect()
    }

    /// The same in a CRS in which the layer was made, to the last bit; `None` for any other.
    pub(crate) fn positions_in(&self, code: &str) -> Option<Vec<(f64, f64)>> {
        let made_in = (self.layer == Layer::Grid).then_some(self.grid.zone?)?;
        let all = self.grid.zone_corners.as_flattened();
        (made_in.code() == code).then(|| all.iter().copied().map(pair).collect())
    }
}

fn pair([x, y]: [f64; 2]) -> (f64, f64) {
    (x, y)
}

/// Name of a layer's files, without extension.
pub(crate) fn file_stem(layer: Layer) -> &'static str {
    match layer {
        Layer::Points => "points",
        Layer::SetAside => "set-aside",
        Layer::Swaths => "swaths",
        Layer::Grid => "grid",
    }
}
