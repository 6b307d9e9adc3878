//! The field's figures.

use std::collections::BTreeMap;

use super::ground::{Amounts, Ground};
use super::map::Columns;
use crate::job::Job;
use crate::log::Reason;
use crate::map::YieldMap;
use crate::pool::{MachineDecision, ScaleDecision};
use crate::prepare::Prepared;
use crate::stats::weighted_quantiles;
use crate::summary::{
    CalibrationSummary, GrainSummary, LedgerItem, LoadSummary, LoggedSummary, MachineSummary,
    PointCounts, QualitySummary, Summary, YieldSummary,
};
use crate::units::HECTARE_M2;

/// Relative sd of a field's cut area: a header's width is known to about a hand's breadth (our choice, 0.5 %).
const AREA_SD: f64 = 0.005;
/// Relative sd of masses at reference moisture: moisture testers err by up to 0.8 points (NIST Handbook 44, value from
/// memory), which is about half a per cent of mass as a standard deviation.
const MOISTURE_SD: f64 = 0.005;

/// Masses per verdict: kept, each reason, unplaced.
struct Ledger {
    kept: (u64, Amounts),
    aside: BTreeMap<Reason, (u64, Amounts)>,
    unplaced: Amounts,
}

impl Ledger {
    fn new(ground: &Ground, map: &YieldMap) -> Self {
        let mut out = Self {
            kept: Default::default(),
            aside: BTreeMap::new(),
            unplaced: ground.unplaced,
        };
        for (i, verdict) in map.verdicts.iter().enumerate() {
            let line = match verdict {
                None => &mut out.kept,
                Some(reason) => out.aside.entry(reason).or_default(),
            };
            line.0 += 1;
            line.1.wet += ground.corrected[i];
            line.1.weighed += ground.weighed[i];
            line.1.reference += ground.reference[i];
        }
        out
    }

    fn reference_kg(&self) -> f64 {
        self.kept.1.reference
            + self.aside.values().map(|l| l.1.reference).sum::<f64>()
            + self.unplaced.reference
    }

    fn outside_kg(&self) -> f64 {
        self.aside
            .get(&Reason::OutsideBoundary)
            .map_or(0.0, |l| l.1.reference)
    }

    fn items(&self) -> Vec<LedgerItem> {
        let item = |name: &str, points: u64, a: Amounts| LedgerItem {
            item: name.to_owned(),
            points,
            kg: a.wet,
            weighed_kg: a.weighed,
        };
        std::iter::once(item("kept", self.kept.0, self.kept.1))
            .chain(self.aside.iter().map(|(r, l)| item(r.name(), l.0, l.1)))
            .chain(std::iter::once(item("unplaced", 0, self.unplaced)))
            .collect()
    }
}

/// Sums the field up. Warnings are collected by [`super::warnings`]; how good the map is, is measured elsewhere.
pub(super) fn summarise(
    job: &Job,
    field: &Prepared,
    machines: &[MachineDecision],
    scale: &ScaleDecision,
    ground: &Ground,
    columns: &Columns,
    map: &YieldMap,
) -> Summary {
    let ledger = Ledger::new(ground, map);
    let loads = load_summaries(field, scale, ground);
    let area_m2 = field.width.cut_area_inside_m2;
    let weighed_kg: f64 = 0.0 + loads.iter().filter_map(|l| l.weighed_kg).sum::<f64>(); // the sum of nothing is −0
    let mapped_weighed: f64 = ledger.items().iter().map(|i| i.weighed_kg).sum();
    let f = &field.season;
    Summary {
        client: f.client.clone(),
        farm: f.farm.clone(),
        field: f.name.clone(),
        season: f.season,
        crop: f.crop.name.clone(),
        points: counts(field, map),
        machines: machine_summaries(field, machines),
        area_ha: area_m2 / HECTARE_M2,
        logged: logged(field, columns),
        grain: grain(field, ground, &loads, &ledger, weighed_kg),
        yields: yields(job, field, scale, columns, map, &ledger, area_m2),
        grid: None,
        headland: None,
        calibration: CalibrationSummary {
            method: scale.method.clone(),
            tickets_used: scale.tickets_used,
            leave_one_out_pct: scale.leave_one_out_pct,
        },
        quality: QualitySummary {
            closure_pct: (weighed_kg > 0.0).then(|| 100.0 * (mapped_weighed / weighed_kg - 1.0)),
            ..QualitySummary::default()
        },
        loads,
        ledger: ledger.items(),
        warnings: Vec::new(),
    }
}

fn counts(field: &Prepared, map: &YieldMap) -> PointCounts {
    let mut of_reason: BTreeMap<Reason, u64> = BTreeMap::new();
    let mut kept = 0;
    for verdict in map.verdicts.iter() {
        match verdict {
            None => kept += 1,
            Some(reason) => *of_reason.entry(reason).or_default() += 1,
        }
    }
    let named = |(reason, points): (Reason, u64)| (reason.name().to_owned(), points);
    let set_aside: BTreeMap<String, u64> = of_reason.into_iter().map(named).collect();
    let unreadable = field.input.unreadable.len() as u64;
    PointCounts {
        rows: map.verdicts.len() as u64 + unreadable,
        unreadable,
        kept,
        set_aside,
    }
}

