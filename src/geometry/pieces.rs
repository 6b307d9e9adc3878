//! Passes cut into short pieces: the unit in which neighbouring passes are compared.

/// A short stretch of one pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    /// Which pass (the index of the run it was cut from).
    pub pass: u32,
    /// First row, as an index into the pass's rows.
    pub first: u32,
    /// One past the last row, as an index into the pass's rows.
    pub end: u32,
    /// Middle of the ground it covers, m.
    pub centre: [f64; 2],
    /// Direction of travel, a unit vector.
    pub direction: [f64; 2],
    /// Distance travelled on it, m.
    pub length: f64,
}

/// The pieces of all passes of a field, pass by pass and in the order of travel.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Pieces {
    pieces: Vec<Piece>,
}

impl Pieces {
    /// Cuts passes into pieces of about `length` metres (more than 0): each pass into equal parts, as near to `length`
    /// as whole rows allow, at least one a pass.
    ///
    /// `passes`: the rows of each pass in the order of travel. `ground`: where the header's middle was at the start and
    /// at the end of a row's interval, m; `None` where unknown (such a row belongs to the piece around it and adds no
    /// distance). A stretch that covers no ground makes no piece.
    ///
    /// ```
    /// use fanmill::geometry::Pieces;
    /// let rows: Vec<u32> = (0..40).collect();
    /// let east = |row: u32| Some([[f64::from(row), 0.0], [f64::from(row) + 1.0, 0.0]]);
    /// let pieces = Pieces::cut([rows.as_slice()], east, 10.0);
    /// assert_eq!(pieces.len(), 4);
    /// assert_eq!(pieces.get(1).centre, [15.0, 0.0]);
    /// ```
    pub fn cut<'a>(
        passes: impl IntoIterator<Item = &'a [u32]>,
        ground: impl Fn(u32) -> Option<[[f64; 2]; 2]>,
        length: f64,
    ) -> Self {
        let mut pieces = Vec::new();
        for (pass, rows) in passes.into_iter().enumerate() {
            cut_pass(pass as u32, rows, &ground, length, &mut pieces);
        }
        Self { pieces }
    }

    /// Number of pieces.
    pub fn len(&self) -> usize {
        self.pieces.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    /// One piece.
    pub fn get(&self, index: usize) -> &Piece {
        &self.pieces[index]
    }

    /// All pieces.
    pub fn iter(&self) -> std::slice::Iter<'_, Piece> {
        self.pieces.iter()
    }
}

fn cut_pass(
    pass: u32,
    rows: &[u32],
    ground: &impl Fn(u32) -> Option<[[f64; 2]; 2]>,
    length: f64,
    out: &mut Vec<Piece>,
) {
    let step = |row: u32| ground(row).map_or(0.0, |[from, to]| distance(from, to));
    let total: f64 = rows.iter().map(|&row| step(row)).sum();
    if !(total > 0.0 && length > 0.0) {
        return;
    }
    let each = total / (total / length).round().max(1.0);
    let mut open = Open::at(0);
    let (mut done, mut ends) = (0.0, each);
    for (k, &row) in rows.iter().enumerate() {
        if let Some([from, to]) = ground(row) {
            open.add(from, to);
            done += distance(from, to);
        }
        // A hair below the mark, so that rounding cannot leave a last piece of nothing.
        if done >= ends * (1.0 - 1e-9) {
            out.extend(open.close(pass, k + 1));
            open = Open::at(k + 1);
            ends = ((done / each + 1e-9).floor() + 1.0) * each;
        }
    }
    // Trailing rows without ground of their own.
    if (open.first as usize) < rows.len() {
        match out.last_mut() {
            Some(last) if open.length == 0.0 && last.pass == pass => last.end = rows.len() as u32,
            _ => out.extend(open.close(pass, rows.len())),
        }
    }
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    ((b[0] - a[0]).powi(2) + (b[1] - a[1]).powi(2)).sqrt()
}

/// A piece in the making.
struct Open {
    first: u32,
    length: f64,
    weighted: [f64; 2],
    travel: [f64; 2],
}

impl Open {
    fn at(first: usize) -> Self {
        Self {
            first: first as u32,
            length: 0.0,
            weighted: [0.0; 2],
            travel: [0.0; 2],
        }
    }

    fn add(&mut self, from: [f64; 2], to: [f64; 2]) {
        let d = distance(from, to);
        self.length += d;
        for axis in 0..2 {
            self.weighted[axis] += d * 0.5 * (from[axis] + to[axis]);
            self.travel[axis] += to[axis] - from[axis];
        }
    }

    fn close(&self, pass: u32, end: usize) -> Option<Piece> {
        let chord = self.travel[0].hypot(self.travel[1]);
        (chord > 0.0).then(|| Piece {
            pass,
            first: self.first,
            end: end as u32,
            centre: self.weighted.map(|w| w / self.length),
            direction: self.travel.map(|t| t / chord),
            length: self.length,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_of_a_pass_is_in_one_piece() {
        // 25 rows of 1.3 m north: 32.5 m, three pieces of 10.83 m; row 7 has no ground, the last row neither.
        let rows: Vec<u32> = (100..126).collect();
        let at = |k: f64| [5.0, 1.3 * k];
        let ground = |row: u32| match row - 100 {
            7 | 25 => None,
            k => Some([at(f64::from(k)), at(f64::from(k) + 1.0)]),
        };
        let pieces = Pieces::cut([rows.as_slice()], ground, 10.0);
        assert_eq!(pieces.len(), 3);
        assert_eq!((pieces.get(0).first, pieces.get(2).end), (0, 26));
        for (a, b) in pieces.iter().zip(pieces.iter().skip(1)) {
            assert_eq!(a.end, b.first);
        }
        assert!(
            pieces
                .iter()
                .all(|p| p.direction == [0.0, 1.0] && (p.centre[0] - 5.0).abs() < 1e-12)
        );
        assert!((pieces.iter().map(|p| p.length).sum::<f64>() - 24.0 * 1.3).abs() < 1e-9);
    }

    #[test]
    fn a_pass_that_goes_nowhere_has_no_piece() {
        let rows = [0, 1, 2];
        assert!(Pieces::cut([&rows[..], &[]], |_| Some([[1.0, 1.0]; 2]), 10.0).is_empty());
        assert!(Pieces::cut([&rows[..]], |_| None, 10.0).is_empty());
        let short = Pieces::cut([&rows[..1]], |_| Some([[0.0, 0.0], [3.0, 4.0]]), 10.0);
        assert_eq!(
            (short.len(), short.get(0).length, short.get(0).direction),
            (1, 5.0, [0.6, 0.8])
        );
    }

    #[test]
    fn one_long_row_is_one_piece_and_the_rest_goes_on() {
        let rows = [0, 1, 2, 3];
        let x = [0.0, 1.0, 26.0, 27.0, 30.0];
        let pieces = Pieces::cut(
            [&rows[..]],
            |r| Some([[x[r as usize], 0.0], [x[r as usize + 1], 0.0]]),
            10.0,
        );
        let ends: Vec<_> = pieces.iter().map(|p| (p.first, p.end)).collect();
        assert_eq!(ends, [(0, 2), (2, 4)]);
    }
}
