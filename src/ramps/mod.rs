//! Pass ramps: how long a machine takes to fill at the start of a pass, and to empty at its end, once the transport
//! delay is undone.
//!
//! Grain does not only arrive late, it arrives spread out (first-order mixing behind a dead time: Arslan 2008, Sensors
//! 8:952), so the first and last seconds of every pass read low whatever grew there. The passes of a machine are
//! aligned where they begin (and where they end), each divided by its own level a little further in, and, where a pass
//! beside leaves over the same ground with a full machine, by what that one found there: a poor headland is on both, a
//! ramp on one. A response is fitted to the median, because the tail of the filling lies below what a band resolves;
//! the ramp ends where little of it is lacking.

mod estimate;
mod gather;
mod response;

pub use estimate::{FieldRamps, Ramp, Ramps, estimate};
pub use gather::{Evidence, PROFILE_S, Profile, RampInput, gather};
pub use response::Response;
