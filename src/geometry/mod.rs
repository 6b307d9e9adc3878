//! The plane a field is computed in: its frame, its boundary, cut ground, and pieces of passes with their neighbours.

mod boundary;
mod frame;
mod neighbours;
mod patch;
mod pieces;
mod raster;
mod scanline;

pub use boundary::Boundary;
pub use frame::{Frame, FrameError};
pub use neighbours::{Bearing, Neighbour, Neighbours};
pub use pieces::{Piece, Pieces};
pub use raster::{CutRaster, Filled};
