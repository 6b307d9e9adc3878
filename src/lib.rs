//! fanmill turns raw grain yield logs into yield maps that agree with the scale.

pub mod calibrate;
pub mod checks;
pub mod crop;
pub mod delay;
pub mod faults;
pub mod geometry;
pub mod job;
pub mod loads;
pub mod log;
pub mod map;
pub mod moisture;
pub mod passes;
pub mod place;
pub mod ramps;
pub mod read;
pub mod stats;
pub mod simulate;
pub mod report;
pub mod summary;
pub mod units;
pub mod write;
pub mod width;
