//! What a certified vehicle scale may be off by.

use crate::units::POUND_KG;

/// Scale division of a vehicle scale, kg: 20 lb is usual up to 200,000 lb (common practice).
const DIVISION_KG: f64 = 20.0 * POUND_KG;
/// NIST Handbook 44, section 2.20, class III L, maintenance tolerance: one division for every 500 divisions of load or
/// fraction of them (from memory).
const DIVISIONS_PER_STEP: f64 = 500.0;
/// A farm truck or a tractor with its wagon, empty, kg (our choice: the ticket has the net weight alone).
const EMPTY_KG: f64 = 10_000.0;

/// Maintenance tolerance of one weighing, kg.
pub fn tolerance_kg(gross_kg: f64) -> f64 {
    let steps = (gross_kg / (DIVISIONS_PER_STEP * DIVISION_KG) - 1e-9).ceil();
    steps.max(1.0) * DIVISION_KG
}

/// What a net weight may be off by at most, kg: it is the difference of a full and an empty weighing, and both may err.
pub fn net_tolerance_kg(net_kg: f64) -> f64 {
    tolerance_kg(net_kg + EMPTY_KG) + tolerance_kg(EMPTY_KG)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_division_for_every_five_hundred() {
        // NIST Handbook 44, class III L, division of 20 lb (from memory): 10,000 lb ± 20 lb, 50,000 ± 100, 80,000 ± 160.
        for (load, tolerance) in [(10_000.0, 20.0), (50_000.0, 100.0), (80_000.0, 160.0)] {
            assert!((tolerance_kg(load * POUND_KG) / POUND_KG - tolerance).abs() < 1e-6);
        }
        assert!((tolerance_kg(0.0) / POUND_KG - 20.0).abs() < 1e-9);
    }

    #[test]
    fn a_small_net_weight_is_the_difference_of_two_large_ones() {
        // 10,000 kg empty are 22,046 lb, 3 divisions; with 3,000 lb on it 25,046 lb, 3 divisions: 120 lb in 3,000 are 4 %.
        assert!((net_tolerance_kg(3000.0 * POUND_KG) / POUND_KG - 120.0).abs() < 1e-6);
        // 38,580 lb with 7,500 kg: 4 divisions, 140 lb in all, 0.8 %.
        assert!((net_tolerance_kg(7500.0) / 7500.0 - 0.0085).abs() < 1e-4);
    }
}
