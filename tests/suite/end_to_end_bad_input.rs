//! What a user sees when an input is not as it should be: the whole message, and that the other field of the batch is
//! done all the same. The readers' own tests say what they make of single rows; these go through the command.

use std::fmt::Write as _;
use std::fs;

use crate::harness::{Farm, small_season};

/// A job of two fields; the log of the first, Brook field, is the one that goes wrong.
fn farm() -> Farm {
    let farm = Farm::of(&[
        small_season("Brook field", "brook", 1),
        small_season("Heron meadow", "heron", 2),
    ]);
    assert!(farm.path(LOG).exists());
    farm
}

const LOG: &str = "logs/brook/C1-2025-10-03.csv";

/// Exit status, what was said, and the warnings of the field where it was done. The other field must be done.
fn seen(farm: &Farm) -> String {
    let run = farm.run(&["--quiet", "--threads", "1"]);
    assert_eq!(run.stdout, "");
    let mut out = format!("status {}\n{}", run.status, run.stderr);
    if run.status == 2 {
        return out;
    }
    let record = farm.run_record();
    let fields = record["fields"].as_array().expect("fields");
    let other = farm.summary("Heron meadow");
    assert!(
        other["points"]["kept"].as_u64() > Some(300),
        "the other field is not whole"
    );
    assert_eq!(fields[1]["status"], "done");
    if fields[0]["status"] == "done" {
        // The field is too small to tell a delay; its other warnings are what is looked at.
        let warnings = farm.warnings("Brook field").into_iter();
        for (code, text) in warnings.filter(|w| w.0 != "delay-refused") {
            let _ = writeln!(out, "{code}: {text}");
        }
    } else {
        let error = fields[0]["error"].as_str().expect("an error");
        let root = farm.path("").display().to_string();
        let told = format!("Brook field: {}\n", error.replace(&root, "FARM"));
        assert!(
            run.stderr.contains(&told),
            "the record and the terminal say different things"
        );
    }
    out
}

/// Rewrites one column of the log, row by row (from 1).
fn column(farm: &Farm, name: &str, with: impl Fn(usize, &str) -> String) {
    farm.edit(LOG, |text| {
        let mut lines = text.lines();
        let header = lines.next().expect("a header");
        let at = header
            .split(',')
            .position(|h| h == name)
            .expect("the column");
        let mut out = format!("{header}\n");
        for (n, line) in lines.enumerate() {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            cells[at] = with(n + 1, &cells[at]);
            let _ = writeln!(out, "{}", cells.join(","));
        }
        out
    });
}

