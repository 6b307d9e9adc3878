//! Outlines of fields in metres.

use serde::Serialize;

/// A field's outline and the holes in it, m. The outline runs counter-clockwise, holes clockwise, so that the
/// field is always on the left; rings are not closed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shape {
    /// The outline first, then the holes.
    pub rings: Vec<Vec<[f64; 2]>>,
}

impl Shape {
    /// A shape from an outline in either direction.
    pub fn new(mut outline: Vec<[f64; 2]>) -> Self {
        if signed_area(&outline) < 0.0 {
            outline.reverse();
        }
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

    /// A trapezoid whose east side slants: passes along it become point rows.
    pub fn trapezoid(south: f64, north: f64, height: f64) -> Self {
        Self::new(vec![
            [0.0, 0.0],
            [south, 0.0],
            [north, height],
            [0.0, height],
        ])
    }

    /// A rectangle whose east side bulges out along a brook.
    pub fn curved(width: f64, height: f64, bulge: f64) -> Self {
        let mut ring = vec![[0.0, 0.0]];
        let parts = (height / 3.0).ceil() as usize;
        for i in 0..=parts {
            let t = i as f64 / parts as f64;
            ring.push([width + bulge * (std::f64::consts::PI * t).sin(), height * t]);
        }
        ring.push([0.0, height]);
        Self::new(ring)
    }

    /// The same field with a round pond in it.
    pub fn with_pond(mut self, centre: [f64; 2], radius: f64) -> Self {
        let corners = 48;
        let ring = (0..corners)
            .map(|i| {
                let angle = -std::f64::consts::TAU * f64::from(i) / f64::from(corners);
                [
                    centre[0] + radius * angle.cos(),
                    centre[1] + radius * angle.sin(),
                ]
            })
            .collect();
        self.rings.push(ring);
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
        self.rings.iter().map(|r| signed_area(r)).sum()
    }

    /// Lowest and highest x and y, m.
    pub fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in self.rings.iter().flatten() {
            for axis in 0..2 {
                low[axis] = low[axis].min(p[axis]);
                high[axis] = high[axis].max(p[axis]);
            }
        }
        (low, high)
    }

    /// Whether the field contains a point (even-odd rule).
    pub fn contains(&self, p: [f64; 2]) -> bool {
        self.edges()
            .filter(|(a, b)| (a[1] > p[1]) != (b[1] > p[1]) && p[0] < crossing(*a, *b, p[1]))
            .count()
            % 2
            == 1
    }

    /// Distance to the nearest edge, m.
    pub fn distance_to_edge(&self, p: [f64; 2]) -> f64 {
        self.edges()
            .map(|(a, b)| distance_to_segment(p, a, b))
            .fold(f64::INFINITY, f64::min)
    }

    /// Distance to the nearest edge of one ring, m.
    pub(super) fn ring_distance(&self, ring: usize, p: [f64; 2]) -> f64 {
        let r = &self.rings[ring];
        (0..r.len())
            .map(|i| distance_to_segment(p, r[i], r[(i + 1) % r.len()]))
            .fold(f64::INFINITY, f64::min)
    }

    /// Every edge of every ring.
    pub(super) fn edges(&self) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + '_ {
        self.rings
            .iter()
            .flat_map(|r| (0..r.len()).map(move |i| (r[i], r[(i + 1) % r.len()])))
    }

    /// A ring moved into the field by `distance`, corner for corner; `None` where it no longer fits.
    pub(super) fn inset(&self, ring: usize, distance: f64) -> Option<Vec<[f64; 2]>> {
        let r = &self.rings[ring];
        let n = r.len();
        let moved: Vec<[f64; 2]> = (0..n)
            .map(|i| {
                let before = left_normal(r[(i + n - 1) % n], r[i]);
                let after = left_normal(r[i], r[(i + 1) % n]);
                let scale = distance / (1.0 + dot(before, after)).max(0.1);
                [
                    r[i][0] + scale * (before[0] + after[0]),
                    r[i][1] + scale * (before[1] + after[1]),
                ]
            })
            .collect();
        let fits = (0..n).all(|i| {
            let j = (i + 1) % n;
            let along = dot(sub(moved[j], moved[i]), sub(r[j], r[i]));
            along > 0.0
                && self.contains(moved[i])
                && self.distance_to_edge(moved[i]) > 0.9 * distance
        });
        fits.then_some(moved)
    }
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

fn left_normal(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    let d = direction(a, b);
    [-d[1], d[0]]
}

fn signed_area(ring: &[[f64; 2]]) -> f64 {
    let n = ring.len();
    (0..n)
        .map(|i| (ring[i], ring[(i + 1) % n]))
        .map(|(a, b)| a[0] * b[1] - b[0] * a[1])
        .sum::<f64>()
        / 2.0
}

fn distance_to_segment(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let ab = sub(b, a);
    let t = (dot(sub(p, a), ab) / dot(ab, ab)).clamp(0.0, 1.0);
    distance(p, along(a, ab, t))
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
    }

    #[test]
    fn a_point_in_the_pond_is_not_in_the_field() {
        let field = Shape::rectangle(100.0, 100.0).with_pond([50.0, 50.0], 10.0);
        assert!(field.contains([20.0, 20.0]));
        assert!(!field.contains([50.0, 50.0]));
        assert!(!field.contains([101.0, 50.0]));
        assert!((field.distance_to_edge([20.0, 50.0]) - 20.0).abs() < 0.05);
    }

    #[test]
    fn an_inset_rectangle_keeps_its_distance_until_it_does_not_fit() {
        let field = Shape::rectangle(100.0, 60.0);
        let inset = field.inset(0, 10.0).unwrap();
        assert_eq!(
            inset,
            [[10.0, 10.0], [90.0, 10.0], [90.0, 50.0], [10.0, 50.0]]
        );
        assert!(field.inset(0, 31.0).is_none());
    }

    #[test]
    fn a_pond_is_rounded_outside() {
        let field = Shape::rectangle(100.0, 100.0).with_pond([50.0, 50.0], 10.0);
        let round = field.inset(1, 5.0).unwrap();
        assert!(round.iter().all(|p| distance(*p, [50.0, 50.0]) > 14.9));
    }
}
