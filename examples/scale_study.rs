//! How well the scale is carried to loads: seasons drawn at random from wide ranges, one factor and the joint adjustment
//! side by side.
//!
//! `cargo run --release --example scale_study -- make FILE [SEASONS] [FIRST_SEED]` simulates seasons and keeps what their
//! logs say (no tickets take part in that). `… judge FILE` draws tickets for every season, several times over, and
//! prints the errors of both methods (more files may follow).
//!
//! Ranges: exponents of the sensor 0.8–1.2, drift to ± 8 %, loads 0–2.5 % and days 0–2 % apart, one machine or two (0.93
//! and 1.12), receivers of 0.03–0.3 m, smooth and rough fields, poor headlands of any width on a third of them, duplicated
//! rows, spikes and stuck readings in the masses; tickets with a sd of 0.1–1 %.

#[path = "study/scale.rs"]
mod judge;
mod study;

use std::error::Error;
use std::fs;

use fanmill::calibrate::joint::Patch;
use fanmill::gather::{self, Settled};
use fanmill::loads::LoadEvidence;
use fanmill::pool;
use fanmill::prepare::Prepared;
use fanmill::simulate::{
    Curve, DrivingSpec, FaultSpec, FieldSpec, FlowSensorSpec, MachineSpec, Pattern, Shape,
    Smoothness, SurfaceSpec, Unloading, simulate,
};
use judge::Judged;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use study::{Draw, job_of};

/// What a season's logs say, and what is true.
#[derive(Serialize, Deserialize)]
struct Season {
    seed: u64,
    what: String,
    machines: usize,
    headland: bool,
    rough: bool,
    exponent: f64,
    trend: f64,
    area_ha: f64,
    loads: Vec<LoadEvidence>,
    /// True mass of each load, kg.
    truth: Vec<f64>,
    patches: Vec<Patch>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |k: usize, usual: u64| {
        arguments
            .get(k)
            .and_then(|a| a.parse().ok())
            .unwrap_or(usual)
    };
    let (Some(act), Some(file)) = (arguments.first(), arguments.get(1)) else {
        return Err("scale_study make FILE [SEASONS] [FIRST_SEED] | judge FILE".into());
    };
    match act.as_str() {
        "make" => {
            let first = number(3, 1);
            let seasons: Vec<Season> = (first..first + number(2, 40))
                .into_par_iter()
                .filter_map(season)
                .collect();
            fs::write(file, serde_json::to_string(&seasons)?)?;
        }
        _ => {
            let mut seasons: Vec<Season> = Vec::new();
            for file in &arguments[1..] {
                let more: Vec<Season> = serde_json::from_str(&fs::read_to_string(file)?)?;
                seasons.extend(more);
            }
            let judged: Vec<Judged> = seasons.par_iter().flat_map_iter(judge::judge).collect();
            println!("{} seasons", seasons.len());
            judge::tables(&judged);
        }
    }
    Ok(())
}

fn machine(draw: &mut Draw, name: &str, factor: f64) -> MachineSpec {
    let base = MachineSpec::default();
    MachineSpec {
        name: name.into(),
        header_width: draw.one_of(&[6.0, 7.5, 9.0, 10.7]),
        speed: draw.between(1.5, 2.2),
        bin: draw.between(5_000.0, 10_000.0),
        sensor: FlowSensorSpec {
            factor,
            curve: Curve::Power {
                exponent: draw.between(0.8, 1.2),
            },
            load_sd: draw.one_of(&[0.0, 0.005, 0.01, 0.015, 0.02, 0.025]),
            day_sd: draw.between(0.0, 0.02),
            trend: draw.one_of(&[0.0, 0.0, 0.03, -0.03, 0.08, -0.08]),
            ..base.sensor.clone()
        },
        gnss: fanmill::simulate::GnssSpec {
            error_sd: draw.one_of(&[0.03, 0.08, 0.2, 0.3]),
            ..base.gnss.clone()
        },
        ..base
    }
}

