//! How well delays are found: field seasons drawn at random from wide ranges, truth against estimate.
//!
//! `cargo run --release --example machine_study -- [SEASONS] [FIRST_SEED]` prints a line per season that went wrong and
//! a table. Ranges: delay 4–20 s (published: 8–15 s; slower and faster machines exist), residual of logs that a display
//! had shifted −6…+4 s, dispersion 1–5 s (Arslan 2008), log interval 1–5 s, yield structure from none to strong,
//! sensor noise 2–10 %, GNSS 0.02–1 m, speeds 1–2.6 m/s, one to three machines, several shapes and patterns.

use fanmill::delay::{AntennaOffset, Decision, Evidence, FieldEvidence, decide};
use fanmill::gather;
use fanmill::job::{FieldSeason, Job};
use fanmill::prepare::Prepared;
use fanmill::simulate::{
    Column, FaultSpec, FieldSpec, HeaderUp, MachineSpec, MachineTruth, Pattern, Reading, Shape,
    Shift, Smoothness, WorkStateLog, simulate,
};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

/// What there is in a season's flow to find its delay by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Structure {
    /// Yield that changes from place to place.
    Yield,
    /// The same yield everywhere, cut at a speed that wanders and stops: flow follows speed, and tells the delay.
    Speed,
    /// The same yield everywhere, cut at one speed: nothing.
    Nothing,
}

/// One machine in one season.
struct Case {
    seed: u64,
    what: String,
    structure: Structure,
    shifted: bool,
    truth: f64,
    moisture_truth: f64,
    pairs: u32,
    cv: f64,
    noise: f64,
    gnss: f64,
    speed: f64,
    decision: Decision,
    interval: f64,
    mixing: Option<f64>,
    entry: Option<f64>,
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let seasons: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(200);
    let first: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(1);
    let cases: Vec<Case> = (first..first + seasons)
        .into_par_iter()
        .flat_map_iter(run)
        .collect();
    let everything = std::env::args().nth(3).is_some();
    for c in cases.iter().filter(|c| everything || is_off(c)) {
        let d = &c.decision.delay;
        println!(
            "seed {:4} truth {:6.2} found {:6.2} [{:6.2} {:6.2}] own {:?} mixing {:.1} entry {:.2} {}",
            c.seed,
            c.truth,
            d.value,
            d.ci95_low.unwrap_or(f64::NAN),
            d.ci95_high.unwrap_or(f64::NAN),
            c.decision
                .own
                .map(|m| (r2(m.standard_error), r2(m.separation), r2(m.unshared))),
            c.mixing.unwrap_or(f64::NAN),
            c.entry.unwrap_or(f64::NAN) - c.truth,
            c.what
        );
    }
    println!("machines alone in one field; an error counts for those that are not refused:");
    let rough = |f: fn(&Case) -> bool| {
        cases
            .iter()
            .filter(move |c| c.structure == Structure::Yield && f(c))
    };
    table("all with structure", rough(|_| true));
    table("  no opposed pairs", rough(|c| c.pairs < FEW_PAIRS));
    table("  opposed pairs", rough(|c| c.pairs >= FEW_PAIRS));
    println!("of those with opposed pairs:");
    let told = |f: fn(&Case) -> bool| rough(|c| c.pairs >= FEW_PAIRS).filter(move |c| f(c));
    table("  raw", told(|c| !c.shifted));
    table("  shifted before", told(|c| c.shifted));
    table("  rows of 1 s", told(|c| c.interval < 1.5));
    table("  rows of 2 s", told(|c| (1.5..2.5).contains(&c.interval)));
    table("  rows of 3 s", told(|c| (2.5..4.0).contains(&c.interval)));
    table("  rows of 5 s", told(|c| c.interval >= 4.0));
    table("  structure < 12 %", told(|c| c.cv < 0.12));
    table("  structure 12–20 %", told(|c| (0.12..0.2).contains(&c.cv)));
    table("  structure > 20 %", told(|c| c.cv >= 0.2));
    table("  noise < 5 %", told(|c| c.noise < 0.05));
    table("  noise > 5 %", told(|c| c.noise >= 0.05));
    table("  GNSS < 0.2 m", told(|c| c.gnss < 0.2));
    table("  GNSS > 0.2 m", told(|c| c.gnss >= 0.2));
    table("  slower than 1.8 m/s", told(|c| c.speed < 1.8));
    table("  faster than 1.8 m/s", told(|c| c.speed >= 1.8));
    let of = |s: Structure| cases.iter().filter(move |c| c.structure == s);
    table("even yield, wandering speed", of(Structure::Speed));
    table("even yield, steady speed", of(Structure::Nothing));
    moisture(rough(|_| true));
    let batches: Vec<Case> = (first..first + seasons / 5)
        .into_par_iter()
        .flat_map_iter(run_batch)
        .collect();
    for c in batches
        .iter()
        .filter(|c| !c.decision.refused && (c.decision.delay.value - c.truth).abs() > 1.0)
    {
        println!(
            "pooled, seed {}: truth {:.2}, found {:.2} {:?} pairs {} rows {} s",
            c.seed, c.truth, c.decision.delay.value, c.decision.own, c.pairs, c.interval
        );
    }
    println!("four raw fields of one machine, one of them of an even yield, pooled:");
    table(
        "with structure",
        batches.iter().filter(|c| c.structure == Structure::Yield),
    );
    table(
        "even yield",
        batches.iter().filter(|c| c.structure != Structure::Yield),
    );
    antennas(first, seasons / 6);
}

