//! Where the time goes: microseconds a row of every step on one thread, over a large simulated field. Where the system
//! tells, it is the time that the thread was running, so that a busy machine does not count.
//!
//! `cargo run --release --example cost`

use std::time::{Duration, Instant};

use fanmill::apply::{Applied, apply};
use fanmill::faults::FaultParams;
use fanmill::gather;
use fanmill::log::Timeline;
use fanmill::pool;
use fanmill::prepare::Prepared;
use fanmill::report::pages::{FieldPage, of_field};
use fanmill::simulate::{FieldSpec, Shape, simulate};

/// Time that this thread has been running (Linux: scheduler statistics, proc(5)); elsewhere, time since `wall`.
fn running(wall: Instant) -> Duration {
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|s| s.split_whitespace().next()?.parse().ok())
        .map_or_else(|| wall.elapsed(), Duration::from_nanos)
}

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
            let wall = Instant::now();
            let mut before = running(wall);
            let mut lap = |what: &str| {
                let spent = running(wall).saturating_sub(before);
                println!("{what:24} {:7.3} µs/row", spent.as_secs_f64() * 1e6 / rows);
                before = running(wall);
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
            let Applied {
                map,
                summary,
                evidence,
                ..
            } = apply(&job, &prepared, &machines[0], &scales[0]).expect("sound columns");
            lap("apply");
            let pages = of_field(&FieldPage {
                job: &job,
                field,
                map: &map,
                grid: None,
                summary: &summary,
                evidence: &evidence,
            });
            lap("pages");
            let bytes: usize = pages.iter().map(|p| p.bytes.len()).sum();
            println!(
                "{:>5.1} bytes of pages per row",
                bytes as f64 / map.row.len() as f64
            );
            println!(
                "{} rows, {} kept, mean {:?}\n",
                map.row.len(),
                summary.points.kept,
                summary.yields.mean
            );
        }
    });
}
