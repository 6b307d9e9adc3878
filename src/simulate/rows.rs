//! The rows of the logs, each with the truth about it.

use serde::Serialize;

use super::fault::Fault;
use super::machine::Interval;
use super::machine_spec::{MachineSpec, WorkStateLog};
use super::record::{Recorded, rounded, shift_rows};
use super::spec::{FieldSpec, NoFix};
use super::transport::Response;

/// Share of the header that a sound row and its surroundings have on standing crop at least (our choice).
const SOUND_SHARE: f64 = 0.8;
/// Slowest sound row, m/s (our choice).
const SOUND_SPEED: f64 = 0.6;
/// Largest change of speed over a sound row, m/s per s (our choice).
const SOUND_CHANGE: f64 = 0.25;

/// One row of a log. NaN: missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Index into [`super::Simulated::files`].
    pub file: u32,
    /// Data row in its file, from 1.
    pub row: u32,
    /// Index into [`super::Simulated::machines`].
    pub machine: u32,
    /// Load, counted from 0 within the machine.
    pub load: u32,
    /// Longitude, degrees.
    pub lon_deg: f64,
    /// Latitude, degrees.
    pub lat_deg: f64,
    /// Unix time at the end of the interval, s.
    pub time: f64,
    /// Interval, s.
    pub interval_s: f64,
    /// Wet mass flow (or at the moisture that the display brings it to), kg/s.
    pub flow_kg_s: f64,
    /// Moisture, %.
    pub moisture_pct: f64,
    /// Ground speed, m/s.
    pub speed_m_s: f64,
    /// Distance since the row before, m.
    pub distance_m: f64,
    /// Width the log claims, m.
    pub width_m: f64,
    /// Heading, degrees clockwise from north.
    pub heading_deg: f64,
    /// Whether the log says that the machine works; `None` where it does not say.
    pub work_state: Option<bool>,
    /// Pass number; `None` with the header up.
    pub pass: Option<u32>,
    /// What is true of the row.
    pub truth: RowTruth,
    /// Logged place in the local frame, m; before rounding of the degrees.
    pub(super) place: [f64; 2],
    pub(super) no_fix: Option<NoFix>,
    pub(super) is_cutting: bool,
    /// Index of the machine's interval.
    pub(super) interval: usize,
}

/// What is true of a row.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RowTruth {
    /// The fault put into it.
    pub fault: Option<Fault>,
    /// Longitude of the centre of the ground newly cut in its interval (of the header's way where nothing was), degrees.
    pub lon_deg: f64,
    /// Latitude of the same.
    pub lat_deg: f64,
    /// Ground newly cut, m².
    pub area_m2: f64,
    /// Newly cut share of what the header passed over; NaN with the header up.
    pub cut_share: f64,
    /// Mean wet yield of that ground, kg/ha; NaN where none was cut.
    pub wet_kg_ha: f64,
    /// Moisture of its grain, %; NaN where none was cut.
    pub moisture_pct: f64,
    /// Its yield at the reference moisture, kg/ha; NaN where none was cut.
    pub reference_kg_ha: f64,
    /// Wet mass that passed the sensor in the row's interval, kg.
    pub sensor_kg: f64,
    /// Whether a careful map keeps this point: no fault in it or in the flow it receives, speed steady, and nearly the
    /// whole header on standing crop from an entry ramp before to an exit ramp behind.
    pub sound: bool,
    pub(super) ground: [f64; 2],
}

impl RowTruth {
    /// The ground was counted with the first of the two rows.
    pub(super) fn become_duplicate(&mut self) {
        self.fault = Some(Fault::DuplicateRow);
        self.area_m2 = 0.0;
        self.cut_share = f64::NAN;
        self.wet_kg_ha = f64::NAN;
        self.moisture_pct = f64::NAN;
        self.reference_kg_ha = f64::NAN;
        self.sensor_kg = 0.0;
        self.sound = false;
    }
}

