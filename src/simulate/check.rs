//! Which parameters can be simulated.

use super::machine_spec::{MachineSpec, TransportSpec};
use super::shape::Shape;
use super::spec::{FaultSpec, FieldSpec, Weighed};
use super::transport::STEP;

/// Why a season cannot be simulated or written.
#[derive(Debug, thiserror::Error)]
pub enum SimulateError {
    /// A parameter is out of its range.
    #[error("cannot simulate field \"{field}\": {parameter} must be {expected}, but is {found}")]
    Parameter {
        /// Field's name.
        field: String,
        /// The parameter.
        parameter: String,
        /// What it must be.
        expected: String,
        /// What it is.
        found: String,
    },
    /// A folder to be written holds something already.
    #[error("{folder} is not empty; name a new or an empty folder, nothing was written")]
    NotEmpty {
        /// The folder.
        folder: String,
    },
    /// A file or folder cannot be written.
    #[error("cannot write {path}")]
    Write {
        /// The file or folder.
        path: String,
        /// What the system says.
        source: std::io::Error,
    },
    /// The local frame cannot be set up.
    #[error("cannot lay a local frame at longitude {lon}, latitude {lat}")]
    Frame {
        /// Longitude, degrees.
        lon: f64,
        /// Latitude, degrees.
        lat: f64,
        /// What PROJ says.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
}

/// A spec that can be simulated.
#[derive(Debug, Clone, Copy)]
pub struct Checked<'a>(&'a FieldSpec);

impl<'a> Checked<'a> {
    /// The spec itself.
    pub fn spec(&self) -> &'a FieldSpec {
        self.0
    }
}

impl FieldSpec {
    /// Checks every parameter.
    ///
    /// # Errors
    /// The first parameter that is out of its range.
    pub fn check(&self) -> Result<Checked<'_>, SimulateError> {
        let c = Checks { field: &self.name };
        self.check_field(&c)?;
        self.check_surface(&c)?;
        self.check_driving(&c)?;
        for (m, machine) in self.machines.iter().enumerate() {
            check_machine(&c, machine)?;
            let twin = self.machines[..m]
                .iter()
                .any(|other| other.name == machine.name);
            c.holds(
                !twin,
                "machines.name",
                "different for each machine",
                &machine.name,
            )?;
        }
        check_faults(&c, &self.faults)?;
        let w = &self.weighing;
        c.within("weighing.scale_sd", w.scale_sd, 0.0, 0.2)?;
        c.within("weighing.tester_sd", w.tester_sd, 0.0, 5.0)?;
        c.within("weighing.wrong_ticket", w.wrong_ticket, -0.5, 1.0)?;
        if let Weighed::First { share } | Weighed::Random { share } = w.weighed {
            c.within("weighing.weighed.share", share, 0.0, 1.0)?;
        }
        Ok(Checked(self))
    }

    fn check_field(&self, c: &Checks) -> Result<(), SimulateError> {
        let plain =
            |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
        c.holds(
            plain(&self.key),
            "key",
            "ASCII letters, digits and -",
            &self.key,
        )?;
        c.within("reference_moisture", self.reference_moisture, 0.0, 50.0)?;
        c.within("origin longitude", self.origin[0], -180.0, 180.0)?;
        c.within("origin latitude", self.origin[1], -80.0, 80.0)?;
        c.within("start", self.start, 0.0, 1e10)?;
        c.holds(
            !self.machines.is_empty(),
            "machines",
            "at least one",
            "none",
        )?;
        check_shape(c, &self.shape)
    }

    fn check_surface(&self, c: &Checks) -> Result<(), SimulateError> {
        let s = &self.surface;
        c.within("surface.mean_yield", s.mean_yield, 100.0, 30_000.0)?;
        c.within("surface.cv", s.cv, 0.0, 0.4)?;
        c.within("surface.range", s.range, 10.0, 2_000.0)?;
        c.within("surface.trend", s.trend, -1.0, 1.0)?;
        c.within("surface.headland_width", s.headland_width, 0.0, 200.0)?;
        c.within("surface.headland_effect", s.headland_effect, -0.9, 2.0)?;
        c.within("surface.moisture", s.moisture, 1.0, 60.0)?;
        c.within("surface.moisture_sd", s.moisture_sd, 0.0, 5.0)?;
        c.within("surface.moisture_range", s.moisture_range, 10.0, 2_000.0)?;
        c.within(
            "surface.moisture_yield_correlation",
            s.moisture_yield_correlation,
            -1.0,
            1.0,
        )?;
        c.within("surface.drying_per_day", s.drying_per_day, -3.0, 3.0)?;
        for zone in &s.zones {
            c.within("surface.zones.radius", zone.radius, 0.0, 2_000.0)?;
            c.within("surface.zones.effect", zone.effect, -0.9, 2.0)?;
        }
        Ok(())
    }

    fn check_driving(&self, c: &Checks) -> Result<(), SimulateError> {
        let d = &self.driving;
        let header = self
            .machines
            .iter()
            .map(|m| m.header_width)
            .fold(f64::INFINITY, f64::min);
        c.within("driving.heading", d.heading, -360.0, 360.0)?;
        c.holds(
            d.headland_rounds <= 20,
            "driving.headland_rounds",
            "at most 20",
            d.headland_rounds,
        )?;
        c.holds(
            d.land_width >= header,
            "driving.land_width",
            "at least the header's width",
            d.land_width,
        )?;
        c.within("driving.overlap", d.overlap, -0.2 * header, 0.6 * header)?;
        c.within("driving.steering_sd", d.steering_sd, 0.0, 2.0)?;
        c.within("driving.speed_wander", d.speed_wander, 0.0, 0.3)?;
        c.within("driving.flow_hold", d.flow_hold, 0.0, 1.0)?;
        c.within("driving.stops_per_hour", d.stops_per_hour, 0.0, 60.0)?;
        c.within("driving.abrupt_per_hour", d.abrupt_per_hour, 0.0, 120.0)?;
        c.within("driving.turn_speed", d.turn_speed, 0.3, 5.0)?;
        c.within("driving.hours_per_day", d.hours_per_day, 0.1, 20.0)
    }
}

