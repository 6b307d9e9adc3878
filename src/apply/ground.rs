//! What each row's ground received: everything logged, moved back by the delay, with the load's factor on it.

use crate::delay::{shift, shift_all};
use crate::faults::FaultKind;
use crate::gather;
use crate::loads::Unlogged;
use crate::moisture::{DryGrain, to_reference};
use crate::pool::{LoadDecision, MachineDecision};
use crate::prepare::Prepared;

/// Part of a row's interval that a fault must fill for its ground to count as faulty (our choice: a sliver does not).
const FAULT_SHARE: f64 = 0.2;
/// Least part of a row's shifted interval that must have been logged for its flow to be known.
const COVERED: f64 = 0.5;

/// Columns per row of the log; the ground's, not the row's own.
#[derive(Debug, Clone)]
pub(super) struct Ground {
    /// Logged wet mass (faults replaced), kg.
    pub logged: Vec<f64>,
    /// Corrected wet mass, kg.
    pub corrected: Vec<f64>,
    /// Its part from loads whose ticket is used, kg.
    pub weighed: Vec<f64>,
    /// Share of the interval that was logged.
    pub covered: Vec<f64>,
    /// Corrected moisture, %; NaN where nothing is known.
    pub moisture: Vec<f64>,
    /// Corrected mass at reference moisture, kg.
    pub reference: Vec<f64>,
    /// Index of the load that most of its grain went to.
    pub load: Vec<u32>,
    /// Fault of the flow that it received; for a repeated record, the row's own.
    pub fault: Vec<Option<FaultKind>>,
    /// No flow is known, or none above zero.
    pub no_flow: Vec<bool>,
    /// Grain that stands on no row: its ground is not in the log, or it is not itself.
    pub unplaced: Amounts,
    /// Grain that no row has.
    pub unlogged: Unlogged,
}

/// Corrected masses, kg.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Amounts {
    pub wet: f64,
    pub weighed: f64,
    pub reference: f64,
}

/// Moves all of a field's grain to its ground.
pub(super) fn place(
    field: &Prepared,
    machines: &[MachineDecision],
    loads: &[LoadDecision],
) -> Ground {
    let n = field.input.log.len();
    let delays: Vec<f64> = machines.iter().map(|m| m.delay.delay.value).collect();
    let mut out = Ground {
        logged: vec![0.0; n],
        corrected: vec![0.0; n],
        weighed: vec![0.0; n],
        covered: vec![0.0; n],
        moisture: vec![f64::NAN; n],
        reference: vec![0.0; n],
        load: field.loads.of_row.clone(),
        fault: vec![None; n],
        no_flow: vec![true; n],
        unplaced: Amounts::default(),
        unlogged: gather::unlogged(field, &delays),
    };
    let factors = row_factors(field, loads);
    for (t, machine) in machines.iter().enumerate() {
        place_track(field, t, machine, (loads, &factors), &mut out);
    }
    for (i, kg) in out
        .unlogged
        .kg
        .iter()
        .enumerate()
        .filter(|(_, kg)| **kg > 0.0)
    {
        let load = &loads[field.loads.of_row[i] as usize];
        let grain = load.factor * kg;
        out.unplaced.wet += grain;
        out.unplaced.reference += reference(field, load, grain, load.moisture.unwrap_or(f64::NAN));
        if load.weighed_kg.is_some() {
            out.unplaced.weighed += grain;
        }
    }
    out
}

/// How far a sensor's bend is followed beyond its load's mean flow, as a ratio either way (our choice).
const FARTHEST: f64 = 3.0;

/// True over logged mass of each row: its load's factor, bent by the row's flow where the sensor is seen to bend. The
/// load's total stays what its factor makes it.
fn row_factors(field: &Prepared, loads: &[LoadDecision]) -> Vec<f64> {
    let n = field.input.log.len();
    let of = &field.loads.of_row;
    if loads.iter().all(|load| load.bend == 0.0) {
        return of.iter().map(|&l| loads[l as usize].factor).collect();
    }
    let mass = |i: usize| Some(field.faults.mass[i]).filter(|m| *m > 0.0);
    let span = |i: usize| field.timeline.interval[i];
    let mut sums = vec![(0.0, 0.0); loads.len()];
    for i in 0..n {
        if let Some(m) = mass(i).filter(|_| span(i) > 0.0) {
            let s = &mut sums[of[i] as usize];
            (s.0, s.1) = (s.0 + m * (m / span(i)).ln(), s.1 + m);
        }
    }
    let bend = |i: usize| {
        let l = of[i] as usize;
        let flow = mass(i).filter(|_| span(i) > 0.0 && loads[l].bend != 0.0);
        flow.map_or(1.0, |m| {
            let off = (m / span(i)).ln() - sums[l].0 / sums[l].1;
            (loads[l].bend * off.clamp(-FARTHEST.ln(), FARTHEST.ln())).exp()
        })
    };
    let bent: Vec<f64> = (0..n).map(bend).collect();
    let mut totals = vec![(0.0, 0.0); loads.len()];
    for i in 0..n {
        if let Some(m) = mass(i) {
            let t = &mut totals[of[i] as usize];
            (t.0, t.1) = (t.0 + m, t.1 + m * bent[i]);
        }
    }
    (0..n)
        .map(|i| {
            let l = of[i] as usize;
            if loads[l].bend == 0.0 {
                loads[l].factor
            } else {
                loads[l].factor * bent[i] * totals[l].0 / totals[l].1
            }
        })
        .collect()
}

