//! A county in one run: many fields, some of them broken in every way; runs that are stopped, that lose a file on the way, or
//! whose clock goes backward. Nothing outside the project is needed; the bars are ours.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::time::{Duration, SystemTime};

use crate::harness::{Farm, small_field};
use fanmill::batch::{self, Act, BatchError, Options, Progress, Silent};
use fanmill::job::Job;
use fanmill::simulate::{Shape, Simulated, simulate, write_seasons};

/// A field of half a hectare: some four hundred rows.
fn tiny() -> Simulated {
    let mut spec = small_field("Field", "one");
    spec.shape = Shape::rectangle(60.0, 80.0);
    simulate(&spec, 4).expect("a season")
}

/// What one field is given, as text.
struct Given {
    log: String,
    boundary: String,
    tickets: String,
}

impl Given {
    fn of(season: &Simulated) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        write_seasons(folder.path(), std::slice::from_ref(season)).expect("written");
        let text = |name: &str| fs::read_to_string(folder.path().join(name)).expect("a text");
        Self {
            log: text(&season.files[0].path),
            boundary: text("boundaries/one.geojson"),
            tickets: text("tickets.csv"),
        }
    }

    /// Writes the field's files into its folder.
    fn write(&self, farm: &Farm, key: &str) {
        farm.write(&format!("{key}/log.csv"), self.log.as_bytes());
        farm.write(&format!("{key}/boundary.geojson"), self.boundary.as_bytes());
        farm.write(&format!("{key}/tickets.csv"), self.tickets.as_bytes());
    }

    fn rows(&self) -> usize {
        self.log.lines().count() - 1
    }

    /// The log with one column changed.
    fn column(&self, name: &str, with: impl Fn(&str) -> String) -> String {
        let mut lines = self.log.lines();
        let header = lines.next().expect("a header");
        let at = header.split(',').position(|h| h == name);
        let at = at.unwrap_or_else(|| panic!("{name} in {header}"));
        let mut out = format!("{header}\n");
        for line in lines {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            cells[at] = with(&cells[at]);
            let _ = writeln!(out, "{}", cells.join(","));
        }
        out
    }
}

fn entry(key: &str, log: &str) -> String {
    format!(
        "[[field]]\nclient = \"Heron Lane\"\nfarm = \"Home\"\nname = \"Field {key}\"\nseason = 2025\ncrop = \"maize\"\n\
         logs = [\"{key}/{log}\"]\nboundary = \"{key}/boundary.geojson\"\ntickets = [\"{key}/tickets.csv\"]\n"
    )
}

const HEAD: &str =
    "[job]\nformats = [\"geojson\"]\n\n[[machine]]\nname = \"C1\"\nheader_width = \"9 m\"\n\n";

