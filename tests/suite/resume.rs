//! Runs that are broken off, run again, or spread over several processes: the same bytes as one run that nobody disturbs.

use std::fs::File;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::harness::{Farm, Files};

const ACTS: [&str; 3] = ["machines", "scale", "write"];

/// The command on a farm's job; its status and what it says.
fn fanmill(farm: &Farm, arguments: &[&str]) -> (i32, String) {
    let output = command(farm, arguments).output().expect("fanmill runs");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code().unwrap_or(-1), said)
}

fn command(farm: &Farm, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fanmill"));
    command
        .arg(arguments[0])
        .arg(farm.path("job.toml"))
        .args(&arguments[1..])
        .arg("--quiet")
        .stdout(Stdio::null());
    command
}

fn same(a: &Files, b: &Files) {
    let names = |f: &Files| f.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(a), names(b));
    for (name, bytes) in a {
        assert!(b[name] == *bytes, "{name} differs");
    }
}

/// The job with another unit and a layer more.
fn other_look(job: String) -> String {
    job.replace("t/ha", "kg/ha").replace(
        "\"set-aside\"]",
        "\"set-aside\", \"grid\"]\ngrid_cell = \"20 m\"",
    )
}

/// When each file of the results was last written.
fn written(farm: &Farm) -> Vec<(String, std::time::SystemTime)> {
    let time = |name: &String| {
        let path = farm.path(name);
        path.metadata().and_then(|m| m.modified()).expect("a time")
    };
    let names = farm.results().into_keys();
    names
        .map(|n| {
            if n.starts_with("results/") {
                n
            } else {
                format!("results/{n}")
            }
        })
        .filter(|n| n.matches('/').count() > 2) // the batch's own tables are always written
        .map(|n| (n.clone(), time(&n)))
        .collect()
}

fn changed(before: &[(String, std::time::SystemTime)], farm: &Farm) -> Vec<String> {
    let after = written(farm);
    after
        .iter()
        .filter(|(name, time)| !before.contains(&(name.clone(), *time)))
        .map(|(name, _)| name.clone())
        .collect()
}

#[test]
fn a_second_run_does_only_what_is_missing_or_changed() {
    let farm = Farm::demo();
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
    let first = farm.results();
    let times = written(&farm);
    assert!(times.len() > 5 * 10, "{}", times.len());

    // Nothing changed: nothing is written but the tables.
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
    assert_eq!(changed(&times, &farm), [""; 0]);
    same(&first, &farm.results());

    // One file is gone: its field alone is written again.
    let lost = times
        .iter()
        .find(|(n, _)| n.ends_with("points.dbf"))
        .unwrap();
    std::fs::remove_file(farm.path(&lost.0)).unwrap();
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
    let again = changed(&times, &farm);
    let folder = lost.0.trim_end_matches("points.dbf");
    assert!(
        !again.is_empty() && again.iter().all(|n| n.starts_with(folder)),
        "{again:?}"
    );
    same(&first, &farm.results());

    // All anew when asked.
    let times = written(&farm);
    assert_eq!(fanmill(&farm, &["run", "--force"]).0, 0);
    assert_eq!(changed(&times, &farm).len(), times.len());
    same(&first, &farm.results());

    // A setting of how results are written: all fields, but no evidence is gathered again.
    let kept = |farm: &Farm| {
        let mut files = crate::harness::files(&farm.path("results"));
        files.retain(|name, _| name.ends_with(".machines") || name.ends_with(".scale"));
        files
    };
    let evidence = kept(&farm);
    assert_eq!(evidence.len(), 10);
    farm.edit("job.toml", other_look);
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
    same(&evidence, &kept(&farm));
    let fresh = Farm::demo();
    fresh.edit("job.toml", other_look);
    assert_eq!(fanmill(&fresh, &["run"]).0, 0);
    same(&fresh.results(), &farm.results());

    // Another ticket: what follows from it, as if there had been no run before.
    for farm in [&farm, &fresh] {
        farm.edit("tickets.csv", |t| {
            let mut lines: Vec<&str> = t.lines().collect();
            lines.remove(2);
            lines.join("\n")
        });
    }
    std::fs::remove_dir_all(fresh.path("results")).unwrap();
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
    assert_eq!(fanmill(&fresh, &["run"]).0, 0);
    same(&fresh.results(), &farm.results());
}

