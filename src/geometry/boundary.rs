//! A field's boundary in its frame, prepared for questions about many points.

use super::Frame;
use geo::indexed::IntervalTreeMultiPolygon;
use geo::orient::{Direction, Orient};
use geo::{Area, BoundingRect, Contains, LineString, MultiPolygon, Polygon, Validation};

/// A boundary in the field's frame, metres.
pub struct Boundary {
    shape: MultiPolygon<f64>,
    index: IntervalTreeMultiPolygon<f64>,
    bounds: Option<geo::Rect<f64>>,
}

impl Boundary {
    /// Prepares a boundary that already lies in the frame. Rings may wind either way.
    pub fn new(shape: MultiPolygon<f64>) -> Self {
        let shape = shape.orient(Direction::Default); // the index counts windings, so a hole must turn against its ring
        let index = IntervalTreeMultiPolygon::new(&shape);
        let bounds = shape.bounding_rect();
        Self {
            shape,
            index,
            bounds,
        }
    }

    /// Prepares a boundary given in degrees (longitude, latitude).
    pub fn from_degrees(shape: &MultiPolygon<f64>, frame: &Frame) -> Self {
        let ring = |ring: &LineString<f64>| {
            let (lon, lat): (Vec<f64>, Vec<f64>) = ring.coords().map(|c| (c.x, c.y)).unzip();
            let (x, y) = frame.forward(&lon, &lat);
            LineString::from_iter(x.into_iter().zip(y))
        };
        let polygons = shape
            .iter()
            .map(|p| Polygon::new(ring(p.exterior()), p.interiors().iter().map(ring).collect()));
        Self::new(polygons.collect())
    }

    /// The rings, metres.
    pub fn shape(&self) -> &MultiPolygon<f64> {
        &self.shape
    }

    /// Area, m², holes left out.
    pub fn area(&self) -> f64 {
        self.shape.unsigned_area()
    }

    /// Whether a point lies inside (a point exactly on the line does not; a missing one does not).
    pub fn contains(&self, point: [f64; 2]) -> bool {
        let coord = geo::Coord {
            x: point[0],
            y: point[1],
        };
        let near = self.bounds.is_some_and(|b| {
            (b.min().x..=b.max().x).contains(&coord.x) && (b.min().y..=b.max().y).contains(&coord.y)
        });
        near && self.index.contains(&coord)
    }

    /// What makes the shape unusable, in words, where something does: a ring that crosses itself, a missing coordinate.
    pub fn fault(&self) -> Option<String> {
        self.shape
            .check_validation()
            .err()
            .map(|fault| fault.to_string())
    }
}

impl std::fmt::Debug for Boundary {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Boundary")
            .field("shape", &self.shape)
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    fn with_hole() -> MultiPolygon<f64> {
        MultiPolygon(vec![polygon!(
            exterior: [(x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 10.0, y: 10.0), (x: 0.0, y: 10.0)],
            interiors: [[(x: 4.0, y: 4.0), (x: 6.0, y: 4.0), (x: 6.0, y: 6.0), (x: 4.0, y: 6.0)]],
        )])
    }

    #[test]
    fn a_hole_is_outside() {
        let boundary = Boundary::new(with_hole());
        assert_eq!(boundary.area(), 96.0);
        assert!(
            boundary.contains([1.0, 1.0])
                && !boundary.contains([5.0, 5.0])
                && !boundary.contains([11.0, 5.0])
        );
        assert!(!boundary.contains([f64::NAN, 1.0]));
        assert_eq!(boundary.fault(), None);
    }

    #[test]
    fn nothing_contains_nothing_and_a_bow_tie_is_named() {
        let nothing = Boundary::new(MultiPolygon(vec![]));
        assert!(!nothing.contains([0.0, 0.0]) && nothing.area() == 0.0);
        let bow = polygon![(x: 0.0, y: 0.0), (x: 1.0, y: 1.0), (x: 1.0, y: 0.0), (x: 0.0, y: 1.0)];
        assert!(Boundary::new(MultiPolygon(vec![bow])).fault().is_some());
    }

    #[test]
    fn degrees_become_metres() {
        let frame = Frame::centred(10.0, 0.0).unwrap();
        let d = 0.001;
        let shape = MultiPolygon(vec![
            polygon![(x: 10.0, y: 0.0), (x: 10.0 + d, y: 0.0), (x: 10.0 + d, y: d), (x: 10.0, y: d)],
        ]);
        // 0.001° at the equator: 111.319 m east (a π/180), 110.574 m north (a (1 - e²) π/180), WGS 84.
        let area = Boundary::from_degrees(&shape, &frame).area();
        assert!((area - 111.319_49 * 110.574_28).abs() < 0.1, "{area}");
    }
}
