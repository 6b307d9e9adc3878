//! A line measured along, for a machine that follows it.

use super::shape::{along, direction, distance, sub};

/// A line and the distance from its start to each of its points.
#[derive(Debug, Clone)]
pub(super) struct Track {
    line: Vec<[f64; 2]>,
    reached: Vec<f64>,
}

impl Track {
    /// Of a line of at least two points.
    pub(super) fn new(line: Vec<[f64; 2]>) -> Self {
        let mut reached = vec![0.0];
        for w in line.windows(2) {
            reached.push(reached[reached.len() - 1] + distance(w[0], w[1]));
        }
        Self { line, reached }
    }

    /// Length, m.
    pub(super) fn length(&self) -> f64 {
        self.reached[self.reached.len() - 1]
    }

    /// The place a distance along; the ends are prolonged.
    pub(super) fn place(&self, at: f64) -> [f64; 2] {
        let last = self.line.len() - 1;
        let k = self.reached.partition_point(|&r| r <= at).clamp(1, last) - 1;
        let span = self.reached[k + 1] - self.reached[k];
        let t = if span > 0.0 {
            (at - self.reached[k]) / span
        } else {
            0.0
        };
        along(self.line[k], sub(self.line[k + 1], self.line[k]), t)
    }

    /// Direction of travel, smoothed over two metres so that a bend of the line does not jerk the header.
    pub(super) fn ahead(&self, at: f64) -> [f64; 2] {
        direction(self.place(at - 1.0), self.place(at + 1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_track_is_measured_along() {
        let t = Track::new(vec![[0.0, 0.0], [3.0, 4.0], [3.0, 10.0]]);
        assert_eq!(t.length(), 11.0);
        assert_eq!(t.place(5.0), [3.0, 4.0]);
        assert_eq!(t.place(12.0), [3.0, 11.0]);
        assert_eq!(t.ahead(9.0), [0.0, 1.0]);
    }
}
