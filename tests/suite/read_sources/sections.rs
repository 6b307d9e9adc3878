//! Logs with a row for each section of the header: against the same log with one row a moment, and against numbers
//! worked out by hand.

use fanmill::read::FieldInput;
use proptest::prelude::*;

use super::farm::{codes, read_crop, said, write};

const METRES: f64 = 111_320.0;
const LAT: f64 = 54.0;

/// Reads a table as a field of maize whose machine has a header of that width.
fn read(text: &str, log: &str, header: Option<f64>) -> Result<FieldInput, String> {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "log.csv", text.as_bytes());
    let width = header.map_or(String::new(), |w| format!("header_width = \"{w} m\"\n"));
    let sections = format!("[log]\n{log}\n[[machine]]\nname = \"C1\"\n{width}");
    read_crop(
        folder.path(),
        "F",
        "logs = [\"log.csv\"]",
        &sections,
        "maize",
    )
    .map_err(|e| said(&e))
}

/// Three sections of 2 m, heading north. By hand: with all at work 1 + 2 + 3 = 6 kg/s over 6 m, in the middle; with the
/// eastern one off 1 + 2 kg/s and what it still carries over 4 m, a metre west of the middle: 10 + (−0.00003 + 0) / 2.
#[test]
fn three_sections_are_one_row() {
    let mut text =
        "time,section,lon_deg,lat_deg,flow_kg_s,width_m,work_state,moisture_pct,load\n".to_owned();
    for second in 0..9 {
        for (section, lon, flow, moisture) in [
            (1, 9.99997, 1.0, 14.0),
            (2, 10.0, 2.0, 15.0),
            (3, 10.00003, 3.0, 16.0),
        ] {
            let off = second == 3 && section == 3;
            let (flow, work) = if off { (0.5, 0) } else { (flow, 1) };
            let lat = LAT + 1.5e-5 * f64::from(second);
            text += &format!(
                "2025-09-12T08:00:0{second}Z,{section},{lon},{lat},{flow},2,{work},{moisture},L7\n"
            );
        }
    }
    let input = read(&text, "", None).expect("read");
    let log = &input.log;
    assert_eq!(log.row, [1, 4, 7, 10, 13, 16, 19, 22, 25]);
    assert_eq!(log.flow, [6.0, 6.0, 6.0, 3.5, 6.0, 6.0, 6.0, 6.0, 6.0]);
    assert_eq!(log.width, [6.0, 6.0, 6.0, 4.0, 6.0, 6.0, 6.0, 6.0, 6.0]);
    assert_eq!(log.moisture[2..5], [15.0, 14.5, 15.0]);
    for (row, lon) in [(0, 10.0), (3, 9.999_985)] {
        assert!((log.lon[row] - lon).abs() < 1e-12, "{}", log.lon[row]);
    }
    assert_eq!(log.loads, ["L7"]);
    assert!(log.load.iter().all(|l| *l == Some(0)));
    let note = input
        .warnings
        .iter()
        .find(|w| w.code == "section-rows")
        .expect("told");
    assert_eq!(
        note.text,
        "log.csv: 27 rows, one for each of 3 sections of the header, are gathered into 9, one for each moment: grain added up, width added up over the sections at work, position in their middle; 1 with sections off or left out"
    );
}

/// Yields are of the ground: (8 t/ha · 2 m + 5 t/ha · 4 m) / 6 m = 6 t/ha; over 6 m and 1.5 m that is 5.4 kg.
#[test]
fn yields_of_sections_are_weighted_by_their_widths() {
    let mut text = "time,section,lon_deg,lat_deg,yield_t_ha,width_m,distance_m\n".to_owned();
    for second in 0..5 {
        let lat = LAT + 1.35e-5 * f64::from(second);
        for (section, yields, width) in [(1, 8, 2), (2, 5, 4)] {
            text +=
                &format!("2025-09-12T08:00:0{second}Z,{section},10,{lat},{yields},{width},1.5\n");
        }
    }
    let log = read(&text, "section_width = \"own\"", None)
        .expect("read")
        .log;
    assert_eq!((log.len(), log.width[0]), (5, 6.0));
    assert!(
        log.mass.iter().all(|m| (m - 5.4).abs() < 1e-12),
        "{:?}",
        log.mass
    );
}

