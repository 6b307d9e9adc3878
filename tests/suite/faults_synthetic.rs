//! Faults put into logs made here: what is found, and that nothing real is.
//!
//! The logs come from a machine with dead time left out and a first-order response; ground has patches, bare spots and
//! sharp edges; the machine stops and starts. Noise and rate vary between logs.

use fanmill::faults::{FaultKind, FaultParams, Faults, apply};
use fanmill::log::{Clock, Log, Source, Timeline};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const STEP: f64 = 0.1;

#[derive(Clone, Copy)]
struct Machine {
    interval: f64,
    response: f64,
    noise: f64,
    /// Smallest step of the logged flow, kg/s.
    resolution: f64,
}

/// Grain that comes in, kg/s, every 0.1 s: passes of 150 s with 20 s of turning between them.
fn intake(passes: usize, rng: &mut impl Rng) -> Vec<f64> {
    let mut flow = Vec::new();
    for _ in 0..passes {
        let patch = rng.random_range(200..900);
        let bare = rng.random_range(900..1400);
        let stop = rng.random_range(100..1400);
        for k in 0..1500 {
            let trend = 12.0 + 2.0 * (k as f64 * 0.004).sin();
            let share = match k {
                k if (stop..stop + 80).contains(&k) => 0.0, // the machine stands for 8 s
                k if (patch..patch + 300).contains(&k) => 0.4,
                k if (bare..bare + 25).contains(&k) => 0.0, // 2.5 s without crop
                _ => 1.0,
            };
            flow.push(trend * share);
        }
        flow.extend([0.0; 200]);
    }
    flow
}

/// Logged flows: first-order response, mean over each interval, noise, rounding.
fn logged(intake: &[f64], machine: Machine, rng: &mut impl Rng) -> Vec<f64> {
    let mut carried = 0.0;
    let out: Vec<f64> = intake
        .iter()
        .map(|q| {
            carried += (q - carried) * (1.0 - (-STEP / machine.response).exp());
            carried
        })
        .collect();
    out.chunks_exact((machine.interval / STEP).round() as usize)
        .map(|c| {
            let e: f64 = StandardNormal.sample(rng);
            let flow = c.iter().sum::<f64>() / c.len() as f64 * (1.0 + machine.noise * e);
            (flow / machine.resolution).round() * machine.resolution
        })
        .collect()
}

fn log(flow: &[f64], interval: f64) -> Log {
    let n = flow.len();
    let along = |k: usize| k as f64 * interval;
    let none = || vec![f64::NAN; n];
    Log {
        sources: vec![Source {
            path: "a.csv".into(),
            clock: Clock::Unix,
        }],
        machines: vec!["C1".into()],
        source: vec![0; n],
        row: (1..=n as u32).collect(),
        machine: vec![0; n],
        load: vec![None; n],
        pass_label: vec![None; n],
        work: vec![Default::default(); n],
        lon: (0..n).map(|k| 10.0 + 2e-5 * along(k)).collect(),
        lat: vec![50.0; n],
        time: (0..n).map(|k| 1.7e9 + along(k)).collect(),
        flow: flow.to_vec(),
        interval: none(),
        mass: none(),
        moisture: none(),
        speed: none(),
        distance: none(),
        width: none(),
        heading: none(),
        elevation: none(),
        ..Log::default()
    }
}

fn found(log: &Log) -> Faults {
    apply(
        log,
        &Timeline::new(log),
        &FaultParams::default().check().expect("defaults pass"),
    )
}

const MACHINES: [Machine; 6] = [
    Machine {
        interval: 1.0,
        response: 3.0,
        noise: 0.03,
        resolution: 0.01,
    },
    Machine {
        interval: 1.0,
        response: 1.5,
        noise: 0.08,
        resolution: 0.01,
    },
    Machine {
        interval: 1.0,
        response: 4.0,
        noise: 0.12,
        resolution: 0.01,
    },
    Machine {
        interval: 1.0,
        response: 2.5,
        noise: 0.03,
        resolution: 0.5,
    },
    Machine {
        interval: 3.0,
        response: 3.0,
        noise: 0.05,
        resolution: 0.01,
    },
    Machine {
        interval: 0.2,
        response: 2.0,
        noise: 0.10,
        resolution: 0.001,
    },
];