fn machine_summaries(field: &Prepared, machines: &[MachineDecision]) -> Vec<MachineSummary> {
    let names = field
        .timeline
        .tracks
        .iter()
        .map(|t| &field.input.log.machines[t.machine as usize]);
    names
        .zip(machines)
        .map(|(name, m)| MachineSummary {
            name: name.clone(),
            delay_s: m.delay.delay,
            moisture_delay_s: m.delay.moisture_delay,
            entry_ramp_s: Some(m.ramps.entry.seconds),
            exit_ramp_s: Some(m.ramps.exit.seconds),
        })
        .collect()
}

fn logged(field: &Prepared, columns: &Columns) -> LoggedSummary {
    let (mut kg, mut area) = (0.0, 0.0);
    for i in 0..field.input.log.len() {
        let (m, a) = (columns.log_reference[i], columns.log_area[i]);
        if m.is_finite() && a.is_finite() {
            kg += m;
            area += a;
        }
    }
    LoggedSummary {
        mean: (area > 0.0).then(|| kg / area * HECTARE_M2 * columns.unit),
        area_ha: area / HECTARE_M2,
    }
}

fn grain(
    field: &Prepared,
    ground: &Ground,
    loads: &[LoadSummary],
    ledger: &Ledger,
    weighed_kg: f64,
) -> GrainSummary {
    let faults = field.faults.stats();
    let (mut wet, mut mass) = (0.0, 0.0);
    for (c, m) in ground.corrected.iter().zip(&ground.moisture) {
        if *c > 0.0 && m.is_finite() {
            wet += c * m;
            mass += c;
        }
    }
    GrainSummary {
        logged_kg: loads.iter().map(|l| l.logged_kg).sum(),
        fault_kg: faults.fault_kg,
        unlogged_kg: ground.unlogged.kg.iter().sum(),
        weighed_kg,
        corrected_kg: loads.iter().map(|l| l.corrected_kg).sum(),
        reference_kg: ledger.reference_kg(),
        moisture_pct: (mass > 0.0).then(|| wet / mass),
        reference_moisture_pct: field.season.crop.reference_moisture,
    }
}

fn load_summaries(field: &Prepared, scale: &ScaleDecision, ground: &Ground) -> Vec<LoadSummary> {
    let log = &field.input.log;
    let n = field.loads.keys.len();
    let (mut logged, mut mass) = (vec![0.0; n], vec![0.0; n]);
    for (i, &l) in field.loads.of_row.iter().enumerate() {
        logged[l as usize] += field.timeline.mass(log, i);
        if field.faults.mass[i].is_finite() {
            mass[l as usize] += field.faults.mass[i];
        }
        mass[l as usize] += ground.unlogged.kg[i];
    }
    field
        .loads
        .keys
        .iter()
        .zip(&scale.loads)
        .enumerate()
        .map(|(l, (key, d))| {
            let corrected_kg = d.factor * mass[l];
            let half = 1.96 * d.relative_sd;
            let factor = (logged[l] > 0.0).then(|| corrected_kg / logged[l]);
            LoadSummary {
                load: key.name.clone(),
                machine: log.machines[key.machine as usize].clone(),
                ticket: d.ticket.clone(),
                logged_kg: logged[l],
                weighed_kg: d.weighed_kg,
                held_out_kg: d
                    .doubt
                    .filter(|_| d.weighed_kg.is_none())
                    .map(|ratio| corrected_kg * ratio),
                corrected_kg,
                factor,
                ci95_low: factor.map(|f| f * (-half).exp()),
                ci95_high: factor.map(|f| f * half.exp()),
                basis: d.basis,
                moisture_offset_pct: d.moisture_offset,
                remarks: d.remarks.clone(),
            }
        })
        .collect()
}

fn yields(
    job: &Job,
    field: &Prepared,
    scale: &ScaleDecision,
    columns: &Columns,
    map: &YieldMap,
    ledger: &Ledger,
    area_m2: f64,
) -> YieldSummary {
    let mean = (area_m2 > 0.0).then(|| {
        (ledger.reference_kg() - ledger.outside_kg()) / area_m2 * HECTARE_M2 * columns.unit
    });
    let half = 1.96 * mean_sd(scale);
    let (mut values, mut areas) = (Vec::new(), Vec::new());
    for i in (0..map.verdicts.len()).filter(|&i| map.verdicts.is_kept(i)) {
        let (y, a) = (map.yields[i], field.width.new_area[i]);
        if y.is_finite() && a > 0.0 {
            values.push(y);
            areas.push(a);
        }
    }
    let [p10, median, p90] = weighted_quantiles(&values, &areas, [0.1, 0.5, 0.9]);
    YieldSummary {
        unit: job.yield_unit.symbol().to_owned(),
        mean,
        ci95_low: mean.map(|m| m * (-half).exp()),
        ci95_high: mean.map(|m| m * half.exp()),
        cv_pct: cv_pct(&values, &areas),
        p10,
        median,
        p90,
    }
}

fn cv_pct(values: &[f64], areas: &[f64]) -> Option<f64> {
    let area: f64 = areas.iter().sum();
    let mean = values.iter().zip(areas).map(|(v, a)| v * a).sum::<f64>() / area;
    let variance = values
        .iter()
        .zip(areas)
        .map(|(v, a)| a * (v - mean).powi(2))
        .sum::<f64>()
        / area;
    (values.len() > 1 && mean > 0.0).then(|| 100.0 * variance.sqrt() / mean)
}

/// Relative sd of the field's mean: that of its grain, with area and moisture beside it.
fn mean_sd(scale: &ScaleDecision) -> f64 {
    let grain = Some(scale.grain_sd).filter(|sd| sd.is_finite());
    (grain.unwrap_or_default().powi(2) + AREA_SD.powi(2) + MOISTURE_SD.powi(2)).sqrt()
}
