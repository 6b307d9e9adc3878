//! `fanmill loads` on files: what it prints, what it returns, and that it writes nothing.

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
    let readme = crate::outside::project("README.md");
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
    use crate::audit_made::*;
    let mut made = good(|l, t| {
        t[2].net_kg = 13_869.0;
        l.push(load(6, 7300.0, 12.0));
        at(&mut l[6], MORNING + 86_400.0);
    });
    made.tickets[1].id = "T2 \u{1b}[31m".into();
    insta::assert_snapshot!(text(&audit(&[made]), Listed::All), @r#"
    6 tickets held against the logs; 5 of 6 agree within 3 % with what the machine's other tickets lead
    to expect; 1 logged load (7 t) without a ticket.

    Look up first, worst first (line: as a spreadsheet shows it; run: what fanmill run will do)
      1. ticket T3 (tickets.csv, line 4), load L3 of Brook field, 3 Oct 10:00: mistyped-ticket
         why: 13869 kg are 2.24 times the 6199 kg that the 5 other tickets of C1 in maize lead to
              expect. The number would fit as pounds, but stands as kilograms: 6291 kg, to within 1.5 %
         do:  compare the number with the paper, and correct the row if it is so
         run: holds it out, and its load gets its factor from others; use = yes on its row would obey it

    Good to know, on no paper
      - C1 reads 5.6 % high in maize

    Machines
                   tickets  weighed %  factor  ± %  load ± %  flows kg/s  moisture   days
      C1 in maize   5 of 6         86   0.947  1.0       0.9    9.0–14.0      +0.2  3 Oct
      tickets: those that the others do not contradict, of all; weighed: of the logged grain; factor:
      weighed over logged, with ± as far as it is uncertain (95 %); load ±: what a load without a ticket
      may usually be off by, and one in twenty by twice that; flows: from the lowest to the highest
      middle flow of the loads weighed (within a load it varies more); moisture: tested less logged,
      points.

    What these tickets cannot tell
      - C1 in maize: an error that all tickets share, such as the scale's own

    Loads without a ticket (add a row for any whose paper turns up)
      C1 in Brook field, 7.3 t logged: L7

    For next season: what to weigh. First stands what puts most grain in doubt (grain that rests on it,
    times how far such grain is usually off)
      1. a full load of C1 in maize (about 7 t) on every day of harvest, because sensors stray from day
         to day: this season none was weighed on 4 Oct, when 7 t were logged (up to 0.1 t off)

    Every ticket of C1 in maize, farthest off first
      ticket    line  load        began  logged  weighed  expected   off %  kg/s  moist
      T3           4  L3    3 Oct 10:00    6544    13869      6199  +123.7  10.0   +0.2
      T4           5  L4    3 Oct 11:00    8874     8329      8430    -1.2  14.0   +0.2
      T6           7  L6    3 Oct 13:00    7767     7423      7342    +1.1  13.0   +0.2
      T1           2  L1    3 Oct 08:00    7421     7078      7019    +0.8   9.0   +0.2
      T2 �[31m     3  L2    3 Oct 09:00    8013     7544      7603    -0.8  12.5   +0.2
      T5           6  L5    3 Oct 12:00    7105     6743      6728    +0.2  11.0   +0.2

    logged: kg, after faults are replaced; off %: weighed against expected, + where the ticket is
    heavier; kg/s: middle flow of the load; moist: tested less logged moisture, points.

    Maps are not for settlement, rent or insurance: certified scale tickets decide.
    "#);
    insta::assert_snapshot!(text(&audit(&[]), Listed::ToCheck), @r#"
    0 tickets held against the logs.

    No ticket to check.

    Maps are not for settlement, rent or insurance: certified scale tickets decide.
    "#);
}
