//! The simulator against what must hold whatever it draws: conservation, geometry, response, repeatability.

use crate::outside::maize_rows;
use fanmill::log::{Timeline, WorkState};
use fanmill::simulate::{
    Column, DrivingSpec, Fault, FaultSpec, FieldSpec, FlowSensorSpec, GnssSpec, HeaderUp, LogSpec,
    MachineSpec, MoistureSensorSpec, Pattern, Reading, Shape, Shift, Simulated, SurfaceSpec,
    TransportSpec, Unloading, Weighed, WeighingSpec, WorkStateLog, simulate,
};

fn season(spec: &FieldSpec, seed: u64) -> Simulated {
    simulate(spec, seed).expect("the spec can be simulated")
}

/// A machine whose log is exact.
fn exact() -> MachineSpec {
    MachineSpec {
        sensor: FlowSensorSpec {
            load_sd: 0.0,
            day_sd: 0.0,
            noise: 0.0,
            slow_noise: 0.0,
            additive_noise: 0.0,
            step: 1e-6,
            ..FlowSensorSpec::default()
        },
        moisture: MoistureSensorSpec {
            noise: 0.0,
            ..MoistureSensorSpec::default()
        },
        gnss: GnssSpec {
            error_sd: 0.0,
            noise: 0.0,
            decimals: 9,
            ..GnssSpec::default()
        },
        ..MachineSpec::default()
    }
}

/// A field that is driven exactly and logged without faults.
fn exact_field(shape: Shape) -> FieldSpec {
    FieldSpec {
        shape,
        driving: DrivingSpec {
            steering_sd: 0.0,
            speed_wander: 0.0,
            stops_per_hour: 0.0,
            abrupt_per_hour: 0.0,
            ..DrivingSpec::default()
        },
        machines: vec![exact()],
        faults: FaultSpec::none(),
        ..FieldSpec::default()
    }
}

/// Fields of every kind of shape and driving.
fn fields() -> Vec<FieldSpec> {
    let base = FieldSpec::default();
    let two = vec![
        MachineSpec {
            name: "C1".into(),
            ..MachineSpec::default()
        },
        MachineSpec {
            name: "C2".into(),
            speed: 1.6,
            ..MachineSpec::default()
        },
    ];
    vec![
        FieldSpec {
            shape: Shape::l_shape(400.0, 420.0, 180.0, 200.0).turned(17.0),
            ..base.clone()
        },
        FieldSpec {
            shape: Shape::trapezoid(420.0, 240.0, 380.0),
            driving: DrivingSpec {
                pattern: Pattern::RoundAndRound,
                heading: 30.0,
                ..DrivingSpec::default()
            },
            ..base.clone()
        },
        FieldSpec {
            shape: Shape::curved(300.0, 400.0, 60.0).with_pond([150.0, 200.0], 25.0),
            driving: DrivingSpec {
                pattern: Pattern::Spiral,
                unloading: Unloading::Standing,
                ..DrivingSpec::default()
            },
            ..base.clone()
        },
        FieldSpec {
            shape: Shape::rectangle(400.0, 500.0).turned(-40.0),
            driving: DrivingSpec {
                land_width: 90.0,
                heading: -40.0,
                hours_per_day: 1.0,
                ..DrivingSpec::default()
            },
            machines: two,
            ..base
        },
    ]
}

#[test]
fn no_grain_is_lost_or_made() {
    for (i, spec) in fields().into_iter().enumerate() {
        let s = season(&spec, i as u64);
        let field = &s.truth.field;
        // Rows of a log that never pauses hold all the grain: cut = Σ yield × newly cut area = sensed + left inside.
        let rows: f64 = s
            .rows
            .iter()
            .map(|r| {
                if r.truth.area_m2 > 0.0 {
                    r.truth.wet_kg_ha * r.truth.area_m2 / 1e4
                } else {
                    0.0
                }
            })
            .sum();
        let sensed: f64 = s.rows.iter().map(|r| r.truth.sensor_kg).sum();
        let loads: f64 = s.truth.loads.iter().map(|l| l.sensor_kg).sum();
        assert!(
            (rows / field.cut_kg - 1.0).abs() < 1e-9,
            "field {i}: rows {rows}, cut {}",
            field.cut_kg
        );
        assert!(((field.sensor_kg + field.left_in_machines_kg) / field.cut_kg - 1.0).abs() < 1e-9);
        assert!((sensed / field.sensor_kg - 1.0).abs() < 1e-9);
        assert!((loads / field.sensor_kg - 1.0).abs() < 1e-9);
        assert!(
            field.left_in_machines_kg < 1.0,
            "a machine runs empty: {}",
            field.left_in_machines_kg
        );
    }
}

