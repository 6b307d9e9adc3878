//! Outlines of fields in metres.

use geo::algorithm::buffer::{BufferStyle, LineJoin};
use geo::{Area, Buffer, LineString, MultiPolygon, Polygon};

/// Corners sharper than this are cut off when a ring is moved, radians (our choice: no field has them).
const SHARPEST_CORNER: f64 = 0.4;
/// Corners of a moved ring nearer to each other than this are one, m.
const ONE_CORNER: f64 = 0.05;

/// A field's outline and the holes in it, m.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// The outline first, then the holes; rings are not closed.
    pub rings: Vec<Vec<[f64; 2]>>,
}

impl Shape {
    /// A field without holes.
    pub fn new(outline: Vec<[f64; 2]>) -> Self {
        Self {
            rings: vec![outline],
        }
    }

    /// A rectangle with its south-west corner at the origin.
    pub fn rectangle(width: f64, height: f64) -> Self {
        Self::new(vec![
            [0.0, 0.0],
            [width, 0.0],
            [width, height],
            [0.0, height],
        ])
    }

    /// An L: a rectangle without its north-east part.
    pub fn l_shape(width: f64, height: f64, cut_width: f64, cut_height: f64) -> Self {
        let (x, y) = (width - cut_width, height - cut_height);
        Self::new(vec![
            [0.0, 0.0],
            [width, 0.0],
            [width, y],
            [x, y],
            [x, height],
            [0.0, height],
        ])
    }

    /// A trapezoid whose east side slants: passes along its west side end on it as point rows.
    pub fn trapezoid(south: f64, north: f64, height: f64) -> Self {
        Self::new(vec![
            [0.0, 0.0],
            [south, 0.0],
            [north, height],
            [0.0, height],
        ])
    }

    /// A rectangle whose east side bulges out, as along a brook.
    pub fn curved(width: f64, height: f64, bulge: f64) -> Self {
        let parts = (height / 4.0).ceil() as usize;
        let mut ring = vec![[0.0, 0.0]];
        ring.extend((0..=parts).map(|i| {
            let t = i as f64 / parts as f64;
            [width + bulge * (std::f64::consts::PI * t).sin(), height * t]
        }));
        ring.push([0.0, height]);
        Self::new(ring)
    }

    /// The same field with a round pond in it.
    pub fn with_pond(mut self, centre: [f64; 2], radius: f64) -> Self {
        let corners = 48;
        let ring = (0..corners).map(|i| {
            let angle = -std::f64::consts::TAU * f64::from(i) / f64::from(corners);
            [
                centre[0] + radius * angle.cos(),
                centre[1] + radius * angle.sin(),
            ]
        });
        self.rings.push(ring.collect());
        self
    }

    /// The same field turned clockwise about the origin.
    pub fn turned(mut self, degrees: f64) -> Self {
        let (s, c) = degrees.to_radians().sin_cos();
        for p in self.rings.iter_mut().flatten() {
            *p = [c * p[0] + s * p[1], -s * p[0] + c * p[1]];
        }
        self
    }

    /// Area less holes, m².
    pub fn area(&self) -> f64 {
        self.polygon().unsigned_area()
    }

    /// Lowest and highest x and y, m.
    pub fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        let corners = || self.rings.iter().flatten();
        let (x, y) = (
            extent(corners().map(|p| p[0])),
            extent(corners().map(|p| p[1])),
        );
        ([x.0, y.0], [x.1, y.1])
    }

    /// The outline with its holes as a polygon.
    fn polygon(&self) -> Polygon<f64> {
        let mut rings = self.rings.iter().map(|r| LineString::from(r.clone()));
        let outline = rings.next().unwrap_or(LineString::new(Vec::new()));
        Polygon::new(outline, rings.collect())
    }

    /// The ground farther than `distance` from every edge.
    pub(super) fn inset(&self, distance: f64) -> Ground {
        if distance <= 0.0 {
            return Ground {
                rings: self.rings.clone(),
            };
        }
        let style = BufferStyle::new(-distance).line_join(LineJoin::Miter(SHARPEST_CORNER));
        let inside: MultiPolygon<f64> = self.polygon().buffer_with_style(style);
        let rings = inside
            .0
            .iter()
            .flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()));
        Ground {
            rings: rings.map(open_ring).filter(|r| r.len() >= 3).collect(),
        }
    }
}

/// The corners of a closed ring, those that are one taken once.
fn open_ring(ring: &LineString<f64>) -> Vec<[f64; 2]> {
    let mut corners: Vec<[f64; 2]> = Vec::new();
    for c in ring.coords() {
        if corners
            .last()
            .is_none_or(|last| distance(*last, [c.x, c.y]) > ONE_CORNER)
        {
            corners.push([c.x, c.y]);
        }
    }
    while corners.len() > 1 && distance(corners[0], corners[corners.len() - 1]) <= ONE_CORNER {
        corners.pop();
    }
    corners
}

