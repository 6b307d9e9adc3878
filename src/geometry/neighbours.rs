//! Which pieces of other passes lie near a piece, and where.

use super::Pieces;
use kiddo::{ImmutableKdTree, SquaredEuclidean};

/// Two headings are the same (or opposed) within 20° (its cosine). Our choice: contour passes fan out by several
/// degrees; headlands cross at far more.
const PARALLEL: f64 = 0.939_692_620_785_908_4;

/// How a neighbour's heading stands to a piece's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bearing {
    /// Driven in the same direction.
    Same,
    /// Driven in the opposite direction.
    Opposed,
    /// Driven at an angle.
    Crossing,
}

/// A piece of another pass, seen from a piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neighbour {
    /// Index of the neighbouring piece.
    pub piece: u32,
    /// How far ahead its centre is, m (negative: behind).
    pub along: f64,
    /// How far to the left its centre is, m (negative: to the right).
    pub across: f64,
    /// How the headings stand.
    pub bearing: Bearing,
}

/// The neighbours of every piece, in one list with offsets.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Neighbours {
    offsets: Vec<usize>,
    list: Vec<Neighbour>,
}

impl Neighbours {
    /// The neighbours of one piece, by ascending piece index.
    pub fn of(&self, piece: usize) -> &[Neighbour] {
        &self.list[self.offsets[piece]..self.offsets[piece + 1]]
    }

    /// Number of (piece, neighbour) pairs; each pair of pieces is there twice.
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Whether no piece has a neighbour.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }
}

impl Pieces {
    /// For each piece the pieces of *other* passes whose centres are within `radius` metres.
    pub fn neighbours(&self, radius: f64) -> Neighbours {
        let centres: Vec<[f64; 2]> = self.iter().map(|p| p.centre).collect();
        let mut found = Neighbours {
            offsets: vec![0],
            list: Vec::new(),
        };
        // An immutable tree: the mutable one refuses the 33rd point that shares a coordinate, and passes do share them.
        let tree = if centres.is_empty() {
            None
        } else {
            ImmutableKdTree::<f64, 2>::new_from_slice(&centres).ok()
        };
        for piece in self.iter() {
            let start = found.list.len();
            if let Some(tree) = &tree {
                let near = tree
                    .query(&piece.centre)
                    .within::<SquaredEuclidean<f64>>(radius * radius)
                    .unsorted();
                found.list.extend(
                    near.execute()
                        .into_iter()
                        .filter_map(|hit| self.seen(piece, hit.item as usize)),
                );
            }
            found.list[start..].sort_unstable_by_key(|n| n.piece);
            found.offsets.push(found.list.len());
        }
        found
    }

    fn seen(&self, from: &super::Piece, index: usize) -> Option<Neighbour> {
        let other = self.get(index);
        if other.pass == from.pass {
            return None;
        }
        let [dx, dy] = [
            other.centre[0] - from.centre[0],
            other.centre[1] - from.centre[1],
        ];
        let [ux, uy] = from.direction;
        let cosine = ux * other.direction[0] + uy * other.direction[1];
        let bearing = if cosine > PARALLEL {
            Bearing::Same
        } else if cosine < -PARALLEL {
            Bearing::Opposed
        } else {
            Bearing::Crossing
        };
        Some(Neighbour {
            piece: index as u32,
            along: dx * ux + dy * uy,
            across: dy * ux - dx * uy,
            bearing,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three passes of 40 m: east, back west 9 m north of it, and one crossing both northward.
    fn field() -> Pieces {
        let rows: Vec<u32> = (0..120).collect();
        let ground = |row: u32| {
            let k = f64::from(row % 40);
            Some(match row / 40 {
                0 => [[k, 0.0], [k + 1.0, 0.0]],
                1 => [[40.0 - k, 9.0], [39.0 - k, 9.0]],
                _ => [[5.0, k - 20.0], [5.0, k - 19.0]],
            })
        };
        Pieces::cut([&rows[..40], &rows[40..80], &rows[80..]], ground, 10.0)
    }

    #[test]
    fn neighbours_are_of_other_passes_with_sides_and_headings() {
        let pieces = field();
        let near = pieces.neighbours(9.5);
        // The second piece of the first pass (centre 15, 0) sees only its opposite (centre 15, 9), to its left.
        let of: Vec<_> = near.of(1).to_vec();
        assert_eq!(of.len(), 1);
        assert_eq!(
            (of[0].along, of[0].across, of[0].bearing),
            (0.0, 9.0, Bearing::Opposed)
        );
        // The opposite sees it to its own left too: it drives the other way.
        let back = near.of(of[0].piece as usize);
        assert_eq!((back[0].piece, back[0].across), (1, 9.0));
        // The first piece (centre 5, 0) also sees the crossing pass, 5 m to both sides.
        let crossing: Vec<_> = near
            .of(0)
            .iter()
            .filter(|n| n.bearing == Bearing::Crossing)
            .map(|n| n.across)
            .collect();
        assert_eq!(crossing, [-5.0, 5.0]);
    }

    #[test]
    fn nothing_has_no_neighbours() {
        let none = Pieces::default().neighbours(10.0);
        assert!(none.is_empty());
        assert_eq!(none.len(), 0);
    }

    #[test]
    fn many_pieces_that_share_a_coordinate_are_all_found() {
        let rows: Vec<u32> = (0..200).collect();
        let pieces = Pieces::cut(
            rows.chunks(1),
            |row| Some([[0.0, 0.0], [1.0, f64::from(row) * 1e-6]]),
            10.0,
        );
        assert_eq!(pieces.neighbours(1.0).of(0).len(), 199);
    }
}
