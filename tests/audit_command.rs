//! `fanmill loads` on files: what it prints, what it returns, and that it writes nothing.

mod audit_made;

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use fanmill::audit::{AuditCode, audit};
use fanmill::report::audit::{Listed, text};

fn loads(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fanmill"))
        .arg("loads")
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Every path below a folder.
fn tree(folder: &Path) -> BTreeSet<PathBuf> {
    let mut found = BTreeSet::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(tree(&path));
        }
        found.insert(path);
    }
    found
}

/// A log of a pass to the north and back, 240 rows of 10 kg/s: 1,200 kg a load.
fn log(clock: bool, loads: [&str; 2]) -> String {
    let mut text = String::from(
        "time_s,interval_s,lon_deg,lat_deg,width_m,machine,load,flow_kg_s,moisture_pct\n",
    );
    for k in 0..240 {
        let (pass, along) = (k / 120, if k < 120 { k } else { 239 - k });
        let time = if clock {
            format!("{}", 1_759_478_400 + k)
        } else {
            String::new()
        };
        // The flow is never twice the same, as a sensor that is stuck would have it.
        let flow = 10.0 + 0.01 * f64::from(k % 7) - 0.03;
        writeln!(
            text,
            "{time},1,{:.7},{:.7},9,C1,{},{flow:.2},15.0",
            10.0 + 0.00014 * f64::from(pass),
            54.0 + 0.000018 * f64::from(along),
            loads[pass as usize]
        )
        .unwrap();
    }
    text
}

fn job(folder: &Path, fields: &[(&str, &str)]) {
    let mut text = String::from("[job]\nname = \"x\"\n");
    for (name, file) in fields {
        write!(
            text,
            "[[field]]\nclient = \"a\"\nfarm = \"b\"\nname = \"{name}\"\nseason = 2025\ncrop = \"maize\"\nlogs = [\"{file}\"]\ntickets = [\"tickets.csv\"]\n"
        )
        .unwrap();
    }
    std::fs::write(folder.join("job.toml"), text).unwrap();
}

