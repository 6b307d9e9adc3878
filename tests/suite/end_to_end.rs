//! Whole runs of the command: what a batch leaves behind, whatever is in it. Every run is held to the invariants of the
//! harness (rows, counts in every format, ledger, closure, no leaked NaN, exit status, unchanged inputs).

use std::fs;

use crate::harness::{Farm, Files, fanmill, small_field, small_season};
use fanmill::read::Ticket;

#[test]
fn the_demo_farm_is_done_and_the_same_bytes_whatever_the_thread_count() {
    let farm = Farm::demo();
    let one = farm.run(&["--threads", "1"]);
    assert_eq!(one.status, 0, "{}", one.stderr);
    assert!(one.stdout.contains("5 fields"), "{}", one.stdout);
    let first = farm.results();
    assert!(first.keys().filter(|f| f.ends_with("summary.json")).count() == 5);
    fs::remove_dir_all(farm.path("results")).expect("removed");
    let two = farm.run(&["--threads", "2"]);
    same(&first, &farm.results());
    assert_eq!(one.stdout, two.stdout);
    // Over its own results: the same again.
    farm.run(&["--threads", "2"]);
    same(&first, &farm.results());
}

fn same(a: &Files, b: &Files) {
    assert_eq!(
        a.keys().collect::<Vec<_>>(),
        b.keys().collect::<Vec<_>>(),
        "files"
    );
    for (name, bytes) in a {
        assert!(bytes == &b[name], "{name} differs");
    }
}

fn of_field(files: &Files, field: &str) -> Files {
    let part = format!("Heron Lane/Home/{field}/");
    files
        .iter()
        .filter(|(name, _)| name.starts_with(&part))
        .map(|(n, b)| (n.clone(), b.clone()))
        .collect()
}

#[test]
fn a_broken_field_costs_itself_alone() {
    let seasons = [
        small_season("Brook field", "brook", 1),
        small_season("Heron meadow", "heron", 2),
    ];
    let farm = Farm::of(&seasons);
    // Tickets of a field that is not in the job would be warned about.
    farm.edit("tickets.csv", |t| {
        let own = |l: &&str| !l.contains("Brook field");
        t.lines()
            .filter(own)
            .fold(String::new(), |all, l| all + l + "\n")
    });
    farm.job(&seasons[1..], "");
    assert_eq!(farm.run(&[]).status, 0);
    let alone = farm.results();
    fs::remove_dir_all(farm.path("results")).expect("removed");

    farm.job(&seasons, "");
    for name in farm.files().keys().filter(|n| n.starts_with("logs/brook/")) {
        farm.write(name, b"lon_deg,lat_deg\n10.2,54.1\n");
    }
    let run = farm.run(&[]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("Heron meadow: done"), "{}", run.stderr);
    same(
        &of_field(&alone, "Heron meadow"),
        &of_field(&farm.results(), "Heron meadow"),
    );
    assert!(of_field(&farm.results(), "Brook field").is_empty());

    let record = farm.run_record();
    let brook = &record["fields"][0];
    assert_eq!(
        (brook["field"].as_str(), brook["status"].as_str()),
        (Some("Brook field"), Some("failed"))
    );
    let error = brook["error"].as_str().expect("an error");
    assert!(
        run.stderr.contains(&format!("Brook field: {error}\n")),
        "{}",
        run.stderr
    );
    assert!(error.contains("logs/brook/"), "{error}");
}

#[test]
fn a_field_that_breaks_later_keeps_no_old_results_as_new_ones() {
    let seasons = [
        small_season("Brook field", "brook", 1),
        small_season("Heron meadow", "heron", 2),
    ];
    let farm = Farm::of(&seasons);
    assert_eq!(farm.run(&[]).status, 0);
    for name in farm.files().keys().filter(|n| n.starts_with("logs/brook/")) {
        farm.write(name, b"");
    }
    let run = farm.run(&[]);
    assert_eq!(run.status, 1);
    assert_eq!(farm.run_record()["fields"][0]["status"], "failed");
    let table = farm.text("results/summary.csv");
    assert!(
        table
            .lines()
            .any(|l| l.contains("Brook field") && l.contains("failed")),
        "{table}"
    );
    assert!(!farm.text("results/loads.csv").contains("Brook field"));
}

