//! A whole run over the real maize log of the shared open data: University of Minnesota Precision Agriculture Center, in
//! the R package agridat 1.27, data set `gartner.corn`, CC BY-SA 3.0. Figures over all rows come from the formula of the
//! package's help page (Σ mass·seconds, Σ dist × 360 in, 56 lb/bu, 15.5 %); that a delay had been applied before export,
//! and slightly too much of it, is known from the agreement of neighbouring opposite passes near −3 s.

use std::fmt::Write as _;
use std::fs;

use crate::harness::Farm;
use crate::outside::maize_text;
use serde_json::Value;

const FIELD: &str = "Maize field";

/// The job that the example shows.
const JOB: &str = include_str!("../../examples/maize/job.toml");

/// Runs the log and hands back its figures.
fn figures(log: &str) -> (Farm, Value) {
    figures_of(JOB, log)
}

fn figures_of(job: &str, log: &str) -> (Farm, Value) {
    let farm = Farm::empty();
    farm.write("job.toml", job.as_bytes())
        .write("gartner.corn.txt", log.as_bytes());
    let run = farm.run(&[]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let summary = farm.summary(FIELD);
    (farm, summary)
}

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("{v} is no number"))
}

fn delay(summary: &Value) -> f64 {
    number(&summary["machines"][0]["delay_s"]["value"])
}

#[test]
fn the_real_log_gives_its_known_figures() {
    let Some(log) = maize_text() else { return };
    let (farm, s) = figures(&log);

    let points = &s["points"];
    let aside: u64 = points["set_aside"]
        .as_object()
        .expect("reasons")
        .values()
        .filter_map(Value::as_u64)
        .sum();
    let counts = ["kept", "unreadable"].map(|k| points[k].as_u64().expect("a count"));
    assert_eq!(points["rows"], 4949);
    assert_eq!(counts[0] + counts[1] + aside, 4949);
    assert_eq!(counts[1], 0);
    assert!(counts[0] > 4000, "only {} kept", counts[0]);

    assert!(
        (number(&s["grain"]["logged_kg"]) - 232_942.8).abs() <= 0.1,
        "{}",
        s["grain"]
    );
    assert!(
        (number(&s["logged"]["mean"]) - 133.465).abs() <= 0.01,
        "{}",
        s["logged"]
    );
    assert!(
        (number(&s["logged"]["area_ha"]) - 27.3716).abs() <= 0.0005,
        "{}",
        s["logged"]
    );
    // Nothing weighed it: the sensor's level stands, and the report says so.
    assert_eq!(s["grain"]["weighed_kg"], 0.0);
    assert_eq!(s["calibration"]["tickets_used"], 0);
    assert!(farm.warning(FIELD, "no-scale").contains("no ticket"));

    // Union of the swath rectangles of all steps up to 30 m in UTM zone 15N: 271,388.9 m², their sum 280,033.6 m² (GEOS;
    // see width_maize_log.rs). A row of maize is cut once, so what passes share beyond the receiver's error is less.
    let area = number(&s["area_ha"]);
    assert!((27.1..=28.0).contains(&area), "{area}");

    assert!((delay(&s) + 3.0).abs() <= 1.5, "{}", s["machines"]);
    assert!(
        farm.warning(FIELD, "already-shifted")
            .contains("machine combine")
    );
    let quality = &s["quality"];
    let (before, after) = (
        number(&quality["before"]["opposite_pass_pct"]),
        number(&quality["after"]["opposite_pass_pct"]),
    );
    assert!(after < before, "{before} → {after} %");
}

/// The log whose flow comes later by some seconds has a delay that is greater by as many.
#[test]
fn a_shift_of_the_flow_is_found_to_half_a_second() {
    let Some(log) = maize_text() else { return };
    let (_, s) = figures(&log);
    for seconds in [-6.0, -3.0, 3.0, 6.0, 9.0, 12.0, 15.0] {
        let (_, later) = figures(&flow_later_by(&log, seconds));
        let rise = delay(&later) - delay(&s);
        assert!((rise - seconds).abs() <= 0.5, "{seconds}: {rise}");
        let found = &later["machines"][0]["delay_s"];
        let (low, high) = (number(&found["ci95_low"]), number(&found["ci95_high"]));
        let moved = delay(&s) + seconds;
        assert!(low <= moved && moved <= high, "{seconds}: {found}");
    }
}