#[test]
fn stops_edges_bare_spots_and_ramps_are_no_faults() {
    for (seed, machine) in MACHINES.into_iter().enumerate() {
        let mut rng = ChaCha8Rng::seed_from_u64(seed as u64);
        let intake = intake(60, &mut rng);
        let flow = logged(&intake, machine, &mut rng);
        let stats = found(&log(&flow, machine.interval)).stats();
        println!(
            "interval {} noise {}: {stats:?} of {}",
            machine.interval,
            machine.noise,
            flow.len()
        );
        // One row in two thousand, at most: 8 s stops, 2.5 s bare spots and −60 % patches are in every pass.
        assert!(stats.rows() * 2000 <= flow.len(), "{stats:?}");
        assert!(stats.fault_kg.abs() < 2e-4 * stats.logged_kg, "{stats:?}");
    }
}

#[test]
fn spikes_stuck_runs_and_repeated_records_are_found_and_their_mass_is_made_good() {
    let (mut put, mut hit) = ([0; 3], [0; 3]);
    for (seed, machine) in MACHINES.into_iter().enumerate() {
        let mut rng = ChaCha8Rng::seed_from_u64(100 + seed as u64);
        let intake = intake(60, &mut rng);
        let sound = logged(&intake, machine, &mut rng);
        let mut flow = sound.clone();
        let mut truth = vec![None; flow.len()];
        let stuck_rows = (20.0 / machine.interval).max(6.0) as usize;
        let margin = (8.0 / machine.interval).max(4.0) as usize;
        let mut k = margin;
        while k + stuck_rows + margin < flow.len() {
            if flow[k - margin..k + stuck_rows + margin]
                .iter()
                .all(|f| *f > 9.0)
            {
                if rng.random_bool(0.3) {
                    let held = flow[k];
                    flow[k..k + stuck_rows].fill(held);
                    truth[k..k + stuck_rows].fill(Some(FaultKind::Stuck));
                } else {
                    // A reading that drops out for one row shows where the machine cannot empty in one.
                    let drops = machine.interval <= 1.0 && rng.random_bool(0.3);
                    flow[k] *= if drops {
                        0.0
                    } else {
                        rng.random_range(2.2..6.0)
                    };
                    truth[k] = Some(FaultKind::Spike);
                }
                k += stuck_rows;
            }
            k += (20.0 / machine.interval) as usize;
        }
        let mut log = log(&flow, machine.interval);
        repeat_records(&mut log, &mut truth, 97);
        let faults = found(&log);
        for (truth, kind) in truth.iter().zip(&faults.kind) {
            let Some(truth) = truth else { continue };
            let slot = *truth as usize;
            put[slot] += 1;
            hit[slot] += usize::from(kind == &Some(*truth));
        }
        let stray = truth
            .iter()
            .zip(&faults.kind)
            .filter(|(t, k)| t.is_none() && k.is_some())
            .count();
        assert!(
            stray * 500 <= flow.len(),
            "{stray} sound rows named in log {seed}"
        );
        // Sound mass, which the log no longer holds, against what replaced it.
        let sound_kg: f64 = sound.iter().sum::<f64>() * machine.interval;
        let stats = faults.stats();
        let off = (stats.logged_kg - stats.fault_kg) / sound_kg - 1.0;
        println!("log {seed}: {stats:?}, mass off by {:.3} %", 100.0 * off);
        assert!(off.abs() < 0.003, "log {seed}: {off}");
    }
    println!("put {put:?}, found {hit:?} (duplicates, spikes, stuck rows)");
    for (put, hit) in put.iter().zip(hit) {
        assert!(
            *put > 100 && hit as f64 >= 0.95 * f64::from(*put),
            "{hit} of {put}"
        );
    }
}