fn spec_of(seed: u64) -> FieldSpec {
    let mut draw = Draw::new(seed);
    let (w, h) = (draw.between(260.0, 420.0), draw.between(350.0, 600.0));
    let shape = draw.one_of(&[0, 1, 2, 3]);
    let shape = match shape {
        0 => Shape::rectangle(w, h),
        1 => Shape::curved(w, h, 40.0),
        2 => Shape::l_shape(1.3 * w, h, 0.5 * w, 0.4 * h),
        _ => Shape::trapezoid(w, 0.6 * w, h),
    };
    let turn = draw.between(-80.0, 80.0);
    let headland = draw.chance(0.35);
    let rough = draw.chance(0.4);
    let two = draw.chance(0.35);
    let mut machines = vec![machine(&mut draw, "C1", 0.93)];
    if two {
        machines.push(machine(&mut draw, "C2", 1.12));
    } else {
        machines[0].sensor.factor = draw.between(0.85, 1.15);
    }
    FieldSpec {
        shape: shape.turned(turn),
        surface: SurfaceSpec {
            mean_yield: draw.between(5_000.0, 12_000.0),
            cv: draw.between(0.07, 0.2),
            range: draw.between(40.0, 140.0),
            smoothness: if rough {
                Smoothness::Rough
            } else {
                Smoothness::Smooth
            },
            trend: draw.one_of(&[0.0, 0.1, -0.1]),
            headland_width: if headland {
                draw.between(12.0, 28.0)
            } else {
                0.0
            },
            headland_effect: if headland { -0.25 } else { 0.0 },
            ..SurfaceSpec::default()
        },
        driving: DrivingSpec {
            heading: turn,
            headland_rounds: draw.one_of(&[1, 2, 2, 3]),
            pattern: draw.one_of(&[
                Pattern::Serpentine,
                Pattern::Serpentine,
                Pattern::RoundAndRound,
            ]),
            land_width: if two || draw.chance(0.3) {
                90.0
            } else {
                f64::INFINITY
            },
            flow_hold: draw.one_of(&[0.0, 0.5]),
            unloading: draw.one_of(&[Unloading::OnTheGo, Unloading::Standing]),
            hours_per_day: draw.between(1.5, 5.0),
            ..DrivingSpec::default()
        },
        machines,
        faults: FaultSpec {
            duplicate_rows: 0.6,
            flow_spikes: 1.0,
            stuck_readings: 0.1,
            ..FaultSpec::default()
        },
        ..FieldSpec::default()
    }
}

/// Simulates a season and takes its evidence.
fn season(seed: u64) -> Option<Season> {
    let spec = spec_of(seed);
    let season = simulate(&spec, seed).ok()?;
    let (job, field) = job_of(&spec, |w| w, "");
    let mut input = season.to_input();
    input.tickets.clear();
    let prepared = Prepared::new(&job, &field, input).ok()?;
    let evidence = gather::machines(&prepared);
    let machines = pool::machines(&job, &[("c", &evidence)]).remove(0);
    let settled: Vec<Settled> = machines.iter().map(Settled::from).collect();
    let loads = fanmill::loads::evidence(
        &prepared.input.log,
        &prepared.timeline,
        &prepared.loads,
        &[],
        &prepared.faults.mass,
        None,
    );
    let truth = loads
        .iter()
        .map(|l| {
            (season.truth.loads.iter())
                .find(|t| Some(&t.load) == l.load.as_ref())
                .map_or(f64::NAN, |t| t.sensor_kg)
        })
        .collect();
    Some(Season {
        seed,
        what: format!(
            "cv {:.2} range {:.0} {:?} {:?} land {:.0} rounds {}",
            spec.surface.cv,
            spec.surface.range,
            spec.surface.smoothness,
            spec.driving.pattern,
            spec.driving.land_width,
            spec.driving.headland_rounds
        ),
        machines: spec.machines.len(),
        headland: spec.surface.headland_width > 0.0,
        rough: spec.surface.smoothness == Smoothness::Rough,
        exponent: match spec.machines[0].sensor.curve {
            Curve::Power { exponent } => exponent,
            _ => 1.0,
        },
        trend: spec.machines[0].sensor.trend,
        area_ha: season.truth.field.cut_area_m2 / 1e4,
        loads,
        truth,
        patches: gather::patches(&prepared, &settled),
    })
}