fn check_shape(c: &Checks, shape: &Shape) -> Result<(), SimulateError> {
    c.holds(
        !shape.rings.is_empty(),
        "shape.rings",
        "at least the outline",
        0,
    )?;
    let whole = shape
        .rings
        .iter()
        .all(|r| r.len() >= 3 && r.iter().flatten().all(|x| x.is_finite()));
    c.holds(
        whole,
        "shape.rings",
        "rings of at least three finite corners",
        "another",
    )?;
    let (low, high) = shape.bounds();
    let largest = (high[0] - low[0]).max(high[1] - low[1]);
    c.within("shape's extent", largest, 20.0, 3_000.0)?;
    c.within("shape's area", shape.area(), 400.0, 9e6)
}

fn check_machine(c: &Checks, m: &MachineSpec) -> Result<(), SimulateError> {
    let plain = !m.name.is_empty()
        && m.name
            .bytes()
            .all(|b| b.is_ascii_alphanumeric() || b == b'-');
    c.holds(
        plain,
        "machine.name",
        "ASCII letters, digits and -",
        &m.name,
    )?;
    c.within("machine.header_width", m.header_width, 0.5, 25.0)?;
    c.within("machine.speed", m.speed, 0.3, 5.0)?;
    c.within("machine.bin", m.bin, 100.0, 40_000.0)?;
    check_transport(c, "machine.transport", &m.transport)?;
    check_transport(c, "machine.moisture.transport", &m.moisture.transport)?;
    let s = &m.sensor;
    c.within("machine.sensor.factor", s.factor, 0.1, 10.0)?;
    c.within(
        "machine.sensor.reference_flow",
        s.reference_flow,
        0.1,
        100.0,
    )?;
    c.within("machine.sensor.load_sd", s.load_sd, 0.0, 0.3)?;
    c.within("machine.sensor.day_sd", s.day_sd, 0.0, 0.3)?;
    c.within("machine.sensor.trend", s.trend, -0.5, 0.5)?;
    c.within("machine.sensor.noise", s.noise, 0.0, 0.3)?;
    c.within("machine.sensor.slow_noise", s.slow_noise, 0.0, 0.3)?;
    c.within("machine.sensor.additive_noise", s.additive_noise, 0.0, 5.0)?;
    c.within("machine.sensor.zero_offset", s.zero_offset, 0.0, 5.0)?;
    c.within("machine.sensor.step", s.step, 1e-6, 5.0)?;
    c.within("machine.moisture.offset", m.moisture.offset, -10.0, 10.0)?;
    c.within("machine.moisture.noise", m.moisture.noise, 0.0, 5.0)?;
    c.within(
        "machine.moisture.missing_per_hour",
        m.moisture.missing_per_hour,
        0.0,
        60.0,
    )?;
    c.within("machine.gnss.error_sd", m.gnss.error_sd, 0.0, 10.0)?;
    c.within("machine.gnss.error_memory", m.gnss.error_memory, 1.0, 1e5)?;
    c.within("machine.gnss.noise", m.gnss.noise, 0.0, 5.0)?;
    c.within(
        "machine.gnss.antenna_behind",
        m.gnss.antenna_behind,
        -10.0,
        15.0,
    )?;
    c.holds(
        (4..=12).contains(&m.gnss.decimals),
        "machine.gnss.decimals",
        "4 to 12",
        m.gnss.decimals,
    )?;
    let steps = m.log.interval / STEP;
    let whole = (1.0..=300.0).contains(&steps) && (steps - steps.round()).abs() < 1e-6;
    c.holds(
        whole,
        "machine.log.interval",
        "a multiple of 0.2 s up to a minute",
        m.log.interval,
    )?;
    if let Some(width) = m.log.claimed_width {
        c.within("machine.log.claimed_width", width, 0.1, 50.0)?;
    }
    c.within(
        "machine.log.distance_factor",
        m.log.distance_factor,
        0.5,
        2.0,
    )
}

