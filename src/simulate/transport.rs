//! Grain on its way from the header to a sensor: dead time, then first-order mixing.
//!
//! Dead time and mixing follow τ·dq_m/dt + q_m(t) = q_c(t − θ) (Arslan 2008, Sensors 8:952). Every parcel is placed
//! where it will be after the dead time, so mass is conserved whatever the dead time depends on; a stage is solved
//! exactly over a step with constant inflow, so its mean delay is exactly its time constant.

use super::machine_spec::TransportSpec;

/// Step of the simulation, s (our choice: at 2 m/s less than half a metre of travel).
pub(super) const STEP: f64 = 0.2;

/// Share of a step's change within which a response counts as settled (our choice).
const SETTLED: f64 = 0.02;

/// Wet mass of grain and the water in it, kg.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Grain {
    pub mass: f64,
    pub water: f64,
}

impl Grain {
    pub(super) fn add(&mut self, other: Grain, share: f64) {
        self.mass += share * other.mass;
        self.water += share * other.water;
    }

    /// Moisture, % wet basis; NaN without grain.
    pub(super) fn moisture(self) -> f64 {
        100.0 * self.water / self.mass
    }
}

/// The grain inside a machine between the header and one sensor.
#[derive(Debug, Clone)]
pub(super) struct Transport {
    spec: TransportSpec,
    /// Parcels that leave the dead time in the coming steps; a ring.
    coming: Vec<Grain>,
    now: usize,
    /// Grain in each stage and the share of it that stays over a step.
    stages: Vec<(Grain, f64)>,
}

impl Transport {
    pub(super) fn new(spec: &TransportSpec) -> Self {
        Self {
            coming: vec![Grain::default(); (longest_dead_time(spec) / STEP) as usize + 3],
            now: 0,
            stages: spec
                .stages
                .iter()
                .map(|tau| (Grain::default(), (-STEP / tau).exp()))
                .collect(),
            spec: spec.clone(),
        }
    }

    /// What passes the sensor in a step in which `cut` enters the header.
    pub(super) fn step(&mut self, cut: Grain) -> Grain {
        if cut.mass > 0.0 {
            let steps = dead_time(&self.spec, cut.mass / STEP) / STEP;
            let (whole, part) = (steps.floor(), steps.fract());
            let n = self.coming.len();
            let at = (self.now + whole as usize) % n;
            self.coming[at].add(cut, 1.0 - part);
            self.coming[(at + 1) % n].add(cut, part);
        }
        let mut flowing = std::mem::take(&mut self.coming[self.now]);
        self.now = (self.now + 1) % self.coming.len();
        for ((held, stays), tau) in self.stages.iter_mut().zip(&self.spec.stages) {
            // dm/dt = q − m/τ over the step with q constant.
            let gain = tau / STEP * (1.0 - *stays);
            let after = Grain {
                mass: held.mass * *stays + flowing.mass * gain,
                water: held.water * *stays + flowing.water * gain,
            };
            let out = Grain {
                mass: held.mass + flowing.mass - after.mass,
                water: held.water + flowing.water - after.water,
            };
            *held = after;
            flowing = out;
        }
        flowing
    }

    /// Grain still inside, kg.
    pub(super) fn inside(&self) -> f64 {
        self.coming
            .iter()
            .chain(self.stages.iter().map(|(g, _)| g))
            .map(|g| g.mass)
            .sum()
    }
}

/// Dead time at a flow, s.
fn dead_time(spec: &TransportSpec, flow: f64) -> f64 {
    let change = spec.flow_dependence * (flow / spec.reference_flow).max(1e-3).ln();
    (spec.dead_time - change).clamp(0.0, longest_dead_time(spec))
}

fn longest_dead_time(spec: &TransportSpec) -> f64 {
    spec.dead_time + 2.0 * spec.flow_dependence.abs()
}

/// The machine's response to a step of flow, at a given flow.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Response {
    /// Mean of the response: dead time plus the time constants, s.
    pub delay_s: f64,
    /// Dead time alone, s.
    pub dead_time_s: f64,
    /// Standard deviation of the response about its mean, s.
    pub dispersion_s: f64,
    /// Seconds after the delay until the response to crop appearing stays within 2 % of its end.
    pub entry_ramp_s: f64,
    /// Seconds before the delay at which the response to crop ending first leaves 2 % of its start.
    pub exit_ramp_s: f64,
}

impl Response {
    /// Worked out from the step response at `flow`, kg/s.
    pub(super) fn new(spec: &TransportSpec, flow: f64) -> Self {
        let dead = dead_time(spec, flow);
        let mixing: f64 = spec.stages.iter().sum();
        Self {
            delay_s: dead + mixing,
            dead_time_s: dead,
            dispersion_s: spec.stages.iter().map(|t| t * t).sum::<f64>().sqrt(),
            entry_ramp_s: reaches(&spec.stages, 1.0 - SETTLED) - mixing,
            exit_ramp_s: mixing - reaches(&spec.stages, SETTLED),
        }
    }
}