fn place_track(
    field: &Prepared,
    t: usize,
    machine: &MachineDecision,
    (loads, factors): (&[LoadDecision], &[f64]),
    out: &mut Ground,
) {
    let Prepared {
        timeline,
        faults,
        loads: table,
        ..
    } = field;
    let track = &timeline.tracks[t];
    let delay = machine.delay.delay.value;
    let column = |f: &dyn Fn(usize) -> f64| -> Vec<f64> {
        track.rows.iter().map(|&i| f(i as usize)).collect()
    };
    let load_of = |i: usize| &loads[table.of_row[i] as usize];
    let mass = column(&|i| faults.mass[i]);
    let corrected = column(&|i| faults.mass[i] * factors[i]);
    let weighed = column(&|i| {
        if load_of(i).weighed_kg.is_some() {
            faults.mass[i] * factors[i]
        } else {
            0.0 * faults.mass[i]
        }
    });
    let [logged, corrected, weighed] = shift_all(track, [&mass, &corrected, &weighed], delay);
    let faulty = |kind: FaultKind| {
        if !faults.kind.contains(&Some(kind)) {
            return vec![0.0; track.len()];
        }
        let rows: Vec<f64> = (track.rows.iter().enumerate())
            .map(|(k, &i)| {
                if faults.kind[i as usize] == Some(kind) {
                    track.interval(k)
                } else {
                    0.0
                }
            })
            .collect();
        shift(track, &rows, delay).amount
    };
    let (spikes, stuck) = (faulty(FaultKind::Spike), faulty(FaultKind::Stuck));
    let moisture = ground_moisture(field, t, machine, loads);
    let mut cursor = 0;
    for (k, &i) in track.rows.iter().enumerate() {
        let i = i as usize;
        out.logged[i] = logged.amount[k];
        out.corrected[i] = corrected.amount[k];
        out.weighed[i] = weighed.amount[k];
        out.covered[i] = logged.covered[k].min(1.0);
        out.no_flow[i] = out.covered[i] < COVERED || !(logged.amount[k] > 0.0);
        let received = 0.5 * (track.start[k] + track.end[k]) + delay;
        while cursor + 1 < track.len() && track.end[cursor] < received {
            cursor += 1;
        }
        while cursor > 0 && track.start[cursor] > received && track.end[cursor - 1] >= received {
            cursor -= 1;
        }
        out.load[i] = table.of_row[track.rows[cursor] as usize];
        let span = track.interval(k);
        out.fault[i] = match faults.kind[i] {
            Some(FaultKind::Duplicate) => Some(FaultKind::Duplicate),
            _ if spikes[k] > FAULT_SHARE * span => Some(FaultKind::Spike),
            _ if stuck[k] > FAULT_SHARE * span => Some(FaultKind::Stuck),
            _ => None,
        };
        let load = &loads[out.load[i] as usize];
        out.moisture[i] = if moisture[k].is_finite() {
            moisture[k]
        } else {
            load.moisture.unwrap_or(f64::NAN)
        };
        out.reference[i] = reference(field, load, out.corrected[i], out.moisture[i]);
    }
    // What has no ground keeps its load's moisture: told row by row from where the shift leaves the log.
    let gone = corrected.unplaced;
    let mean = mean_moisture_of(
        track
            .rows
            .iter()
            .map(|&i| (faults.mass[i as usize], load_of(i as usize).moisture)),
    );
    out.unplaced.wet += gone;
    out.unplaced.weighed += weighed.unplaced;
    let of_first = track.rows.first().map(|&i| load_of(i as usize));
    out.unplaced.reference += of_first.map_or(gone, |l| {
        reference(field, l, gone, mean.unwrap_or(f64::NAN))
    });
}

fn mean_moisture_of(rows: impl Iterator<Item = (f64, Option<f64>)>) -> Option<f64> {
    let (mut wet, mut mass) = (0.0, 0.0);
    for (m, moisture) in rows {
        if let Some(moisture) = moisture.filter(|_| m > 0.0) {
            wet += m * moisture;
            mass += m;
        }
    }
    (mass > 0.0).then(|| wet / mass)
}

/// Corrected moisture of each row's ground, by moisture's own delay (the grain's where it has none); NaN where not logged.
fn ground_moisture(
    field: &Prepared,
    t: usize,
    machine: &MachineDecision,
    loads: &[LoadDecision],
) -> Vec<f64> {
    let Prepared {
        input,
        timeline,
        loads: table,
        ..
    } = field;
    let track = &timeline.tracks[t];
    let delay = machine
        .delay
        .moisture_delay
        .unwrap_or(machine.delay.delay.value);
    let mut amount = Vec::with_capacity(track.len());
    for (k, &i) in track.rows.iter().enumerate() {
        let offset = loads[table.of_row[i as usize] as usize]
            .moisture_offset
            .unwrap_or_default();
        amount.push((input.log.moisture[i as usize] + offset) * track.interval(k));
    }
    let shifted = shift(track, &amount, delay);
    (0..track.len())
        .map(|k| {
            let time = shifted.covered[k] * track.interval(k);
            let value = shifted.amount[k] / time;
            if shifted.covered[k] >= COVERED && (0.0..100.0).contains(&value) {
                value
            } else {
                f64::NAN
            }
        })
        .collect()
}

/// Mass at reference moisture. Whether dry grain is credited with water is decided for the load as a whole; grain of
/// unknown moisture is taken as it is.
fn reference(field: &Prepared, load: &LoadDecision, mass: f64, moisture: f64) -> f64 {
    let crop = &field.season.crop;
    let dry_load = load.moisture.is_some_and(|m| m < crop.reference_moisture);
    if !moisture.is_finite() || (dry_load && !crop.credit_dry) {
        return mass;
    }
    to_reference(mass, moisture, crop.reference_moisture, DryGrain::Credited).unwrap_or(mass)
}
