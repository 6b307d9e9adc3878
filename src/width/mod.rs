//! Cut width: how much standing crop each row's header met.
//!
//! Swaths are laid on a bit raster in the order of work (Han et al. 1997, Trans. ASAE 40(2):485; in vectors: Drummond,
//! Fraisse & Sudduth 1999, Trans. ASAE 42:1221), and newly cut ground over the header's whole swath is the row's raw
//! share. Taken as it is, that share is biased where positions err: a pass logged too near its neighbour loses width,
//! one logged too far gains none. So the distance to the neighbouring passes cut earlier is measured too, with its
//! sign, and judged against what is usual in the field (see [`Spacing`]).

mod apply;
mod estimate;
mod offsets;
mod outline;
mod params;
mod swath;

pub use apply::{CutWidth, cut_width};
pub use estimate::{HeaderWidthCheck, Spacing};
pub use outline::newly_cut;
pub use params::{Checked, Params, WidthError};

use crate::passes::Passes;

/// What cut widths are computed from.
#[derive(Debug, Clone, Copy)]
pub struct Rows<'a> {
    /// Rows of the log in the order in which the ground was cut, all machines together.
    pub order: &'a [u32],
    /// The passes: ground, activity, direction and header width of each row.
    pub passes: &'a Passes,
}