/// Ground bounded by rings: inside is what an odd number of them surrounds.
#[derive(Debug, Clone)]
pub(super) struct Ground {
    pub rings: Vec<Vec<[f64; 2]>>,
}

impl Ground {
    /// The same ground in other axes.
    pub(super) fn seen_by(&self, axes: impl Fn([f64; 2]) -> [f64; 2]) -> Self {
        Self {
            rings: self
                .rings
                .iter()
                .map(|r| r.iter().map(|p| axes(*p)).collect())
                .collect(),
        }
    }

    /// Where the ground is crossed at height `y`: from and to in x, one after the other.
    pub(super) fn spans(&self, y: f64) -> Vec<(f64, f64)> {
        let edges = self
            .rings
            .iter()
            .flat_map(|r| (0..r.len()).map(move |i| (r[i], r[(i + 1) % r.len()])));
        let mut at: Vec<f64> = edges
            .filter(|(a, b)| (a[1] > y) != (b[1] > y))
            .map(|(a, b)| crossing(a, b, y))
            .collect();
        at.sort_by(f64::total_cmp);
        at.chunks_exact(2).map(|s| (s[0], s[1])).collect()
    }
}

/// Lowest and highest of some numbers.
pub(super) fn extent(numbers: impl Iterator<Item = f64>) -> (f64, f64) {
    numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
        (low.min(x), high.max(x))
    })
}

/// Where the line from `a` to `b` has height `y`.
pub(super) fn crossing(a: [f64; 2], b: [f64; 2], y: f64) -> f64 {
    a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
}

pub(super) fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

pub(super) fn sub(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

/// `a + scale · b`.
pub(super) fn along(a: [f64; 2], b: [f64; 2], scale: f64) -> [f64; 2] {
    [a[0] + scale * b[0], a[1] + scale * b[1]]
}

/// Unit vector from `a` to `b`; east where they coincide.
pub(super) fn direction(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    let d = sub(b, a);
    let length = d[0].hypot(d[1]);
    if length > 0.0 {
        [d[0] / length, d[1] / length]
    } else {
        [1.0, 0.0]
    }
}

pub(super) fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn areas_by_hand() {
        assert_eq!(Shape::rectangle(300.0, 200.0).area(), 60_000.0);
        assert_eq!(Shape::l_shape(300.0, 200.0, 100.0, 50.0).area(), 55_000.0);
        assert_eq!(Shape::trapezoid(300.0, 200.0, 100.0).area(), 25_000.0);
        // A regular 48-gon of radius 10: 24 · 10² · sin(7.5°) = 313.26.
        let pond = Shape::rectangle(100.0, 100.0).with_pond([50.0, 50.0], 10.0);
        assert!((pond.area() - (10_000.0 - 313.263)).abs() < 0.01);
        assert!((pond.turned(33.0).area() - (10_000.0 - 313.263)).abs() < 0.01);
    }

    #[test]
    fn a_line_crosses_the_field_on_both_sides_of_the_pond() {
        let field = Shape::rectangle(100.0, 100.0)
            .with_pond([50.0, 50.0], 10.0)
            .inset(0.0);
        assert_eq!(field.spans(20.0), [(0.0, 100.0)]);
        let spans = field.spans(50.01);
        assert_eq!(spans.len(), 2);
        assert!((spans[0].1 - 40.0).abs() < 0.1 && (spans[1].0 - 60.0).abs() < 0.1);
        assert_eq!(field.spans(100.5), []);
    }

    #[test]
    fn an_inset_field_keeps_its_distance_until_nothing_is_left() {
        let field = Shape::rectangle(100.0, 60.0);
        let spans = field.inset(10.0).spans(30.0);
        assert!(
            (spans[0].0 - 10.0).abs() < 1e-3 && (spans[0].1 - 90.0).abs() < 1e-3,
            "{spans:?}"
        );
        assert!(field.inset(10.0).spans(9.9).is_empty());
        assert_eq!(field.inset(10.0).rings[0].len(), 4, "corners stay sharp");
        assert!(field.inset(31.0).rings.is_empty());
        let pond = Shape::rectangle(100.0, 100.0)
            .with_pond([50.0, 50.0], 10.0)
            .inset(5.0);
        assert_eq!(pond.rings.len(), 2);
        assert!(
            pond.rings[1]
                .iter()
                .all(|p| (distance(*p, [50.0, 50.0]) - 15.0).abs() < 0.1)
        );
    }
}
