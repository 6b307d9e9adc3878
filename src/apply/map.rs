//! The map's columns.

use super::ground::Ground;
use crate::job::Job;
use crate::log::{Clock, Verdicts};
use crate::map::YieldMap;
use crate::moisture::{DryGrain, to_reference};
use crate::passes::Activity;
use crate::pool::ScaleDecision;
use crate::prepare::Prepared;
use crate::units::HECTARE_M2;

/// Columns that checks, quality and map share; one entry per row, NaN is missing.
#[derive(Debug, Clone)]
pub(super) struct Columns {
    /// Middle of the ground, m.
    pub x: Vec<f64>,
    /// Middle of the ground, m.
    pub y: Vec<f64>,
    /// Whether it is inside the boundary.
    pub inside: Vec<bool>,
    /// Corrected yield at reference moisture, kg/ha.
    pub yield_kg_ha: Vec<f64>,
    /// Logged yield of the row itself, kg/ha at reference moisture by the plain formula.
    pub yield_log_kg_ha: Vec<f64>,
    /// Logged mass of the row at reference moisture by the plain formula, kg.
    pub log_reference: Vec<f64>,
    /// Logged area of the row, m².
    pub log_area: Vec<f64>,
    /// What kg/ha is multiplied with for the job's unit.
    pub unit: f64,
}

impl Columns {
    pub fn new(job: &Job, field: &Prepared, ground: &Ground) -> Self {
        let Prepared {
            input,
            timeline,
            faults,
            passes,
            width,
            boundary,
            season,
            ..
        } = field;
        let crop = &season.crop;
        let log = &input.log;
        let n = log.len();
        let mut out = Self {
            x: vec![f64::NAN; n],
            y: vec![f64::NAN; n],
            inside: vec![true; n],
            yield_kg_ha: vec![f64::NAN; n],
            yield_log_kg_ha: vec![f64::NAN; n],
            log_reference: vec![f64::NAN; n],
            log_area: vec![f64::NAN; n],
            unit: job.yield_unit.per_kg_ha(crop.bushel_kg),
        };
        for i in 0..n {
            let positioned = !matches!(passes.activity[i], Activity::NoPosition | Activity::Jump);
            if let Some(g) = passes.ground[i].filter(|_| positioned) {
                let middle = g.middle();
                (out.x[i], out.y[i]) = (middle[0], middle[1]);
                out.inside[i] = boundary.as_ref().is_none_or(|b| b.contains(middle));
            }
            let area = width.new_area[i] * ground.covered[i];
            if area > 0.0 && passes.pass_of[i].is_some() {
                out.yield_kg_ha[i] = ground.reference[i] / area * HECTARE_M2;
            }
            let distance = logged_distance(field, i);
            let claimed = if log.width[i] > 0.0 {
                log.width[i]
            } else {
                passes.header_width[i]
            };
            out.log_area[i] = distance * claimed;
            let mass = faults.logged[i];
            out.log_reference[i] = if log.moisture[i].is_finite() {
                to_reference(
                    mass,
                    log.moisture[i],
                    crop.reference_moisture,
                    DryGrain::Credited,
                )
                .unwrap_or(mass)
            } else {
                mass
            };
            if out.log_area[i] > 0.0 && timeline.interval[i] > 0.0 {
                out.yield_log_kg_ha[i] = out.log_reference[i] / out.log_area[i] * HECTARE_M2;
            }
        }
        out
    }
}

/// Distance as the log has it: its own column, speed times interval, or the way between positions.
fn logged_distance(field: &Prepared, i: usize) -> f64 {
    let log = &field.input.log;
    if log.distance[i].is_finite() {
        log.distance[i]
    } else if log.speed[i].is_finite() {
        log.speed[i] * field.timeline.interval[i]
    } else {
        field.passes.ground[i].map_or(f64::NAN, |g| g.length())
    }
}

