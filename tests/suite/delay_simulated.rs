//! Delays and signs of dry flow on simulated seasons, whose truth is known: the simulator moves grain through dead time
//! and first-order mixing (Arslan 2008, Sensors 8:952) and knows nothing of the estimators.

use std::path::Path;

use fanmill::apply::apply;
use fanmill::delay::{Decision, FieldEvidence, decide};
use fanmill::gather;
use fanmill::job::{Job, parse};
use fanmill::pool;
use fanmill::prepare::Prepared;
use fanmill::simulate::{FaultSpec, FieldSpec, HeaderUp, Shape, Simulated, Weighed, simulate};

fn job(spec: &FieldSpec) -> Job {
    let machine = &spec.machines[0];
    let text = format!(
        "[job]\nname = \"simulated\"\nresults = \"results\"\n[[machine]]\nname = \"{}\"\nheader_width = \"{} m\"\n[[field]]\nclient = \"c\"\nfarm = \"f\"\nname = \"n\"\nseason = 2025\ncrop = \"{}\"\nlogs = [\"*.csv\"]\n",
        machine.name, machine.header_width, spec.crop
    );
    parse(&text, "simulated.toml", Path::new(".")).expect("a sound job")
}

fn prepared(spec: &FieldSpec, seed: u64) -> (Simulated, Prepared) {
    let mut season = simulate(spec, seed).expect("a sound specification");
    // A ticket is known by its file and row: each field has a file of its own.
    for ticket in &mut season.tickets {
        ticket.place.file = format!("{}.csv", spec.key);
    }
    let job = job(spec);
    let field = Prepared::new(&job, &job.fields[0], season.to_input()).expect("a sound field");
    (season, field)
}

fn alone(field: &Prepared) -> Decision {
    let evidence = gather::machines(field).swap_remove(0).delay;
    let field = FieldEvidence {
        evidence: &evidence,
        fixed: None,
        fixed_moisture: None,
    };
    decide(&[field]).swap_remove(0)
}

/// A field whose structure is strong and whose sensors are good: what is left is bias.
fn clear(seed: u64) -> FieldSpec {
    let mut spec = FieldSpec {
        shape: Shape::rectangle(300.0, 400.0),
        faults: FaultSpec::none(),
        ..FieldSpec::default()
    };
    spec.surface.cv = 0.25;
    let machine = &mut spec.machines[0];
    machine.sensor.noise = 0.02;
    machine.gnss.error_sd = 0.02;
    machine.transport.stages = vec![2.0];
    machine.transport.dead_time = 8.0 + seed as f64;
    spec
}

#[test]
fn a_clear_field_tells_its_delay_without_bias() {
    let mut sum = 0.0;
    for seed in 0..4 {
        let (season, field) = prepared(&clear(seed), seed);
        let decision = alone(&field);
        let error = decision.delay.value - season.truth.machines[0].log_delay_s;
        assert!(!decision.refused && error.abs() < 0.25, "{seed}: {error}");
        sum += error;
    }
    // Reading rows half a grid cell late made all of them 0.12 s too short.
    assert!((sum / 4.0).abs() < 0.1, "{}", sum / 4.0);
}

#[test]
fn moisture_has_its_own_delay_and_none_where_it_is_flat() {
    let mut spec = clear(1);
    let (season, field) = prepared(&spec, 5);
    let found = alone(&field).moisture_delay.expect("moisture varies");
    let truth = season.truth.machines[0].moisture_delay_s;
    assert!((found - truth).abs() < 1.0, "{found} against {truth}");
    spec.surface.moisture_sd = 0.0;
    assert_eq!(alone(&prepared(&spec, 5).1).moisture_delay, None);
}

/// Codes of the warnings that the scale gives three fields of different moisture.
fn scale_warnings(flow_at_moisture: Option<f64>) -> Vec<String> {
    let evidence: Vec<_> = [15.0, 20.0, 25.0]
        .iter()
        .zip(0..)
        .map(|(&moisture, seed)| {
            let mut spec = FieldSpec {
                name: format!("field {seed}"),
                key: format!("f{seed}"),
                shape: Shape::rectangle(300.0, 400.0),
                ..FieldSpec::default()
            };
            spec.surface.moisture = moisture;
            spec.weighing.weighed = Weighed::All;
            spec.weighing.wrong_ticket = 0.0;
            spec.machines[0].log.flow_at_moisture = flow_at_moisture;
            let field = prepared(&spec, seed).1;
            let settled = gather::Settled {
                delay: 11.5,
                entry: 8.0,
                exit: 8.0,
                moved: 0.0,
            };
            gather::scale(&field, &vec![settled; field.timeline.tracks.len()])
        })
        .collect();
    let fields: Vec<_> = evidence.iter().map(|e| ("maize", e)).collect();
    pool::scale(&fields)
        .into_iter()
        .flat_map(|d| d.warnings)
        .map(|w| w.code)
        .collect()
}

