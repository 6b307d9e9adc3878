//! A layer of points: rows of the map, with their attributes.

use super::attributes::{Attribute, POINT, REASON};
use crate::job::Layer;
use crate::map::YieldMap;
use crate::units::YieldUnit;

/// Rows of a map that form a layer.
pub(crate) struct PointLayer<'a> {
    /// The map.
    pub map: &'a YieldMap,
    /// Its rows that belong to the layer, in order.
    pub rows: Vec<u32>,
    /// Unit of the yields.
    pub unit: YieldUnit,
    /// Which layer it is.
    pub layer: Layer,
}

impl<'a> PointLayer<'a> {
    /// The layer's rows.
    pub(crate) fn new(map: &'a YieldMap, layer: Layer, unit: YieldUnit) -> Self {
        let kept = layer == Layer::Points;
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

    /// The attributes its points have.
    pub(crate) fn attributes(&self) -> impl Iterator<Item = &'static Attribute> {
        let reason = match self.layer {
            Layer::Points => None,
            Layer::SetAside => Some(&REASON),
        };
        POINT.iter().chain(reason)
    }

    /// Longitude and latitude of a row, where they are a place on Earth.
    pub(crate) fn position(&self, row: usize) -> Option<[f64; 2]> {
        position(self.map, row)
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
    }
}