/// Time after the dead time at which the step response of the stages reaches a share, s.
fn reaches(stages: &[f64], share: f64) -> f64 {
    let response = |t: f64| match *stages {
        [tau] => 1.0 - (-t / tau).exp(),
        // Two stages in series; equal ones are told apart by a hair, which leaves the limit's form.
        [a, b] => {
            let b = if (a - b).abs() < 1e-6 * a {
                a * (1.0 + 1e-6)
            } else {
                b
            };
            1.0 - (a * (-t / a).exp() - b * (-t / b).exp()) / (a - b)
        }
        _ => 1.0,
    };
    let (mut low, mut high) = (0.0, 20.0 * stages.iter().sum::<f64>());
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if response(middle) < share {
            low = middle
        } else {
            high = middle
        }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean and total of what comes out for one parcel, both measured from the middle of its step.
    fn impulse(spec: &TransportSpec, mass: f64) -> (f64, f64, f64) {
        let mut t = Transport::new(spec);
        let (mut total, mut first, mut second) = (0.0, 0.0, 0.0);
        for i in 0..3000 {
            let cut = if i == 0 {
                Grain {
                    mass,
                    water: 0.2 * mass,
                }
            } else {
                Grain::default()
            };
            let out = t.step(cut).mass;
            let at = f64::from(i) * STEP;
            total += out;
            first += out * at;
            second += out * at * at;
        }
        let mean = first / total;
        (total, mean, (second / total - mean * mean).sqrt())
    }

    #[test]
    fn the_mean_of_the_response_is_dead_time_plus_time_constants() {
        for stages in [vec![3.0], vec![2.0, 1.5], vec![0.5]] {
            let spec = TransportSpec {
                dead_time: 9.13,
                stages: stages.clone(),
                ..TransportSpec::default()
            };
            let (total, mean, sd) = impulse(&spec, 2.0);
            let truth = Response::new(&spec, 10.0);
            assert!((total - 2.0).abs() < 1e-9);
            assert!(
                (mean - truth.delay_s).abs() < 1e-6,
                "{stages:?}: {mean} against {}",
                truth.delay_s
            );
            assert!((mean - 9.13 - stages.iter().sum::<f64>()).abs() < 1e-6);
            // Steps of 0.2 s add at most their own spread.
            assert!(
                (sd - truth.dispersion_s).abs() < 0.05,
                "{sd} against {}",
                truth.dispersion_s
            );
        }
    }

    #[test]
    fn ramps_of_a_first_order_lag_by_hand() {
        // 1 − e^(−t/τ) = 0.98 at 3.912 τ and 0.02 at 0.0202 τ.
        let spec = TransportSpec {
            dead_time: 8.0,
            stages: vec![3.0],
            ..TransportSpec::default()
        };
        let r = Response::new(&spec, 10.0);
        assert!((r.entry_ramp_s - 3.0 * (3.912 - 1.0)).abs() < 1e-2);
        assert!((r.exit_ramp_s - 3.0 * (1.0 - 0.0202)).abs() < 1e-2);
        // Two equal stages: 1 − (1 + t/τ)·e^(−t/τ) = 0.98 at 5.834 τ.
        let spec = TransportSpec {
            stages: vec![2.0, 2.0],
            ..spec
        };
        assert!((Response::new(&spec, 10.0).entry_ramp_s - 2.0 * (5.834 - 2.0)).abs() < 1e-2);
    }

    #[test]
    fn dead_time_falls_with_flow_and_mass_stays() {
        let spec = TransportSpec {
            dead_time: 6.0,
            stages: vec![1.0],
            flow_dependence: 1.2,
            reference_flow: 8.0,
        };
        let (slow, fast) = (impulse(&spec, 2.0 * STEP), impulse(&spec, 20.0 * STEP));
        // 1.2 · ln(10) = 2.76 s between 2 and 20 kg/s.
        assert!((slow.1 - fast.1 - 2.763).abs() < 0.01);
        assert!((slow.0 - 2.0 * STEP).abs() < 1e-12 && (fast.0 - 20.0 * STEP).abs() < 1e-9);
    }

    #[test]
    fn what_went_in_is_outside_or_inside() {
        let mut t = Transport::new(&TransportSpec::default());
        let mut out = 0.0;
        for _ in 0..100 {
            out += t
                .step(Grain {
                    mass: 3.0,
                    water: 0.5,
                })
                .mass;
        }
        assert!((out + t.inside() - 300.0).abs() < 1e-9);
    }
}
