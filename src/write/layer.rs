//! A layer: rows of the map as points or as the ground they cut, with their attributes.

use rayon::prelude::*;

use super::attributes::{Attribute, POINT, REASON};
use crate::job::Layer;
use crate::map::YieldMap;
use crate::units::YieldUnit;

/// Rows of a map that form a layer.
pub(crate) struct MapLayer<'a> {
    /// The map.
    pub map: &'a YieldMap,
    /// Its rows that belong to the layer, in order.
    pub rows: Vec<u32>,
    /// Unit of the yields.
    pub unit: YieldUnit,
    /// Which layer it is.
    pub layer: Layer,
}

impl<'a> MapLayer<'a> {
    /// The layer's rows.
    pub(crate) fn new(map: &'a YieldMap, layer: Layer, unit: YieldUnit) -> Self {
        let kept = layer != Layer::SetAside;
        let rows = (0..map.verdicts.len())
            .filter(|&r| map.verdicts.is_kept(r) == kept)
            .map(|r| r as u32)
            .collect();
        Self {
            map,
            rows,
            unit,
            layer,
        }
    }

    /// The attributes its features have.
    pub(crate) fn attributes(&self) -> impl Iterator<Item = &'static Attribute> {
        let reason = match self.layer {
            Layer::Points | Layer::Swaths => None,
            Layer::SetAside => Some(&REASON),
        };
        POINT.iter().chain(reason)
    }

    /// Positions that the geometry of a feature has: one of a point, four corners of a swath.
    pub(crate) fn corners(&self) -> usize {
        match self.layer {
            Layer::Points | Layer::SetAside => 1,
            Layer::Swaths => 4,
        }
    }

    /// Whether its features are polygons.
    pub(crate) fn has_polygons(&self) -> bool {
        self.corners() > 1
    }

    /// Longitude and latitude of a row, where they are a place on Earth.
    pub(crate) fn position(&self, row: usize) -> Option<[f64; 2]> {
        position(self.map, row)
    }

    /// Longitude and latitude of the corners of a row's newly cut ground, counter-clockwise. A swath across the
    /// antimeridian ends there on the side of its point: longitudes stay within ±180°.
    pub(crate) fn swath(&self, row: usize) -> Option<[[f64; 2]; 4]> {
        let mut quad = *self.map.swaths.as_ref()?.get(row)?;
        let [lon, _] = self.position(row)?;
        for corner in &mut quad {
            if (corner[0] - lon).abs() > 180.0 {
                corner[0] = 180_f64.copysign(lon);
            }
        }
        quad.iter()
            .all(|[x, y]| x.abs() <= 180.0 && y.abs() <= 90.0)
            .then_some(quad)
    }

    /// Longitude and latitude of all features, [`MapLayer::corners`] positions each, row by row; NaN where a feature
    /// has no place.
    pub(crate) fn positions(&self) -> Vec<(f64, f64)> {
        const NOWHERE: [f64; 2] = [f64::NAN; 2];
        let pair = |[x, y]: [f64; 2]| (x, y);
        if self.has_polygons() {
            let quad = |&r: &u32| self.swath(r as usize).unwrap_or([NOWHERE; 4]).map(pair);
            return self.rows.par_iter().flat_map_iter(quad).collect();
        }
        (self.rows.iter())
            .map(|&r| pair(self.position(r as usize).unwrap_or(NOWHERE)))
            .collect()
    }
}

/// Longitude and latitude of a row, where they are a place on Earth.
pub(crate) fn position(map: &YieldMap, row: usize) -> Option<[f64; 2]> {
    let (lon, lat) = (map.lon[row], map.lat[row]);
    (lon.abs() <= 180.0 && lat.abs() <= 90.0).then_some([lon, lat])
}

/// Name of a layer's files, without extension.
pub(crate) fn file_stem(layer: Layer) -> &'static str {
    match layer {
        Layer::Points => "points",
        Layer::SetAside => "set-aside",
        Layer::Swaths => "swaths",
    }
}
