//! Passes in short pieces, and which pieces lie beside which.

use kiddo::{ImmutableKdTree, SquaredEuclidean};

use super::pass_rows::PassRows;
use crate::geometry::distance;
use crate::stats::median_in_place;

/// A neighbour lies between these shares of the two headers' mean width to the side (our choice: passes overlap by up
/// to a half and leave gaps of up to a half; beyond 1.7 it is the pass after the next).
const BESIDE: (f64, f64) = (0.4, 1.7);

/// Passes run side by side within 30° (cosine; our choice: beyond, "left" and "right" lose their meaning).
const PARALLEL: f64 = 0.866;

/// Beyond this many piece lengths between two points of a pass a new piece starts (our choice).
const BREAK: f64 = 2.0;

/// A short stretch of one pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Piece {
    pub pass: u32,
    pub machine: u32,
    /// First point and one past the last, as places in [`Pieces::points`].
    pub first: usize,
    pub end: usize,
    /// Mean place of its points, m.
    pub centre: [f64; 2],
    /// Direction of travel, a unit vector.
    pub direction: [f64; 2],
    /// From the first point to the last, m.
    pub length: f64,
    /// Header width, m.
    pub width: f64,
    /// Median log yield.
    pub value: f64,
}

/// A piece of another pass beside a piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Beside {
    /// Which.
    pub piece: usize,
    /// Whether it lies to the left.
    pub left: bool,
    /// Cosine between the directions of travel: 1 alike, −1 opposed.
    pub cosine: f64,
}

impl Beside {
    /// Whether the passes run side by side, in either direction.
    pub fn is_parallel(&self) -> bool {
        self.cosine.abs() >= PARALLEL
    }

    /// Whether they run side by side in opposite directions.
    pub fn is_opposed(&self) -> bool {
        self.cosine <= -PARALLEL
    }
}

/// The columns that pieces are made of.
pub(crate) struct Ground<'a> {
    pub x: &'a [f64],
    pub y: &'a [f64],
    pub direction: &'a [f64],
    pub machine: &'a [u32],
    pub width: &'a [f64],
    /// Log yield; a row without one is no point.
    pub log_yield: &'a [f64],
}

/// All pieces of a field, pass by pass in the order of travel.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Pieces {
    /// The points of all pieces (rows of the log), in the pieces' order.
    pub points: Vec<u32>,
    /// The pieces.
    pub pieces: Vec<Piece>,
    offsets: Vec<usize>,
    beside: Vec<Beside>,
}

impl Pieces {
    /// Cuts each pass's points into pieces of at least `length` metres and `points` points (what is left over at a pass's
    /// end joins the piece before it), and looks up what lies beside each.
    pub fn new(ground: &Ground, rows: &PassRows, length: f64, points: usize) -> Self {
        let mut found = Self::default();
        for (pass, rows) in rows.iter().enumerate() {
            found.cut(ground, pass as u32, rows, length, points);
        }
        found.look_beside();
        found
    }

    /// The same pieces with those of their points alone that count; a piece may be left without any.
    pub fn of_points(mut self, counts: impl Fn(usize) -> bool) -> Self {
        let all = std::mem::take(&mut self.points);
        for piece in &mut self.pieces {
            let first = self.points.len();
            let own = all[piece.first..piece.end].iter();
            self.points
                .extend(own.copied().filter(|&row| counts(row as usize)));
            (piece.first, piece.end) = (first, self.points.len());
        }
        self
    }

    /// What lies beside a piece.
    pub fn beside(&self, piece: usize) -> &[Beside] {
        &self.beside[self.offsets[piece]..self.offsets[piece + 1]]
    }

    fn cut(&mut self, ground: &Ground, pass: u32, rows: &[u32], length: f64, points: usize) {
        let step = |a: u32, b: u32| {
            let (a, b) = (a as usize, b as usize);
            distance([ground.x[a], ground.y[a]], [ground.x[b], ground.y[b]])
        };
        let (mut first, mut travelled) = (self.points.len(), 0.0);
        let whole = first;
        for &row in rows
            .iter()
            .filter(|&&row| ground.log_yield[row as usize].is_finite())
        {
            if let Some(&last) = self.points.last().filter(|_| self.points.len() > whole) {
                let ahead = step(last, row);
                let n = self.points.len() - first;
                let broken = ahead > BREAK * length.max(2.0 * travelled / n.max(1) as f64);
                if broken || (travelled >= length && n >= points) {
                    self.close(ground, pass, first, travelled, points);
                    (first, travelled) = (self.points.len(), 0.0);
                } else {
                    travelled += ahead;
                }
            }
            self.points.push(row);
        }
        self.close(ground, pass, first, travelled, points);
    }

