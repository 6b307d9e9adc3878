//! How good a map is without knowing the truth, before and after, on the same points.
//!
//! All three figures compare what *different passes* say of the same ground, in natural logarithms of yield, so that
//! they have no unit and a field's level does not matter; times 100 they are read as per cent. They use the points that
//! are kept and have both yields: setting points aside never improves "after" against "before".
//!
//! - **Opposite passes** (`opposite_pass_pct`, %): each point is paired with the nearest point of each neighbouring pass
//!   that was driven the other way. Spread of ln(yᵢ/yⱼ) over the pairs, as 1.4826 · median |ln(yᵢ/yⱼ)|: a wrong delay, a wrong
//!   factor and noise all widen it. Two points with 5 % of noise each and nothing else wrong give 7.
//! - **Nugget to sill** (`nugget_to_sill`, 0–1): variogram of ln y over pairs of points on different passes (points of one pass
//!   share its errors and the machine's smoothing), robust estimator, spherical model: nugget over nugget + partial sill. 0: all
//!   variation is pattern; 1: none is. Nugget before and after is what the review of
//!   Lyle et al. 2014 (Precision Agric.) asks screening to publish.
//! - **Held out** (`held_out_pct`, %): each piece (about 10 m of a pass, its median) is predicted from pieces of other passes
//!   beside it, weighted by the inverse of squared distance. 1.4826 · median |ln(y/prediction)|.

mod measure;
mod pairs;
mod params;

pub(crate) use measure::measure_on;
pub use measure::{Quality, QualityInput, QualityInputError, measure};
pub use params::{CheckedQualityParams, QualityParams, QualityParamsError};