/// Half of the rows tell the same delay, whether two rows are joined to one or every other row is left out.
#[test]
fn rows_of_six_seconds_tell_the_delay_of_rows_of_three() {
    let Some(log) = maize_text() else { return };
    let (_, s) = figures(&log);
    // Where every other row is left out, a row's distance is half of its way: nothing proves units any more.
    let units = "[log]\ncolumns = { flow = \"mass\", distance = \"dist\", interval = \"seconds\" }\nunits = { flow = \"lb/s\", distance = \"in\" }\n[[machine]]";
    let said = JOB.replacen("[[machine]]", units, 1);
    for (what, thin) in [("joined", joined(&log)), ("left out", every_other(&log))] {
        let (_, thinned) = figures_of(&said, &thin);
        let apart = delay(&thinned) - delay(&s);
        // 0.86 s where two rows are joined, 0.85 where every other is left out, of rows of six seconds.
        assert!(
            apart.abs() <= 1.0,
            "{what}: {} against {}",
            delay(&thinned),
            delay(&s)
        );
    }
}

/// Every second row of the log.
fn every_other(log: &str) -> String {
    let mut lines = log.lines();
    let header = lines.next().expect("a header");
    let kept = lines.skip(1).step_by(2);
    std::iter::once(header)
        .chain(kept)
        .map(|l| l.to_owned() + "\n")
        .collect()
}

/// Two rows joined to one that stands for both: mean flow, the sum of time and distance, the rest of the later row.
fn joined(log: &str) -> String {
    let lines: Vec<Vec<&str>> = log.lines().map(|l| l.split('\t').collect()).collect();
    let (header, rows) = lines.split_first().expect("a header");
    let column = |name: &str| {
        header
            .iter()
            .position(|h| h.trim_matches('"') == name)
            .expect("the column")
    };
    let [mass, time, interval, dist] = ["mass", "time", "seconds", "dist"].map(column);
    let value = |row: &[&str], c: usize| row[c].parse::<f64>().expect("a number");
    let mut out = header.join("\t") + "\n";
    for pair in rows.chunks(2) {
        let (first, last) = (&pair[0], &pair[pair.len() - 1]);
        let unbroken = value(last, time) - value(first, time) <= 1.5 * value(last, interval);
        let groups: &[&[Vec<&str>]] = if unbroken {
            &[pair]
        } else {
            &[&pair[..1], &pair[1..]]
        };
        for rows in groups {
            let sum = |of: &dyn Fn(&[&str]) -> f64| rows.iter().map(|r| of(r)).sum::<f64>();
            let seconds = sum(&|r| value(r, interval));
            let flow = sum(&|r| value(r, mass) * value(r, interval)) / seconds;
            let cells: Vec<String> = (rows[rows.len() - 1].iter().enumerate())
                .map(|(c, cell)| match c {
                    c if c == mass => format!("{flow:.6}"),
                    c if c == interval => format!("{seconds}"),
                    c if c == dist => format!("{}", sum(&|r| value(r, dist))),
                    _ => (*cell).to_owned(),
                })
                .collect();
            out += &(cells.join("\t") + "\n");
        }
    }
    out
}