/// Fewer pairs than this are none: machines that went round and round, or cut the headland alone.
const FEW_PAIRS: u32 = 100;

/// How well moisture's own delay is found.
fn moisture<'a>(cases: impl Iterator<Item = &'a Case>) {
    let cases: Vec<&Case> = cases.collect();
    let errors: Vec<f64> = (cases.iter())
        .filter_map(|c| Some((c.decision.moisture_delay? - c.moisture_truth).abs()))
        .collect();
    let within = |limit: f64| {
        100.0 * errors.iter().filter(|e| **e <= limit).count() as f64 / errors.len().max(1) as f64
    };
    println!(
        "moisture's own delay: {} cases, found in {}; of these ≤ 1 s {:.1} %, ≤ 2 s {:.1} %, ≤ 3 s {:.1} %",
        cases.len(),
        errors.len(),
        within(1.0),
        within(2.0),
        within(3.0)
    );
}

fn r2(v: f64) -> f64 {
    (v * 100.0).round() / 100.0
}

fn is_off(c: &Case) -> bool {
    !c.decision.refused
        && (c.structure == Structure::Nothing || (c.decision.delay.value - c.truth).abs() > 0.5)
}

fn table<'a>(name: &str, cases: impl Iterator<Item = &'a Case>) {
    let cases: Vec<&Case> = cases.collect();
    let kept: Vec<&&Case> = cases.iter().filter(|c| !c.decision.refused).collect();
    let errors: Vec<f64> = kept
        .iter()
        .map(|c| c.decision.delay.value - c.truth)
        .collect();
    let share = |n: usize| 100.0 * n as f64 / kept.len().max(1) as f64;
    let within = |limit: f64| share(errors.iter().filter(|e| e.abs() <= limit).count());
    let holds = |c: &Case| {
        let d = &c.decision.delay;
        d.ci95_low.is_some_and(|l| l <= c.truth) && d.ci95_high.is_some_and(|h| h >= c.truth)
    };
    let held = kept.iter().filter(|c| holds(c)).count();
    let bias = errors.iter().sum::<f64>() / errors.len().max(1) as f64;
    let mut size: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    size.sort_by(f64::total_cmp);
    let at = |q: f64| {
        size.get(((size.len().max(1) - 1) as f64 * q).round() as usize)
            .copied()
            .unwrap_or(f64::NAN)
    };
    let mut fallback: Vec<f64> = (cases.iter().filter(|c| c.decision.refused))
        .map(|c| (c.decision.delay.value - c.truth).abs())
        .collect();
    fallback.sort_by(f64::total_cmp);
    let told =
        || (cases.iter()).filter(|c| c.decision.refused && c.decision.delay.ci95_low.is_some());
    println!(
        "{name:27} {:4} cases, refused {:4} ({:5.1} %, fallback off by {:.1} s in the middle, {} with an interval that holds in {:.1} %); of the rest: ≤ 0.5 s {:5.1} %, ≤ 1 s {:5.1} %, interval holds {:5.1} %, bias {bias:+.3} s, |error| median {:.2} 95 % {:.2} worst {:.2}",
        cases.len(),
        cases.len() - kept.len(),
        100.0 * (cases.len() - kept.len()) as f64 / cases.len().max(1) as f64,
        fallback.get(fallback.len() / 2).unwrap_or(&f64::NAN),
        told().count(),
        100.0 * told().filter(|c| holds(c)).count() as f64 / told().count().max(1) as f64,
        within(0.5),
        within(1.0),
        share(held),
        at(0.5),
        at(0.95),
        at(1.0)
    );
}

