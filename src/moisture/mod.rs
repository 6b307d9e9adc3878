//! Moisture: what grain weighs at its reference moisture, each load's offset against the tester, and the arithmetic
//! of a yield. Moisture is in % wet basis throughout.

mod loads;
mod shrink;
mod yields;

pub use loads::{LoadMoisture, corrected, estimate, weighted_mean};
pub use shrink::{DryGrain, MoistureError, check, mass_equal_to, offset, shrink_pct, to_reference};
pub use yields::{area_of_interval, flow_from_yield, yield_from_flow, yield_over};