#[test]
fn old_results_give_way_to_what_the_job_asks_for_now() {
    let seasons = [small_season("Brook field", "brook", 1)];
    let farm = Farm::of(&seasons);
    farm.run(&[]);
    assert!(
        farm.path("results/Heron Lane/Home/Brook field/2025-maize/points.shp")
            .exists()
    );
    farm.edit("job.toml", |t| {
        t.replace("[\"geojson\", \"shapefile\"]", "[\"geojson\"]")
            .replace("[job]\n", "[job]\nlayers = [\"points\"]\n")
    });
    farm.run(&[]);
    let left: Vec<String> = of_field(&farm.results(), "Brook field")
        .into_keys()
        .collect();
    let folder = "Heron Lane/Home/Brook field/2025-maize";
    assert_eq!(
        left,
        [
            "map.png",
            "points.geojson",
            "points.qml",
            "points.sld",
            "report.html",
            "summary.json"
        ]
        .map(|file| format!("{folder}/{file}"))
    );
}

#[test]
fn nothing_is_written_where_the_job_cannot_be_used() {
    let farm = Farm::of(&[small_season("Brook field", "brook", 1)]);
    farm.edit("job.toml", |t| t.replace("crop = \"maize\"", "crop = 3"));
    let run = farm.run(&[]);
    assert_eq!(run.status, 2);
    assert!(run.stdout.is_empty());
    assert!(run.stderr.starts_with("error: "), "{}", run.stderr);
    assert!(!farm.path("results").exists());
}

#[test]
fn a_file_where_the_results_should_be_is_left_alone() {
    let farm = Farm::of(&[small_season("Brook field", "brook", 1)]);
    farm.write("results", b"mine");
    let run = farm.run(&[]);
    assert_eq!(run.status, 2);
    assert_eq!(farm.text("results"), "mine");
    assert_eq!(
        run.stderr,
        "error: cannot make the folder FARM/results\n\
         hint: a file stands where a folder is needed: move it away, or name another folder as `results` in [job]\n"
    );
}

#[test]
fn the_command_line_is_told_from_the_job() {
    let run = fanmill(&["run"]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("<JOB>"), "{}", run.stderr);
    let run = fanmill(&["run", "no-such-job.toml"]);
    assert_eq!(run.status, 2);
    assert!(
        run.stderr.starts_with("error: no-such-job.toml: "),
        "{}",
        run.stderr
    );
}

/// Tickets as a table of their own.
fn tickets(farm: &Farm, header: &str, rows: &[String]) {
    farm.write(
        "tickets.csv",
        format!("{header}\n{}\n", rows.join("\n")).as_bytes(),
    );
}

fn net(tickets: &[Ticket]) -> f64 {
    tickets.iter().map(|t| t.net_kg).sum()
}