#[test]
fn rows_without_a_clock_are_told_by_section_or_by_the_number_of_the_moment() {
    for numbered in [false, true] {
        let mut text = if numbered {
            "record no,section"
        } else {
            "section"
        }
        .to_owned();
        text += ",lon_deg,lat_deg,flow_kg_s,width_m,speed_m_s\n";
        for moment in 0..30 {
            for section in 1..=4 {
                if moment % 7 == 3 && section == 1 {
                    continue; // off, and left out
                }
                let lon = 10.0 + 2.3e-5 * f64::from(section);
                let lat = LAT + 1.35e-5 * f64::from(moment);
                let flow = 0.1 * f64::from(section);
                if numbered {
                    text += &format!("{moment},");
                }
                text += &format!("{section},{lon},{lat},{flow},1.5,1.5\n");
            }
        }
        let log = read(&text, "", None).expect("read").log;
        assert_eq!(log.len(), 30);
        for (k, (flow, width)) in log.flow.iter().zip(&log.width).enumerate() {
            let expected = if k % 7 == 3 { (0.9, 4.5) } else { (1.0, 6.0) };
            assert!(
                (flow - expected.0).abs() < 1e-12 && *width == expected.1,
                "{k}: {flow} {width}"
            );
        }
    }
}

#[test]
fn a_table_in_blocks_of_sections_is_gathered_or_refused() {
    let table = |seconds: u32| {
        let mut text = "time,section,lon_deg,lat_deg,flow_kg_s,width_m\n".to_owned();
        for section in 1..=3u32 {
            for second in 0..seconds {
                let (lon, lat) = (
                    10.0 + 3e-5 * f64::from(section),
                    LAT + 1.35e-5 * f64::from(second % 300),
                );
                text += &format!(
                    "{},{section},{lon},{lat},{},2\n",
                    1_757_664_000 + second,
                    section
                );
            }
        }
        text
    };
    let log = read(&table(40), "", None).expect("read").log;
    assert_eq!((log.len(), log.flow[7], log.width[7]), (40, 6.0, 6.0));
    let error = read(&table(5000), "", None).expect_err("refused");
    assert!(error.contains("sort the table by time"), "{error}");
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Grain {
    /// Each section's own.
    Own,
    /// The machine's, split into equal parts.
    Split,
    /// The machine's, repeated.
    Whole,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Width {
    Own,
    Whole,
    Missing,
}

#[derive(Debug, Clone, Copy)]
struct Style {
    sections: usize,
    width_m: f64,
    named: bool,
    abreast: bool,
    grain: Grain,
    width: Width,
    /// Rows of sections that are off are left out.
    absent: bool,
    off: bool,
    unix: bool,
}

fn styles() -> impl Strategy<Value = Style> {
    let grain = prop_oneof![Just(Grain::Own), Just(Grain::Split), Just(Grain::Whole)];
    let width = prop_oneof![Just(Width::Own), Just(Width::Whole), Just(Width::Missing)];
    let switches = (
        any::<bool>(),
        any::<bool>(),
        any::<bool>(),
        any::<bool>(),
        any::<bool>(),
    );
    (2usize..=8, 0.7f64..1.6, switches, grain, width).prop_map(
        |(sections, width_m, (named, abreast, absent, off, unix), grain, width)| Style {
            sections,
            width_m: (width_m * 100.0).round() / 100.0,
            named,
            abreast,
            grain,
            width,
            absent,
            off,
            unix,
        },
    )
}

/// The table of a style, and the same log with a row for each moment.
fn tables(style: &Style) -> (String, String) {
    let n = style.sections;
    let header = n as f64 * style.width_m;
    let mut sections = "time,".to_owned();
    if style.named {
        sections += "section,";
    }
    sections += "lon_deg,lat_deg,flow_kg_s,work_state,speed_m_s";
    let mut plain = sections.replace("section,", "") + ",width_m\n";
    sections += if style.width == Width::Missing {
        "\n"
    } else {
        ",width_m\n"
    };
    let mut second = 0;
    for pass in 0..10 {
        for k in 0..70 {
            second += 1;
            let time = match style.unix {
                true => format!("{}", 1_757_664_000 + second),
                false => format!("2025-09-12T08:{:02}:{:02}Z", second / 60, second % 60),
            };
            let along = 1.6 * f64::from(if pass % 2 == 0 { k } else { 70 - k });
            let lat = LAT + along / METRES;
            let east = |metres: f64| 10.0 + metres / (METRES * LAT.to_radians().cos());
            let middle = f64::from(pass) * header;
            let place = |s: usize| middle + (s as f64 - (n as f64 - 1.0) / 2.0) * style.width_m;
            let off = usize::from(style.off && (k + pass) % 20 < 6) * (n / 2);
            let at_work = n - off;
            let parts: Vec<f64> = (0..at_work)
                .map(|s| {
                    let patch = 1.0 + 0.3 * (f64::from(k) / 9.0).sin();
                    let own = if style.grain == Grain::Own {
                        0.1 * s as f64
                    } else {
                        0.0
                    };
                    // About 9 t/ha.
                    (patch + own) * 0.9 * 1.6 * style.width_m
                })
                .collect();
            let total: f64 = parts.iter().sum();
            #[allow(clippy::needless_range_loop)] // sections that are off have no part
            for s in 0..n {
                let works = s < at_work;
                if !works && style.absent {
                    continue;
                }
                sections += &format!("{time},");
                if style.named {
                    sections += &format!("{},", s + 1);
                }
                let at = if style.abreast { place(s) } else { middle };
                let flow = match (works, style.grain) {
                    (true, Grain::Whole) => total,
                    (true, _) => parts[s],
                    (false, _) => 0.0,
                };
                sections += &format!(
                    "{:.10},{lat:.10},{flow:.10},{},1.6",
                    east(at),
                    i32::from(works)
                );
                sections += &match style.width {
                    Width::Own => format!(",{}\n", style.width_m),
                    Width::Whole => format!(",{header}\n"),
                    Width::Missing => "\n".to_owned(),
                };
            }
            let at = match style.abreast {
                true => (0..at_work).map(place).sum::<f64>() / at_work as f64,
                false => middle,
            };
            plain += &format!(
                "{time},{:.10},{lat:.10},{total:.10},1,1.6,{}\n",
                east(at),
                at_work as f64 * style.width_m
            );
        }
    }
    (sections, plain)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, max_shrink_iters: 0, rng_seed: proptest::test_runner::RngSeed::Fixed(20_250_912), failure_persistence: None, ..ProptestConfig::default() })]

    /// A gathered log is the log with a row for each moment, or one line of the job file is asked for and makes it so.
    #[test]
    fn gathered_rows_are_those_of_the_moments(style in styles()) {
        // Rows on one place without a section's name, some of them left out: only where none is off are they told.
        let mut style = style;
        if !style.named && !style.abreast {
            style.absent = false;
            style.grain = Grain::Own;
        }
        let (sections, plain) = tables(&style);
        let width_m = style.sections as f64 * style.width_m;
        let header = Some(width_m);
        let plain = read(&plain, "", header).expect("read");
        let mut asked = String::new();
        let grain = if style.grain == Grain::Whole { "whole" } else { "own" };
        let width = if style.width == Width::Whole { "whole" } else { "own" };
        let gathered = loop {
            match read(&sections, &asked, header) {
                Ok(input) => break input,
                Err(e) if e.contains("section_grain = ") && !asked.contains("grain") => asked += &format!("section_grain = \"{grain}\"\n"),
                Err(e) if e.contains("section_width = ") && !asked.contains("width") => asked += &format!("section_width = \"{width}\"\n"),
                Err(e) => panic!("{style:?} {asked}: {e}"),
            }
        };
        // Parts that differ need no answer.
        prop_assert!(style.grain != Grain::Own || !asked.contains("grain"), "{:?} {}", style, asked);
        prop_assert!(codes(&gathered).contains(&"section-rows"), "{:?}", codes(&gathered));
        let (a, b) = (&gathered.log, &plain.log);
        prop_assert_eq!(a.len(), b.len());
        for k in 0..a.len() {
            let width = |w: f64| if w.is_nan() { width_m } else { w };
            let near = [(a.lon[k], b.lon[k], 2e-9), (a.lat[k], b.lat[k], 1e-9), (a.flow[k], b.flow[k], 1e-8), (width(a.width[k]), b.width[k], 1e-6)];
            for (what, (x, y, within)) in ["lon", "lat", "flow", "width"].iter().zip(near) {
                prop_assert!((x - y).abs() <= within, "{style:?} {asked}: {what} of row {k}: {x} and {y}");
            }
            prop_assert_eq!(a.work[k], b.work[k]);
            prop_assert_eq!(a.time[k], b.time[k]);
        }
    }
}
