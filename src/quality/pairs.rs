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
        let [ux, uy] = piece.direction;
        for place in (piece.first..piece.end).filter(|p| p % stride == 0) {
            let row = pieces.points[place];
            let along = |other: u32| {
                let (dx, dy) = (
                    x[other as usize] - x[row as usize],
                    y[other as usize] - y[row as usize],
                );
                (dx * ux + dy * uy).abs()
            };
            for &pass in &passes {
                let of_pass = beside
                    .iter()
                    .map(|b| pieces.pieces[b.piece])
                    .filter(|p| p.pass == pass);
                let nearest = of_pass
                    .flat_map(|p| {
                        let step = p.length / (p.end - p.first - 1).max(1) as f64;
                        pieces.points[p.first..p.end]
                            .iter()
                            .map(move |&other| (other, step))
                    })
                    .map(|(other, step)| (along(other), other, step))
                    .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
                if let Some((_, other, _)) =
                    nearest.filter(|(along, _, step)| *along <= STEPS * step)
                {
                    pairs.push((row, other));
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