#[test]
fn a_flow_that_was_brought_to_a_moisture_is_recognised_by_its_tickets() {
    let code = "moisture-already-corrected";
    let dry = scale_warnings(Some(15.5));
    assert_eq!(dry.iter().filter(|c| *c == code).count(), 3, "{dry:?}");
    let wet = scale_warnings(None);
    assert!(wet.iter().all(|c| c != code), "{wet:?}");
}

#[test]
fn grain_that_ran_behind_a_log_that_stopped_is_not_spread_over_the_field() {
    let mut spec = clear(2);
    spec.weighing.weighed = Weighed::All;
    spec.machines[0].log.header_up = HeaderUp::Pause { after: 1.0 };
    let (season, field) = prepared(&spec, 11);
    let job = job(&spec);
    let evidence = gather::machines(&field);
    let machines = pool::machines(&job, &[("c", &evidence)]).remove(0);
    let settled: Vec<gather::Settled> = machines.iter().map(gather::Settled::from).collect();
    let scale = pool::scale(&[("c", &gather::scale(&field, &settled))]).remove(0);
    let applied = apply(&job, &field, &machines, &scale).expect("a sound field");
    let grain = &applied.summary.grain;
    let lost = 1.0 - grain.logged_kg / season.truth.field.sensor_kg;
    let found = grain.unlogged_kg / (grain.logged_kg + grain.unlogged_kg);
    assert!(lost > 0.03, "the log has nearly all: {lost}");
    // The sensor wanders by a per cent or two from load to load.
    assert!((found - lost).abs() < 0.02, "{found} of {lost}");
    // Kept points against the truth of their ground.
    let (mut map, mut truth) = (0.0, 0.0);
    for (i, row) in season.rows.iter().enumerate() {
        let (found, area) = (applied.map.yld_kg_ha[i], row.truth.area_m2);
        if applied.map.verdicts.is_kept(i) && found.is_finite() && area > 0.0 {
            map += found * area;
            truth += row.truth.reference_kg_ha * area;
        }
    }
    assert!((map / truth - 1.0).abs() < 0.01, "{}", map / truth - 1.0);
    let closure = applied.summary.quality.closure_pct.expect("weighed loads");
    assert!(closure.abs() < 1e-7, "{closure}");
    let told = |w: &fanmill::summary::Remark| w.code == "grain-unlogged";
    assert!(applied.summary.warnings.iter().any(told));
}

/// How long the machine stood between two days says nothing of its delay, whether ten minutes or a month.
#[test]
fn a_pause_of_a_month_is_one_of_ten_minutes() {
    let mut spec = clear(2);
    spec.driving.unloading = fanmill::simulate::Unloading::Standing;
    let season = simulate(&spec, 2).expect("a sound specification");
    let found = |pause: f64| {
        let mut input = season.to_input();
        let rows = input.log.len();
        let turn = (rows / 2..rows).find(|&i| {
            input.log.work[i] != input.log.work[i + 1] // the header goes up or down
        });
        for time in &mut input.log.time[turn.expect("passes") + 1..] {
            *time += pause;
        }
        let job = job(&spec);
        let field = Prepared::new(&job, &job.fields[0], input).expect("a sound field");
        gather::machines(&field)
    };
    let (short, long) = (found(600.0), found(30.0 * 86_400.0));
    let [a, b] = [&short, &long].map(|e| {
        let alone = FieldEvidence {
            evidence: &e[0].delay,
            fixed: None,
            fixed_moisture: None,
        };
        decide(&[alone]).swap_remove(0).delay
    });
    assert!((a.value - b.value).abs() < 1e-3, "{a:?} {b:?}");
    let width = a.ci95_high.unwrap() - a.ci95_low.unwrap();
    let other = b.ci95_high.unwrap() - b.ci95_low.unwrap();
    assert!((width / other - 1.0).abs() < 1e-2, "{a:?} {b:?}");
}