    /// Ends a piece at the last point. Too short a one joins the piece before it, if that is of the same pass; on its
    /// own it stays as it is, down to two points.
    fn close(&mut self, ground: &Ground, pass: u32, first: usize, length: f64, points: usize) {
        let end = self.points.len();
        let mut piece_first = first;
        let mut piece_length = length;
        if end - first < points.div_ceil(2).max(2) {
            match self.pieces.last() {
                Some(before) if before.pass == pass && before.end == first => {
                    piece_first = before.first;
                    piece_length += before.length;
                    self.pieces.pop();
                }
                _ => return,
            }
        }
        let rows = &self.points[piece_first..end];
        let n = rows.len() as f64;
        let mean = |column: &dyn Fn(usize) -> f64| {
            rows.iter().map(|&i| column(i as usize)).sum::<f64>() / n
        };
        let mut travel = [0.0; 2];
        for &row in rows {
            let (sin, cos) = ground.direction[row as usize].sin_cos();
            travel = [travel[0] + cos / n, travel[1] + sin / n];
        }
        if !travel[0].is_finite() {
            let (a, b) = (rows[0] as usize, rows[rows.len() - 1] as usize);
            travel = [ground.x[b] - ground.x[a], ground.y[b] - ground.y[a]];
        }
        let size = travel[0].hypot(travel[1]);
        let mut values: Vec<f64> = rows.iter().map(|&i| ground.log_yield[i as usize]).collect();
        let Some(value) = median_in_place(&mut values) else {
            return;
        };
        let row = rows[0] as usize;
        self.pieces.push(Piece {
            pass,
            machine: ground.machine[row],
            first: piece_first,
            end,
            centre: [mean(&|i| ground.x[i]), mean(&|i| ground.y[i])],
            direction: travel.map(|t| t / size),
            length: piece_length,
            width: ground.width[row],
            value,
        });
    }

    fn look_beside(&mut self) {
        self.offsets.push(0);
        let centres: Vec<[f64; 2]> = self.pieces.iter().map(|p| p.centre).collect();
        // An immutable tree: a mutable one cannot hold many points that share a coordinate, and passes do share them.
        let tree = if centres.is_empty() {
            None
        } else {
            ImmutableKdTree::<f64, 2>::new_from_slice(&centres).ok()
        };
        let mut lengths: Vec<f64> = self.pieces.iter().map(|p| p.length).collect();
        let Some((tree, usual)) = tree.zip(median_in_place(&mut lengths)) else {
            self.offsets.resize(self.pieces.len() + 1, 0);
            return;
        };
        let widest = self.pieces.iter().map(|p| p.width).fold(0.0, f64::max);
        for piece in &self.pieces {
            // The farthest centre that can still lie beside: a usual piece, touching this one end to end.
            let across = BESIDE.1 * 0.5 * (piece.width + widest);
            let along = 0.5 * (piece.length + usual) + piece.width;
            let start = self.beside.len();
            let reach = across * across + along * along;
            if reach.is_finite() {
                let near = tree
                    .query(&piece.centre)
                    .within::<SquaredEuclidean<f64>>(reach)
                    .unsorted()
                    .execute();
                self.beside.extend(near.into_iter().filter_map(|hit| {
                    let other = hit.item as usize;
                    seen(piece, &self.pieces[other], other)
                }));
            }
            self.beside[start..].sort_unstable_by_key(|b| b.piece);
            self.offsets.push(self.beside.len());
        }
    }
}

