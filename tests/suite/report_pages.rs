//! The pages: opened by a browser from disk with the network off, and used as a person does (tests/pages/driver.mjs);
//! held against axe-core's rules for accessibility; fed with names that would be markup, paths or scripts.

use std::path::PathBuf;
use std::process::Command;

use crate::harness::{Farm, small_season};
use fanmill::evidence::{Evidence, SpacingGrounds};
use fanmill::job::OutputCrs;
use fanmill::report::pages::{FieldPage, assets, index, report};
use fanmill::write::run::{FieldOutcome, Outcome};

/// Names that no field has, and every program should bear.
fn hostile_names() -> Vec<String> {
    [
        "</script><script>window.hurt=1</script>",
        "\"quoted\" 'name' & <b>bold</b> {{ 7*7 }}",
        "🌾 Feld 小麦 \u{202e}evol",
        "حقل القمح",
        "north/south\\east:*?",
        "..",
        "<img src=x onerror=\"window.hurt=1\">",
    ]
    .map(str::to_owned)
    .into_iter()
    .chain([format!("long {}", "x".repeat(295))])
    .collect()
}

/// A farm whose client, farm, fields and loads have hostile names, and one field that fails with such a name.
fn hostile_farm() -> Farm {
    let season = small_season("Brook field", "brook", 1);
    let farm = Farm::of(std::slice::from_ref(&season));
    let quoted = |s: &str| toml::Value::from(s).to_string();
    let mut job = String::from("[job]\nname = \"<b>Season</b> & '25\"\nyield_unit = \"bu/ac\"\n");
    let mut field = |name: &str, logs: &str| {
        job += &format!(
            "[[field]]\nclient = {}\nfarm = \"..\"\nname = {}\nseason = 2025\ncrop = \"maize\"\nlogs = [{}]\nboundary = \"boundaries/brook.geojson\"\ntickets = [\"tickets.csv\"]\n",
            quoted("<b>Client</b>/../.."),
            quoted(name),
            quoted(logs)
        );
    };
    for name in hostile_names() {
        field(&name, "logs/brook/*.csv");
    }
    field("<b>fails</b>", "logs/<b>none</b>/*.csv");
    farm.write("job.toml", job.as_bytes());
    // Loads are named in the log and on the tickets.
    let logs: Vec<String> = farm
        .files()
        .into_keys()
        .filter(|f| f.starts_with("logs/"))
        .collect();
    let rename = |text: String| text.replace("brook-C1-01", HOSTILE_LOAD);
    for name in logs.iter().map(String::as_str).chain(["tickets.csv"]) {
        farm.edit(name, rename);
    }
    farm
}

/// As a cell of a CSV.
const HOSTILE_LOAD: &str = "\"</script><img src=x onerror=\"\"window.hurt=1\"\">\"";

#[test]
fn hostile_names_are_text_and_name_safe_folders() {
    let farm = hostile_farm();
    let before = farm.files();
    let run = farm.run(&["--quiet"]);
    assert_eq!(run.status, 1, "{}", run.stderr);
    let outside: Vec<String> = farm
        .files()
        .into_keys()
        .filter(|f| !f.starts_with("results/") && !before.contains_key(f))
        .collect();
    assert!(outside.is_empty(), "{outside:?}");
    let results = farm.results();
    let pages: Vec<(&String, String)> = results
        .iter()
        .filter(|(name, _)| name.ends_with(".html"))
        .map(|(name, bytes)| (name, String::from_utf8(bytes.clone()).expect("UTF-8")))
        .collect();
    let reports = pages
        .iter()
        .filter(|p| p.0.ends_with("report.html"))
        .count();
    assert_eq!(reports, hostile_names().len());
    for (name, text) in &pages {
        for part in name.split('/') {
            assert!(
                part.len() <= 100 && part != ".." && !part.contains(['<', '"', ':', '\\']),
                "{name}"
            );
        }
        for markup in ["<script>window", "<b>", "<img src=x"] {
            assert!(!text.contains(markup), "{name}: {markup}");
        }
    }
    for (name, text) in pages.iter().filter(|p| p.0.ends_with("report.html")) {
        for id in ["charts", "points"] {
            let start = format!("<script type=\"application/json\" id=\"{id}\">");
            let from = text.find(&start).unwrap_or_else(|| panic!("{name}: {id}")) + start.len();
            let to = from + text[from..].find("</script>").expect("an end");
            let value: serde_json::Value = serde_json::from_str(&text[from..to]).expect("JSON");
            let whole = value.to_string();
            assert!(
                whole.contains("onerror"),
                "{name}: {id} has the load's name as it is"
            );
        }
    }
    let index = &pages
        .iter()
        .find(|p| p.0 == "index.html")
        .expect("an index")
        .1;
    assert!(
        index.contains("&#60;b&#62;fails&#60;/b&#62;"),
        "the failure is told"
    );
}

