//! The arithmetic of a yield: mass over the ground it was cut from. SI: kg, kg/s, m, m², m/s; yields in kg/ha.

use crate::units::HECTARE_M2;

/// Yield of a mass (kg) cut from an area (m²), kg/ha; `None` where there is no area or no mass.
pub fn yield_over(mass: f64, area: f64) -> Option<f64> {
    (mass.is_finite() && area > 0.0 && area.is_finite()).then(|| mass / area * HECTARE_M2)
}

/// Yield of a flow (kg/s) at a speed (m/s) and cut width (m), kg/ha; `None` where one is missing or no ground passes.
pub fn yield_from_flow(flow: f64, speed: f64, width: f64) -> Option<f64> {
    if !(speed > 0.0 && width > 0.0) {
        return None;
    }
    yield_over(flow, speed * width)
}

/// Flow (kg/s) that a yield (kg/ha) makes at a speed (m/s) and cut width (m).
pub fn flow_from_yield(yield_kg_ha: f64, speed: f64, width: f64) -> f64 {
    yield_kg_ha / HECTARE_M2 * speed * width
}

/// Ground covered in an interval (s) at a speed (m/s) and cut width (m), m².
pub fn area_of_interval(speed: f64, width: f64, interval: f64) -> f64 {
    speed * width * interval
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kilogram_on_a_square_metre_is_ten_tonnes_a_hectare() {
        assert_eq!(yield_over(1.0, 1.0), Some(10_000.0));
        assert_eq!(yield_from_flow(9.0, 1.5, 6.0), Some(10_000.0));
        assert_eq!(flow_from_yield(10_000.0, 1.5, 6.0), 9.0);
        assert_eq!(area_of_interval(1.5, 6.0, 2.0), 18.0);
    }

    #[test]
    fn no_ground_no_yield() {
        assert_eq!(yield_over(1.0, 0.0), None);
        assert_eq!(yield_over(f64::NAN, 1.0), None);
        assert_eq!(yield_over(1.0, f64::NAN), None);
        assert_eq!(yield_from_flow(1.0, -1.0, -6.0), None);
    }
}