#[test]
fn every_spot_is_cut_once_and_nearly_all_are() {
    for (i, spec) in fields().into_iter().enumerate() {
        let s = season(&spec, i as u64);
        let field = &s.truth.field;
        let once = (field.cut_area_m2 + field.standing_m2) / field.area_m2 - 1.0;
        assert!(once.abs() < 2e-3, "field {i}: {once}");
        assert!(
            field.standing_m2 < 0.03 * field.area_m2,
            "field {i}: {} m² left",
            field.standing_m2
        );
    }
}

#[test]
fn a_rectangle_cut_without_overlap_is_its_area() {
    let mut spec = exact_field(Shape::rectangle(90.0, 300.0));
    spec.driving.headland_rounds = 0;
    spec.driving.overlap = 0.0;
    spec.surface = SurfaceSpec {
        cv: 0.0,
        mean_yield: 10_000.0,
        moisture_sd: 0.0,
        moisture: 20.0,
        ..SurfaceSpec::default()
    };
    let s = season(&spec, 1);
    assert!((s.truth.field.cut_area_m2 / 27_000.0 - 1.0).abs() < 1e-3);
    // 2.7 ha of 10 t/ha; at 15.5 %: 10,000 · 80 / 84.5 = 9,467.5 kg/ha.
    assert!((s.truth.field.cut_kg / 27_000.0 - 1.0).abs() < 1e-3);
    assert!((s.truth.field.mean_reference_kg_ha - 9_467.456).abs() < 0.01);
    // At 1.9 m/s the interior rows cut 17.1 m² with the whole header.
    let inside: Vec<_> = s.rows.iter().filter(|r| r.truth.sound).collect();
    assert!(inside.len() > 1000);
    for r in inside {
        assert!((r.truth.area_m2 - 17.1).abs() < 0.6, "{}", r.truth.area_m2);
    }
    let mut flows: Vec<f64> = s
        .rows
        .iter()
        .filter(|r| r.pass.is_some())
        .map(|r| r.flow_kg_s)
        .collect();
    flows.sort_by(f64::total_cmp);
    assert!(
        (flows[flows.len() / 2] - 17.1).abs() < 0.1,
        "{}",
        flows[flows.len() / 2]
    );
}