/// Puts the map together. `noise_pct`: spread of the log ratio between opposed neighbouring points, %.
pub(super) fn build(
    field: &Prepared,
    scale: &ScaleDecision,
    ground: &Ground,
    columns: &Columns,
    verdicts: &Verdicts,
    noise_pct: Option<f64>,
) -> YieldMap {
    let Prepared {
        input,
        frame,
        timeline,
        passes,
        width,
        loads,
        ..
    } = field;
    let log = &input.log;
    let n = log.len();
    let (mut lon, mut lat) = frame.inverse(&columns.x, &columns.y);
    for i in 0..n {
        // A row that leapt has a logged position all the same; one without stays without.
        if !lon[i].is_finite() || !lat[i].is_finite() {
            (lon[i], lat[i]) = (log.lon[i], log.lat[i]);
        }
    }
    // The ratio of two points has both their errors.
    let point_sd = noise_pct.map_or(0.0, |p| p / 100.0 / std::f64::consts::SQRT_2);
    let names: Vec<Option<u32>> = {
        let mut known: Vec<&str> = Vec::new();
        loads
            .keys
            .iter()
            .map(|k| {
                let name = k.name.as_deref()?;
                Some(known.iter().position(|&x| x == name).unwrap_or_else(|| {
                    known.push(name);
                    known.len() - 1
                }) as u32)
            })
            .collect()
    };
    let mut load_names: Vec<String> = Vec::new();
    for key in &loads.keys {
        if let Some(name) = &key.name
            && !load_names.contains(name)
        {
            load_names.push(name.clone());
        }
    }
    let per = |f: &dyn Fn(usize) -> f64| -> Vec<f64> { (0..n).map(f).collect() };
    let on_pass = |i: usize| passes.pass_of[i].is_some();
    let half = per(&|i| {
        let level = level_sd(field, scale, ground, i);
        1.96 * (level * level + point_sd * point_sd).sqrt()
    });
    YieldMap {
        logs: log.sources.iter().map(|s| s.path.clone()).collect(),
        machines: log.machines.clone(),
        loads: load_names,
        verdicts: verdicts.clone(),
        lon,
        lat,
        log: log.source.clone(),
        row: log.row.clone(),
        time: per(&|i| match log.sources[log.source[i] as usize].clock {
            Clock::Unix => log.time[i],
            Clock::Relative | Clock::None => f64::NAN,
        }),
        machine: log.machine.clone(),
        load: (0..n).map(|i| names[ground.load[i] as usize]).collect(),
        pass: passes.pass_of.iter().map(|p| p.map(|p| p + 1)).collect(),
        speed_m_s: passes.speed.clone(),
        cut_m: per(&|i| {
            if on_pass(i) {
                width.share[i] * passes.header_width[i]
            } else {
                f64::NAN
            }
        }),
        moist_pct: ground.moisture.clone(),
        grain_kg_s: per(&|i| {
            let time = ground.covered[i] * timeline.interval[i];
            if time > 0.0 {
                ground.corrected[i] / time
            } else {
                f64::NAN
            }
        }),
        factor: per(&|i| {
            if ground.logged[i] > 0.0 {
                ground.corrected[i] / ground.logged[i]
            } else {
                f64::NAN
            }
        }),
        yld_kg_ha: columns.yield_kg_ha.clone(),
        yld_low: per(&|i| columns.yield_kg_ha[i] * (-half[i]).exp()),
        yld_high: per(&|i| columns.yield_kg_ha[i] * half[i].exp()),
        yields: per(&|i| columns.yield_kg_ha[i] * columns.unit),
        yield_log: per(&|i| columns.yield_log_kg_ha[i] * columns.unit),
        swaths: None,
    }
}

/// Relative sd of what a row's yield may be off by together with others: its load's factor, and the sensor's curve at another
/// flow than the load's.
pub(super) fn level_sd(field: &Prepared, scale: &ScaleDecision, ground: &Ground, i: usize) -> f64 {
    let load = &scale.loads[ground.load[i] as usize];
    let flow = ground.logged[i] / (ground.covered[i] * field.timeline.interval[i]);
    (load.relative_sd.powi(2) + load.flows.sd(flow).powi(2)).sqrt()
}

/// Corners of the rows' newly cut ground in degrees.
pub(super) fn swaths(field: &Prepared, cut: &[Option<[[f64; 2]; 4]>]) -> Vec<[[f64; 2]; 4]> {
    let corner = |axis: usize| -> Vec<f64> {
        cut.iter()
            .flat_map(|quad| (0..4).map(move |k| quad.map_or(f64::NAN, |q| q[k][axis])))
            .collect()
    };
    let (lon, lat) = field.frame.inverse(&corner(0), &corner(1));
    let corners: Vec<[f64; 2]> = lon.into_iter().zip(lat).map(|(x, y)| [x, y]).collect();
    corners.as_chunks::<4>().0.to_vec()
}