#[test]
fn nothing_is_wrong_to_begin_with() {
    insta::assert_snapshot!(seen(&farm()), @r#"
    status 0
    "#);
}

#[test]
fn a_missing_file() {
    let farm = farm();
    fs::remove_file(farm.path(LOG)).expect("removed");
    insta::assert_snapshot!(seen(&farm), @r#"
    status 1
    Brook field: logs/brook/*.csv: expected a log of field "Brook field", found no file of that name or pattern (hint: the folder "logs/brook" is empty)
    "#);
}

#[test]
fn an_empty_file() {
    let farm = farm();
    farm.write(LOG, b"");
    insta::assert_snapshot!(seen(&farm), @r#"
    status 1
    Brook field: logs/brook/C1-2025-10-03.csv: expected a header and rows, found an empty file (hint: export it again, or take it off the list)
    "#);
}

#[test]
fn a_header_and_no_rows() {
    let farm = farm();
    farm.edit(LOG, |t| {
        t.lines().next().expect("a header").to_owned() + "\n"
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 1
    Brook field: logs/brook/C1-2025-10-03.csv: expected rows under the header, found none (hint: export it again, or take it off the list)
    "#);
}

#[test]
fn no_flow_column() {
    let farm = farm();
    farm.edit(LOG, |t| t.replacen("flow_kg_s", "engine_rpm", 1));
    insta::assert_snapshot!(seen(&farm), @r#"
    status 1
    Brook field: logs/brook/C1-2025-10-03.csv: expected a column of grain flow such as flow_kg_s (or of mass per row, mass_kg, or of yield, yield_t_ha), found the columns time, interval_s, lon_deg, lat_deg, speed_m_s, distance_m, width_m, work_state, pass, machine, load, engine_rpm, moisture_pct (hint: name it in the job file: [log] columns = { flow = "HEADER" }, units = { flow = "kg/s" })
    "#);
}

#[test]
fn text_in_a_number() {
    let farm = farm();
    column(&farm, "flow_kg_s", |n, v| {
        if n == 7 { "error".into() } else { v.into() }
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 0
    unreadable-rows: 1 of 1357 rows cannot be read: logs/brook/C1-2025-10-03.csv, row 7, column "flow_kg_s": expected a number, found "error"
    "#);
}

#[test]
fn a_latitude_off_the_globe() {
    let farm = farm();
    column(&farm, "lat_deg", |n, v| {
        if n == 100 { "95".into() } else { v.into() }
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 0
    bad-position: 1 of 1357 rows have no usable position; the first is logs/brook/C1-2025-10-03.csv, row 100, column "lat_deg": expected a latitude from -90 to 90 degrees, found 95
    "#);
}

#[test]
fn longitude_and_latitude_in_each_others_place() {
    let farm = farm();
    farm.edit(LOG, |t| {
        t.replacen("lon_deg", "x", 1)
            .replacen("lat_deg", "lon_deg", 1)
            .replacen("x,", "lat_deg,", 1)
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 1
    Brook field: logs/brook/C1-2025-10-03.csv: expected longitude and latitude in their own columns, found positions that lie in "boundaries/brook.geojson" only the other way round: they look swapped (hint: write in the job file: [log] columns = { lon = "lat_deg", lat = "lon_deg" })
    "#);
}

#[test]
fn decimal_commas() {
    let farm = farm();
    let points = farm.text(LOG);
    let commas: String = points
        .lines()
        .enumerate()
        .map(|(n, line)| {
            let cells: Vec<String> = line
                .split(',')
                .map(|c| {
                    if n > 0 && c.parse::<f64>().is_ok() {
                        c.replace('.', ",")
                    } else {
                        c.to_owned()
                    }
                })
                .collect();
            cells.join(";") + "\n"
        })
        .collect();
    assert_eq!(farm.run(&["--quiet"]).status, 0);
    let before = farm.summary("Brook field");
    farm.write(LOG, commas.as_bytes());
    insta::assert_snapshot!(seen(&farm), @r#"
    status 0
    "#);
    assert_eq!(
        farm.summary("Brook field"),
        before,
        "read as numbers with points"
    );
}

#[test]
fn a_last_line_cut_off() {
    let farm = farm();
    farm.edit(LOG, |t| {
        let end = t.trim_end().len();
        let last = t[..end].rfind('\n').expect("lines") + 1;
        t[..last + 30].to_owned()
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 0
    unreadable-rows: 1 of 1357 rows cannot be read: logs/brook/C1-2025-10-03.csv, row 1357: expected 13 fields, found 3 (the line ends early)
    "#);
}

#[test]
fn utf_16_and_byte_order_marks() {
    let farm = farm();
    assert_eq!(farm.run(&["--quiet"]).status, 0);
    // The record of the run holds a hash of the input's bytes.
    let results = || {
        let mut files = farm.results();
        files.remove("run.json");
        files
    };
    let before = results();
    let text = farm.text(LOG);
    let utf_8 = [b"\xef\xbb\xbf".as_slice(), text.as_bytes()].concat();
    let little: Vec<u8> = "\u{feff}"
        .encode_utf16()
        .chain(text.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    let big: Vec<u8> = "\u{feff}"
        .encode_utf16()
        .chain(text.encode_utf16())
        .flat_map(u16::to_be_bytes)
        .collect();
    for bytes in [utf_8, little, big] {
        farm.write(LOG, &bytes);
        assert_eq!(farm.run(&["--quiet"]).status, 0);
        assert!(results() == before, "other bytes, same log, other results");
    }
}

#[test]
fn a_ticket_for_an_unknown_load() {
    let farm = farm();
    farm.edit("tickets.csv", |t| {
        t.replacen("brook-C1-02", "brook-C1-20", 1)
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 0
    unknown-load: tickets.csv, row 2: expected a load of the field's logs, found "brook-C1-20"; the logs have the loads brook-C1-01, brook-C1-02, brook-C1-03, brook-C1-04. Ticket brook-102 is left out until the load's name is put right
    "#);
}

#[test]
fn a_negative_ticket() {
    let farm = farm();
    farm.edit("tickets.csv", |t| ticket_mass(&t, "brook-102", "-4210"));
    insta::assert_snapshot!(seen(&farm), @r#"
    status 0
    bad-ticket: tickets.csv, row 2, column "net_kg": expected a net weight above 0, found "-4210"; the ticket is left out: its loads count as unweighed until the row is put right
    "#);
}

fn ticket_mass(table: &str, ticket: &str, kg: &str) -> String {
    let line = |line: &str| {
        let mut cells: Vec<&str> = line.split(',').collect();
        if cells[0] == ticket {
            cells[3] = kg;
        }
        cells.join(",") + "\n"
    };
    table.lines().map(line).collect()
}

#[test]
fn two_tickets_for_one_load() {
    let farm = farm();
    farm.edit("tickets.csv", |t| {
        t.replacen("brook-C1-02", "brook-C1-01", 1)
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 0
    two-tickets: tickets.csv, row 1 and tickets.csv, row 2: expected one ticket for load "brook-C1-01", found two, brook-101 and brook-102; both are left out: correct the load of one, or set use = no on it
    "#);
}

#[test]
fn an_unknown_crop() {
    let farm = farm();
    farm.edit("job.toml", |t| {
        t.replacen("crop = \"maize\"", "crop = \"miaze\"", 1)
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 2
    error: job.toml:9:8, field 1, crop: expected a crop of the job's [crop.NAME] or one of maize, soybean, wheat, oats, barley, sorghum, rye, canola, sunflower, rice, flax, found "miaze"
    hint: give it a section with both values: [crop.miaze] reference_moisture = "14 %", bushel_weight = "60 lb"
    "#);
}

#[test]
fn an_unknown_unit() {
    let farm = farm();
    farm.edit(LOG, |t| t.replacen("flow_kg_s", "flow_stone_s", 1));
    insta::assert_snapshot!(seen(&farm), @r#"
    status 1
    Brook field: logs/brook/C1-2025-10-03.csv: expected a column of grain flow such as flow_kg_s (or of mass per row, mass_kg, or of yield, yield_t_ha), found the columns time, interval_s, lon_deg, lat_deg, speed_m_s, distance_m, width_m, work_state, pass, machine, load, flow_stone_s, moisture_pct (hint: name it in the job file: [log] columns = { flow = "HEADER" }, units = { flow = "kg/s" })
    "#);
}

#[test]
fn an_unknown_unit_in_the_job() {
    let farm = farm();
    farm.edit("job.toml", |t| {
        t + "[[machine]]\nname = \"C1\"\nheader_width = \"9 ells\"\n"
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 2
    error: job.toml:24:16, machine 1, header_width: expected a length with its unit, such as "9.1 m", found "9 ells"
    hint: "ells" in "9 ells" is not one of its units; units of a length are m, cm, mm, km, ft, in, mi
    "#);
}

#[test]
fn a_boundary_that_is_a_line() {
    let farm = farm();
    farm.write(
        "boundaries/brook.geojson",
        br#"{"type":"LineString","coordinates":[[10.2,54.1],[10.201,54.1],[10.201,54.101]]}"#,
    );
    insta::assert_snapshot!(seen(&farm), @r#"
    status 1
    Brook field: boundaries/brook.geojson: expected a boundary of polygons, found a LineString (feature 1) (hint: draw the field's outline as a polygon, or leave `boundary` out)
    "#);
}

#[test]
fn a_boundary_a_thousand_kilometres_away() {
    let farm = farm();
    farm.write(
        "boundaries/brook.geojson",
        br#"{"type":"Polygon","coordinates":[[[10.2,45.1],[10.21,45.1],[10.21,45.11],[10.2,45.1]]]}"#,
    );
    insta::assert_snapshot!(seen(&farm), @r#"
    status 1
    Brook field: boundaries/brook.geojson: expected a boundary around the log's points, found none of them in it: the middle of the boundary is 1000 km from that of the log (hint: check that it is the right field's file, and that its coordinates are longitude first, then latitude)
    "#);
}

#[test]
fn nan_in_the_job_file() {
    let farm = farm();
    farm.edit("job.toml", |t| {
        t + "[[machine]]\nname = \"C1\"\nheader_width = \"NaN m\"\n"
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 2
    error: job.toml:24:16, machine 1, header_width: expected a length with its unit, such as "9.1 m", found "NaN m"
    hint: "NaN m" does not start with a finite number; units of a length are m, cm, mm, km, ft, in, mi
    "#);
    assert!(!farm.path("results").exists());
    farm.edit("job.toml", |t| t.replace("\"NaN m\"", "nan"));
    insta::assert_snapshot!(seen(&farm), @r#"
    status 2
    error: job.toml:24:16, machine 1, header_width: expected a length with its unit, such as "9.1 m", found nan
    "#);
}

#[cfg(unix)]
#[test]
fn a_results_folder_that_cannot_be_written() {
    use std::os::unix::fs::PermissionsExt;
    let farm = farm();
    let results = farm.path("results");
    fs::create_dir(&results).expect("made");
    fs::set_permissions(&results, fs::Permissions::from_mode(0o555)).expect("set");
    if fs::write(results.join("probe"), b"").is_ok() {
        eprintln!("skipped: this user may write anywhere");
        return;
    }
    insta::assert_snapshot!(seen(&farm), @r#"
    status 2
    error: cannot write FARM/results/.fanmill-probe
    hint: make the results folder writable, or name another one as `results` in [job]
    "#);
}

#[test]
fn no_place_for_results() {
    let farm = farm();
    farm.write("taken", b"a file");
    farm.edit("job.toml", |t| {
        t.replacen("[job]\n", "[job]\nresults = \"taken/results\"\n", 1)
    });
    insta::assert_snapshot!(seen(&farm), @r#"
    status 2
    error: cannot make the folder FARM/taken/results
    hint: a file stands where a folder is needed: move it away, or name another folder as `results` in [job]
    "#);
}

#[test]
fn a_field_folder_that_is_taken() {
    let farm = farm();
    farm.write("results/Heron Lane/Home/Brook field", b"a file");
    insta::assert_snapshot!(seen(&farm), @r#"
    status 1
    Brook field: cannot make the folder FARM/results/Heron Lane/Home/Brook field/2025-maize: File exists (os error 17) (hint: a file stands where a folder is needed: move it away, or name another folder as `results` in [job])
    "#);
}