/// Writes every `every`-th record a second time, right after itself.
fn repeat_records(log: &mut Log, truth: &mut Vec<Option<FaultKind>>, every: usize) {
    let order: Vec<(usize, bool)> = (0..log.len())
        .flat_map(|i| {
            if i % every == every - 1 {
                vec![(i, false), (i, true)]
            } else {
                vec![(i, false)]
            }
        })
        .collect();
    *truth = order
        .iter()
        .map(|&(i, second)| {
            if second {
                Some(FaultKind::Duplicate)
            } else {
                truth[i]
            }
        })
        .collect();
    let pick = |v: &Vec<f64>| order.iter().map(|&(i, _)| v[i]).collect::<Vec<f64>>();
    let n = order.len();
    *log = Log {
        source: vec![0; n],
        row: (1..=n as u32).collect(),
        machine: vec![0; n],
        load: vec![None; n],
        pass_label: vec![None; n],
        work: vec![Default::default(); n],
        lon: pick(&log.lon),
        lat: pick(&log.lat),
        time: pick(&log.time),
        flow: pick(&log.flow),
        interval: vec![f64::NAN; n],
        mass: vec![f64::NAN; n],
        moisture: vec![f64::NAN; n],
        speed: vec![f64::NAN; n],
        distance: vec![f64::NAN; n],
        width: vec![f64::NAN; n],
        heading: vec![f64::NAN; n],
        elevation: vec![f64::NAN; n],
        ..std::mem::take(log)
    };
}

#[test]
fn a_machine_that_stands_still_with_new_stamps_repeats_no_record() {
    let mut l = log(&[8.0, 8.1, 0.0, 0.0, 0.0, 0.0, 7.9, 8.0], 1.0);
    for k in 3..6 {
        l.lon[k] = l.lon[2];
    }
    assert!(found(&l).kind.iter().all(Option::is_none));
    l.time[4] = l.time[3];
    assert_eq!(found(&l).kind[4], Some(FaultKind::Duplicate));
}

#[test]
fn an_export_that_overlaps_another_counts_once() {
    let mut l = log(&[8.0, 8.1, 8.2, 8.3, 8.1, 8.2, 8.3, 8.4], 1.0);
    l.sources.push(Source {
        path: "b.csv".into(),
        clock: Clock::Unix,
    });
    // Rows 4–6 are rows 1–3 again, in a second file.
    for k in 4..7 {
        (l.time[k], l.lon[k]) = (l.time[k - 3], l.lon[k - 3]);
    }
    l.source[4..].fill(1);
    let faults = found(&l);
    let twice: Vec<usize> = (0..8)
        .filter(|&k| faults.kind[k] == Some(FaultKind::Duplicate))
        .collect();
    assert_eq!(twice, [4, 5, 6]);
    assert!((faults.stats().fault_kg - (8.1 + 8.2 + 8.3)).abs() < 1e-9);
    // On clocks of their own, equal stamps are a coincidence.
    for s in &mut l.sources {
        s.clock = Clock::Relative;
    }
    assert_eq!(found(&l).stats().rows(), 0);
}

#[test]
fn negative_flow_is_no_grain_and_a_wild_one_is_a_spike() {
    let mut flow = vec![10.0; 40];
    for (k, f) in flow.iter_mut().enumerate() {
        *f += 0.01 * (k % 7) as f64;
    }
    flow[30..].fill(-0.1); // zero drift while idle
    flow[15] = -20.0;
    flow[20] = 4000.0;
    let faults = found(&log(&flow, 1.0));
    assert_eq!(
        (faults.kind[15], faults.kind[20]),
        (Some(FaultKind::Spike), Some(FaultKind::Spike))
    );
    assert!((faults.mass[15] - 10.0).abs() < 0.1 && (faults.mass[20] - 10.0).abs() < 0.1);
    assert!(
        faults.kind[30..].iter().all(Option::is_none)
            && faults.mass[30..].iter().all(|m| *m == 0.0)
    );
}

