//! Settings of the search for faults.

use thiserror::Error;

/// Settings; [`FaultParams::check`] turns them into what runs.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultParams {
    /// Highest wet flow believed, kg/s.
    pub highest_flow: f64,
    /// Shortest time constant of a machine, s.
    pub fastest_response: f64,
    /// Longest spike, s (and at least one row).
    pub spike_length: f64,
    /// Least rise of a spike over the higher side's flow, as a share of it.
    pub spike_rise: f64,
    /// Least departure of a spike in standard deviations of this log's row-to-row noise.
    pub spike_sigmas: f64,
    /// Negative flow up to this share of the usual flow is a drifting zero.
    pub zero_share: f64,
    /// Expected number of runs of equal readings that one log's chance repeats would pass off as a stuck sensor.
    pub stuck_false_alarms: f64,
    /// Fewest rows of a stuck run.
    pub stuck_rows: usize,
    /// Shortest stuck run, s.
    pub stuck_seconds: f64,
}

impl Default for FaultParams {
    fn default() -> Self {
        Self {
            // 540 t/h: several times what the largest grain combines thresh and more than a forage harvester chops
            // (our choice).
            highest_flow: 150.0,
            // First-order lags of grain combines are published at several seconds (Whelan & McBratney 2002, Precision
            // Agric. 3:123; Arslan 2008, Sensors 8:952); 1 s leaves room for machines quicker than any of them.
            fastest_response: 1.0,
            // Longer excursions may be real ground (our choice).
            spike_length: 3.0,
            // Row noise of flow sensors is 5–12 %; real edges are steps, not pulses (our choice).
            spike_rise: 0.6,
            // Our choice: beyond six sigmas a normal variable strays twice in a thousand million rows.
            spike_sigmas: 6.0,
            // Our choice: several times the zero drift that a sensor's self-test allows.
            zero_share: 0.05,
            // One false alarm in a hundred logs (our choice).
            stuck_false_alarms: 0.01,
            // Our choice: shorter runs cost little grain, and even 1 Hz logs repeat a few readings on even ground.
            stuck_rows: 5,
            stuck_seconds: 5.0,
        }
    }
}

/// A setting that cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("faults: {name} must be {expected}, but is {found}")]
pub struct FaultParamsError {
    /// The setting.
    pub name: &'static str,
    /// What it must be.
    pub expected: &'static str,
    /// What it is.
    pub found: f64,
}

/// Settings that passed [`FaultParams::check`].
#[derive(Debug, Clone, PartialEq)]
pub struct CheckedFaultParams(FaultParams);

impl std::ops::Deref for CheckedFaultParams {
    type Target = FaultParams;

    fn deref(&self) -> &FaultParams {
        &self.0
    }
}

impl FaultParams {
    /// Checks each setting. NaN never passes.
    pub fn check(self) -> Result<CheckedFaultParams, FaultParamsError> {
        let positive = [
            ("highest_flow", self.highest_flow),
            ("fastest_response", self.fastest_response),
            ("spike_length", self.spike_length),
            ("spike_rise", self.spike_rise),
            ("spike_sigmas", self.spike_sigmas),
            ("stuck_false_alarms", self.stuck_false_alarms),
            ("stuck_seconds", self.stuck_seconds),
        ];
        for (name, found) in positive {
            if !(found > 0.0 && found.is_finite()) {
                return Err(FaultParamsError {
                    name,
                    expected: "a positive number",
                    found,
                });
            }
        }
        if !(0.0..1.0).contains(&self.zero_share) {
            let found = self.zero_share;
            return Err(FaultParamsError {
                name: "zero_share",
                expected: "at least 0 and below 1",
                found,
            });
        }
        if self.stuck_rows < 3 {
            let found = self.stuck_rows as f64;
            return Err(FaultParamsError {
                name: "stuck_rows",
                expected: "3 or more",
                found,
            });
        }
        Ok(CheckedFaultParams(self))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_pass_and_each_bad_setting_is_named() {
        assert!(FaultParams::default().check().is_ok());
        type Spoil = fn(&mut FaultParams);
        let cases: [(&str, Spoil); 9] = [
            ("highest_flow", |p| p.highest_flow = f64::NAN),
            ("fastest_response", |p| p.fastest_response = 0.0),
            ("spike_length", |p| p.spike_length = -1.0),
            ("spike_rise", |p| p.spike_rise = f64::INFINITY),
            ("spike_sigmas", |p| p.spike_sigmas = f64::NAN),
            ("zero_share", |p| p.zero_share = 1.0),
            ("stuck_false_alarms", |p| p.stuck_false_alarms = 0.0),
            ("stuck_rows", |p| p.stuck_rows = 2),
            ("stuck_seconds", |p| p.stuck_seconds = f64::NAN),
        ];
        for (name, spoil) in cases {
            let mut params = FaultParams::default();
            spoil(&mut params);
            assert_eq!(params.check().unwrap_err().name, name);
        }
    }
}