/// `kill -9` at moments spread over a run, one after the other on the same results; no file is half, nothing is lost.
#[test]
fn a_killed_run_goes_on() {
    let farm = Farm::demo();
    let start = Instant::now();
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
    let whole = start.elapsed();
    let undisturbed = farm.results();
    std::fs::remove_dir_all(farm.path("results")).unwrap();
    let moments: u32 = std::env::var("FANMILL_KILLS").map_or(6, |n| n.parse().expect("a number"));
    // A run that has ended before its moment is no kill: it is taken away and the next moment tried. How fast the machine
    // is may change meanwhile, so there are more moments than are asked for.
    let mut killed = 0;
    for moment in 0..6 * moments {
        if killed == moments {
            break;
        }
        let mut child = command(&farm, &["run"])
            .stderr(Stdio::null())
            .spawn()
            .expect("fanmill runs");
        // The golden ratio spreads moments evenly (Weyl 1916).
        let part = (f64::from(moment + 1) * 0.618_033_988_749_895).fract();
        std::thread::sleep(Duration::from_secs_f64(part * whole.as_secs_f64()));
        let at_work = child.try_wait().expect("a state").is_none();
        child.kill().expect("killed");
        child.wait().expect("gone");
        // What stands is what an undisturbed run writes, to the last byte: whole files or none.
        for (name, bytes) in farm.results() {
            let field = name.matches('/').count() > 3 && !name.contains(".part");
            if field {
                assert!(
                    undisturbed[&name] == bytes,
                    "moment {moment}: {name} is not whole"
                );
            }
        }
        killed += u32::from(at_work);
        if (!at_work || killed % 5 == 4) && farm.path("results").exists() {
            std::fs::remove_dir_all(farm.path("results")).unwrap();
        }
    }
    assert_eq!(killed, moments, "runs killed at work");
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
    same(&undisturbed, &farm.results());
}

#[test]
fn shards_and_merges_give_the_bytes_of_one_run() {
    let farm = Farm::demo();
    farm.edit("job.toml", other_look);
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
    let one = farm.results();
    assert!(one.keys().any(|name| name.ends_with("grid.shp")));
    std::fs::remove_dir_all(farm.path("results")).unwrap();
    for act in ACTS {
        // Side by side, as a scheduler starts them.
        let shards: Vec<_> = (1..=3)
            .map(|k| {
                let shard = format!("{k}/3");
                let arguments = ["run", "--shard", shard.as_str(), "--act", act];
                command(&farm, &arguments).spawn().expect("fanmill runs")
            })
            .collect();
        for mut shard in shards {
            assert!(shard.wait().expect("it ends").success(), "{act}");
        }
        // A shard may run again, as a requeued task does.
        assert_eq!(
            fanmill(&farm, &["run", "--shard", "2/3", "--act", act]).0,
            0
        );
        let (status, said) = fanmill(&farm, &["merge", "--act", act]);
        assert_eq!(status, 0, "{said}");
    }
    same(&one, &farm.results());
    // A whole run afterwards has nothing left to do.
    let times = written(&farm);
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
    assert_eq!(changed(&times, &farm), [""; 0]);
    same(&one, &farm.results());
}

#[test]
fn a_failed_field_of_a_shard_costs_itself_alone() {
    let farm = Farm::demo();
    let log = |farm: &Farm| -> std::path::PathBuf {
        let mut logs: Vec<_> = walk(&farm.path("logs"));
        logs.sort();
        logs.remove(0)
    };
    std::fs::write(log(&farm), "this is no log\n").unwrap();
    assert_eq!(fanmill(&farm, &["run"]).0, 1);
    let one = farm.results();
    std::fs::remove_dir_all(farm.path("results")).unwrap();
    let mut failed = 0;
    for act in ACTS {
        for shard in ["1/2", "2/2"] {
            failed += fanmill(&farm, &["run", "--shard", shard, "--act", act]).0;
        }
        fanmill(&farm, &["merge", "--act", act]);
    }
    assert_eq!(failed, 3, "one shard has a failed field in every act");
    same(&one, &farm.results());
}

fn walk(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut all = vec![];
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(walk(&path));
        } else {
            all.push(path);
        }
    }
    all
}

#[test]
fn acts_out_of_their_order_say_what_is_missing() {
    let farm = Farm::demo();
    let (status, said) = fanmill(&farm, &["run", "--shard", "1/2", "--act", "scale"]);
    assert_eq!(status, 1);
    assert!(said.contains("merge JOB --act machines"), "{said}");
    let (status, said) = fanmill(&farm, &["merge", "--act", "machines"]);
    assert_eq!(status, 2);
    assert!(
        said.contains("fields have not been through the act"),
        "{said}"
    );
    assert_eq!(
        fanmill(&farm, &["run", "--shard", "3/2", "--act", "scale"]).0,
        2
    );
    assert_eq!(fanmill(&farm, &["run", "--shard", "1/2"]).0, 2);
}

#[test]
fn two_runs_on_one_results_folder_do_not_tread_on_each_other() {
    let farm = Farm::demo();
    std::fs::create_dir_all(farm.path("results/.fanmill")).unwrap();
    let lock = File::create(farm.path("results/.fanmill/lock")).unwrap();
    lock.lock().unwrap();
    for arguments in [
        &["run"][..],
        &["merge"],
        &["run", "--shard", "1/2", "--act", "write"],
    ] {
        let (status, said) = fanmill(&farm, arguments);
        assert_eq!(status, 2, "{said}");
        assert!(said.contains("another run of fanmill is at work"), "{said}");
    }
    drop(lock);
    assert_eq!(fanmill(&farm, &["run"]).0, 0);
}