#[test]
fn the_same_field_gives_the_same_page() {
    let [one, two] = [(); 2].map(|()| large_report(2_000));
    assert_eq!(one, two);
    assert!(!one.contains("NaN") && !one.contains("Infinity"));
}

#[test]
fn a_field_without_points_or_evidence_still_has_a_page() {
    let map = crate::write_fixture::map(0);
    let summary = crate::write_fixture::summary(&map);
    let job = crate::write_fixture::job(PathBuf::new(), OutputCrs::Utm);
    let page = report(&FieldPage {
        job: &job,
        field: &job.fields[0],
        map: &map,
        grid: None,
        summary: &summary,
        evidence: &Evidence::default(),
    });
    assert!(page.contains("No point of this field could be put on a map"));
    assert!(!page.contains("id=\"points\""));
}

/// A made-up field of `n` points, 1.7 m apart along the pass and 6.8 m across.
fn large_report(n: usize) -> String {
    let map = crate::write_fixture::map(n);
    let summary = crate::write_fixture::summary(&map);
    let job = crate::write_fixture::job(PathBuf::new(), OutputCrs::Utm);
    let metres = |degrees: &[f64], from: f64, per: f64| -> Vec<f64> {
        degrees.iter().map(|d| (d - from) * per).collect()
    };
    let evidence = Evidence {
        x: metres(&map.lon, crate::write_fixture::PLACE[0], 73_300.0),
        y: metres(&map.lat, crate::write_fixture::PLACE[1], 111_200.0),
        spacing: SpacingGrounds {
            header_m: Some(7.0),
            ..SpacingGrounds::default()
        },
        ..Evidence::default()
    };
    report(&FieldPage {
        job: &job,
        field: &job.fields[0],
        map: &map,
        grid: None,
        summary: &summary,
        evidence: &evidence,
    })
}

/// An index over 400 field seasons.
fn many_fields() -> Farm {
    let folder = Farm::empty();
    let map = crate::write_fixture::map(700);
    let outcomes: Vec<FieldOutcome> = (0..400)
        .map(|k| {
            let mut summary = crate::write_fixture::summary(&map);
            summary.area_ha = f64::from(k * 37 % 400);
            let name = format!("Field {k}");
            let outcome = Outcome::Done(Box::new(summary));
            FieldOutcome::new(
                &crate::write_fixture::field(&name),
                &format!("c/f/{k}"),
                outcome,
            )
        })
        .collect();
    for page in assets().into_iter().chain([index("Many", &outcomes)]) {
        folder.write(&page.name, &page.bytes);
    }
    for k in 0..400 {
        folder.write(
            &format!("c/f/{k}/map.png"),
            include_bytes!("../pages/map.png"),
        );
    }
    folder
}

/// What the driver needs, from `scripts/test` or the environment.
fn browser() -> Option<(PathBuf, PathBuf)> {
    let modules = PathBuf::from(std::env::var_os("FANMILL_NODE_MODULES")?);
    let chromium =
        std::env::var_os("FANMILL_CHROMIUM").map_or("/usr/bin/chromium".into(), PathBuf::from);
    let node = Command::new("node")
        .arg("--version")
        .output()
        .ok()?
        .status
        .success();
    (node && chromium.exists() && modules.join("playwright-core").exists())
        .then_some((modules, chromium))
}

#[test]
fn a_browser_opens_and_uses_every_page() {
    let Some((modules, chromium)) = browser() else {
        println!(
            "skipped: no node, chromium or playwright-core (FANMILL_NODE_MODULES, FANMILL_CHROMIUM)"
        );
        return;
    };
    let demo = Farm::demo();
    assert_eq!(demo.run(&["--quiet"]).status, 0);
    let hostile = hostile_farm();
    assert_eq!(hostile.run(&["--quiet"]).status, 1);
    let large = Farm::empty();
    for page in assets() {
        large.write(&page.name, &page.bytes);
    }
    let name = "a/b/c/d/report.html";
    large.write(name, large_report(100_000).as_bytes());
    let many = many_fields();
    let driver = crate::outside::project("tests/pages/driver.mjs");
    let out = Command::new("node")
        .arg(driver)
        .arg(modules)
        .arg(chromium)
        .arg(demo.path("results"))
        .arg(large.path(name))
        .arg(hostile.path("results"))
        .arg(many.path("index.html"))
        .output()
        .expect("node starts");
    let said = String::from_utf8_lossy(&out.stdout);
    let names = said
        .lines()
        .find_map(|l| l.strip_prefix("names "))
        .unwrap_or_else(|| panic!("{said}{}", String::from_utf8_lossy(&out.stderr)));
    let shown: Vec<String> = serde_json::from_str(names).expect("JSON");
    for name in hostile_names() {
        assert!(shown.contains(&name), "{name} in {shown:?}");
    }
    println!("{said}");
    assert!(
        out.status.success(),
        "{said}{}",
        String::from_utf8_lossy(&out.stderr)
    );
}
