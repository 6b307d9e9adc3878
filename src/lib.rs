//! fanmill turns raw grain yield logs into yield maps that agree with the scale.

pub mod crop;
pub mod geometry;
pub mod job;
pub mod log;
pub mod map;
pub mod moisture;
pub mod passes;
pub mod place;
pub mod read;
pub mod summary;
pub mod units;
pub mod width;
