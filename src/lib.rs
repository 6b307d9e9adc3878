//! fanmill turns raw grain yield logs into yield maps that agree with the scale.

pub mod crop;
pub mod delay;
pub mod geometry;
pub mod faults;
pub mod job;
pub mod log;
pub mod map;
pub mod moisture;
pub mod passes;
pub mod place;
pub mod ramps;
pub mod read;
pub mod stats;
pub mod summary;
pub mod units;
