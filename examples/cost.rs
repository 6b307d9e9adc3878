//! Where the time goes: microseconds a row of every step on one thread, over a large simulated field.
//!
//! `cargo run --release --example cost`

use std::time::Instant;

use fanmill::apply::apply;
use fanmill::faults::FaultParams;
use fanmill::gather;
use fanmill::log::Timeline;
use fanmill::pool;
use fanmill::prepare::Prepared;
use fanmill::simulate::{FieldSpec, Shape, simulate};

fn main() {
    let mut spec = FieldSpec {
        shape: Shape::rectangle(1_600.0, 1_500.0),
        ..FieldSpec::default()
    };
    spec.weighing.weighed = fanmill::simulate::Weighed::All;
    let season = simulate(&spec, 3).expect("a sound specification");
    let machine = &spec.machines[0];
    let text = format!(
        "[job]\nname = \"cost\"\nresults = \"results\"\n[[machine]]\nname = \"{}\"\nheader_width = \"{} m\"\n[[field]]\nclient = \"c\"\nfarm = \"f\"\nname = \"n\"\nseason = 2025\ncrop = \"{}\"\nlogs = [\"*.csv\"]\n",
        machine.name, machine.header_width, spec.crop
    );
    let job =
        fanmill::job::parse(&text, "cost.toml", std::path::Path::new(".")).expect("a sound job");
    let field = &job.fields[0];
    let rows = season.rows.len() as f64;
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .expect("one thread");
    pool.install(|| {
        for _ in 0..2 {
            let mut clock = Instant::now();
            let mut lap = |what: &str| {
                println!(
                    "{what:24} {:7.3} µs/row",
                    clock.elapsed().as_secs_f64() * 1e6 / rows
                );
                clock = Instant::now();
            };
            let input = season.to_input();
            lap("(input)");
            let timeline = Timeline::new(&input.log);
            lap("  of which timeline");
            let _ = fanmill::faults::apply(
                &input.log,
                &timeline,
                &FaultParams::default().check().expect("defaults"),
            );
            lap("  of which faults");
            let prepared = Prepared::new(&job, field, input).expect("a sound field");
            lap("prepare");
            let evidence = gather::machines(&prepared);
            lap("gather machines");
            let machines = pool::machines(&job, &[("c", &evidence)]);
            lap("pool machines");
            let settled: Vec<_> = machines[0].iter().map(gather::Settled::from).collect();
            let scale = gather::scale(&prepared, &settled);
            lap("gather scale");
            let scales = pool::scale(&[("c", &scale)]);
            lap("pool scale");
            let fanmill::apply::Applied { map, summary, .. } =
                apply(&job, &prepared, &machines[0], &scales[0]).expect("sound columns");
            lap("apply");
            println!(
                "{} rows, {} kept, mean {:?}\n",
                map.row.len(),
                summary.points.kept,
                summary.yields.mean
            );
        }
    });
}
