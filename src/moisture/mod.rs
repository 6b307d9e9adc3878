//! Moisture: what grain weighs at its reference moisture, each load's offset against the tester, the arithmetic
//! of a yield, and signs that a log's grain was brought to a reference moisture already. Moisture is in % wet basis throughout.

mod dry_flow;
mod loads;
mod shrink;
mod yields;

pub use dry_flow::{FollowsMoisture, constant};
pub use loads::{LoadMoisture, corrected, estimate, weighted_mean};
pub use shrink::{DryGrain, MoistureError, check, mass_equal_to, offset, shrink_pct, to_reference};
pub use yields::{area_of_interval, flow_from_yield, yield_from_flow, yield_over};