/// A field season drawn at random.
fn draw(seed: u64) -> (FieldSpec, bool, String) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut between = |a: f64, b: f64| a + (b - a) * (rng.next_u64() as f64 / u64::MAX as f64);
    let even = between(0.0, 1.0) < 0.15;
    let cv = if even { 0.0 } else { between(0.05, 0.30) };
    let range = between(20.0, 150.0);
    let shape = match between(0.0, 4.0) as u32 {
        0 => Shape::rectangle(between(150.0, 400.0), between(200.0, 700.0)),
        1 => Shape::trapezoid(
            between(200.0, 450.0),
            between(150.0, 300.0),
            between(250.0, 600.0),
        ),
        2 => Shape::l_shape(between(300.0, 450.0), between(300.0, 500.0), 120.0, 150.0),
        _ => Shape::curved(
            between(200.0, 400.0),
            between(250.0, 600.0),
            between(10.0, 50.0),
        ),
    };
    let count = [1, 1, 1, 2, 3][between(0.0, 5.0) as usize % 5];
    let interval = [1.0, 1.0, 1.0, 2.0, 3.0, 5.0][between(0.0, 6.0) as usize % 6];
    let gnss = 10f64.powf(between(0.02f64.log10(), 0.0));
    let mut machines = Vec::new();
    for m in 0..count {
        let mut machine = MachineSpec {
            name: format!("M{m}"),
            ..MachineSpec::default()
        };
        machine.header_width = between(6.0, 12.0);
        machine.speed = between(1.0, 2.6);
        let tau = between(1.0, 5.0);
        let delay = between(4.0f64.max(tau + 1.0), 20.0);
        machine.transport.stages = if between(0.0, 1.0) < 0.5 {
            vec![tau]
        } else {
            vec![0.6 * tau, 0.4 * tau]
        };
        machine.transport.dead_time = delay - tau;
        machine.transport.flow_dependence = 0.0;
        machine.sensor.noise = between(0.02, 0.10);
        machine.sensor.reading = Reading::Mean;
        machine.gnss.error_sd = gnss;
        machine.log.interval = interval;
        machine.log.shift = match between(0.0, 1.0) {
            v if v < 0.3 => {
                // A residual of −6 … +4 s is left.
                let seconds = ((delay - between(-6.0, 4.0)) / interval).round() * interval;
                if v < 0.15 {
                    Shift::WithinPass { seconds }
                } else {
                    Shift::WholeClock { seconds }
                }
            }
            _ => Shift::None,
        };
        machine.log.header_up = if between(0.0, 1.0) < 0.7 {
            HeaderUp::Rows
        } else {
            HeaderUp::Pause {
                after: between(0.0, 20.0),
            }
        };
        machine.log.work_state = if between(0.0, 1.0) < 0.75 {
            WorkStateLog::Header
        } else {
            WorkStateLog::Absent
        };
        if between(0.0, 1.0) < 0.3 {
            machine
                .log
                .columns
                .retain(|c| !matches!(c, Column::Speed | Column::Distance));
        }
        machines.push(machine);
    }
    let mut spec = FieldSpec {
        shape,
        machines,
        faults: FaultSpec::default(),
        ..FieldSpec::default()
    };
    spec.surface.cv = cv;
    spec.surface.range = range;
    spec.surface.smoothness = if between(0.0, 1.0) < 0.5 {
        Smoothness::Rough
    } else {
        Smoothness::Smooth
    };
    let trend = between(-0.2, 0.2);
    spec.surface.trend = if even { 0.0 } else { trend };
    spec.surface.headland_width = between(10.0, 25.0);
    spec.surface.headland_effect = if even { 0.0 } else { between(-0.25, 0.0) };
    spec.driving.heading = between(0.0, 180.0);
    spec.driving.pattern = match between(0.0, 1.0) {
        v if v < 0.75 => Pattern::Serpentine,
        v if v < 0.9 => Pattern::RoundAndRound,
        _ => Pattern::Spiral,
    };
    spec.driving.stops_per_hour = between(0.0, 4.0);
    // Several machines share a field land by land; in one land the others would cut its headland alone.
    if count > 1 {
        spec.driving.land_width = between(60.0, 150.0);
    }
    let what = format!(
        "cv {cv:.2} range {range:.0} interval {interval} gnss {gnss:.2} machines {count} {:?} {:?} {:?} {:?} noise {:.2} stages {:?}",
        spec.driving.pattern,
        spec.machines[0].log.shift,
        spec.machines[0].log.header_up,
        spec.machines[0].log.work_state,
        spec.machines[0].sensor.noise,
        spec.machines[0].transport.stages
    );
    (spec, even, what)
}

