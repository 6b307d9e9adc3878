//! Water and dry matter: grain dried (or wetted) to another moisture keeps its dry matter,
//! `m_ref (100 - M_ref) = m (100 - M)`. Handling losses are another matter and stay out of it.

/// A moisture that no grain can have.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("moisture of {0} %: expected a percentage of wet mass, 0 or more and below 100")]
pub struct MoistureError(pub f64);

/// Whether grain drier than its reference is credited with the water it lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DryGrain {
    /// It weighs what it weighs (buyers pay no more for it: common practice).
    #[default]
    AsIs,
    /// It is brought up to the reference, as wetter grain is brought down to it.
    Credited,
}

/// The moisture itself where grain can have it.
///
/// # Errors
/// [`MoistureError`] for NaN, less than 0, and 100 or more.
pub fn check(moisture: f64) -> Result<f64, MoistureError> {
    if (0.0..100.0).contains(&moisture) {
        Ok(moisture)
    } else {
        Err(MoistureError(moisture))
    }
}

/// Mass at the reference moisture of a mass at another, in the unit it is given in: `m (100 - M) / (100 - M_ref)`.
///
/// ```
/// use fanmill::moisture::{DryGrain, to_reference};
/// // 10,000 kg of maize at 25.8 % is 8,781 kg at 15.5 %.
/// let dry = to_reference(10_000.0, 25.8, 15.5, DryGrain::AsIs).unwrap();
/// assert_eq!(dry.round(), 8781.0);
/// // Grain at 12 % is credited with water only where that is asked for.
/// assert_eq!(to_reference(1000.0, 12.0, 15.5, DryGrain::AsIs), Ok(1000.0));
/// assert!(to_reference(1000.0, 12.0, 15.5, DryGrain::Credited).unwrap() > 1041.0);
/// ```
///
/// # Errors
/// [`MoistureError`] for a moisture that grain cannot have. A missing mass stays missing (NaN).
pub fn to_reference(
    mass: f64,
    moisture: f64,
    reference: f64,
    dry: DryGrain,
) -> Result<f64, MoistureError> {
    let (moisture, reference) = (check(moisture)?, check(reference)?);
    if moisture < reference && dry == DryGrain::AsIs {
        return Ok(mass);
    }
    Ok(mass * (100.0 - moisture) / (100.0 - reference))
}

/// Mass at `moisture` that holds the dry matter of `mass` at `reference`: what a bushel weighs when it is wet.
///
/// # Errors
/// [`MoistureError`] for a moisture that grain cannot have.
pub fn mass_equal_to(mass: f64, reference: f64, moisture: f64) -> Result<f64, MoistureError> {
    to_reference(mass, reference, moisture, DryGrain::Credited)
}

/// Water shrink on the way to the reference, % of the wet mass (negative where water is added).
///
/// # Errors
/// [`MoistureError`] for a moisture that grain cannot have.
pub fn shrink_pct(moisture: f64, reference: f64) -> Result<f64, MoistureError> {
    Ok(100.0 - to_reference(100.0, moisture, reference, DryGrain::Credited)?)
}

/// What to add to the logged moisture of a load, percentage points: tester − logged mean (12 − 13 = −1.0).
///
/// # Errors
/// [`MoistureError`] for a moisture that grain cannot have.
pub fn offset(tester: f64, logged_mean: f64) -> Result<f64, MoistureError> {
    Ok(check(tester)? - check(logged_mean)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_impossible_moisture_is_an_error_wherever_it_stands() {
        for bad in [f64::NAN, -0.1, 100.0, f64::INFINITY] {
            assert!(check(bad).is_err());
            assert!(to_reference(1.0, bad, 15.0, DryGrain::Credited).is_err());
            assert!(to_reference(1.0, 15.0, bad, DryGrain::AsIs).is_err());
            assert!(
                shrink_pct(bad, 15.0).is_err()
                    && offset(bad, 13.0).is_err()
                    && offset(12.0, bad).is_err()
            );
        }
        assert_eq!(check(0.0), Ok(0.0));
        assert_eq!(
            MoistureError(100.0).to_string(),
            "moisture of 100 %: expected a percentage of wet mass, 0 or more and below 100"
        );
    }

    #[test]
    fn a_missing_mass_stays_missing() {
        assert!(
            to_reference(f64::NAN, 20.0, 15.0, DryGrain::AsIs)
                .unwrap()
                .is_nan()
        );
    }

    #[test]
    fn the_tester_is_right() {
        assert_eq!(offset(12.0, 13.0), Ok(-1.0));
    }

    #[test]
    fn there_and_back_is_the_same_mass() {
        let wet = mass_equal_to(56.0, 15.5, 25.0).unwrap();
        assert!((to_reference(wet, 25.0, 15.5, DryGrain::AsIs).unwrap() - 56.0).abs() < 1e-12);
    }
}