#[test]
fn a_joint_ticket_closes_as_a_whole() {
    let season = small_season("Brook field", "brook", 1);
    let farm = Farm::of(std::slice::from_ref(&season));
    let loads: Vec<&str> = season.tickets.iter().map(|t| t.loads[0].as_str()).collect();
    assert!(loads.len() >= 3, "{loads:?}");
    let total = net(&season.tickets[..2]);
    tickets(
        &farm,
        "ticket,load,net_kg,moisture_pct",
        &[
            format!("900,{};{},{total},18.5", loads[0], loads[1]),
            format!("901,{},{},18.5", loads[2], season.tickets[2].net_kg),
        ],
    );
    assert_eq!(farm.run(&[]).status, 0);
    let summary = farm.summary("Brook field");
    let of_ticket: Vec<_> = summary["loads"]
        .as_array()
        .expect("loads")
        .iter()
        .filter(|l| l["ticket"] == "900")
        .collect();
    assert_eq!(of_ticket.len(), 2);
    let of = |k: usize, key: &str| of_ticket[k][key].as_f64().expect(key);
    // The scale knows the sum alone: each load has its expected factor, all of them times one number. One machine's
    // loads differ by what drift and neighbouring ground say of them.
    assert!((of(0, "factor") / of(1, "factor") - 1.0).abs() < 0.05);
    for key in ["weighed_kg", "corrected_kg"] {
        let sum = of(0, key) + of(1, key);
        assert!((sum / total - 1.0).abs() < 1e-9, "{key}: {sum} of {total}");
    }
}

#[test]
fn a_window_ticket_weighs_what_was_cut_in_its_window() {
    let mut spec = small_field("Brook field", "brook");
    spec.machines[0]
        .log
        .columns
        .retain(|c| *c != fanmill::simulate::Column::Load);
    let season = fanmill::simulate::simulate(&spec, 1).expect("a season");
    let farm = Farm::of(std::slice::from_ref(&season));
    let (first, last) = (season.rows[0].time, season.rows[season.rows.len() - 1].time);
    let iso = |t: f64| {
        jiff::Timestamp::from_second(t as i64)
            .expect("a time")
            .to_string()
    };
    let middle = iso((first + last) / 2.0);
    tickets(
        &farm,
        "ticket,start,end,net_kg,moisture_pct",
        &[
            format!("900,{},{middle},7000,18.5", iso(first - 10.0)),
            format!("901,{middle},{},8000,18.4", iso(last + 10.0)),
        ],
    );
    assert_eq!(farm.run(&[]).status, 0);
    let summary = farm.summary("Brook field");
    let loads = summary["loads"].as_array().expect("loads");
    let found: Vec<_> = loads
        .iter()
        .map(|l| (l["load"].as_str(), l["weighed_kg"].as_f64()))
        .collect();
    assert_eq!(found.len(), 2);
    for ((load, kg), (name, net)) in found.into_iter().zip([("900", 7000.0), ("901", 8000.0)]) {
        assert_eq!(load, Some(name));
        assert!(
            (kg.expect("weighed") / net - 1.0).abs() < 1e-9,
            "{name}: {kg:?}"
        );
    }
    assert!(
        (summary["grain"]["corrected_kg"].as_f64().expect("a mass") / 15_000.0 - 1.0).abs() < 1e-9
    );
}

#[test]
fn a_ticket_over_two_fields_closes_over_both() {
    let seasons = [
        small_season("Brook field", "brook", 1),
        small_season("Heron meadow", "heron", 2),
    ];
    let farm = Farm::of(&seasons);
    let (last, first) = (
        seasons[0].tickets.last().expect("a ticket"),
        seasons[1].tickets.first().expect("a ticket"),
    );
    let total = last.net_kg + first.net_kg;
    let mut rows = vec![format!(
        "900,{};{},{total},18.5",
        last.loads[0], first.loads[0]
    )];
    for t in seasons
        .iter()
        .flat_map(|s| &s.tickets)
        .filter(|t| t.id != last.id && t.id != first.id)
    {
        rows.push(format!(
            "{},{},{},{}",
            t.id,
            t.loads[0],
            t.net_kg,
            t.moisture_pct.expect("tested")
        ));
    }
    tickets(&farm, "ticket,load,net_kg,moisture_pct", &rows);
    assert_eq!(farm.run(&[]).status, 0);
    let mut weighed = 0.0;
    for field in ["Brook field", "Heron meadow"] {
        let summary = farm.summary(field);
        let part: Vec<f64> = summary["loads"]
            .as_array()
            .expect("loads")
            .iter()
            .filter(|l| l["ticket"] == "900")
            .map(|l| l["weighed_kg"].as_f64().expect("weighed"))
            .collect();
        assert_eq!(part.len(), 1, "{field}");
        weighed += part[0];
        assert!(
            !farm.warnings(field).iter().any(|w| w.0 == "unknown-load"),
            "{:?}",
            farm.warnings(field)
        );
    }
    assert!((weighed / total - 1.0).abs() < 1e-9, "{weighed} of {total}");
}

