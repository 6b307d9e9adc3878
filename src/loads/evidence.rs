use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Loads;
use crate::log::{Clock, Log, Timeline};
use crate::read::Ticket;

/// Ratio of neighbouring bins of flow (our choice: a sensor's curve is straight over so little).
const FLOW_STEP: f64 = 1.12;

/// A ticket's identity over the whole batch: where it stands.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct TicketRef {
    /// The file, relative to the job file.
    pub file: String,
    /// Its data row, from 1.
    pub row: u32,
}

impl TicketRef {
    /// The identity of a ticket.
    pub fn of(ticket: &Ticket) -> Self {
        Self {
            file: ticket.place.file.clone(),
            row: ticket.place.row.unwrap_or(0),
        }
    }
}

/// What one field logged of one load.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LoadEvidence {
    /// Machine name.
    pub machine: String,
    /// Load id; `None`: grain outside every load.
    pub load: Option<String>,
    /// The ticket that weighed it.
    pub ticket: Option<TicketRef>,
    /// Wet mass as logged, kg.
    pub logged_kg: f64,
    /// Wet mass with faults replaced and with what no row has, kg.
    pub mass_kg: f64,
    /// What of it no row has, kg: see [`super::Unlogged`].
    #[serde(default)]
    pub unlogged_kg: f64,
    /// Flow-weighted logged moisture, %.
    pub moisture_pct: Option<f64>,
    /// Share of the mass that has a logged moisture, 0–1.
    pub moisture_share: f64,
    /// 10th, 50th and 90th percentile of flow while grain flowed, weighted by mass, kg/s.
    pub flow_kg_s: Option<[f64; 3]>,
    /// Time over which its grain passed the sensor, s.
    pub seconds: f64,
    /// First and last instant of its rows, Unix s; `None` where the log has no absolute clock.
    pub span: Option<[f64; 2]>,
    /// Its grain by the flow in which it passed the sensor: (mean flow, kg/s; mass, kg) in steps of flow.
    pub flows: Vec<[f64; 2]>,
    /// Rows.
    pub rows: u64,
}

/// Sums every load of a field. `mass`: wet mass per row with faults replaced, kg; `behind`: wet mass that ran behind each
/// row though no row has it, kg, where that is known.
pub fn evidence(
    log: &Log,
    timeline: &Timeline,
    loads: &Loads,
    tickets: &[Ticket],
    mass: &[f64],
    behind: Option<&[f64]>,
) -> Vec<LoadEvidence> {
    let mut rows_of: Vec<Vec<usize>> = vec![Vec::new(); loads.keys.len()];
    for (i, &k) in loads.of_row.iter().enumerate() {
        rows_of[k as usize].push(i);
    }
    loads
        .keys
        .iter()
        .zip(rows_of)
        .map(|(key, rows)| {
            let (mut logged, mut sum, mut wet, mut with_moisture, mut seconds) =
                (0.0, 0.0, 0.0, 0.0, 0.0);
            let mut flows = Vec::with_capacity(rows.len());
            let unlogged_kg: f64 = behind.map_or(0.0, |kg| rows.iter().map(|&i| kg[i]).sum());
            for &i in &rows {
                logged += timeline.mass(log, i);
                let m = mass[i];
                if !(m > 0.0) {
                    continue;
                }
                sum += m;
                if log.moisture[i].is_finite() {
                    wet += m * log.moisture[i];
                    with_moisture += m;
                }
                let span = timeline.interval[i];
                if span > 0.0 {
                    seconds += span;
                    flows.push((m / span, m));
                }
            }
            LoadEvidence {
                machine: log.machines[key.machine as usize].clone(),
                load: key.name.clone(),
                ticket: key.ticket.map(|t| TicketRef::of(&tickets[t])),
                logged_kg: logged,
                mass_kg: sum + unlogged_kg,
                unlogged_kg,
                moisture_pct: (with_moisture > 0.0).then(|| wet / with_moisture),
                moisture_share: if sum > 0.0 { with_moisture / sum } else { 0.0 },
                flows: binned(&flows),
                flow_kg_s: weighted_quantiles(flows),
                span: span(log, &rows),
                seconds,
                rows: rows.len() as u64,
            }
        })
        .collect()
}

/// First and last time of some rows, where all have one on an absolute clock.
fn span(log: &Log, rows: &[usize]) -> Option<[f64; 2]> {
    let mut out: Option<[f64; 2]> = None;
    for &i in rows {
        if log.sources[log.source[i] as usize].clock != Clock::Unix {
            return None;
        }
        let t = log.time[i];
        if t.is_finite() {
            out = Some(out.map_or([t, t], |[a, b]| [a.min(t), b.max(t)]));
        }
    }
    out
}

/// Flow and mass summed in logarithmic bins of flow.
fn binned(flows: &[(f64, f64)]) -> Vec<[f64; 2]> {
    let mut bins: BTreeMap<i32, (f64, f64)> = BTreeMap::new();
    for &(flow, mass) in flows.iter().filter(|f| f.0 > 0.0 && f.1 > 0.0) {
        let bin = bins
            .entry((flow.ln() / FLOW_STEP.ln()).floor() as i32)
            .or_default();
        bin.0 += mass;
        bin.1 += mass / flow;
    }
    bins.into_values()
        .map(|(mass, time)| [mass / time, mass])
        .collect()
}

fn weighted_quantiles(mut flows: Vec<(f64, f64)>) -> Option<[f64; 3]> {
    if flows.is_empty() {
        return None;
    }
    flows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = flows.iter().map(|f| f.1).sum();
    let mut at = [f64::NAN; 3];
    let mut run = 0.0;
    for (flow, mass) in flows {
        run += mass;
        for (slot, q) in at.iter_mut().zip([0.1, 0.5, 0.9]) {
            if slot.is_nan() && run >= q * total {
                *slot = flow;
            }
        }
    }
    Some(at)
}