/// Four fields of one raw machine, the last without structure: what pooling makes of them.
fn run_batch(seed: u64) -> Vec<Case> {
    let machine = draw(seed).0.machines.swap_remove(0);
    let gathered: Vec<(Evidence, f64, bool)> = (0..4)
        .filter_map(|f| {
            let (mut spec, _, _) = draw(seed * 4 + f + 1_000_000);
            spec.surface.cv = if f == 3 {
                0.0
            } else {
                spec.surface.cv.max(0.05)
            };
            spec.surface.headland_effect = if f == 3 {
                0.0
            } else {
                spec.surface.headland_effect
            };
            if f == 3 {
                spec.surface.trend = 0.0;
            }
            spec.machines = vec![machine.clone()];
            spec.machines[0].log.shift = Shift::None;
            let (_, evidence, truth) = gather_one(&spec, seed + f)?.into_iter().next()?;
            Some((evidence, truth.log_delay_s, f == 3))
        })
        .collect();
    let fields: Vec<FieldEvidence> = gathered
        .iter()
        .map(|(evidence, _, _)| FieldEvidence {
            evidence,
            fixed: None,
            fixed_moisture: None,
        })
        .collect();
    let decisions = decide(&fields);
    gathered
        .iter()
        .zip(decisions)
        .map(|((evidence, truth, even), decision)| Case {
            seed,
            what: "pooled".into(),
            structure: if *even {
                Structure::Speed
            } else {
                Structure::Yield
            },
            shifted: false,
            truth: *truth,
            moisture_truth: f64::NAN,
            pairs: evidence.grain[0].pairs,
            cv: f64::NAN,
            noise: f64::NAN,
            gnss: f64::NAN,
            speed: f64::NAN,
            interval: evidence.interval,
            decision,
            mixing: None,
            entry: None,
        })
        .collect()
}

/// Six fields of one raw machine, cut at speeds of their own, whose antenna stands behind the cutter bar though the job
/// does not say so: the distance, and what is found of it (m).
fn run_antenna(seed: u64) -> (f64, Option<AntennaOffset>) {
    let machine = draw(seed).0.machines.swap_remove(0);
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut between = |a: f64, b: f64| a + (b - a) * (rng.next_u64() as f64 / u64::MAX as f64);
    let behind = if seed.is_multiple_of(2) {
        0.0
    } else {
        between(1.5, 4.0)
    };
    let gathered: Vec<Evidence> = (0..6)
        .filter_map(|f| {
            let (mut spec, _, _) = draw(seed * 6 + f + 2_000_000);
            spec.surface.cv = spec.surface.cv.max(0.1);
            spec.driving.pattern = Pattern::Serpentine;
            spec.driving.land_width = f64::INFINITY;
            spec.machines = vec![machine.clone()];
            let m = &mut spec.machines[0];
            (m.log.shift, m.log.interval) = (Shift::None, 1.0);
            (m.speed, m.gnss.antenna_behind) = (between(1.0, 2.6), behind);
            let mut said = spec.clone();
            said.machines[0].gnss.antenna_behind = 0.0;
            Some(gather_said(&spec, &said, seed + f)?.into_iter().next()?.1)
        })
        .collect();
    let fields: Vec<FieldEvidence> = (gathered.iter())
        .map(|evidence| FieldEvidence {
            evidence,
            fixed: None,
            fixed_moisture: None,
        })
        .collect();
    (behind, decide(&fields).first().and_then(|d| d.antenna))
}

fn antennas(first: u64, batches: u64) {
    let found: Vec<(f64, Option<AntennaOffset>)> = (first..first + batches)
        .into_par_iter()
        .map(run_antenna)
        .collect();
    for there in [false, true] {
        let own: Vec<_> = found.iter().filter(|f| (f.0 > 0.0) == there).collect();
        let told: Vec<(f64, AntennaOffset)> =
            own.iter().filter_map(|f| Some((f.0, f.1?))).collect();
        let near = told
            .iter()
            .filter(|(x, a)| (a.behind_m - x).abs() <= a.half_width_m)
            .count();
        let mut errors: Vec<f64> = told.iter().map(|(x, a)| (a.behind_m - x).abs()).collect();
        errors.sort_by(f64::total_cmp);
        println!(
            "antenna {}: {} machines of six fields, told in {}, interval holds in {near}, |error| median {:.2} m, worst {:.2} m",
            if there {
                "1.5–4 m behind the bar, not in the job"
            } else {
                "at the bar"
            },
            own.len(),
            told.len(),
            errors.get(errors.len() / 2).unwrap_or(&f64::NAN),
            errors.last().unwrap_or(&f64::NAN)
        );
    }
}