#[test]
fn fields_that_cannot_be_read_are_named_and_the_others_audited() {
    let dir = tempfile::tempdir().unwrap();
    let here = dir.path();
    job(
        here,
        &[
            ("North", "north.csv"),
            ("South", "south.csv"),
            ("Lost", "lost.csv"),
        ],
    );
    std::fs::write(here.join("north.csv"), log(true, ["N1", "N2"])).unwrap();
    std::fs::write(here.join("south.csv"), log(false, ["", ""])).unwrap();
    std::fs::write(
        here.join("tickets.csv"),
        "ticket,load,field,net_kg,moisture_pct,start,end\n\
         A,N1,North,1140,14,,\n\
         B,N3,North,1150,14,,\n\
         C,,South,2300,14,2025-10-03T08:00:00Z,2025-10-03T09:00:00Z\n",
    )
    .unwrap();
    let before = tree(here);
    let output = loads(here, &["job.toml", "--format", "json"]);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(tree(here), before, "something was written");
    let a = json(&output);
    assert_eq!(a["failed"][0]["field"], "Lost");
    assert!(
        a["failed"][0]["error"]
            .as_str()
            .unwrap()
            .contains("lost.csv")
    );
    let ticket = |id: &str| {
        let all = a["tickets"].as_array().unwrap();
        all.iter().find(|t| t["ticket"] == id).unwrap().clone()
    };
    let of = |id: &str| {
        ticket(id)["remarks"][0]["code"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    assert!((ticket("A")["logged_kg"].as_f64().unwrap() - 1200.0).abs() < 1.0);
    assert!((ticket("A")["moisture_offset_pct"].as_f64().unwrap() + 1.0).abs() < 1e-9);
    assert_eq!(of("A"), "small-load");
    assert_eq!(of("C"), "no-clock");
    assert_eq!(a["input"][0]["remark"]["code"], "unknown-load");
    let said = a["input"][0]["remark"]["text"].as_str().unwrap();
    assert!(
        said.contains("\"N3\"") && said.contains("N2 (logged 1200 kg)"),
        "{said}"
    );
    // The same in words, and on standard error the field that failed.
    let output = loads(here, &["job.toml"]);
    assert_eq!(output.status.code(), Some(1));
    let words = String::from_utf8(output.stdout).unwrap();
    for part in [
        "1 field could not be read",
        "Lost",
        "no-clock",
        "unknown-load",
        "settlement",
    ] {
        assert!(words.contains(part), "{part} is not in\n{words}");
    }
    assert!(String::from_utf8(output.stderr).unwrap().contains("Lost"));
}

#[test]
fn remarks_are_no_failure_and_an_unusable_job_is() {
    let dir = tempfile::tempdir().unwrap();
    let here = dir.path();
    job(here, &[("North", "north.csv")]);
    std::fs::write(here.join("north.csv"), log(true, ["N1", "N2"])).unwrap();
    std::fs::write(here.join("tickets.csv"), "load,net_kg\nN1,1000\nN2,1190\n").unwrap();
    let output = loads(here, &["job.toml"]);
    assert_eq!(output.status.code(), Some(0));
    assert!(
        String::from_utf8(output.stdout)
            .unwrap()
            .contains("Look up first")
    );
    assert_eq!(loads(here, &["none.toml"]).status.code(), Some(2));
    assert_eq!(
        loads(here, &["job.toml", "--format", "xml"]).status.code(),
        Some(2)
    );
    std::fs::write(here.join("job.toml"), "[job]\nnme = \"x\"\n").unwrap();
    let output = loads(here, &["job.toml"]);
    assert_eq!((output.status.code(), output.stdout.len()), (Some(2), 0));
}

/// On the demo farm one ticket is wrong (its README says so, and its truth which): it is the first to check.
#[test]
fn the_wrong_ticket_of_the_demo_is_the_first_to_check() {
    let dir = tempfile::tempdir().unwrap();
    let farm = dir.path().join("farm");
    fanmill::simulate::write_demo(&farm).unwrap();
    let truth = std::fs::read_to_string(farm.join("truth/truth.json")).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
    let output = loads(&farm, &["job.toml", "--format", "json"]);
    assert_eq!(output.status.code(), Some(0));
    let a = json(&output);
    let first = &a["tickets"][0];
    let (wrong, right) = wrong_ticket(&truth, &farm);
    assert_eq!(first["ticket"], wrong.as_str());
    assert_eq!(first["remarks"][0]["code"], "doubtful-ticket");
    // The machine's others lead to expect what was truly there, within 3 %.
    let expected = first["expected_kg"].as_f64().unwrap();
    assert!(
        (expected / right - 1.0).abs() < 0.03,
        "{expected} for {right}"
    );
    let doubted = a["tickets"].as_array().unwrap().iter().filter(|t| {
        (t["remarks"].as_array().unwrap().iter()).any(|r| r["code"] == "doubtful-ticket")
    });
    assert_eq!(doubted.count(), 1);
    // Twice the same bytes.
    assert_eq!(
        loads(&farm, &["job.toml", "--format", "json"]).stdout,
        output.stdout
    );
    let words = String::from_utf8(loads(&farm, &["job.toml"]).stdout).unwrap();
    let list = words.split("Look up first").nth(1).unwrap();
    let list = list.split_once('\n').unwrap().1;
    assert!(words.lines().all(|l| l.chars().count() <= 100), "{words}");
    assert!(words.lines().count() <= 120, "{}", words.lines().count());
    // Its place in a spreadsheet, and what a run does with it.
    let line = first["line"].as_u64().unwrap();
    assert_eq!(line, first["row"].as_u64().unwrap() + 1);
    let file = std::fs::read_to_string(farm.join("tickets.csv")).unwrap();
    let there = file.lines().nth(line as usize - 1).unwrap();
    assert!(there.starts_with(&format!("{wrong},")), "{there}");
    assert_eq!(first["in_run"], "held-out");
    // Every ticket, on demand.
    let all = String::from_utf8(loads(&farm, &["job.toml", "--all"]).stdout).unwrap();
    for ticket in a["tickets"].as_array().unwrap() {
        let name = ticket["ticket"].as_str().unwrap();
        assert!(
            all.contains(&format!("\n  {name} ")),
            "{name} is not in\n{all}"
        );
    }
    assert!(
        list.trim_start()
            .starts_with(&format!("1. ticket {wrong} ")),
        "{list}"
    );
}

/// The ticket that is farthest from the truth of its load, and that truth, kg.
fn wrong_ticket(truth: &serde_json::Value, farm: &Path) -> (String, f64) {
    let mut of_load = std::collections::BTreeMap::new();
    masses(truth, &mut of_load);
    let file = std::fs::read_to_string(farm.join("tickets.csv")).unwrap();
    let mut worst = (0.0, String::new(), f64::NAN);
    for line in file.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let right: f64 = cells[1].split(';').map(|l| of_load[l]).sum();
        let off = (cells[3].parse::<f64>().unwrap() / right).ln().abs();
        if off > worst.0 {
            worst = (off, cells[0].to_owned(), right);
        }
    }
    assert!(worst.0 > 0.03, "no ticket is wrong");
    (worst.1, worst.2)
}

/// True masses of loads, wherever they stand in the truth.
fn masses(value: &serde_json::Value, into: &mut std::collections::BTreeMap<String, f64>) {
    match value {
        serde_json::Value::Array(items) => items.iter().for_each(|v| masses(v, into)),
        serde_json::Value::Object(members) => {
            if let (Some(load), Some(kg)) = (
                members.get("load").and_then(|l| l.as_str()),
                members.get("sensor_kg").and_then(|k| k.as_f64()),
            ) {
                *into.entry(load.to_owned()).or_default() += kg;
            }
            members.values().for_each(|v| masses(v, into));
        }
        _ => {}
    }
}

/// The table of codes in the README is the code's, in its order.
#[test]
fn every_code_is_explained_in_its_order() {
    let readme = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    let readme = std::fs::read_to_string(readme).unwrap();
    let section = readme.split("\n## Audit of tickets\n").nth(1).unwrap();
    let section = section.split("\n## ").next().unwrap();
    let listed: Vec<&str> = section
        .lines()
        .filter_map(|l| l.strip_prefix("| `")?.split('`').next())
        .collect();
    assert_eq!(listed, AuditCode::ALL.map(AuditCode::name));
}

/// What an outsider reads: which ticket to check first, and why.
#[test]
fn the_text_of_a_small_audit() {
    use audit_made::*;
    let mut made = good(|l, t| {
        t[2].net_kg = 13_869.0;
        l.push(load(6, 7300.0, 12.0));
        at(&mut l[6], MORNING + 86_400.0);
    });
    made.tickets[1].id = "T2 \u{1b}[31m".into();
    insta::assert_snapshot!(text(&audit(&[made]), Listed::All), @r#"
    6 tickets held against the logs; 5 of 6 agree within 3 % with what the machine's other tickets lead
    to expect; 1 logged load (7 t) without a ticket.

    Check first
      1. ticket T3 (tickets.csv, row 3), load L3 of Brook field: mistyped-ticket
         why: 13869 kg are 2.24 times the 6199 kg that the 5 other tickets of C1 in maize lead to
              expect. The number would fit as pounds, but stands as kilograms: 6291 kg, to within 1.5 %
         do:  compare the number with the paper, and correct the row if it is so

    C1 in maize
      tickets      6 tickets (the others contradict 1; the figures are without), 86 % of the 53 t
                   logged, 2025-10-03
      factor       0.947 ± 1.0 %; single loads scatter by 0.8 % (one sd); leave-one-out error 0.9 %
      weighed      flow 9.0 to 14.0 kg/s; moisture 18.2 %; moisture offset +0.2
      can tell     the level, to ±1.0 %; how single loads scatter; whether the error depends on flow
      cannot tell  an error that all its tickets share, such as the scale's own
      all          Brook field, 2025-10-03
      ticket    load  logged kg  weighed kg  diff %  factor  left %  flow kg/s          moisture %  min  remarks
      T3        L3         6544       13869   -52.8   2.119   -55.3   8.0–12.0  18.0 → 18.2 (+0.2)   11  mistyped-ticket
      T4        L4         8874        8329    +6.5   0.939    +1.2  11.2–16.8  18.0 → 18.2 (+0.2)   11
      T6        L6         7767        7423    +4.6   0.956    -1.1  10.4–15.6  18.0 → 18.2 (+0.2)   10
      T1        L1         7421        7078    +4.8   0.954    -0.8   7.2–10.8  18.0 → 18.2 (+0.2)   14
      T2 �[31m  L2         8013        7544    +6.2   0.941    +0.8  10.0–15.0  18.0 → 18.2 (+0.2)   11
      T5        L5         7105        6743    +5.4   0.949    -0.2   8.8–13.2  18.0 → 18.2 (+0.2)   11
      no ticket    Brook field, 7.3 t logged: L7

    diff: logged over weighed, + where the monitor reads too much; factor: weighed over logged; left:
    what is left of diff with the factor of the machine's other tickets (common practice: within 3);
    flow: a tenth of the grain passed below, a tenth above; moisture: logged → tested (offset, to be
    added to the log); min: time over which grain flowed. Worst first.

    Worth weighing next time, most needed first
      1. one load of C1 in maize on every day: none was weighed on 2025-10-04, when 7 t were logged

    Maps are not for settlement, rent or insurance: certified scale tickets decide.
    "#);
    insta::assert_snapshot!(text(&audit(&[]), Listed::ToCheck), @r#"
    0 tickets held against the logs.

    No ticket to check.

    Maps are not for settlement, rent or insurance: certified scale tickets decide.
    "#);
}
