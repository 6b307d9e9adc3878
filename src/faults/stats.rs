//! What was found, in numbers.

use super::FaultKind;
use super::apply::Faults;

/// Counts and masses of a log's faults.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct FaultStats {
    /// Records written twice.
    pub duplicates: usize,
    /// Rows of flow spikes.
    pub spikes: usize,
    /// Rows of stuck readings.
    pub stuck: usize,
    /// Logged wet mass, kg, faults included.
    pub logged_kg: f64,
    /// What of it is not grain, kg: logged less what replaces it, over all rows. Negative where stuck or dropped-out
    /// readings stood below the flow around them.
    pub fault_kg: f64,
}

impl FaultStats {
    pub(super) fn of(faults: &Faults) -> Self {
        let count = |wanted| faults.kind.iter().filter(|k| **k == Some(wanted)).count();
        let known = || {
            faults
                .logged
                .iter()
                .zip(&faults.mass)
                .filter(|(l, _)| l.is_finite())
        };
        Self {
            duplicates: count(FaultKind::Duplicate),
            spikes: count(FaultKind::Spike),
            stuck: count(FaultKind::Stuck),
            logged_kg: known().map(|(l, _)| l).sum(),
            fault_kg: known().map(|(l, m)| l - m).sum(),
        }
    }

    /// Rows with any fault.
    pub fn rows(&self) -> usize {
        self.duplicates + self.spikes + self.stuck
    }
}
