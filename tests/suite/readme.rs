//! The README says what the code does: every name, unit, default and code in its tables is the code's, and none is
//! missing. A table that has fallen behind fails here.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use crate::outside::project;

use fanmill::crop::Crop;
use fanmill::job::{Format, Job, Layer, LimitSettings, LogColumn, LogSettings, OutputCrs, parse};
use fanmill::log::Reason;
use fanmill::read::by_headers;
use fanmill::units::{POUND_KG, Quantity, YieldUnit};
use fanmill::write::attributes::{Attribute, CELL, POINT, REASON};

fn readme() -> String {
    std::fs::read_to_string(project("README.md")).expect("README.md is there")
}

/// The part under a heading, up to the next one of the same rank or above.
fn section<'a>(text: &'a str, heading: &str) -> &'a str {
    let line = format!("\n{heading}\n");
    let start = text
        .find(&line)
        .unwrap_or_else(|| panic!("no heading {heading:?}"))
        + line.len();
    let rank = heading.bytes().take_while(|b| *b == b'#').count();
    let end = (1..=rank)
        .filter_map(|r| text[start..].find(&format!("\n{} ", "#".repeat(r))))
        .min();
    &text[start..end.map_or(text.len(), |e| start + e)]
}

/// Rows of the `n`-th table of a section, as cells; without header and rule.
fn table(section: &str, n: usize) -> Vec<Vec<String>> {
    let mut tables: Vec<Vec<Vec<String>>> = Vec::new();
    let mut inside = false;
    for line in section.lines() {
        if !line.starts_with('|') {
            inside = false;
            continue;
        }
        if !inside {
            tables.push(Vec::new());
            inside = true;
        }
        let cells = line.trim_matches('|').split('|');
        tables
            .last_mut()
            .expect("one was pushed")
            .push(cells.map(|c| c.trim().to_owned()).collect());
    }
    tables[n][2..].to_vec()
}

/// Words in `code` marks.
fn marked(text: &str) -> Vec<String> {
    text.split('`')
        .skip(1)
        .step_by(2)
        .map(str::to_owned)
        .collect()
}

/// The `n`-th fenced block of a language in a section, without its indentation.
fn fenced(section: &str, language: &str, n: usize) -> String {
    let mut blocks = Vec::new();
    let mut block: Option<(usize, String)> = None;
    for line in section.lines() {
        let trimmed = line.trim_start();
        match &mut block {
            None if trimmed == format!("```{language}") => {
                block = Some((line.len() - trimmed.len(), String::new()));
            }
            None => {}
            Some((_, text)) if trimmed == "```" => {
                blocks.push(std::mem::take(text));
                block = None;
            }
            Some((indent, text)) => {
                text.push_str(line.get(*indent..).unwrap_or_default());
                text.push('\n');
            }
        }
    }
    blocks[n].clone()
}

#[test]
fn the_quick_start_is_the_example() {
    let example = std::fs::read_to_string(project("examples/first-field/job.toml")).unwrap();
    assert_eq!(
        fenced(section(&readme(), "## Quick start"), "toml", 0),
        example
    );
}

#[test]
fn every_reason_stands_in_its_order() {
    let rows = table(section(&readme(), "## Reasons"), 0);
    let names: Vec<String> = rows.iter().flat_map(|r| marked(&r[0])).collect();
    assert_eq!(names, Reason::ALL.map(|r| r.name().to_owned()));
}

/// Whether a table of the README has the attributes in their order, each with its unit.
fn stand_in_order<S: 'static>(rows: &[Vec<String>], all: &[&Attribute<S>]) {
    assert_eq!(rows.len(), all.len());
    for (row, attribute) in rows.iter().zip(all) {
        assert_eq!(marked(&row[0]), [attribute.name]);
        // A unit that follows the job's shows in two units of the job.
        let unit = |u| attribute.unit(u).unwrap_or_default();
        let (metric, other) = (
            unit(YieldUnit::TonnePerHectare),
            unit(YieldUnit::BushelPerAcre),
        );
        let expected = if metric == other { metric } else { "the job's" };
        assert_eq!(row[2], expected, "{}", attribute.name);
    }
}

#[test]
fn every_attribute_stands_in_its_order_with_its_unit() {
    let points: Vec<_> = POINT.iter().chain([&REASON]).collect();
    stand_in_order(&table(section(&readme(), "### Points"), 0), &points);
    let cells: Vec<_> = CELL.iter().collect();
    stand_in_order(&table(section(&readme(), "### Cells"), 0), &cells);
}