#[test]
fn missing_flow_stays_missing_and_empty_or_constant_logs_have_no_faults() {
    let faults = found(&log(&[8.0, f64::NAN, 8.2], 1.0));
    assert!(faults.mass[1].is_nan() && faults.kind[1].is_none());
    assert!((faults.stats().logged_kg - 16.2).abs() < 1e-12);
    assert_eq!(found(&log(&[], 1.0)).stats().rows(), 0);
    assert_eq!(found(&log(&[5.0], 1.0)).stats().rows(), 0);
    assert_eq!(
        found(&log(&[5.0; 500], 1.0)).stats().rows(),
        0,
        "one reading for ever: nothing to compare with"
    );
    assert_eq!(found(&log(&[f64::NAN; 60], 1.0)).stats().rows(), 0);
}

#[test]
fn faults_cost_little_per_row() {
    let mut rng = ChaCha8Rng::seed_from_u64(9);
    let flow = logged(&intake(3000, &mut rng), MACHINES[1], &mut rng);
    let log = log(&flow, 1.0);
    let timeline = Timeline::new(&log);
    let params = FaultParams::default().check().expect("defaults pass");
    let start = std::time::Instant::now();
    let stats = apply(&log, &timeline, &params).stats();
    let seconds = start.elapsed().as_secs_f64();
    println!("{} rows in {seconds:.3} s: {stats:?}", log.len());
    assert!(stats.rows() * 2000 <= log.len() && seconds < 2.0);
}

#[test]
fn a_reading_that_stood_still_while_the_machine_filled_or_turned_is_made_up_for() {
    let mut rng = ChaCha8Rng::seed_from_u64(41);
    // Passes of 100 s and turns of 20 s; ground that yields more and less along the way; grain 8 s on its way.
    let intake: Vec<f64> = (0..20 * 1200)
        .map(|k| {
            let cut = k >= 80 && (k - 80) % 1200 < 1000;
            let ground = 12.0 + 2.0 * (k as f64 * 0.0013).sin();
            if cut { ground } else { 0.0 }
        })
        .collect();
    let cuts: Vec<bool> = (0..20 * 120).map(|k| k % 120 < 100).collect();
    for machine in [MACHINES[0], MACHINES[2]] {
        let whole = logged(&intake, machine, &mut rng);
        let truth = |rows: std::ops::Range<usize>| whole[rows].iter().sum::<f64>();
        // From the filling on; over a whole turn; in the middle of a pass.
        for rows in [1_211..1_268, 1_530..1_590, 1_720..1_780] {
            let mut flow = whole.clone();
            flow[rows.clone()].fill(whole[rows.start]);
            let log = log(&flow, machine.interval);
            let timeline = Timeline::new(&log);
            let mut faults = found(&log);
            assert!(
                rows.clone()
                    .all(|k| faults.kind[k] == Some(FaultKind::Stuck))
            );
            let error =
                |f: &Faults| f.mass[rows.clone()].iter().sum::<f64>() / truth(rows.clone()) - 1.0;
            let line = error(&faults);
            // Nothing is known of a machine that never cut.
            let mut none = faults.clone();
            none.refill(&log, &timeline, &vec![false; flow.len()]);
            assert_eq!(none.mass, faults.mass);
            faults.refill(&log, &timeline, &cuts);
            let known = error(&faults);
            // A level told by ten noisy rows on either side, and ground that rises and falls between.
            let bound = 0.03 + machine.noise / 3.0;
            assert!(
                known.abs() < bound,
                "{rows:?}: {known}, straight line {line}"
            );
            assert!(rows.start == 1_720 || known.abs() < 0.2 * line.abs());
        }
    }
}
