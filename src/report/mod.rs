//! Figures into text for people. Nothing is computed here that a figure in the summary does not already say.

pub mod audit;
pub mod inspect;
pub mod json;
pub(crate) mod numbers;
pub mod pages;
pub mod terminal;

/// Said wherever results are shown.
pub const CAUTION: &str =
    "Maps are not for settlement, rent or insurance: certified scale tickets decide.";