fn check_transport(c: &Checks, what: &str, t: &TransportSpec) -> Result<(), SimulateError> {
    c.within(&format!("{what}.dead_time"), t.dead_time, 0.0, 60.0)?;
    c.holds(
        (1..=2).contains(&t.stages.len()),
        &format!("{what}.stages"),
        "one or two",
        t.stages.len(),
    )?;
    for tau in &t.stages {
        c.within(&format!("{what}.stages"), *tau, 0.05, 30.0)?;
    }
    c.within(
        &format!("{what}.flow_dependence"),
        t.flow_dependence,
        -10.0,
        10.0,
    )?;
    c.within(
        &format!("{what}.reference_flow"),
        t.reference_flow,
        0.1,
        100.0,
    )
}

fn check_faults(c: &Checks, f: &FaultSpec) -> Result<(), SimulateError> {
    for (name, rate) in [
        ("faults.duplicate_rows", f.duplicate_rows),
        ("faults.flow_spikes", f.flow_spikes),
        ("faults.stuck_readings", f.stuck_readings),
        ("faults.position_jumps", f.position_jumps),
        ("faults.bad_fixes", f.bad_fixes),
        ("faults.zero_flows", f.zero_flows),
        ("faults.moisture_glitches", f.moisture_glitches),
    ] {
        c.within(name, rate, 0.0, 100.0)?;
    }
    Ok(())
}

struct Checks<'a> {
    field: &'a str,
}

impl Checks<'_> {
    /// NaN is never within.
    fn within(&self, parameter: &str, x: f64, low: f64, high: f64) -> Result<(), SimulateError> {
        self.holds(
            x >= low && x <= high,
            parameter,
            &format!("between {low} and {high}"),
            x,
        )
    }

    fn holds(
        &self,
        ok: bool,
        parameter: &str,
        expected: &str,
        found: impl ToString,
    ) -> Result<(), SimulateError> {
        if ok {
            return Ok(());
        }
        Err(SimulateError::Parameter {
            field: self.field.to_owned(),
            parameter: parameter.to_owned(),
            expected: expected.to_owned(),
            found: found.to_string(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn complaint(change: impl FnOnce(&mut FieldSpec)) -> String {
        let mut spec = FieldSpec::default();
        change(&mut spec);
        spec.check()
            .err()
            .map_or_else(|| "accepted".into(), |e| e.to_string())
    }

    #[test]
    fn defaults_can_be_simulated() {
        assert_eq!(complaint(|_| {}), "accepted");
    }

    #[test]
    fn a_rejected_parameter_is_named() {
        assert_eq!(
            complaint(|s| s.surface.cv = f64::NAN),
            "cannot simulate field \"Brook field\": surface.cv must be between 0 and 0.4, but is NaN"
        );
        assert!(complaint(|s| s.machines.clear()).contains("machines must be at least one"));
        assert!(complaint(|s| s.machines[0].log.interval = 0.7).contains("multiple of 0.2"));
        assert!(
            complaint(|s| s.machines[0].transport.stages = vec![])
                .contains("machine.transport.stages")
        );
        assert!(
            complaint(|s| s.machines.push(s.machines[0].clone()))
                .contains("different for each machine")
        );
        assert!(complaint(|s| s.key = "brook field".into()).contains("key must be ASCII"));
        assert!(complaint(|s| s.driving.land_width = 2.0).contains("driving.land_width"));
        assert!(complaint(|s| s.shape.rings[0].truncate(2)).contains("three finite corners"));
        assert!(complaint(|s| s.faults.flow_spikes = -1.0).contains("faults.flow_spikes"));
        assert!(
            complaint(|s| s.weighing.weighed = Weighed::First { share: 1.5 }).contains("share")
        );
    }
}
