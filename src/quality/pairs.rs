//! Which points and pieces are compared: found once, from places alone, for both maps.

use crate::checks::pieces::Pieces;

/// A partner on another pass lies at most this many of its pass's steps away along the track (our choice: within one
/// step there is always one, unless points were set aside there).
const STEPS: f64 = 1.0;

/// Pairs of rows: a point, and the nearest point of an opposed pass beside it (one per such pass). At most `points`
/// points look for partners, at an even stride; a pair found from both ends is there twice.
pub(super) fn opposed(pieces: &Pieces, x: &[f64], y: &[f64], points: usize) -> Vec<(u32, u32)> {
    let stride = pieces.points.len().div_ceil(points).max(1);
    let mut pairs = Vec::new();
    for (k, piece) in pieces.pieces.iter().enumerate() {
        let beside = pieces.beside(k);
        let mut passes: Vec<u32> = beside
            .iter()
            .filter(|b| b.is_opposed())
            .map(|b| pieces.pieces[b.piece].pass)
            .collect();
        passes.sort_unstable();
        passes.dedup();
        // The points beside, pass by pass, each piece with its step.
        let mut others: Vec<(u32, &[u32], f64)> = (beside.iter())
            .map(|b| pieces.pieces[b.piece])
            .filter(|p| passes.binary_search(&p.pass).is_ok())
            .map(|p| {
                let step = p.length / (p.end - p.first).saturating_sub(1).max(1) as f64;
                (p.pass, &pieces.points[p.first..p.end], step)
            })
            .collect();
        others.sort_by_key(|o| o.0);
        let [ux, uy] = piece.direction;
        for place in (piece.first..piece.end).filter(|p| p % stride == 0) {
            let row = pieces.points[place];
            let (x0, y0) = (x[row as usize], y[row as usize]);
            let along = |other: u32| {
                let (dx, dy) = (x[other as usize] - x0, y[other as usize] - y0);
                (dx * ux + dy * uy).abs()
            };
            for of_pass in others.chunk_by(|a, b| a.0 == b.0) {
                let mut nearest = (f64::INFINITY, u32::MAX, 0.0);
                for &(_, points, step) in of_pass {
                    for &other in points {
                        let along = along(other);
                        if along < nearest.0 || (along == nearest.0 && other < nearest.1) {
                            nearest = (along, other, step);
                        }
                    }
                }
                if nearest.0 <= STEPS * nearest.2 {
                    pairs.push((row, nearest.1));
                }
            }
        }
    }
    pairs
}

/// For each piece that has any, the pieces of other passes beside it with their weights, 1 / distance².
pub(super) fn predictors(pieces: &Pieces) -> Vec<(usize, Vec<(usize, f64)>)> {
    let weights = |k: usize| -> Vec<(usize, f64)> {
        let [x, y] = pieces.pieces[k].centre;
        let weight = |other: usize| {
            let [ox, oy] = pieces.pieces[other].centre;
            1.0 / ((ox - x).powi(2) + (oy - y).powi(2))
        };
        pieces
            .beside(k)
            .iter()
            .map(|b| (b.piece, weight(b.piece)))
            .collect()
    };
    (0..pieces.pieces.len())
        .map(|k| (k, weights(k)))
        .filter(|(_, w)| !w.is_empty())
        .collect()
}
