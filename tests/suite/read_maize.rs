//! The real maize log of the shared open data: University of Minnesota Precision Agriculture Center, in the R package
//! agridat 1.27 (`gartner.corn`), CC BY-SA 3.0. Figures: the package's help page formula over the whole file.

use crate::outside::maize_log;

use fanmill::job::{Job, parse};
use fanmill::log::{Clock, Timeline};
use fanmill::read::read_field;

fn job(log: &std::path::Path) -> Job {
    let text = r#"
        [log]
        columns = { flow = "mass", interval = "seconds", distance = "dist", moisture = "moist", elevation = "elev" }
        units = { flow = "lb/s", distance = "in", elevation = "ft" }
        [[field]]
        client = "University"
        farm = "Minnesota"
        name = "maize"
        season = 2000
        crop = "maize"
        logs = ["gartner.corn.txt"]
        "#;
    parse(text, "job.toml", log.parent().expect("in a folder")).expect("a sound job")
}

#[test]
fn the_maize_log_is_read_whole() {
    let Some(path) = maize_log() else { return };
    let job = job(&path);
    let input = read_field(&job, &job.fields[0]).expect("readable");
    let log = &input.log;
    assert_eq!((log.len(), input.unreadable.len()), (4949, 0));
    assert_eq!(input.warnings, []);
    assert_eq!(log.sources[0].path, "gartner.corn.txt");
    assert_eq!(log.sources[0].clock, Clock::Relative);
    assert_eq!(log.machines, ["machine 1"]);
    assert_eq!((log.lon[0], log.lat[0]), (-93.97842, 43.927265));

    // Σ mass·seconds = 513,551.0 lb = 232,942.815 kg.
    let mass: f64 = log
        .flow
        .iter()
        .zip(&log.interval)
        .map(|(q, dt)| q * dt)
        .sum();
    assert!((mass - 232_942.815).abs() < 0.01, "{mass}");
    let timeline = Timeline::new(log);
    let mass: f64 = (0..log.len()).map(|i| timeline.mass(log, i)).sum();
    assert!((mass - 232_942.815).abs() < 0.01, "{mass}");

    // 133.4652 bu/ac at 15.5 % on Σ dist × 360 in = 27.3716 ha.
    let area: f64 = log.distance.iter().map(|d| d * 9.144).sum();
    assert!((area / 10_000.0 - 27.3716).abs() < 5e-5, "{area}");
    let dry: f64 = (0..log.len())
        .map(|i| log.flow[i] * log.interval[i] * (100.0 - log.moisture[i]) / 84.5)
        .sum();
    let per_ha = dry / (area / 10_000.0);
    let bushels =
        per_ha * fanmill::units::YieldUnit::BushelPerAcre.per_kg_ha(job.fields[0].crop.bushel_kg);
    assert!((bushels - 133.4652).abs() < 5e-5, "{bushels}");
}