#[test]
fn overlap_and_narrow_passes_show_in_the_cut_share() {
    let mut spec = exact_field(Shape::rectangle(90.0, 300.0));
    spec.driving.headland_rounds = 0;
    spec.driving.overlap = 0.9;
    let s = season(&spec, 1);
    // Passes every 8.1 m: the first cuts 9 m, the others 8.1 m, the eleventh, at its end of the field, what is left.
    let share = |pass: u32| {
        let of: Vec<f64> = s
            .rows
            .iter()
            .filter(|r| r.pass == Some(pass) && r.truth.sound)
            .map(|r| r.truth.cut_share)
            .collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    assert!((share(1) - 1.0).abs() < 0.02, "{}", share(1));
    assert!((share(5) - 0.9).abs() < 0.02, "{}", share(5));
}

#[test]
fn flow_follows_the_ground_by_the_true_delay() {
    // First moments over the season. Flows read at the end of the interval sample the passes' edges by chance.
    for (dead_time, stages, interval, reading, within) in [
        (9.0, vec![3.0], 1.0, Reading::Mean, 0.02),
        (6.5, vec![2.0, 1.5], 1.0, Reading::Mean, 0.02),
        (10.0, vec![2.0], 2.0, Reading::AtEnd, 0.3),
    ] {
        let mut spec = exact_field(Shape::rectangle(200.0, 400.0));
        let m = &mut spec.machines[0];
        m.transport = TransportSpec {
            dead_time,
            stages,
            ..TransportSpec::default()
        };
        m.log.interval = interval;
        m.sensor.reading = reading;
        let s = season(&spec, 3);
        let truth = &s.truth.machines[0];
        let (mut cut, mut cut_t, mut seen, mut seen_t) = (0.0, 0.0, 0.0, 0.0);
        let start = s.rows[0].time;
        for r in &s.rows {
            let t = r.time - start;
            if r.truth.area_m2 > 0.0 {
                let kg = r.truth.wet_kg_ha * r.truth.area_m2;
                cut += kg;
                cut_t += kg * t;
            }
            seen += r.flow_kg_s;
            seen_t += r.flow_kg_s * t;
        }
        let lag = seen_t / seen - cut_t / cut;
        assert!(
            (lag - truth.log_delay_s).abs() < within,
            "{lag} against {}",
            truth.log_delay_s
        );
    }
}

#[test]
fn a_display_that_shifts_leaves_the_residual() {
    for (shift, delay) in [
        (Shift::WholeClock { seconds: 15.0 }, -3.5),
        (Shift::WithinPass { seconds: 9.0 }, 2.5),
        (Shift::None, 11.5),
    ] {
        let mut spec = exact_field(Shape::rectangle(200.0, 300.0));
        spec.machines[0].log.shift = shift;
        let s = season(&spec, 3);
        assert!((s.truth.machines[0].log_delay_s - delay).abs() < 1e-9);
        let logged: f64 = s.rows.iter().map(|r| r.flow_kg_s * r.interval_s).sum();
        let lost = 1.0 - logged / s.truth.field.sensor_kg;
        match shift {
            // Grain of the first rows after the start of the day, at most.
            Shift::WholeClock { .. } | Shift::None => assert!(lost.abs() < 1e-3, "{lost}"),
            // What comes out after each pass is on no row.
            Shift::WithinPass { .. } => assert!(lost > 0.003 && lost < 0.1, "{lost}"),
        }
    }
}

#[test]
fn the_sensor_is_off_by_its_factor_and_curve() {
    let mut spec = exact_field(Shape::rectangle(200.0, 300.0));
    spec.machines[0].sensor.factor = 0.93;
    let s = season(&spec, 5);
    let logged: f64 = s.rows.iter().map(|r| r.flow_kg_s * r.interval_s).sum();
    assert!((logged / s.truth.field.sensor_kg - 0.93).abs() < 1e-6);
    let by_load: f64 = s.truth.loads.iter().map(|l| l.logged_kg).sum();
    assert!((by_load / logged - 1.0).abs() < 1e-9);
}

#[test]
fn same_seed_same_season_other_seed_another() {
    let spec = FieldSpec::default();
    let (a, b, c) = (season(&spec, 11), season(&spec, 11), season(&spec, 12));
    assert_eq!(
        format!("{:?}{:?}", a.rows, a.truth),
        format!("{:?}{:?}", b.rows, b.truth)
    );
    assert_ne!(format!("{:?}", a.rows), format!("{:?}", c.rows));
    // A change to the sensor leaves ground and driving as they were.
    let mut noisier = spec;
    noisier.machines[0].sensor.noise = 0.1;
    let d = season(&noisier, 11);
    assert_eq!(a.truth.field, d.truth.field);
}

#[test]
fn tickets_are_the_loads_within_the_scale() {
    let spec = FieldSpec {
        machines: vec![MachineSpec {
            bin: 5_000.0,
            ..MachineSpec::default()
        }],
        weighing: WeighingSpec {
            joint_tickets: 2,
            wrong_ticket: 0.12,
            ..WeighingSpec::default()
        },
        ..FieldSpec::default()
    };
    let s = season(&spec, 2);
    assert!(s.tickets.len() > 20);
    assert_eq!(s.tickets.iter().filter(|t| t.loads.len() == 2).count(), 2);
    assert_eq!(s.truth.wrong_tickets.len(), 1);
    for t in &s.tickets {
        let of = |id: &String| {
            s.truth
                .loads
                .iter()
                .find(|l| &l.load == id)
                .expect("a ticket's load exists")
        };
        let truth: f64 = t.loads.iter().map(|l| of(l).sensor_kg).sum();
        let error = t.net_kg / truth - 1.0;
        if s.truth.wrong_tickets.contains(&t.id) {
            assert!((error - 0.12).abs() < 0.012, "{error}");
        } else {
            assert!(error.abs() < 0.01, "{error}");
        }
        assert!(t.loads.iter().all(|l| of(l).ticket.as_ref() == Some(&t.id)));
    }
    let weighed = |weighed| {
        let spec = FieldSpec {
            weighing: WeighingSpec {
                weighed,
                ..WeighingSpec::default()
            },
            ..spec.clone()
        };
        season(&spec, 2).tickets.len()
    };
    let all = weighed(Weighed::All);
    assert_eq!(weighed(Weighed::None), 0);
    assert!((weighed(Weighed::First { share: 0.5 }) as f64 / all as f64 - 0.5).abs() < 0.03);
    assert!((weighed(Weighed::Random { share: 0.3 }) as f64 / all as f64 - 0.3).abs() < 0.03);
}

#[test]
fn every_fault_is_on_its_row() {
    let spec = FieldSpec {
        faults: FaultSpec {
            duplicate_rows: 2.0,
            flow_spikes: 2.0,
            stuck_readings: 1.0,
            position_jumps: 1.0,
            bad_fixes: 1.0,
            zero_flows: 1.0,
            moisture_glitches: 1.0,
            ..FaultSpec::default()
        },
        ..FieldSpec::default()
    };
    let with = season(&spec, 4);
    let without = season(
        &FieldSpec {
            faults: FaultSpec::none(),
            ..spec
        },
        4,
    );
    assert!(without.rows.iter().all(|r| r.truth.fault.is_none()));
    // Without the duplicates the rows pair up; exactly the marked ones differ.
    let kept: Vec<_> = with
        .rows
        .iter()
        .filter(|r| r.truth.fault != Some(Fault::DuplicateRow))
        .collect();
    assert_eq!(kept.len(), without.rows.len());
    let mut seen = std::collections::BTreeSet::new();
    for (a, b) in kept.into_iter().zip(&without.rows) {
        let apart = |x: f64, y: f64| x.to_bits() != y.to_bits();
        let differs = apart(a.flow_kg_s, b.flow_kg_s)
            || apart(a.moisture_pct, b.moisture_pct)
            || apart(a.lon_deg, b.lon_deg)
            || apart(a.lat_deg, b.lat_deg);
        match a.truth.fault {
            None => assert!(!differs),
            // The first row of a stuck reading is the one that it sticks to.
            Some(Fault::StuckReading) => {}
            Some(f) => assert!(differs, "{f:?}"),
        }
        seen.extend(a.truth.fault);
        assert!(a.truth.fault.is_none() || !a.truth.sound);
    }
    assert_eq!(seen.len(), 6, "{seen:?}");
}

#[test]
fn the_log_holds_the_columns_that_the_display_writes() {
    let mut spec = FieldSpec::default();
    let full = season(&spec, 6).to_log();
    assert!(full.work.contains(&WorkState::NotWorking) && full.work.contains(&WorkState::Working));
    assert!(full.load.iter().all(Option::is_some) && full.loads.len() > 10);
    assert!(full.time.windows(2).all(|w| w[1] >= w[0]));
    let timeline = Timeline::new(&full);
    assert_eq!(timeline.tracks.len(), 1);
    spec.machines[0].log = LogSpec {
        columns: vec![Column::Time, Column::Moisture],
        work_state: WorkStateLog::Absent,
        header_up: HeaderUp::Pause { after: 3.0 },
        ..LogSpec::default()
    };
    let bare = season(&spec, 6).to_log();
    assert!(bare.len() < full.len());
    assert!(bare.work.iter().all(|w| *w == WorkState::Unknown));
    assert!(bare.load.iter().all(Option::is_none) && bare.loads.is_empty());
    assert!(
        bare.speed
            .iter()
            .chain(&bare.width)
            .chain(&bare.interval)
            .all(|x| x.is_nan())
    );
    let gaps = bare.time.windows(2).filter(|w| w[1] - w[0] > 3.0).count();
    assert!(gaps > 30, "{gaps} pauses");
}

#[test]
fn two_machines_work_at_the_same_time_over_days() {
    let spec = fields().remove(3);
    let s = season(&spec, 8);
    assert!(s.files.len() >= 4, "{:?}", s.files);
    let span = |machine: u32| {
        let times = || {
            s.rows
                .iter()
                .filter(|r| r.machine == machine)
                .map(|r| r.time)
        };
        (
            times().fold(f64::INFINITY, f64::min),
            times().fold(0.0, f64::max),
        )
    };
    let ((a0, a1), (b0, b1)) = (span(0), span(1));
    assert!(a0 < b1 && b0 < a1 && a1 - a0 > 40_000.0);
    // No load reaches over two days.
    for w in s.rows.windows(2) {
        if w[0].machine == w[1].machine && w[0].file != w[1].file {
            assert_ne!(w[0].load, w[1].load);
        }
    }
}

/// The default machine against the open maize log (Minnesota, CC BY-SA 3.0; agridat 1.27, gartner.corn): robust
/// row-to-row spread of flow and speed inside long runs, and how flow falls off in the last rows of a run.
#[test]
fn defaults_look_like_a_real_log() {
    let Some(rows) = maize_rows() else { return };
    // Columns: long, lat, mass (lb/s), time, seconds, dist (inches).
    let mut real: Vec<Vec<(f64, f64)>> = vec![Vec::new()];
    for (i, r) in rows.iter().enumerate() {
        if i > 0 && !(0.0..=6.0).contains(&(r[3] - rows[i - 1][3])) {
            real.push(Vec::new());
        }
        real.last_mut()
            .unwrap()
            .push((r[2] * 0.4536, r[5] * 0.0254 / r[4]));
    }

    let mut spec = FieldSpec {
        shape: Shape::rectangle(300.0, 680.0),
        faults: FaultSpec::none(),
        ..FieldSpec::default()
    };
    spec.driving.headland_rounds = 0;
    spec.machines[0].speed = 2.04;
    spec.machines[0].log = LogSpec {
        interval: 3.0,
        header_up: HeaderUp::Pause { after: 0.0 },
        shift: Shift::WholeClock { seconds: 15.0 },
        ..LogSpec::default()
    };
    let s = season(&spec, 21);
    let mut simulated: Vec<Vec<(f64, f64)>> = vec![Vec::new()];
    for (i, r) in s.rows.iter().enumerate() {
        if i > 0 && r.time - s.rows[i - 1].time > 6.0 {
            simulated.push(Vec::new());
        }
        simulated
            .last_mut()
            .unwrap()
            .push((r.flow_kg_s, r.speed_m_s));
    }
    let (real, simulated) = (Look::of(&real), Look::of(&simulated));
    println!("real {real:?}\nsimulated {simulated:?}");
    for (a, b) in [(real.flow, simulated.flow), (real.speed, simulated.speed)] {
        assert!(b > 0.5 * a && b < 2.0 * a, "spread {b} against {a}");
    }
    for (a, b) in real.last_rows.iter().zip(&simulated.last_rows) {
        assert!(
            (a - b).abs() < 0.3,
            "{:?} against {:?}",
            simulated.last_rows,
            real.last_rows
        );
    }
}

/// How a log looks: relative row-to-row spread of flow and speed, and flow in the last four rows of a run over its middle's.
#[derive(Debug)]
struct Look {
    flow: f64,
    speed: f64,
    last_rows: [f64; 4],
}

impl Look {
    fn of(runs: &[Vec<(f64, f64)>]) -> Self {
        let median = |mut x: Vec<f64>| {
            x.sort_by(f64::total_cmp);
            x[x.len() / 2]
        };
        let long: Vec<&Vec<(f64, f64)>> = runs.iter().filter(|r| r.len() > 40).collect();
        assert!(long.len() > 10, "{} long runs", long.len());
        let spread = |of: fn(&(f64, f64)) -> f64| {
            let steps = long.iter().flat_map(|r| r[10..r.len() - 10].windows(2));
            // 1.4826 · median |x| is the standard deviation of normal x; a difference of two has √2 times that.
            median(steps.map(|w| (of(&w[1]) / of(&w[0])).ln().abs()).collect()) * 1.4826
                / 2f64.sqrt()
        };
        let last = |back: usize| {
            median(
                long.iter()
                    .map(|r| {
                        r[r.len() - back].0
                            / median(r[5..r.len() - 8].iter().map(|p| p.0).collect())
                    })
                    .collect(),
            )
        };
        Self {
            flow: spread(|p| p.0),
            speed: spread(|p| p.1),
            last_rows: [last(4), last(3), last(2), last(1)],
        }
    }
}