#[test]
fn every_column_of_a_log_is_there_and_its_plain_words_are_read() {
    let readme = readme();
    let rows = table(section(&readme, "### Log: CSV"), 0);
    let names: Vec<String> = rows.iter().flat_map(|r| marked(&r[0])).collect();
    assert_eq!(names, LogColumn::ALL.map(|c| c.name().to_owned()));
    for (row, column) in rows.iter().zip(LogColumn::ALL) {
        let quantity = column
            .quantity()
            .map_or("", |q| q.phrase().split_once(' ').unwrap().1);
        assert!(
            row[2].starts_with(quantity),
            "{}: {}",
            column.name(),
            row[2]
        );
        assert_eq!(row[2].is_empty(), quantity.is_empty(), "{}", column.name());
        assert_eq!(
            row[2].contains("if none is named"),
            column.usual_unit().is_some(),
            "{}",
            column.name()
        );
        for word in row[3].split(", ").filter(|w| !w.is_empty()) {
            let found = by_headers(&[word.to_owned()], &LogSettings::default());
            assert!(
                found.get(column).is_some(),
                "{word} is not {}",
                column.name()
            );
        }
    }
}

#[test]
fn every_unit_is_there() {
    let rows = table(section(&readme(), "### Log: CSV"), 1);
    let named: Vec<(String, String)> = rows
        .into_iter()
        .map(|mut r| (r.remove(0), r.remove(0)))
        .collect();
    for quantity in Quantity::ALL {
        let name = quantity.phrase().split_once(' ').unwrap().1.to_owned();
        assert!(
            named.contains(&(name.clone(), quantity.symbols())),
            "{name}: {}",
            quantity.symbols()
        );
    }
    assert_eq!(named.len(), Quantity::ALL.len());
}

#[test]
fn every_crop_has_its_values() {
    let rows = table(section(&readme(), "## The job file"), 1);
    let names: Vec<&str> = rows.iter().map(|r| r[0].as_str()).collect();
    assert_eq!(names, Crop::names().collect::<Vec<_>>());
    for row in &rows {
        let crop = Crop::built_in(&row[0]).unwrap();
        assert_eq!(row[1], format!("{}", crop.reference_moisture), "{}", row[0]);
        assert_eq!(
            row[2],
            format!("{:.0}", crop.bushel_kg / POUND_KG),
            "{}",
            row[0]
        );
        assert_eq!(
            row[3],
            format!("{}", crop.highest_yield / 1000.0),
            "{}",
            row[0]
        );
        let (low, high) = crop.moisture_bounds;
        assert_eq!(row[4], format!("{low}–{high}"), "{}", row[0]);
        for other in row[5].split(", ").filter(|o| !o.is_empty()) {
            assert_eq!(
                Crop::built_in(other).map(|c| c.bushel_kg),
                Some(crop.bushel_kg),
                "{other}"
            );
        }
    }
}

/// The job with every key is read, and its keys are the ones in the table: none is left out.
#[test]
fn every_key_of_a_job_is_there() {
    let readme = readme();
    let text = fenced(section(&readme, "## The job file"), "toml", 0);
    let job = parse(&text, "job.toml", Path::new(".")).unwrap();
    assert_eq!(job.machines[0].moisture_delay, Some(14.0));
    assert_eq!(job.limits.cut_share, Some(0.4));
    let mut keys = BTreeSet::new();
    let mut sections: Vec<String> = Vec::new();
    for line in text.lines() {
        if line.starts_with('[') {
            sections.push(line.replace("maize", "NAME"));
        } else if let Some((key, _)) = line.split_once(" = ") {
            keys.insert((sections.last().unwrap().clone(), key.to_owned()));
        }
    }
    let mut in_table = BTreeSet::new();
    let mut here = String::new();
    for row in table(section(&readme, "## The job file"), 0) {
        if let Some(name) = marked(&row[0]).into_iter().next() {
            here = name;
        }
        in_table.insert((here.clone(), marked(&row[1])[0].clone()));
    }
    assert_eq!(keys, in_table);
    // What a section takes is what it names when it refuses something.
    for heading in &sections {
        let real = heading.replace("NAME", "maize");
        let broken = text.replacen(&real, &format!("{real}\nunheard_of = 1"), 1);
        let refused = parse(&broken, "job.toml", Path::new("."))
            .unwrap_err()
            .to_string();
        let listed = refused.split("one of the keys ").nth(1).unwrap();
        let listed: BTreeSet<&str> = listed
            .split(", found")
            .next()
            .unwrap()
            .split(", ")
            .map(|k| k.trim_matches(|c: char| !c.is_alphanumeric() && c != '_'))
            .collect();
        let ours: BTreeSet<&str> = in_table
            .iter()
            .filter(|(s, _)| s == heading)
            .map(|(_, k)| k.as_str())
            .collect();
        assert_eq!(listed, ours, "{heading}: {refused}");
    }
}