/// How `other` lies beside `piece`, if it does.
fn seen(piece: &Piece, other: &Piece, index: usize) -> Option<Beside> {
    if other.pass == piece.pass {
        return None;
    }
    let [dx, dy] = [
        other.centre[0] - piece.centre[0],
        other.centre[1] - piece.centre[1],
    ];
    let [ux, uy] = piece.direction;
    let (along, across) = (dx * ux + dy * uy, dy * ux - dx * uy);
    let widths = across.abs() / (0.5 * (piece.width + other.width));
    let cosine = ux * other.direction[0] + uy * other.direction[1];
    // Along its own direction the other reaches half its length; across it, half its width.
    let reach = 0.5 * (piece.length + cosine.abs() * other.length) + 0.5 * piece.width;
    let beside = (BESIDE.0..=BESIDE.1).contains(&widths) && along.abs() <= reach;
    beside.then_some(Beside {
        piece: index,
        left: across > 0.0,
        cosine,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three passes of 40 points, 2 m apart, 9 m from each other, the middle one driven back.
    fn pieces(log_yield: &dyn Fn(usize) -> f64) -> Pieces {
        let n = 120;
        let along = |i: usize| 2.0 * (if i / 40 == 1 { 39 - i % 40 } else { i % 40 }) as f64;
        let x: Vec<f64> = (0..n).map(along).collect();
        let y: Vec<f64> = (0..n).map(|i| 9.0 * (i / 40) as f64).collect();
        let direction: Vec<f64> = (0..n)
            .map(|i| {
                if i / 40 == 1 {
                    std::f64::consts::PI
                } else {
                    0.0
                }
            })
            .collect();
        let pass: Vec<Option<u32>> = (0..n).map(|i| Some((i / 40) as u32)).collect();
        let log_yield: Vec<f64> = (0..n).map(log_yield).collect();
        let (machine, width) = (vec![0; n], vec![9.0; n]);
        let ground = Ground {
            x: &x,
            y: &y,
            direction: &direction,
            machine: &machine,
            width: &width,
            log_yield: &log_yield,
        };
        Pieces::new(&ground, &PassRows::new(&pass, None), 10.0, 4)
    }

    #[test]
    fn points_are_in_one_piece_each_and_neighbours_on_the_right_side() {
        let p = pieces(&|i| (i / 40) as f64);
        assert_eq!(p.points.len(), 120);
        assert!(p.pieces.windows(2).all(|w| w[0].end == w[1].first));
        // 10 m are five steps, so six points a piece, and the last four points of a pass make one more.
        assert_eq!(p.pieces.iter().filter(|p| p.pass == 0).count(), 7);
        for (k, piece) in p.pieces.iter().enumerate() {
            assert_eq!(piece.value, f64::from(piece.pass));
            for b in p.beside(k) {
                let other = p.pieces[b.piece];
                assert_eq!(piece.pass.abs_diff(other.pass), 1);
                assert!(b.is_parallel() && b.is_opposed());
                // North of an eastward pass is left; the middle pass drives west, so north of it is right.
                assert_eq!(b.left, (other.pass > piece.pass) == (piece.pass != 1));
            }
            // One on each side at least, and two where the pass goes on.
            let sides = if piece.pass == 1 { 2 } else { 1 };
            assert!(p.beside(k).len() >= sides, "{k}: {:?}", p.beside(k));
        }
    }

    #[test]
    fn points_without_yield_are_left_out_and_gaps_break_pieces() {
        let p = pieces(&|i| {
            if (10..35).contains(&(i % 40)) {
                f64::NAN
            } else {
                1.0
            }
        });
        assert_eq!(p.points.len(), 45);
        assert!(p.pieces.iter().all(|p| p.length < 25.0), "{:?}", p.pieces);
        let none = pieces(&|_| f64::NAN);
        assert!(none.pieces.is_empty() && none.points.is_empty());
    }

    #[test]
    fn of_points_that_go_pieces_and_neighbours_stay() {
        let whole = pieces(&|i| (i / 40) as f64);
        let same = whole.clone().of_points(|_| true);
        assert_eq!(same, whole);
        // The first twelve points are the first two pieces; the third loses one of its six.
        let less = whole.clone().of_points(|row| row >= 12 && row != 14);
        assert_eq!(less.points.len(), 107);
        let sizes: Vec<usize> = less.pieces.iter().map(|p| p.end - p.first).collect();
        assert_eq!(sizes[..4], [0, 0, 5, 6]);
        assert_eq!(less.points[..3], [12, 13, 15]);
        assert!((0..whole.pieces.len()).all(|k| less.beside(k) == whole.beside(k)));
    }
}
