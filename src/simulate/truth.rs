//! What is true of a field season, summed from what happened.

use serde::Serialize;

use super::machine::Interval;
use super::machine_spec::{MachineSpec, Reading};
use super::record::shift_rows;
use super::rows::Row;
use super::spec::FieldSpec;
use super::transport::{Grain, Response, STEP};
use super::weigh::LoadTruth;

/// What is true of a field season; the truth of each row stands with the [`Row`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Truth {
    /// The field.
    pub field: FieldTruth,
    /// Each machine.
    pub machines: Vec<MachineTruth>,
    /// Each load, machine by machine.
    pub loads: Vec<LoadTruth>,
    /// Tickets that are wrong on purpose.
    pub wrong_tickets: Vec<String>,
}

/// What is true of the field.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FieldTruth {
    /// Area inside the boundary, m².
    pub area_m2: f64,
    /// Ground cut, each spot once, m².
    pub cut_area_m2: f64,
    /// Crop left standing, m².
    pub standing_m2: f64,
    /// Wet grain cut, kg.
    pub cut_kg: f64,
    /// Wet grain that passed the sensors, kg.
    pub sensor_kg: f64,
    /// Grain still in the machines at the end, kg.
    pub left_in_machines_kg: f64,
    /// Moisture of all grain cut, %.
    pub moisture_pct: f64,
    /// Grain cut at the reference moisture, kg.
    pub reference_kg: f64,
    /// Mean wet yield of the ground cut, kg/ha.
    pub mean_wet_kg_ha: f64,
    /// Mean yield of the ground cut at the reference moisture, kg/ha.
    pub mean_reference_kg_ha: f64,
}

/// What is true of a machine in this field.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MachineTruth {
    /// Name.
    pub name: String,
    /// From the header to the flow sensor, at the machine's median flow.
    pub response: Response,
    /// Mean delay of the moisture sensor at that flow, s.
    pub moisture_delay_s: f64,
    /// Delay that the display has applied before export, s.
    pub applied_s: f64,
    /// Delay still in the log between a row's ground and its flow, the antenna's offset apart, s: the response's
    /// delay less the applied one, and less half an interval where rows hold the flow at their end.
    pub log_delay_s: f64,
    /// Antenna behind the cutter bar, m.
    pub antenna_behind_m: f64,
    /// True header width, m.
    pub header_width_m: f64,
    /// Median flow while cutting, kg/s.
    pub median_flow_kg_s: f64,
}

/// Of one machine.
pub(super) fn machine_truth(spec: &MachineSpec, intervals: &[Interval]) -> MachineTruth {
    let dt = spec.log.interval;
    let mut flows: Vec<f64> = intervals
        .iter()
        .filter(|i| i.area > 0.0)
        .map(|i| i.cut.mass / dt)
        .collect();
    flows.sort_by(f64::total_cmp);
    let median = flows
        .get(flows.len() / 2)
        .copied()
        .unwrap_or(spec.transport.reference_flow);
    let response = Response::new(&spec.transport, median);
    let applied = shift_rows(&spec.log) as f64 * dt;
    let half = match spec.sensor.reading {
        Reading::Mean => 0.0,
        Reading::AtEnd => 0.5 * (dt - STEP),
    };
    MachineTruth {
        name: spec.name.clone(),
        response,
        moisture_delay_s: Response::new(&spec.moisture.transport, median).delay_s,
        applied_s: applied,
        log_delay_s: response.delay_s - applied - half,
        antenna_behind_m: spec.gnss.antenna_behind,
        header_width_m: spec.header_width,
        median_flow_kg_s: median,
    }
}

/// The loads of machine `m`, with the mass that passed the sensor, logged or not.
pub(super) fn load_truths(
    spec: &FieldSpec,
    m: usize,
    intervals: &[Interval],
    days: &[Vec<Row>],
) -> Vec<LoadTruth> {
    let name = &spec.machines[m].name;
    let count = intervals.last().map_or(0, |i| i.load as usize + 1);
    let mut grain = vec![Grain::default(); count];
    for i in intervals {
        grain[i.load as usize].add(i.sensed, 1.0);
    }
    let mut logged = vec![0.0; count];
    for row in days.iter().flatten() {
        logged[row.load as usize] += row.flow_kg_s * row.interval_s;
    }
    grain
        .iter()
        .zip(logged)
        .enumerate()
        .map(|(l, (grain, logged_kg))| LoadTruth {
            load: load_name(&spec.key, name, l as u32),
            machine: name.clone(),
            sensor_kg: grain.mass,
            moisture_pct: grain.moisture(),
            logged_kg,
            ticket: None,
        })
        .collect()
}

/// The name of a load in the log.
pub(super) fn load_name(key: &str, machine: &str, load: u32) -> String {
    format!("{key}-{machine}-{:02}", load + 1)
}

/// Of the field, from all machines' intervals, the grain left in them and the crop left standing.
pub(super) fn field_truth(
    spec: &FieldSpec,
    intervals: &[&[Interval]],
    left: f64,
    standing: f64,
) -> FieldTruth {
    let (mut cut, mut sensed, mut area) = (Grain::default(), 0.0, 0.0);
    for i in intervals.iter().copied().flatten() {
        cut.add(i.cut, 1.0);
        sensed += i.sensed.mass;
        area += i.area;
    }
    let reference = (cut.mass - cut.water) / (1.0 - spec.reference_moisture / 100.0);
    FieldTruth {
        area_m2: spec.shape.area(),
        cut_area_m2: area,
        standing_m2: standing,
        cut_kg: cut.mass,
        sensor_kg: sensed,
        left_in_machines_kg: left,
        moisture_pct: cut.moisture(),
        reference_kg: reference,
        mean_wet_kg_ha: cut.mass / area * 10_000.0,
        mean_reference_kg_ha: reference / area * 10_000.0,
    }
}