/// The rows of one machine, day by day, before faults; positions still in the local frame.
pub(super) fn rows(
    field: &FieldSpec,
    spec: &MachineSpec,
    machine: u32,
    response: &Response,
    intervals: &[Interval],
    recorded: &Recorded,
) -> Vec<Vec<Row>> {
    let sound = sound(spec, response, intervals);
    let mut days: Vec<Vec<Row>> = Vec::new();
    let dt = spec.log.interval;
    for (i, interval) in intervals
        .iter()
        .enumerate()
        .filter(|(_, interval)| interval.logged)
    {
        while days.len() <= interval.day as usize {
            days.push(Vec::new());
        }
        let down = interval.pass.is_some();
        days[interval.day as usize].push(Row {
            file: 0,
            row: 0,
            machine,
            load: interval.load,
            lon_deg: f64::NAN,
            lat_deg: f64::NAN,
            time: rounded(field.start + interval.end, 0.1),
            interval_s: dt,
            flow_kg_s: recorded.flow[i],
            moisture_pct: recorded.moisture[i],
            speed_m_s: rounded(recorded.distance[i] / dt, 0.01),
            distance_m: rounded(recorded.distance[i], 0.01),
            width_m: spec.log.claimed_width.unwrap_or(spec.header_width),
            heading_deg: rounded(
                interval.ahead[0]
                    .atan2(interval.ahead[1])
                    .to_degrees()
                    .rem_euclid(360.0),
                0.1,
            ),
            work_state: match spec.log.work_state {
                WorkStateLog::Header => Some(down),
                WorkStateLog::Always => Some(true),
                WorkStateLog::Absent => None,
            },
            pass: interval.pass.map(u32::from),
            truth: truth(field, spec, interval, sound[i]),
            place: recorded.place[i],
            no_fix: None,
            is_cutting: down,
            interval: i,
        });
    }
    days
}

fn truth(field: &FieldSpec, spec: &MachineSpec, i: &Interval, sound: bool) -> RowTruth {
    let moisture = i.cut.moisture();
    let wet = i.cut.mass / i.area * 10_000.0;
    RowTruth {
        fault: None,
        lon_deg: f64::NAN,
        lat_deg: f64::NAN,
        area_m2: i.area,
        cut_share: share(spec, i),
        wet_kg_ha: wet,
        moisture_pct: moisture,
        reference_kg_ha: wet * (100.0 - moisture) / (100.0 - field.reference_moisture),
        sensor_kg: i.sensed.mass,
        sound,
        ground: i.ground,
    }
}

fn share(spec: &MachineSpec, i: &Interval) -> f64 {
    if i.pass.is_some() {
        i.area / (i.distance * spec.header_width)
    } else {
        f64::NAN
    }
}

fn sound(spec: &MachineSpec, response: &Response, intervals: &[Interval]) -> Vec<bool> {
    let dt = spec.log.interval;
    let steady: Vec<bool> = intervals
        .iter()
        .map(|i| {
            share(spec, i) >= SOUND_SHARE
                && i.distance / dt >= SOUND_SPEED
                && i.speed_change.abs() <= SOUND_CHANGE * dt
        })
        .collect();
    let rows = |seconds: f64| (seconds / dt).ceil() as usize;
    let (before, behind) = (rows(response.entry_ramp_s), rows(response.exit_ramp_s));
    // Unsteady rows up to and including each, so that a window is one subtraction.
    let mut unsteady = vec![0usize];
    for s in &steady {
        unsteady.push(unsteady[unsteady.len() - 1] + usize::from(!s));
    }
    (0..intervals.len())
        .map(|i| {
            i >= before
                && i + behind < steady.len()
                && unsteady[i + behind + 1] == unsteady[i - before]
        })
        .collect()
}

/// Ground whose flow is faulty is not sound, wherever the faulty reading stands in the log.
pub(super) fn unsound_where_flow_is_faulty(
    spec: &MachineSpec,
    response: &Response,
    rows: &mut [Row],
) {
    let lag = (response.delay_s / spec.log.interval).round() as i64 - shift_rows(&spec.log);
    let mut faulty: Vec<i64> = rows
        .iter()
        .filter(|r| r.truth.fault.is_some_and(Fault::is_of_flow))
        .map(|r| r.interval as i64)
        .collect();
    faulty.sort_unstable();
    for row in rows {
        let at = row.interval as i64 + lag;
        let near = faulty.partition_point(|&f| f < at - 1);
        if row.truth.fault.is_some() || faulty.get(near).is_some_and(|&f| f <= at + 1) {
            row.truth.sound = false;
        }
    }
}
