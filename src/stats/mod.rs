//! Robust statistics that the stages share.
//!
//! **Missing values.** Functions that take `&[f64]` skip values that are not finite (NaN is "missing" inside
//! columns) and answer `None` where nothing is left. Functions that end in `_in_place` or `_sorted` are for inner
//! loops: their input must hold finite numbers only (checked in debug builds), and they may reorder it.
//!
//! Nothing here keeps state or draws random numbers of its own: resampling takes a seed.

mod bootstrap;
mod normal;
mod robust;
mod running;
pub mod sparse;
mod student;
pub mod variogram;

pub use bootstrap::{interval, resample_groups};
pub use normal::{normal_quantile, normal_two_sided};
pub use robust::{
    MAD_TO_SIGMA, Spread, huber_location, huber_weight, mad, median, median_in_place, quantile,
    quantile_sorted, weighted_quantile, weighted_quantiles,
};
pub use running::running_median;
pub use student::{student_975, student_quantile, student_two_sided};
