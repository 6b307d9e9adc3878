//! Pass ramps: how long a machine takes to fill at the start of a pass, and to empty at its end, once the transport
//! delay is undone.
//!
//! Grain does not only arrive late, it arrives spread out (first-order mixing behind a dead time: Arslan 2008, Sensors
//! 8:952), so the first and last seconds of every pass read low whatever grew there. The passes of a machine are
//! aligned where they begin (and where they end), each divided by its own level a little further in, so that a poor
//! headland, which is poor for longer than a machine takes to fill, does not look like a ramp. The ramp ends at the
//! first second from which the median's bootstrap band stays on 1.

mod estimate;
mod gather;
mod response;

pub use estimate::{Ramp, Ramps, estimate};
pub use gather::{Evidence, PROFILE_S, Profile, RampInput, gather};
pub use response::Response;
