//! `fanmill inspect` and `fanmill new` as a user runs them. The real maize log is that of `maize_log` (University of
//! Minnesota Precision Agriculture Center, R package agridat 1.27, `gartner.corn`, CC BY-SA 3.0); its units and totals are
//! those of the package's help page. The demo farm is invented.

use crate::harness::{Farm, Run, fanmill};
use crate::outside::maize_text;
use fanmill::job::parse;
use serde_json::Value;

fn run(farm: &Farm) -> Run {
    fanmill(&[
        "run",
        farm.path("job.toml").to_str().expect("plain"),
        "--quiet",
    ])
}

fn inspect(farm: &Farm, name: &str) -> Value {
    let path = farm.path(name);
    let run = fanmill(&["inspect", path.to_str().expect("plain"), "--format", "json"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    serde_json::from_str(&run.stdout).expect("JSON")
}

/// Header, column and unit, as `inspect` has them.
fn columns(survey: &Value) -> Vec<(String, String, String)> {
    let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
    let columns = survey["columns"].as_array().expect("columns");
    columns
        .iter()
        .map(|c| (text(&c["header"]), text(&c["column"]), text(&c["unit"])))
        .collect()
}

#[test]
fn the_real_log_needs_no_mapping() {
    let Some(log) = maize_text() else { return };
    let farm = Farm::empty();
    farm.write("gartner.corn.txt", log.as_bytes());
    let survey = inspect(&farm, "gartner.corn.txt");
    let survey = &survey[0];
    let expected = [
        ("long", "lon", "deg"),
        ("lat", "lat", "deg"),
        ("mass", "flow", "lb/s"),
        ("time", "time", "s"),
        ("seconds", "interval", "s"),
        ("dist", "distance", "in"),
        ("moist", "moisture", "%"),
        ("elev", "elevation", "ft"),
    ];
    assert_eq!(
        columns(survey),
        expected.map(|(a, b, c)| (a.to_owned(), b.to_owned(), c.to_owned()))
    );
    assert_eq!(survey["rows"], 4949);
    assert_eq!(survey["crop"], "maize");
    assert!((survey["grain_t"].as_f64().expect("grain") - 232.942_815).abs() < 1e-4);
    // Twelve rows of maize are 360 inches, 9.144 m.
    let spacing = survey["pass_spacing_m"].as_f64().expect("a spacing");
    assert!((spacing / 9.144 - 1.0).abs() < 0.05, "{spacing}");

    let made = fanmill(&["new", farm.path("").to_str().expect("plain")]);
    assert_eq!(made.status, 0, "{}", made.stderr);
    farm.edit("job.toml", |t| {
        t.replacen(
            "[[machine]]\n",
            "[[machine]]\nheader_width = \"360 in\"\n",
            1,
        )
    });
    let run = run(&farm);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let summary = farm.summary("gartner.corn");
    let kg = summary["grain"]["logged_kg"].as_f64().expect("a mass");
    assert!((kg - 232_942.815).abs() < 0.1, "{kg}");
}

/// The block that `inspect` prints is one that a job takes, and reads the log alike.
#[test]
fn the_block_can_be_pasted() {
    let farm = Farm::demo();
    let log = "logs/brook/C1-2025-10-03.csv";
    let survey = inspect(&farm, log);
    let block = survey[0]["log_block"].as_str().expect("a block").to_owned();
    let field =
        "[[field]]\nclient='a'\nfarm='b'\nname='c'\nseason=2025\ncrop='maize'\nlogs=['LOG']\n"
            .replace("LOG", log);
    let plain = parse(&field, "job.toml", &farm.path("")).expect("sound");
    let pasted = parse(&format!("{block}\n{field}"), "job.toml", &farm.path(""))
        .unwrap_or_else(|e| panic!("{block}: {e}"));
    let read = |job: &fanmill::job::Job| {
        fanmill::read::read_field(job, &job.fields[0])
            .expect("readable")
            .log
    };
    let (a, b) = (read(&plain), read(&pasted));
    assert_eq!((a.len(), a.loads.len()), (b.len(), b.loads.len()));
    let total = |l: &fanmill::log::Log| l.flow.iter().filter(|f| f.is_finite()).sum::<f64>();
    assert_eq!(total(&a), total(&b));
    assert!(total(&a) > 0.0);
    let text = fanmill(&["inspect", farm.path(log).to_str().expect("plain")]);
    assert!(
        text.stdout.contains("columns") && text.stdout.contains("[log]"),
        "{}",
        text.stdout
    );
    assert!(
        text.stdout
            .lines()
            .all(|l| l.chars().count() <= 100 || l.starts_with(['c', 'u'])),
        "wide"
    );
}

#[test]
fn a_folder_becomes_a_job_that_runs() {
    let farm = Farm::demo();
    for name in ["job.toml", "README.txt"] {
        std::fs::remove_file(farm.path(name)).expect("removed");
    }
    for name in [
        "truth",
        "logs/geese",
        "logs/far-meadow",
        "logs/long-acre",
        "logs/mill",
    ] {
        std::fs::remove_dir_all(farm.path(name)).expect("removed");
    }
    let folder = farm.path("");
    let folder = folder.to_str().expect("plain");
    let made = fanmill(&["new", folder]);
    assert_eq!(made.status, 0, "{}", made.stderr);
    let text = farm.text("job.toml");
    let job = parse(&text, "job.toml", &farm.path("")).unwrap_or_else(|e| panic!("{text}: {e}"));
    assert_eq!(job.fields.len(), 1, "{text}");
    let field = &job.fields[0];
    assert_eq!((field.name.as_str(), field.season), ("brook", 2025));
    assert_eq!(field.boundary.as_deref(), Some("boundaries/brook.geojson"));
    assert_eq!(field.tickets, ["tickets.csv"]);
    assert!(text.contains("QUESTION: which crop"), "{text}");
    assert!(
        text.contains("boundaries/geese.geojson: a boundary without a log"),
        "{text}"
    );
    // Nothing indispensable is missing: the log holds its header's width.
    let run = run(&farm);
    assert_eq!(run.status, 0, "{}", run.stderr);

    // And it is never written over.
    let again = fanmill(&["new", folder]);
    assert_eq!(again.status, 2);
    assert!(again.stderr.contains("left as it is"), "{}", again.stderr);
    assert_eq!(farm.text("job.toml"), text);
}

#[test]
fn what_is_no_log_says_so() {
    let farm = Farm::empty();
    farm.write("a.csv", b"name,age\nx,1\n")
        .write("empty.csv", b"");
    let run = fanmill(&["inspect", farm.path("a.csv").to_str().expect("plain")]);
    assert_eq!(run.status, 1);
    assert!(run.stdout.contains("position"), "{}", run.stdout);
    let run = fanmill(&["inspect", farm.path("empty.csv").to_str().expect("plain")]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("an empty file"), "{}", run.stderr);
    let run = fanmill(&["new", farm.path("").to_str().expect("plain")]);
    assert_eq!(run.status, 2);
    assert!(
        run.stderr.contains("expected logs of a combine"),
        "{}",
        run.stderr
    );
}
