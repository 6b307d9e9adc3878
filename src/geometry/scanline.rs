//! Which cells of a line of cells lie inside a shape: half-open sampling at cell centres.
//!
//! A cell belongs to a shape when its centre does. Lines and edges are half-open (lower end in, upper end out; left end
//! in, right end out), and an edge is always walked upwards, so two shapes that share an edge share every crossing to
//! the last bit: no cell is counted twice and none falls between them.

/// One edge, walked upwards. Units: cells.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    u: f64,
    v: f64,
    top: f64,
    slope: f64,
}

impl Edge {
    /// The edge between two corners. A level edge crosses no line.
    #[inline(always)]
    pub(super) fn new(a: [f64; 2], b: [f64; 2]) -> Self {
        let (low, high) = if a[1] <= b[1] { (a, b) } else { (b, a) };
        Self {
            u: low[0],
            v: low[1],
            top: high[1],
            slope: (high[0] - low[0]) / (high[1] - low[1]),
        }
    }

    /// Where the edge crosses the level `v`, if it does.
    #[inline(always)]
    pub(super) fn crossing(&self, v: f64) -> Option<f64> {
        (self.v <= v && v < self.top).then_some(self.u + (v - self.v) * self.slope)
    }

    /// The lines of cells whose centres the edge crosses.
    pub(super) fn lines(&self) -> std::ops::Range<i32> {
        first_centre(self.v)..first_centre(self.top)
    }
}

/// Index of the first cell whose centre is at or beyond `x`.
#[inline(always)]
pub(super) fn first_centre(x: f64) -> i32 {
    let centres = x - 0.5;
    let toward_zero = centres as i32; // rounding up by hand: `ceil` is a call on a plain x86-64
    toward_zero + i32::from(f64::from(toward_zero) < centres)
}

/// The level of a line of cells' centres.
#[inline(always)]
pub(super) fn level(line: i32) -> f64 {
    f64::from(line) + 0.5
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_edge_is_the_same_whichever_way_it_is_given() {
        let (a, b) = ([0.1, 0.2], [7.3, 9.9]);
        for line in 0..10 {
            assert_eq!(
                Edge::new(a, b).crossing(level(line)),
                Edge::new(b, a).crossing(level(line))
            );
        }
        assert_eq!(Edge::new(a, b).lines(), 0..10);
    }

    #[test]
    fn centres_are_half_open() {
        let first = [0.5, 0.51, -0.5, 1.4, -2.6, -2.5, -2.4].map(first_centre);
        assert_eq!(first, [0, 1, -1, 1, -3, -3, -2]);
        assert_eq!(Edge::new([0.0, 1.5], [3.0, 1.5]).lines(), 1..1); // level: crosses nothing
    }
}