fn start(farm: &Farm, arguments: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_fanmill"))
        .arg("run")
        .arg(farm.path("job.toml"))
        .args(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command starts")
}

/// A way to break a field: what is written over its files (or its log's name), and what its error must say.
struct Way {
    log: &'static str,
    says: &'static str,
    spoil: fn(&Given, &Farm, &str),
}

fn way(log: &'static str, says: &'static str, spoil: fn(&Given, &Farm, &str)) -> Way {
    Way { log, says, spoil }
}

/// Thirty ways in which a field cannot be done.
fn ways() -> Vec<Way> {
    fn log(farm: &Farm, key: &str, bytes: impl AsRef<[u8]>) {
        farm.write(&format!("{key}/log.csv"), bytes.as_ref());
    }
    fn other(farm: &Farm, key: &str, name: &str, bytes: impl AsRef<[u8]>) {
        farm.write(&format!("{key}/{name}"), bytes.as_ref());
    }
    vec![
        way("absent.csv", "found no file of that name", |_, _, _| {}),
        way("nothing/*.csv", "found no file", |_, _, _| {}),
        way("log.csv", "found an empty file", |_, f, k| log(f, k, "")),
        way("log.csv", "found none", |g, f, k| {
            log(f, k, g.log.lines().next().expect("a header"));
        }),
        way("log.csv", "flow", |g, f, k| {
            log(f, k, g.log.replacen("flow_kg_s", "engine_rpm", 1));
        }),
        way("log.csv", "lon", |g, f, k| {
            log(f, k, g.log.replacen("lon_deg", "eastish", 1));
        }),
        way("log.csv", "log.csv", |_, f, k| {
            log(
                f,
                k,
                (0..4096u32)
                    .map(|n| ((n * n) >> 3) as u8)
                    .collect::<Vec<_>>(),
            );
        }),
        way("log.csv", "log.csv", |_, f, k| log(f, k, [0; 5000])),
        way("log.csv", "log.csv", |_, f, k| {
            log(
                f,
                k,
                "<html><body>Please sign in to download</body></html>\n".repeat(40),
            );
        }),
        way("log.zip", "log.zip", |_, f, k| {
            other(f, k, "log.zip", b"PK\x03\x04cut")
        }),
        way("log.csv.gz", "log.csv.gz", |_, f, k| {
            other(f, k, "log.csv.gz", b"\x1f\x8b\x08\x00 no more");
        }),
        way("log.geojson", "log.geojson", |_, f, k| {
            other(
                f,
                k,
                "log.geojson",
                b"{\"type\": \"FeatureCollection\", \"features\": [",
            );
        }),
        way("boundary.geojson", "boundary.geojson", |_, _, _| {}),
        way("log.gpkg", "log.gpkg", |_, f, k| {
            other(f, k, "log.gpkg", b"not a database")
        }),
        way("log.shp", "log.shp", |_, f, k| {
            other(f, k, "log.shp", [7; 300])
        }),
        way("TASKDATA", "TASKDATA", |_, f, k| {
            other(f, k, "TASKDATA/TASKDATA.XML", b"<ISO11783_TaskData><TSK A=");
        }),
        way("TASKDATA", "TASKDATA", |_, f, k| {
            let empty =
                b"<ISO11783_TaskData VersionMajor=\"4\" VersionMinor=\"0\"></ISO11783_TaskData>";
            other(f, k, "TASKDATA/TASKDATA.XML", empty);
        }),
        way("log.csv", "position", |g, f, k| {
            log(f, k, g.column("lat_deg", |_| "NA".into()));
        }),
        way("log.csv", "usable position", |g, f, k| {
            log(f, k, g.column("lat_deg", |_| "1e308".into()));
        }),
        way("papers", "a log in it", |_, f, k| {
            other(f, k, "papers/notes.doc", b"notes")
        }),
        way("log.csv", "no pass", |g, f, k| {
            log(f, k, g.column("work_state", |_| "0".into()));
        }),
        way("log.csv", "width of machine \"C7\"", |g, f, k| {
            let log_of = |text: String| Given {
                log: text,
                boundary: String::new(),
                tickets: String::new(),
            };
            let other =
                log_of(g.log.replacen("width_m", "colour", 1)).column("machine", |_| "C7".into());
            log(f, k, other);
        }),
        way("log.csv", "CRS of its x and y", |g, f, k| {
            let metres = |cell: &str| {
                cell.parse()
                    .map_or(String::new(), |v: f64| (v * 111_000.0).to_string())
            };
            let east = Given {
                log: g.column("lon_deg", metres),
                boundary: String::new(),
                tickets: String::new(),
            };
            let both = east.column("lat_deg", metres);
            log(
                f,
                k,
                both.replacen("lon_deg", "x_m", 1)
                    .replacen("lat_deg", "y_m", 1),
            );
        }),
        way("log.csv", "boundary.geojson", |_, f, k| {
            fs::remove_file(f.path(&format!("{k}/boundary.geojson"))).expect("removed");
        }),
        way("log.csv", "boundary.geojson", |_, f, k| {
            let line = b"{\"type\": \"LineString\", \"coordinates\": [[10, 52], [10.1, 52.1]]}";
            other(f, k, "boundary.geojson", line);
        }),
        way("log.csv", "boundary around the log", |_, f, k| {
            other(f, k, "boundary.geojson", square(-60.0, -30.0));
        }),
        way("log.csv", "boundary.geojson", |_, f, k| {
            other(f, k, "boundary.geojson", b"{\"type\":")
        }),
        way("log.csv", "tickets.csv", |_, f, k| {
            fs::remove_file(f.path(&format!("{k}/tickets.csv"))).expect("removed");
        }),
        way("log.csv", "tickets.csv", |_, f, k| {
            other(f, k, "tickets.csv", b"ticket,colour\n1,red\n");
        }),
        way("log.csv", "a header of at most 4096 columns", |g, f, k| {
            let (head, rows) = g.log.split_once('\n').expect("rows");
            let wide = format!("{head}{}\n{rows}", ",x".repeat(10_000_000));
            log(f, k, wide);
        }),
    ]
}

/// A polygon of about a hectare as GeoJSON.
fn square(lon: f64, lat: f64) -> String {
    let d = 0.0005;
    format!(
        "{{\"type\":\"Polygon\",\"coordinates\":[[[{0},{1}],[{2},{1}],[{2},{3}],[{0},{3}],[{0},{1}]]]}}",
        lon - d,
        lat - d,
        lon + d,
        lat + d
    )
}

/// Most memory and most open files of a process, looked at until it ends, by the number of the look.
#[derive(Debug, Default)]
struct Watched {
    looks: Vec<(u64, usize)>,
}

impl Watched {
    #[cfg(target_os = "linux")]
    fn over(child: &mut Child) -> Self {
        let mut watched = Self::default();
        let root = format!("/proc/{}", child.id());
        while child.try_wait().expect("a state").is_none() {
            let status = fs::read_to_string(format!("{root}/status")).unwrap_or_default();
            let memory = status.lines().find_map(|l| l.strip_prefix("VmRSS:"));
            let memory = memory.and_then(|m| m.trim().trim_end_matches(" kB").parse().ok());
            let files = fs::read_dir(format!("{root}/fd")).map(Iterator::count);
            if let (Some(memory), Ok(files)) = (memory, files) {
                watched.looks.push((memory, files));
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        watched
    }

    #[cfg(not(target_os = "linux"))]
    fn over(child: &mut Child) -> Self {
        child.wait().expect("it ends");
        Self::default()
    }

    fn most(&self) -> (u64, usize) {
        let memory = self.looks.iter().map(|l| l.0).max();
        let files = self.looks.iter().map(|l| l.1).max();
        (memory.unwrap_or_default(), files.unwrap_or_default())
    }
}

/// Waits for a command; its status and what it said.
fn end(child: Child) -> (i32, String) {
    let output = child.wait_with_output().expect("it ends");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code().unwrap_or(-1), said)
}

#[test]
fn of_three_hundred_fields_thirty_are_broken_in_thirty_ways() {
    let given = Given::of(&tiny());
    let farm = Farm::empty();
    let ways = ways();
    assert_eq!(ways.len(), 30);
    let mut job = String::from(HEAD);
    let mut broken = BTreeMap::new();
    for n in 0..300 {
        let key = format!("{n:03}");
        given.write(&farm, &key);
        if n % 10 == 7 {
            let way = &ways[n / 10];
            (way.spoil)(&given, &farm, &key);
            job.push_str(&entry(&key, way.log));
            broken.insert(format!("Field {key}"), way.says);
        } else {
            job.push_str(&entry(&key, "log.csv"));
        }
    }
    farm.write("job.toml", job.as_bytes());
    let (status, said) = end(start(&farm, &["--quiet"]));
    let record = farm.run_record();
    let fields = record["fields"].as_array().expect("fields");
    let mut wrong = String::new();
    let (mut done, mut failed) = (0, 0);
    for field in fields {
        let name = field["field"].as_str().expect("a name");
        let error = field["error"].as_str();
        match (error, broken.get(name)) {
            (None, None) => {
                let folder = farm
                    .path("results")
                    .join(field["folder"].as_str().expect("a folder"));
                assert!(
                    folder.join("summary.json").is_file()
                        && folder.join("points.geojson").is_file()
                );
                done += 1;
            }
            (Some(error), Some(says)) => {
                failed += 1;
                let told = said.lines().any(|l| l == format!("{name}: {error}"));
                if !error.contains(says) || !told {
                    let _ = writeln!(wrong, "{name}, expected \"{says}\" (told: {told}): {error}");
                }
            }
            (error, says) => {
                let _ = writeln!(wrong, "{name}: {error:?}, expected {says:?}");
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
    assert_eq!((done, failed, status), (270, 30, 1));
    assert_eq!(said.lines().count(), 30, "{said}");
}

/// As many fields as `FANMILL_FIELDS` says (default 200) in one process: memory and open files do not grow with them.
#[test]
fn many_fields_take_no_more_memory_and_files_than_a_few() {
    let many: usize = std::env::var("FANMILL_FIELDS").map_or(200, |n| n.parse().expect("a number"));
    let given = Given::of(&tiny());
    let peak = |fields: usize| {
        let farm = Farm::empty();
        let mut job = String::from(HEAD);
        for n in 0..fields {
            let key = format!("{n:05}");
            given.write(&farm, &key);
            job.push_str(&entry(&key, "log.csv"));
        }
        farm.write("job.toml", job.as_bytes());
        let mut child = start(&farm, &["--quiet", "--threads", "2", "--memory", "64MiB"]);
        let watched = Watched::over(&mut child);
        let (status, said) = end(child);
        assert_eq!(status, 0, "{said}");
        let kept: usize = crate::harness::files(&farm.path("results/.fanmill"))
            .values()
            .map(Vec::len)
            .sum();
        println!(
            "{fields} fields of {} rows: at most {} kB and {} open files; {} kB kept between acts",
            given.rows(),
            watched.most().0,
            watched.most().1,
            kept / 1000
        );
        let tenths: Vec<(u64, usize)> = (watched.looks)
            .iter()
            .step_by(watched.looks.len().div_ceil(10).max(1))
            .copied()
            .collect();
        println!("  in the course of it: {tenths:?}");
        watched.most()
    };
    let (few, most) = (peak(many / 10), peak(many));
    if few == (0, 0) {
        println!("skipped: no /proc to look at");
        return;
    }
    assert!(most.1 <= few.1 + 4, "open files: {} and {}", few.1, most.1);
    // Fields may wait in 10 MB of 64; rows of the others wait on the disk (they would be 240 kB a field), and what is gathered
    // of a field is some ten kilobytes.
    let grown = most.0.saturating_sub(few.0);
    assert!(
        grown <= 14_000 + 20 * many as u64,
        "memory grew by {grown} kB from {} kB",
        few.0
    );
}

#[cfg(unix)]
#[test]
fn a_run_that_is_told_to_stop_ends_cleanly_and_goes_on_later() {
    let farm = Farm::demo();
    let whole = {
        let (status, said) = end(start(&farm, &["--quiet"]));
        assert_eq!(status, 0, "{said}");
        farm.results()
    };
    fs::remove_dir_all(farm.path("results")).expect("removed");
    for (signal, status) in [("INT", 130), ("TERM", 143)] {
        // At the first sign of work, which is in the first act.
        let child = start(&farm, &["--quiet", "--threads", "1"]);
        while !farm.path("results/.fanmill/lock").exists() {
            std::thread::sleep(Duration::from_millis(5));
        }
        let id = child.id().to_string();
        let sent = Command::new("kill").args(["-s", signal, &id]).status();
        assert!(sent.expect("kill").success());
        let (got, said) = end(child);
        assert_eq!(got, status, "{said}");
        assert!(said.contains("error: stopped while"), "{said}");
        assert!(said.contains("hint: the same command goes on"), "{said}");
        let left = farm.results();
        assert!(left.keys().all(|name| !name.contains(".part")), "{left:?}");
        assert!(!left.contains_key("run.json"));
        fs::remove_dir_all(farm.path("results")).expect("removed");
    }
    // In the last act: what is written is whole, and the next run writes the rest.
    let child = start(&farm, &["--threads", "1"]);
    while summaries(&farm.path("results")) == 0 {
        std::thread::sleep(Duration::from_millis(2));
    }
    let id = child.id().to_string();
    assert!(
        Command::new("kill")
            .args(["-s", "TERM", &id])
            .status()
            .expect("kill")
            .success()
    );
    let (got, said) = end(child);
    let left = farm.results();
    if got == 143 {
        assert!(said.contains("stopped while maps were written"), "{said}");
        for (name, bytes) in &left {
            assert!(whole[name] == *bytes, "{name} is not whole");
        }
    } else {
        assert_eq!(got, 0, "{said}"); // it was done before it was told
    }
    let (status, said) = end(start(&farm, &["--quiet"]));
    assert_eq!(status, 0, "{said}");
    assert!(farm.results() == whole, "the results differ");
}

/// Fields whose summary is there. Nothing is opened, and what vanishes meanwhile is not counted: a run is at work.
fn summaries(folder: &Path) -> usize {
    let Ok(entries) = fs::read_dir(folder) else {
        return 0;
    };
    entries
        .flatten()
        .map(|e| match e.file_type() {
            Ok(t) if t.is_dir() => summaries(&e.path()),
            _ => usize::from(e.file_name() == "summary.json"),
        })
        .sum()
}

/// Does something when an act begins.
struct Meanwhile<'a> {
    act: Act,
    what: Mutex<Option<Box<dyn FnOnce() + Send + 'a>>>,
    failed: Mutex<Vec<String>>,
}

impl<'a> Meanwhile<'a> {
    fn new(act: Act, what: impl FnOnce() + Send + 'a) -> Self {
        Self {
            act,
            what: Mutex::new(Some(Box::new(what))),
            failed: Mutex::default(),
        }
    }
}

impl Progress for Meanwhile<'_> {
    fn begin(&self, act: Act, _: usize) {
        if act == self.act
            && let Some(what) = self.what.lock().expect("whole").take()
        {
            what();
        }
    }

    fn field(&self, _: Act, name: &str, error: Option<&str>) {
        if let Some(error) = error {
            let mut failed = self.failed.lock().expect("whole");
            failed.push(format!("{name}: {error}"));
        }
    }
}

fn three_fields() -> (Given, Farm) {
    let given = Given::of(&tiny());
    let farm = Farm::empty();
    let mut job = String::from(HEAD);
    for key in ["a", "b", "c"] {
        given.write(&farm, key);
        job.push_str(&entry(key, "log.csv"));
    }
    farm.write("job.toml", job.as_bytes());
    (given, farm)
}

fn load(farm: &Farm) -> Job {
    Job::load(&farm.path("job.toml")).expect("a job")
}

#[test]
fn a_file_that_goes_or_changes_in_the_middle_of_a_run_costs_its_field_alone() {
    let (given, farm) = three_fields();
    let job = load(&farm);
    batch::run(&job, Options::default(), &Silent).expect("a run");
    let whole = farm.results();
    let log = farm.path("b/log.csv");
    type Harm = fn(&Path, &str);
    let harms: [(Harm, &str); 3] = [
        (
            |log, _| fs::remove_file(log).expect("removed"),
            "found no file",
        ),
        (
            |log, text| fs::write(log, text.replacen("1.", "2.", 40)).expect("written"),
            "its files changed while fanmill was at work on them",
        ),
        (
            |log, text| fs::write(log, &text[..text.len() / 2]).expect("written"),
            "its files changed",
        ),
    ];
    for act in [Act::Scale, Act::Write] {
        for (harm, says) in harms {
            fs::remove_dir_all(farm.path("results")).expect("removed");
            let meanwhile = Meanwhile::new(act, || harm(&log, &given.log));
            // Where nothing waits in memory nor on the disk, the field is read again.
            let outcomes = batch::run(&job, starved(&farm), &meanwhile).expect("a run");
            let failed = meanwhile.failed.into_inner().expect("whole");
            if failed.is_empty() {
                // It was read once, before: nothing of what came later is in it.
                assert!(farm.results() == whole);
            } else {
                assert_eq!(failed.len(), 1, "{failed:?}");
                assert!(
                    failed[0].starts_with("Field b: ") && failed[0].contains(says),
                    "{failed:?}"
                );
                assert_eq!(outcomes.iter().filter(|o| o.summary().is_some()).count(), 2);
            }
            given.write(&farm, "b");
            batch::run(&job, Options::default(), &Silent).expect("a run");
            assert!(farm.results() == whole, "the results differ");
        }
    }
}

/// Memory for nothing, so that fields wait on the disk.
fn starved(_: &Farm) -> Options {
    Options {
        memory: Some(1),
        ..Options::default()
    }
}

#[test]
fn little_memory_gives_the_same_bytes() {
    let farm = Farm::demo();
    let job = load(&farm);
    batch::run(&job, Options::default(), &Silent).expect("a run");
    let whole = farm.results();
    fs::remove_dir_all(farm.path("results")).expect("removed");
    batch::run(&job, starved(&farm), &Silent).expect("a run");
    assert!(farm.results() == whole, "the results differ");
    let (status, said) = end(start(&farm, &["--quiet", "--force", "--memory", "64MiB"]));
    assert_eq!(status, 0, "{said}");
    assert!(farm.results() == whole, "the results differ");
    let (status, said) = end(start(&farm, &["--memory", "much"]));
    assert_eq!(status, 2);
    assert!(said.contains("--memory"), "{said}");
}

/// Files dated in the past and in the future: contents count, not times.
#[test]
fn a_clock_that_goes_backward_changes_nothing() {
    let (given, farm) = three_fields();
    let job = load(&farm);
    batch::run(&job, Options::default(), &Silent).expect("a run");
    let whole = farm.results();
    let date = |name: &str, time: SystemTime| {
        let file = fs::File::options()
            .write(true)
            .open(farm.path(name))
            .expect("open");
        file.set_modified(time).expect("dated");
    };
    let year = Duration::from_secs(365 * 86_400);
    let (past, future) = (SystemTime::now() - year, SystemTime::now() + year);
    // Inputs from the future, results from the past: nothing is done again.
    for key in ["a", "b", "c"] {
        date(&format!("{key}/log.csv"), future);
    }
    let points: Vec<String> = whole
        .keys()
        .filter(|n| n.ends_with("points.geojson"))
        .cloned()
        .collect();
    for name in &points {
        date(&format!("results/{name}"), past);
    }
    batch::run(&job, Options::default(), &Silent).expect("a run");
    let modified = |name: &String| {
        let path = farm.path(&format!("results/{name}"));
        path.metadata().and_then(|m| m.modified()).expect("a time")
    };
    assert!(
        points
            .iter()
            .all(|n| modified(n) < SystemTime::now() - year / 2)
    );
    // Another content with an older date than the results: done again.
    let other = given.log.replacen("1.", "2.", 40);
    assert_ne!(other, given.log);
    farm.write("b/log.csv", other.as_bytes());
    date("b/log.csv", past - year);
    batch::run(&job, Options::default(), &Silent).expect("a run");
    assert!(farm.results() != whole);
    given.write(&farm, "b");
    batch::run(&job, Options::default(), &Silent).expect("a run");
    assert!(farm.results() == whole, "the results differ");
}

#[test]
fn results_of_an_earlier_run_are_not_taken_for_those_of_a_field_that_fails_now() {
    let (given, farm) = three_fields();
    let job = load(&farm);
    batch::run(&job, Options::default(), &Silent).expect("a run");
    let whole = farm.results();
    let folder = "Heron Lane/Home/Field b/2025-maize";
    farm.write(&format!("results/{folder}/my notes.txt"), b"mine");
    for aside in ["2025-maize-earlier", "2025-maize-earlier-2"] {
        farm.write("b/log.csv", b"");
        let outcomes = batch::run(&job, Options::default(), &Silent).expect("a run");
        assert!(outcomes[1].error().is_some());
        let now = farm.results();
        assert!(
            now.keys().all(|n| !n.starts_with(&format!("{folder}/"))),
            "{:?}",
            now.keys()
        );
        // Whole, under another name, with what others put there.
        let aside = format!("Heron Lane/Home/Field b/{aside}");
        assert_eq!(
            now[&format!("{aside}/points.geojson")],
            whole[&format!("{folder}/points.geojson")]
        );
        assert!(now.contains_key(&format!("{aside}/summary.json")));
        // A field that fails again moves nothing more.
        batch::run(&job, Options::default(), &Silent).expect("a run");
        assert!(farm.results() == now);
        given.write(&farm, "b");
        batch::run(&job, Options::default(), &Silent).expect("a run");
        let again = farm.results();
        assert!(whole.iter().all(|(name, bytes)| again[name] == *bytes));
    }
    // A folder that is half written is neither: what fanmill writes goes, the rest stays.
    fs::remove_file(farm.path(&format!("results/{folder}/summary.json"))).expect("removed");
    farm.write(&format!("results/{folder}/my notes.txt"), b"mine");
    farm.write(&format!("results/{folder}/.points.geojson.x.part"), b"{");
    farm.write("b/log.csv", b"");
    batch::run(&job, Options::default(), &Silent).expect("a run");
    let left: Vec<String> = (farm.results().into_keys())
        .filter(|n| n.starts_with(&format!("{folder}/")))
        .collect();
    assert_eq!(left, [format!("{folder}/my notes.txt")]);
}

#[test]
fn a_stop_between_acts_is_heard() {
    struct Told;
    impl Progress for Told {
        fn begin(&self, _: Act, _: usize) {}
        fn field(&self, _: Act, _: &str, _: Option<&str>) {}
        fn stop(&self) -> bool {
            true
        }
    }
    let (_, farm) = three_fields();
    let stopped = batch::run(&load(&farm), Options::default(), &Told);
    assert!(matches!(
        stopped,
        Err(BatchError::Stopped { act: Act::Machines })
    ));
    assert!(farm.results().is_empty());
}

/// Numbers that no machine writes, links that lead around in a ring: an answer, and no panic.
#[cfg(unix)]
#[test]
fn enormous_numbers_and_links_do_no_harm() {
    use std::os::unix::fs::symlink;
    let (given, farm) = three_fields();
    for column in ["flow_kg_s", "moisture_pct", "speed_m_s"] {
        for number in [
            "1e308",
            "-1e308",
            "99999999999999999999999999",
            "1e-320",
            "inf",
        ] {
            if !given.log.starts_with(column)
                && !given.log.lines().next().expect("a header").contains(column)
            {
                continue;
            }
            farm.write(
                "a/log.csv",
                given.column(column, |_| number.into()).as_bytes(),
            );
            let (status, said) = end(start(&farm, &["--quiet"]));
            assert!(status == 0 || status == 1, "{column} {number}: {said}");
            assert!(
                !said.contains("panicked") && !said.contains("error of the program"),
                "{column} {number}: {said}"
            );
        }
    }
    given.write(&farm, "a");
    // A ring of links below a folder of logs.
    symlink("..", farm.path("c/up")).expect("a link");
    symlink(farm.path("c"), farm.path("c/itself")).expect("a link");
    farm.edit("job.toml", |t| t.replace("c/log.csv", "c"));
    let (status, said) = end(start(&farm, &["--quiet"]));
    assert_eq!(status, 0, "{said}");
    let rows = |field: &str| farm.summary(field)["points"]["rows"].as_u64();
    assert_eq!(rows("Field c"), rows("Field b"), "a log was read twice");
}