/// The schema is written where the job file looks for it, and the job file is one.
#[test]
fn an_editor_finds_the_schema() {
    let readme = readme();
    let section = section(&readme, "### In an editor");
    let (command, job) = (fenced(section, "sh", 0), fenced(section, "toml", 0));
    let written = command.trim().split_once(" > ").unwrap();
    assert_eq!(written.0, "fanmill schema job");
    assert_eq!(
        job.lines().next().unwrap(),
        format!("#:schema ./{}", written.1)
    );
    assert!(parse(&job, "job.toml", Path::new(".")).is_ok());
}

#[test]
fn defaults_are_what_an_empty_job_gets() {
    let smallest = "[[field]]\nclient = \"a\"\nfarm = \"b\"\nname = \"c\"\nseason = 2025\ncrop = \"wheat\"\nlogs = [\"l.csv\"]\n";
    let job: Job = parse(smallest, "job.toml", Path::new("here")).unwrap();
    assert_eq!(job.name, "fanmill");
    assert_eq!(job.results, Path::new("here/results"));
    assert_eq!(job.formats, [Format::GeoJson, Format::Shapefile]);
    assert_eq!(job.layers, [Layer::Points, Layer::SetAside]);
    assert_eq!(job.crs, OutputCrs::Code("EPSG:4326".into()));
    assert_eq!(job.yield_unit, YieldUnit::TonnePerHectare);
    assert_eq!(job.timezone, "UTC");
    assert_eq!(job.log, LogSettings::default());
    assert_eq!(job.limits, LimitSettings::default());
    let readme = readme();
    let rows = table(section(&readme, "## The job file"), 0);
    let of = |key: &str| {
        let row = rows.iter().find(|r| marked(&r[1]) == [key]).unwrap();
        row[2].clone()
    };
    assert_eq!(of("name"), "`\"fanmill\"`");
    assert_eq!(of("results"), "`\"results\"`");
    assert_eq!(of("formats"), "`[\"geojson\", \"shapefile\"]`");
    assert_eq!(of("layers"), "`[\"points\", \"set-aside\"]`");
    assert_eq!(of("grid_cell"), format!("`\"{} m\"`", job.grid_cell));
    assert_eq!(of("yield_unit"), "`\"t/ha\"`");
    assert_eq!(of("timezone"), "`\"UTC\"`");
    assert_eq!(of("credit_dry_grain"), "`false`");
}

/// Codes of remarks, as the sources give them.
fn codes_in(folder: &Path, found: &mut BTreeSet<String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            codes_in(&path, found);
            continue;
        }
        let source = std::fs::read_to_string(&path).unwrap();
        let code = source.split("#[cfg(test)]").next().unwrap();
        for start in ["Remark::new(", ".remark(", "Severity::Warn,"] {
            for call in code.split(start).skip(1) {
                if let Some(text) = call.trim_start().strip_prefix('"') {
                    found.insert(text.split('"').next().unwrap().to_owned());
                }
            }
        }
    }
}

#[test]
fn every_warning_is_explained_and_none_is_invented() {
    let mut known = BTreeSet::new();
    codes_in(&project("src"), &mut known);
    assert!(known.len() > 15, "{known:?}");
    // The shapefile's table makes its remarks from a pair.
    known.extend(["text-cut".to_owned(), "number-left-out".to_owned()]);
    let rows = table(section(&readme(), "## Warnings"), 0);
    let explained: BTreeSet<String> = rows.iter().flat_map(|r| marked(&r[0])).collect();
    assert_eq!(explained, known);
}

/// Names of everything in a value; reasons have a table of their own.
fn names(value: &serde_json::Value, into: &mut BTreeSet<String>) {
    match value {
        serde_json::Value::Array(items) => items.iter().for_each(|v| names(v, into)),
        serde_json::Value::Object(members) => {
            for (name, inner) in members {
                into.insert(name.clone());
                if name != "set_aside" {
                    names(inner, into);
                }
            }
        }
        _ => {}
    }
}

