//! Rows in pieces: pieces are formatted on all cores and written in order, so the bytes do not depend on the cores.

use std::io::{self, Write};

use rayon::prelude::*;

/// Rows formatted at once. Our choice: some 400 kB of text, which stays in a core's cache until it is written.
const ROWS: usize = 1024;
/// Pieces held in memory at once. Our choice: enough to keep the cores busy, some 6 MB a layer.
const PIECES: usize = 16;

/// Writes what `format` appends for each piece of `rows`; it is told the place of the piece's first row.
pub(crate) fn write_in_order(
    out: &mut impl Write,
    rows: &[u32],
    format: impl Fn(&[u32], usize, &mut Vec<u8>) + Sync,
) -> io::Result<()> {
    let mut buffers = vec![vec![]; PIECES];
    for (batch, rows) in rows.chunks(ROWS * PIECES).enumerate() {
        let pieces = buffers
            .par_iter_mut()
            .zip(rows.par_chunks(ROWS))
            .enumerate();
        pieces.for_each(|(k, (buffer, rows))| {
            buffer.clear();
            format(rows, (batch * PIECES + k) * ROWS, buffer);
        });
        for buffer in &buffers[..rows.len().div_ceil(ROWS)] {
            out.write_all(buffer)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_come_in_order_each_once() {
        for n in [0, 1, ROWS, ROWS + 1, ROWS * PIECES, 3 * ROWS * PIECES + 5] {
            let rows: Vec<u32> = (0..n as u32).collect();
            let mut out = vec![];
            write_in_order(&mut out, &rows, |rows, first, buffer| {
                assert_eq!(rows[0] as usize, first);
                buffer.extend(rows.iter().flat_map(|r| r.to_le_bytes()));
            })
            .unwrap();
            let expected: Vec<u8> = rows.iter().flat_map(|r| r.to_le_bytes()).collect();
            assert!(out == expected, "{n} rows");
        }
    }
}