/// Simulates a season and gathers every machine's evidence.
fn gather_one(spec: &FieldSpec, seed: u64) -> Option<Vec<(f64, Evidence, MachineTruth)>> {
    gather_said(spec, spec, seed)
}

/// The same with a job that says otherwise.
fn gather_said(
    spec: &FieldSpec,
    said: &FieldSpec,
    seed: u64,
) -> Option<Vec<(f64, Evidence, MachineTruth)>> {
    let simulated = simulate(spec, seed)
        .map_err(|e| println!("seed {seed}: {e}"))
        .ok()?;
    let (job, field) = job_of(said);
    let prepared = Prepared::new(&job, &field, simulated.to_input())
        .map_err(|e| println!("seed {seed}: {e}"))
        .ok()?;
    let evidence = gather::machines(&prepared);
    let of_track = prepared
        .timeline
        .tracks
        .iter()
        .zip(evidence)
        .filter_map(|(track, e)| {
            let truth = simulated
                .truth
                .machines
                .iter()
                .find(|m| m.name == e.delay.machine)?;
            Some((track.usual_step, e.delay, truth.clone()))
        });
    Some(of_track.collect())
}

fn run(seed: u64) -> Vec<Case> {
    let (spec, even, what) = draw(seed);
    if !even {
        return judged(&spec, Structure::Yield, &what, seed);
    }
    let mut steady = spec.clone();
    steady.driving.speed_wander = 0.0;
    steady.driving.flow_hold = 0.0;
    steady.driving.stops_per_hour = 0.0;
    steady.driving.turn_speed = spec.machines[0].speed;
    let mut cases = judged(&spec, Structure::Speed, &what, seed);
    cases.extend(judged(&steady, Structure::Nothing, &what, seed));
    cases
}

/// A season, and what is found of each of its machines.
fn judged(spec: &FieldSpec, structure: Structure, what: &str, seed: u64) -> Vec<Case> {
    gather_one(spec, seed)
        .unwrap_or_default()
        .into_iter()
        .map(|(step, evidence, truth)| {
            let alone = FieldEvidence {
                evidence: &evidence,
                fixed: None,
                fixed_moisture: None,
            };
            let machine = spec.machines.iter().find(|m| m.name == truth.name);
            Case {
                seed,
                what: what.to_owned(),
                structure,
                shifted: truth.applied_s != 0.0,
                truth: truth.log_delay_s,
                moisture_truth: truth.moisture_delay_s,
                pairs: evidence.grain[0].pairs,
                cv: spec.surface.cv,
                noise: machine.map_or(f64::NAN, |m| m.sensor.noise),
                gnss: machine.map_or(f64::NAN, |m| m.gnss.error_sd),
                speed: machine.map_or(f64::NAN, |m| m.speed),
                interval: evidence.interval,
                decision: decide(&[alone]).remove(0),
                mixing: evidence.entry.mixing(step).map(|m| m.seconds),
                entry: evidence.entry.delay(step),
            }
        })
        .collect()
}

fn job_of(spec: &FieldSpec) -> (Job, FieldSeason) {
    let machines: String = spec
        .machines
        .iter()
        .map(|m| {
            format!(
                "[[machine]]\nname = \"{}\"\nheader_width = \"{} m\"\n{}",
                m.name,
                m.header_width,
                antenna(m)
            )
        })
        .collect();
    let text = format!(
        "[job]\nname = \"study\"\nresults = \"results\"\n{machines}[[field]]\nclient = \"c\"\nfarm = \"f\"\nname = \"{}\"\nseason = 2025\ncrop = \"{}\"\nlogs = [\"*.csv\"]\n",
        "study", spec.crop
    );
    let job = fanmill::job::parse(&text, "study.toml", std::path::Path::new("."))
        .expect("the study's job is sound");
    let field = job.fields[0].clone();
    (job, field)
}

fn antenna(m: &MachineSpec) -> String {
    if m.gnss.antenna_behind == 0.0 {
        String::new()
    } else {
        format!(
            "antenna_behind_cutter_bar = \"{} m\"\n",
            m.gnss.antenna_behind
        )
    }
}
