//! Rows in pieces: pieces are formatted on all cores and written in order, so the bytes do not depend on the cores.

/// Rows formatted at once. Our choice: some 4 MB of text, more than enough to hide the cost of handing it over.
pub(crate) const ROWS: usize = 8192;
/// Pieces held in memory at once. Our choice: bounds the memory to some 32 MB a layer.
const PIECES: usize = 8;

/// Rows in batches of several pieces.
pub(crate) fn batches(rows: &[u32]) -> impl Iterator<Item = &[u32]> {
    rows.chunks(ROWS * PIECES)
}
