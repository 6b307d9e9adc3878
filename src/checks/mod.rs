//! Which points are fit for the map, and why the others are not.
//!
//! A point is the ground of a row with the grain that came from it. Nothing is deleted: a point is kept, or set aside
//! for the first reason that applies, in the order of [`Reason`](crate::log::Reason). [`apply`] goes in three steps:
//!
//! 1. **What the machine did**: position, repeated records, header, boundary, ramps, turns, cut width, missing and faulty
//!    flow. No statistics.
//! 2. **Limits from the data** ([`estimate`]): speed, its changes, moisture and yield, by median and MAD of what step 1
//!    left, never tighter than a stated factor and inside absolute bounds. A limit that the job fixes wins.
//! 3. **Neighbours**: a whole pass off the passes on both sides; a point off its own pass *and* off the passes beside it.
//!    Passes are compared by short pieces, not point by point. What a neighbouring pass shows as well is real and stays.
//!
//! Published screening also works from mechanical to statistical to spatial errors (Simbahan, Dobermann & Ping 2004, Agron.
//! J. 96:1091; Vega et al. 2019, Precision Agric. 20:1030; review by Lyle et al. 2014). Residuals are tested, not raw yields: a raw local index takes the edge
//! of a good patch for an error.

mod apply;
mod estimate;
mod input;
mod neighbours;
mod params;
mod pass_rows;
mod physical;
pub(crate) mod pieces;
mod sides;
mod stats;
mod whole_pass;

pub use apply::{Checked, apply};
pub use estimate::{Limits, estimate};
pub use input::{CheckInput, CheckInputError, RampSeconds};
pub use params::{CheckParams, CheckParamsError, CheckedParams};
pub(crate) use pass_rows::PassRows;
pub use stats::CheckStats;
