//! fanmill turns raw grain yield logs into yield maps that agree with the scale.

pub mod checks;
pub mod crop;
pub mod faults;
pub mod job;
pub mod log;
pub mod map;
pub mod passes;
pub mod place;
pub mod quality;
pub mod read;
pub mod stats;
pub mod summary;
pub mod units;
