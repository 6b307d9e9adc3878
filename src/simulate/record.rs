//! From what happened to what a log says: sensors, receiver and display.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::machine::Interval;
use super::machine_spec::{
    Curve, FlowSensorSpec, GnssSpec, LogSpec, MachineSpec, MoistureSensorSpec, Reading, Shift,
};
use super::shape::along;

/// Memory of the slow part of the flow noise, s (our choice).
const SLOW_NOISE_MEMORY: f64 = 20.0;
/// Length of a stretch without moisture, s.
const MISSING_MOISTURE: std::ops::Range<f64> = 20.0..180.0;
/// Least flow that the moisture sensor can measure, kg/s (our choice).
const LEAST_FLOW: f64 = 0.3;

/// The columns that sensors and receiver fill, one entry per interval of the machine, logged or not.
#[derive(Debug, Clone, Default)]
pub(super) struct Recorded {
    /// Flow as the log has it, kg/s.
    pub flow: Vec<f64>,
    /// Moisture, %; NaN where missing.
    pub moisture: Vec<f64>,
    /// Logged place of the antenna, m in the local frame.
    pub place: Vec<[f64; 2]>,
    /// Logged distance, m.
    pub distance: Vec<f64>,
}

/// Everything a machine's log says before faults.
pub(super) fn record(spec: &MachineSpec, intervals: &[Interval], rng: &mut ChaCha8Rng) -> Recorded {
    let place = places(&spec.gnss, spec.log.interval, intervals, rng);
    let moisture = moistures(&spec.moisture, spec.log.interval, intervals, rng);
    let sensed = flows(&spec.sensor, spec.log.interval, intervals, rng);
    let mut flow = shifted(&spec.log, &sensed, intervals);
    if let Some(reference) = spec.log.flow_at_moisture {
        for (q, m) in flow.iter_mut().zip(&moisture) {
            if m.is_finite() {
                *q *= (100.0 - m) / (100.0 - reference);
            }
        }
    }
    for q in &mut flow {
        *q = rounded(*q, spec.sensor.step);
    }
    let mut scale = || spec.log.distance_factor * (1.0 + spec.log.distance_noise * normal(rng));
    let distance = intervals.iter().map(|i| i.distance * scale()).collect();
    Recorded {
        flow,
        moisture,
        place,
        distance,
    }
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    rng.sample(StandardNormal)
}

/// To the nearest multiple of `step`, without the dust of binary fractions.
pub(super) fn rounded(x: f64, step: f64) -> f64 {
    let per = 1.0 / step;
    (x * per).round() / per
}

/// A value with a memory: variance 1, correlation e^(−Δt/memory).
struct Memory {
    value: f64,
    keep: f64,
}

impl Memory {
    fn new(memory: f64, interval: f64, rng: &mut ChaCha8Rng) -> Self {
        Self {
            value: normal(rng),
            keep: (-interval / memory).exp(),
        }
    }

    fn next(&mut self, rng: &mut ChaCha8Rng) -> f64 {
        self.value = self.keep * self.value + (1.0 - self.keep * self.keep).sqrt() * normal(rng);
        self.value
    }
}

fn places(
    spec: &GnssSpec,
    interval: f64,
    intervals: &[Interval],
    rng: &mut ChaCha8Rng,
) -> Vec<[f64; 2]> {
    let mut errors = [0; 2].map(|_| Memory::new(spec.error_memory, interval, rng));
    intervals
        .iter()
        .map(|i| {
            let antenna = along(i.header, i.ahead, -spec.antenna_behind);
            let error =
                [0, 1].map(|a| spec.error_sd * errors[a].next(rng) + spec.noise * normal(rng));
            along(antenna, error, 1.0)
        })
        .collect()
}

fn moistures(
    spec: &MoistureSensorSpec,
    interval: f64,
    intervals: &[Interval],
    rng: &mut ChaCha8Rng,
) -> Vec<f64> {
    let mut held = f64::NAN;
    let mut missing = 0.0;
    intervals
        .iter()
        .map(|i| {
            if i.moist.mass > LEAST_FLOW * interval {
                held = rounded(
                    i.moist.moisture() + spec.offset + spec.noise * normal(rng),
                    0.1,
                );
            }
            missing -= interval;
            if rng.random::<f64>() < spec.missing_per_hour * interval / 3600.0 {
                missing = rng.random_range(MISSING_MOISTURE);
            }
            if missing > 0.0 { f64::NAN } else { held }
        })
        .collect()
}

/// What the sensor makes of a true flow, before gain and noise.
fn response(spec: &FlowSensorSpec, q: f64) -> f64 {
    let relative = q / spec.reference_flow;
    match spec.curve {
        Curve::Linear => q,
        Curve::Power { exponent } => spec.reference_flow * relative.powf(exponent),
        Curve::Quadratic { bend } => q * (1.0 + bend * (relative - 1.0)),
    }
}

fn flows(
    spec: &FlowSensorSpec,
    interval: f64,
    intervals: &[Interval],
    rng: &mut ChaCha8Rng,
) -> Vec<f64> {
    let mut drift = Drift::default();
    let mut slow = Memory::new(SLOW_NOISE_MEMORY, interval, rng);
    intervals
        .iter()
        .map(|i| {
            let gain = spec.factor * (drift.of(spec, i, rng) + spec.trend * i.share_done).exp();
            let q = match spec.reading {
                Reading::Mean => i.sensed.mass / interval,
                Reading::AtEnd => i.end_flow,
            };
            let noise = 1.0 + spec.noise * normal(rng) + spec.slow_noise * slow.next(rng);
            let additive = spec.additive_noise * normal(rng);
            // An empty machine shows its zero offset alone; noise about zero is cut off by the display.
            let extra = if q > 0.0 {
                spec.zero_offset + additive
            } else {
                spec.zero_offset
            };
            (gain * response(spec, q) * noise + extra).max(0.0)
        })
        .collect()
}

/// The log factor's part that changes from load to load and from day to day.
#[derive(Default)]
struct Drift {
    loads: Vec<f64>,
    days: Vec<f64>,
}

impl Drift {
    fn of(&mut self, spec: &FlowSensorSpec, i: &Interval, rng: &mut ChaCha8Rng) -> f64 {
        while self.loads.len() <= i.load as usize {
            self.loads.push(spec.load_sd * normal(rng));
        }
        while self.days.len() <= i.day as usize {
            self.days.push(spec.day_sd * normal(rng));
        }
        self.loads[i.load as usize] + self.days[i.day as usize]
    }
}

/// Rows by which the display has moved the flow.
pub(super) fn shift_rows(log: &LogSpec) -> i64 {
    match log.shift {
        Shift::None => 0,
        Shift::WithinPass { seconds } | Shift::WholeClock { seconds } => {
            (seconds / log.interval).round() as i64
        }
    }
}

fn shifted(log: &LogSpec, flow: &[f64], intervals: &[Interval]) -> Vec<f64> {
    let rows = shift_rows(log);
    let taken = |i: usize| {
        let j = usize::try_from(i as i64 + rows)
            .ok()
            .filter(|&j| j < flow.len());
        j.filter(|&j| {
            let (a, b) = (&intervals[i], &intervals[j]);
            match log.shift {
                Shift::None => true,
                Shift::WithinPass { .. } => a.pass.is_some() && a.pass == b.pass,
                Shift::WholeClock { .. } => a.day == b.day,
            }
        })
    };
    (0..flow.len())
        .map(|i| taken(i).map_or(0.0, |j| flow[j]))
        .collect()
}