/// The log as a display that moves the flow by `seconds` less would have written it: the row at time t gets the mean flow
/// logged over its interval `seconds` earlier. Mass is kept: the running total is read off at the ends of the interval,
/// along a clock that runs on through the log's steps back, a stretch without a gap at a time.
fn flow_later_by(log: &str, seconds: f64) -> String {
    let lines: Vec<Vec<&str>> = log.lines().map(|l| l.split('\t').collect()).collect();
    let (header, rows) = lines.split_first().expect("a header");
    let column = |name: &str| {
        header
            .iter()
            .position(|h| h.trim_matches('"') == name)
            .expect("the column")
    };
    let [mass, time, interval] = ["mass", "time", "seconds"].map(column);
    let value = |row: &[&str], c: usize| row[c].parse::<f64>().expect("a number");

    let mut out = header.join("\t") + "\n";
    let mut from = 0;
    while from < rows.len() {
        let mut to = from + 1;
        while to < rows.len() {
            let step = value(&rows[to], time) - value(&rows[to - 1], time);
            if step > 1.5 * value(&rows[to], interval) {
                break; // the log was not running
            }
            to += 1;
        }
        // Ends of the rows and the mass logged until then.
        let (mut ends, mut total) = (vec![0.0], vec![0.0]);
        for row in &rows[from..to] {
            let dt = value(row, interval);
            ends.push(ends[ends.len() - 1] + dt);
            total.push(total[total.len() - 1] + value(row, mass) * dt);
        }
        let until = |t: f64| {
            let k = ends.partition_point(|&e| e <= t).clamp(1, ends.len() - 1);
            let part = ((t - ends[k - 1]) / (ends[k] - ends[k - 1])).clamp(0.0, 1.0);
            total[k - 1] + part * (total[k] - total[k - 1])
        };
        for (k, row) in rows[from..to].iter().enumerate() {
            let flow =
                (until(ends[k + 1] - seconds) - until(ends[k] - seconds)) / (ends[k + 1] - ends[k]);
            for (c, cell) in row.iter().enumerate() {
                let end = if c + 1 == row.len() { "\n" } else { "\t" };
                let _ = if c == mass {
                    write!(out, "{flow:.6}{end}")
                } else {
                    write!(out, "{cell}{end}")
                };
            }
        }
        from = to;
    }
    out
}

/// The grid of the real log: the ground and the mean of the map, on whole multiples of the cell in UTM zone 15N (the field lies at
/// 93.98° W: NGA.STND.0037).
#[test]
fn the_real_log_has_a_grid() {
    let Some(log) = maize_text() else { return };
    let job = JOB.replacen(
        "[job]\n",
        "[job]\nlayers = [\"points\", \"set-aside\", \"grid\"]\n",
        1,
    );
    let (farm, s) = figures_of(&job, &log);
    let grid = &s["grid"];
    assert_eq!(
        (&grid["cell_m"], &grid["crs"]),
        (&Value::from(10.0), &Value::from("EPSG:32615"))
    );
    assert_eq!(grid["left_out"], 0);
    let ratio = |a: &Value, b: &Value| number(a) / number(b);
    assert!(
        (ratio(&grid["mean"], &s["yield"]["mean"]) - 1.0).abs() < 0.015,
        "{grid}"
    );
    assert!(
        (ratio(&grid["area_ha"], &s["area_ha"]) - 1.0).abs() < 0.03,
        "{grid}"
    );
    assert!(
        (0.5..15.0).contains(&number(&grid["se_within_pct"])),
        "{grid}"
    );
    let run: Value =
        serde_json::from_slice(&fs::read(farm.path("results/run.json")).expect("a record"))
            .expect("JSON");
    let folder = run["fields"][0]["folder"]
        .as_str()
        .expect("a folder")
        .to_owned();
    let layer = fs::read(farm.path(&format!("results/{folder}/grid.geojson"))).expect("a layer");
    let layer: Value = serde_json::from_slice(&layer).expect("GeoJSON");
    let cells = layer["features"].as_array().expect("cells");
    assert_eq!(cells.len() as u64, grid["cells"]);
    for cell in cells {
        let p = &cell["properties"];
        assert!(
            number(&p["yld_low"]) <= number(&p["yld_kg_ha"])
                && number(&p["yld_kg_ha"]) <= number(&p["yld_high"])
        );
        assert_eq!(
            (number(&p["east_m"]) % 10.0, number(&p["north_m"]) % 10.0),
            (5.0, 5.0)
        );
    }
}
