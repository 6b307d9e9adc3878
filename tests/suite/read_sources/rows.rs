//! Widths counted in planted rows, by a log's columns and by the job.

use std::path::Path;

use fanmill::job::parse;
use fanmill::read::FieldInput;

use super::farm::{codes, read_crop, said, write};

/// Passes of maize, 40 rows each, so far apart; `more`: headers and cells behind the usual ones.
fn log(apart_m: f64, more: (&str, &str)) -> String {
    let mut text = format!("time,lon_deg,lat_deg,flow_kg_s{}\n", more.0);
    let mut second = 1_757_664_000;
    for pass in 0..12 {
        for k in 0..60 {
            second += 1;
            let along = 1.5 * f64::from(if pass % 2 == 0 { k } else { 60 - k }) / 111_320.0;
            let east = apart_m * f64::from(pass) / (111_320.0 * 54f64.to_radians().cos());
            text += &format!(
                "{second},{:.9},{:.9},{:.3}{}\n",
                10.0 + east,
                54.0 + along,
                0.8 * 1.5 * apart_m,
                more.1
            );
        }
        second += 20;
    }
    text
}

fn read(text: &str, sections: &str) -> Result<FieldInput, String> {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "log.csv", text.as_bytes());
    read_crop(
        folder.path(),
        "F",
        "logs = [\"log.csv\"]",
        sections,
        "maize",
    )
    .map_err(|e| said(&e))
}

/// By hand: 8 rows at 75 cm are 6.00 m, at 30 in (0.762 m) 6.096 m, at 0.70 m 5.60 m.
#[test]
fn rows_times_their_distance_are_the_width() {
    for (apart, more, sections, width) in [
        (6.0, (",rows,row_spacing_cm", ",8,75"), "", 6.0),
        (6.0, (",Reihen,Reihenabstand [m]", ",8,0.75"), "", 6.0),
        // No unit: inches and centimetres are told apart by the passes.
        (6.096, (",Rows,Row spacing", ",8,30"), "", 6.096),
        (2.4, (",Rows,Row spacing", ",8,30"), "", 2.4),
        (
            5.6,
            (",Number of rows", ",8"),
            "[crop.maize]\nrow_spacing = \"70 cm\"\n",
            5.6,
        ),
        (
            6.0,
            (",header rows", ",8"),
            "[[machine]]\nname = \"C1\"\nheader_width = \"8 rows of 75 cm\"\n",
            6.0,
        ),
        // A width of the log's own is not counted.
        (6.0, (",rows,row_spacing_cm,width_m", ",8,70,6"), "", 6.0),
    ] {
        let input = read(&log(apart, more), sections).expect("read");
        assert!(
            input.log.width.iter().all(|w| (w - width).abs() < 1e-9),
            "{more:?}: {} {:?}",
            input.log.width[0],
            codes(&input)
        );
    }
}

#[test]
fn rows_without_a_distance_are_told() {
    let input = read(&log(6.0, (",rows", ",8")), "").expect("read");
    assert!(
        codes(&input).contains(&"rows-without-spacing"),
        "{:?}",
        input.warnings
    );
    assert!(input.log.width.iter().all(|w| w.is_nan()));
}

#[test]
fn a_job_writes_a_width_in_rows() {
    let job = |width: &str| {
        let text = format!(
            "[[machine]]\nname = \"C1\"\nheader_width = \"{width}\"\n[[field]]\nclient = \"c\"\nfarm = \"f\"\nname = \"n\"\nseason = 2025\ncrop = \"maize\"\nlogs = [\"a.csv\"]\n"
        );
        parse(&text, "job.toml", Path::new("")).map(|j| j.machines[0].header_width)
    };
    for (written, width) in [
        ("8 rows of 75 cm", 6.0),
        ("8 x 30 in", 6.096),
        ("12 × 0.5 m", 6.0),
        ("9.1 m", 9.1),
    ] {
        let found = job(written).expect("sound").expect("given");
        assert!((found - width).abs() < 1e-9, "{written}: {found}");
    }
    for written in [
        "0 rows of 75 cm",
        "8 rows of 75 kg",
        "8 rows",
        "8.5 rows of 75 cm",
        "8 rows of 75 m",
    ] {
        let error = job(written).expect_err("refused").to_string();
        assert!(
            error.contains("header_width") || error.contains("rows"),
            "{written}: {error}"
        );
    }
}
