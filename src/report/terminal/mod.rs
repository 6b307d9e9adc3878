//! What the terminal shows of a field and of a batch. Pure functions; the binary prints what they return.

mod batch;
mod field;
pub(super) mod page;

pub use batch::batch;
pub use field::field;
pub use page::Paint;

use super::numbers::{MISSING, optional, rounded};

/// Warnings in the order in which they put a map's totals in doubt; those not listed follow in their own order.
const WORST_FIRST: [&str; 6] = [
    "doubtful-ticket",
    "already-shifted",
    "moisture-already-corrected",
    "delay-refused",
    "many-set-aside",
    "header-width",
];

fn title(client: &str, farm: &str, field: &str, season: i32, crop: &str) -> String {
    format!("{client} / {farm} / {field}, {season} {crop}")
}

fn share(part: u64, whole: u64) -> String {
    if whole == 0 {
        MISSING.to_owned()
    } else {
        rounded(100.0 * part as f64 / whole as f64, 0)
    }
}

/// `14.2 → 8.0`: before and after.
fn change(before: Option<f64>, after: Option<f64>, decimals: usize) -> String {
    format!(
        "{} → {}",
        optional(before, decimals),
        optional(after, decimals)
    )
}

fn rank(code: &str) -> usize {
    WORST_FIRST
        .iter()
        .position(|&c| c == code)
        .unwrap_or(WORST_FIRST.len())
}
