//! The plane a field is computed in: its frame, its boundary, cut ground, and pieces of passes with their neighbours.

mod boundary;
mod frame;
mod lattice;
mod neighbours;
mod patch;
mod pieces;
mod raster;
mod scanline;
mod utm;

pub use boundary::Boundary;
pub use frame::{Frame, FrameError};
pub use lattice::Lattice;
pub use neighbours::{Bearing, Neighbour, Neighbours};
pub use pieces::{Piece, Pieces};
pub use raster::{CutRaster, Filled};
pub use utm::UtmZone;

/// Distance of two places, m. Not `hypot`, whose care for numbers beyond 10^150 takes several times as long.
#[inline]
pub fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    (dx * dx + dy * dy).sqrt()
}