/// Names in the figures and tables of a real run are the README's.
#[test]
fn figures_and_tables_have_the_names_of_the_readme() {
    let dir = tempfile::tempdir().unwrap();
    for file in ["job.toml", "log.csv", "tickets.csv", "boundary.geojson"] {
        let from = project("examples/first-field").join(file);
        std::fs::copy(from, dir.path().join(file)).unwrap();
    }
    let job = dir.path().join("job.toml");
    let text = std::fs::read_to_string(&job).unwrap();
    let all = "[job]\nlayers = [\"points\", \"set-aside\", \"swaths\", \"grid\"]\n";
    std::fs::write(&job, text.replacen("[job]\n", all, 1)).unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_fanmill"))
        .args(["run", "--quiet", "--threads", "1", "job.toml"])
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    let results = dir.path().join("results");
    let readme = readme();

    let tables = section(&readme, "### summary.csv and loads.csv");
    for (file, paragraph) in ["summary.csv", "loads.csv"]
        .into_iter()
        .zip(tables.trim().split("\n\n"))
    {
        let text = std::fs::read_to_string(results.join(file)).unwrap();
        let header: Vec<String> = text
            .lines()
            .next()
            .unwrap()
            .split(',')
            .map(str::to_owned)
            .collect();
        let named: Vec<String> = marked(paragraph)
            .into_iter()
            .filter(|w| !["summary.csv", "loads.csv", "done", "failed"].contains(&w.as_str()))
            .collect();
        assert_eq!(named, header, "{file}");
    }

    let folder = results.join("Heron Lane/Home/First field/2025-wheat");
    let figures = std::fs::read_to_string(folder.join("summary.json")).unwrap();
    let figures: serde_json::Value = serde_json::from_str(&figures).unwrap();
    assert!(figures["grid"].is_object(), "{}", figures["warnings"]);
    let rows = table(section(&readme, "### summary.json"), 0);
    let keys: Vec<String> = rows.iter().flat_map(|r| marked(&r[0])).collect();
    let found: Vec<String> = figures.as_object().unwrap().keys().cloned().collect();
    assert_eq!(keys, found);
    for row in &rows {
        let words = marked(&row[1]);
        for key in marked(&row[0]) {
            let mut inner = BTreeSet::new();
            names(&figures[&key], &mut inner);
            for name in inner {
                assert!(words.contains(&name), "{key}: {name} is not explained");
            }
        }
    }

    let tree = fenced(section(&readme, "## What comes out"), "text", 0);
    for entry in std::fs::read_dir(&folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let (stem, extension) = name.split_once('.').unwrap();
        let listed = tree.contains(&name)
            || tree.lines().any(|l| {
                l.contains(&format!("{stem}.shp")) && l.contains(&format!(".{extension}"))
            });
        assert!(listed, "{name} is not in the README");
    }
    for file in ["run.json", "summary.csv", "loads.csv"] {
        assert!(
            results.join(file).is_file() && tree.contains(file),
            "{file}"
        );
    }
}

#[test]
fn every_command_is_there() {
    let help = Command::new(env!("CARGO_BIN_EXE_fanmill"))
        .arg("--help")
        .output()
        .unwrap();
    let help = String::from_utf8(help.stdout).unwrap();
    let listed: BTreeSet<&str> = help
        .split("Commands:")
        .nth(1)
        .unwrap()
        .split("Options:")
        .next()
        .unwrap()
        .lines()
        .filter(|l| l.starts_with("  ") && !l.starts_with("   "))
        .filter_map(|l| l.split_whitespace().next())
        .filter(|c| *c != "help")
        .collect();
    let rows = table(section(&readme(), "## Commands"), 0);
    let named: BTreeSet<String> = rows
        .iter()
        .map(|r| marked(&r[0])[0].split(' ').nth(1).unwrap().to_owned())
        .collect();
    assert_eq!(
        named.iter().map(String::as_str).collect::<BTreeSet<_>>(),
        listed
    );
}

#[test]
fn cautions_are_said() {
    let readme = readme();
    let cautions = section(&readme, "## Cautions").to_lowercase();
    for word in [
        "settlement",
        "rent",
        "insurance",
        "certified scale tickets",
        "agronomist",
        "labels",
        "nutrient",
        "operator's manual",
        "engine off",
        "key out",
        "lock out",
        "alone",
        "local",
    ] {
        assert!(cautions.contains(word), "{word}");
    }
}
