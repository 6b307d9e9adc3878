//! Faults on a real log: agridat `gartner.corn` (University of Minnesota Precision Agriculture Center, CC BY-SA 3.0), 4,949
//! rows of one maize field at 3 s. A sound log: next to nothing may be named a fault.

use crate::outside::maize_rows;

use fanmill::faults::{FaultParams, apply};
use fanmill::log::{Clock, Log, Source, Timeline};
use fanmill::units::POUND_KG;

fn maize() -> Option<Log> {
    let rows = maize_rows()?;
    let column = |k: usize| rows.iter().map(|r| r[k]).collect::<Vec<f64>>();
    let n = rows.len();
    Some(Log {
        sources: vec![Source {
            path: "gartner.corn.txt".into(),
            clock: Clock::Relative,
        }],
        machines: vec!["C1".into()],
        source: vec![0; n],
        row: (1..=n as u32).collect(),
        machine: vec![0; n],
        load: vec![None; n],
        pass_label: vec![None; n],
        work: vec![Default::default(); n],
        lon: column(0),
        lat: column(1),
        flow: column(2).iter().map(|f| f * POUND_KG).collect(),
        time: column(3),
        interval: column(4),
        distance: column(5).iter().map(|d| d * 0.0254).collect(),
        moisture: column(6),
        elevation: column(7).iter().map(|e| e * 0.3048).collect(),
        mass: vec![f64::NAN; n],
        speed: vec![f64::NAN; n],
        width: vec![f64::NAN; n],
        heading: vec![f64::NAN; n],
        ..Log::default()
    })
}

#[test]
fn a_sound_log_has_next_to_no_faults() {
    let Some(log) = maize() else { return };
    let faults = apply(
        &log,
        &Timeline::new(&log),
        &FaultParams::default().check().expect("defaults pass"),
    );
    let stats = faults.stats();
    println!("{stats:?} {:?}", faults.limits);
    for (i, kind) in faults.kind.iter().enumerate().filter(|(_, k)| k.is_some()) {
        let near: Vec<f64> = (i.saturating_sub(4)..(i + 5).min(log.len()))
            .map(|j| log.flow[j] / POUND_KG)
            .collect();
        println!("row {}: {kind:?}, lb/s about it {near:.2?}", i + 1);
    }
    // Wet mass of the whole log, computed from the file: 513,551.0 lb.
    assert!(
        (stats.logged_kg / POUND_KG - 513_551.0).abs() < 1.0,
        "{stats:?}"
    );
    assert!(stats.rows() <= 5, "{stats:?}");
    assert!(stats.fault_kg.abs() < 2e-4 * stats.logged_kg, "{stats:?}");
}