/// A log with a row for each section of the header is the log with a row for each moment: the same points, loads and
/// ledger, and nothing lost on the way.
#[test]
fn rows_of_sections_make_the_map_of_their_moments() {
    let farm = Farm::of(&[small_season("Brook field", "brook", 3)]);
    assert_eq!(farm.run(&[]).status, 0);
    let plain = farm.summary("Brook field");
    let logs: Vec<String> = farm
        .files()
        .into_keys()
        .filter(|f| f.starts_with("logs/") && f.ends_with(".csv"))
        .collect();
    assert!(!logs.is_empty());
    for log in &logs {
        farm.edit(log, in_sections);
    }
    farm.edit("job.toml", |job| {
        job.replacen("[[field]]", "[log]\nsection_width = \"own\"\n[[field]]", 1)
    });
    let run = fanmill(&["run", farm.path("job.toml").to_str().expect("a path")]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let gathered = farm.summary("Brook field");
    assert!(
        farm.warning("Brook field", "section-rows")
            .contains("4 sections")
    );
    let number = |of: &serde_json::Value, at: &str| {
        of.pointer(at).and_then(|v| v.as_f64()).expect("a number")
    };
    for at in ["/points/rows", "/points/unreadable", "/points/kept"] {
        assert_eq!(number(&gathered, at), number(&plain, at), "{at}");
    }
    assert_eq!(
        gathered["points"]["set_aside"],
        plain["points"]["set_aside"]
    );
    for at in [
        "/grain/logged_kg",
        "/grain/fault_kg",
        "/grain/corrected_kg",
        "/grain/weighed_kg",
        "/yield/mean",
        "/area_ha",
    ] {
        let (a, b) = (number(&gathered, at), number(&plain, at));
        assert!((a - b).abs() <= 1e-6 * b.abs(), "{at}: {a} and {b}");
    }
    // The ledger balances.
    let sum = |of: &serde_json::Value, list: &str, key: &str| -> f64 {
        let lines = of[list].as_array().expect("lines").iter();
        lines.map(|l| l[key].as_f64().expect("a number")).sum()
    };
    let corrected = number(&gathered, "/grain/corrected_kg");
    for (list, key) in [("ledger", "kg"), ("loads", "corrected_kg")] {
        let all = sum(&gathered, list, key);
        assert!(
            (all - corrected).abs() < 1e-6 * corrected,
            "{list}: {all} and {corrected}"
        );
    }
}

/// Each row as four: a tenth, two, three and four tenths of its flow on a quarter of the header each.
fn in_sections(text: String) -> String {
    let mut lines = text.lines();
    let header = lines.next().expect("a header");
    let place = |name: &str| header.split(',').position(|h| h == name);
    let (flow, width) = (
        place("flow_kg_s").expect("a flow"),
        place("width_m").expect("a width"),
    );
    let mut out = format!("{header},section\n");
    for line in lines.filter(|l| !l.is_empty()) {
        for section in 1..=4u32 {
            let cell = |(k, c): (usize, &str)| match c.parse::<f64>() {
                Ok(v) if k == flow => format!("{}", v * f64::from(section) / 10.0),
                Ok(v) if k == width => format!("{}", v / 4.0),
                _ => c.to_owned(),
            };
            let cells: Vec<String> = line.split(',').enumerate().map(cell).collect();
            out += &format!("{},{section}\n", cells.join(","));
        }
    }
    out
}
