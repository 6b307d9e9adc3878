//! The order of modules is the architecture: a module knows only those above it. This reads the sources and says so
//! where one does not. It also holds the other habits that a compiler cannot: who may print, who may touch files, the
//! clock and the environment, and how long a file may be.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Every module at the root of the crate, from the ground up. A module may use those before it, and itself.
const ORDER: [&str; 36] = [
    "units",
    "crop",
    "place",  // values with units, crops, where a value stood
    "schema", // what schemas of files have in common
    "stats",
    "geometry", // what the stages compute with
    "log",
    "map",
    "summary",
    "evidence", // the data
    "job",
    "read", // the doors in
    "faults",
    "passes",
    "width",
    "delay",
    "ramps",
    "moisture",
    "loads",
    "calibrate",
    "checks",
    "quality",
    "grid", // the stages
    "prepare",
    "gather",
    "pool",
    "apply",   // the acts
    "inspect", // one log by itself
    "draft",   // a job from a folder
    "audit",   // the tickets alone
    "write",
    "report",   // the doors out
    "batch",    // all fields of a job
    "simulate", // fields whose truth is known
    "cli",
    "main", // the command
];

/// May open, read, write or remove files.
const FILES: [&str; 7] = [
    "read/",
    "write/",
    "batch/",
    "cli/",
    "job/parse.rs",
    "simulate/demo.rs",
    "simulate/files.rs",
];

/// May print.
const PRINTS: [&str; 1] = ["cli/"];

/// May look at the clock or the environment.
const WORLD: [&str; 1] = ["cli/"];

/// Lines of code a file may have; about 300 is what we aim at, and past this one there are two things in it.
const LONGEST: usize = 450;

/// Something that the house does not do.
#[derive(Debug, PartialEq, Eq)]
struct Offence {
    file: String,
    line: usize,
    what: String,
}

/// The source with comments, the contents of strings and characters, and everything from the tests on blanked out, so
/// that what is left is code. Lines stay where they are.
fn code_only(source: &str) -> String {
    let bytes: Vec<char> = source.chars().collect();
    let mut out = String::with_capacity(source.len());
    let mut i = 0;
    let starts = |i: usize, text: &str| {
        text.chars()
            .enumerate()
            .all(|(k, c)| bytes.get(i + k) == Some(&c))
    };
    while i < bytes.len() {
        let from = i;
        let word_before = i > 0 && (bytes[i - 1].is_alphanumeric() || bytes[i - 1] == '_');
        if starts(i, "//") {
            while i < bytes.len() && bytes[i] != '\n' {
                i += 1;
            }
        } else if starts(i, "/*") {
            let mut depth = 0;
            while i < bytes.len() {
                if starts(i, "/*") {
                    (depth, i) = (depth + 1, i + 2);
                } else if starts(i, "*/") {
                    (depth, i) = (depth - 1, i + 2);
                    if depth == 0 {
                        break;
                    }
                } else {
                    i += 1;
                }
            }
        } else if !word_before && bytes[i] == 'r' && (starts(i, "r\"") || starts(i, "r#")) {
            let hashes = bytes[i + 1..].iter().take_while(|&&c| c == '#').count();
            if bytes.get(i + 1 + hashes) != Some(&'"') {
                out.push(bytes[i]); // a raw identifier
                i += 1;
                continue;
            }
            let end: String = std::iter::once('"')
                .chain(std::iter::repeat_n('#', hashes))
                .collect();
            i += 2 + hashes;
            while i < bytes.len() && !starts(i, &end) {
                i += 1;
            }
            i += end.len();
        } else if bytes[i] == '"' {
            i += 1;
            while i < bytes.len() && bytes[i] != '"' {
                i += if bytes[i] == '\\' { 2 } else { 1 };
            }
            i += 1;
        } else if bytes[i] == '\'' && bytes.get(i + 1) == Some(&'\\') {
            i += 3;
            while i < bytes.len() && bytes[i] != '\'' {
                i += 1;
            }
            i += 1;
        } else if bytes[i] == '\'' && bytes.get(i + 2) == Some(&'\'') {
            i += 3;
        } else {
            out.push(bytes[i]);
            i += 1;
            continue;
        }
        let end = i.min(bytes.len());
        out.extend(
            bytes[from..end]
                .iter()
                .map(|&c| if c == '\n' { '\n' } else { ' ' }),
        );
    }
    match out.find("#[cfg(test)]") {
        Some(at) => out[..at].to_owned(),
        None => out,
    }
}

/// Words (identifiers) of a line of code, with the character before and the two after each.
fn words(line: &str) -> Vec<(&str, &str, &str)> {
    let mut found = Vec::new();
    let is_word = |c: char| c.is_alphanumeric() || c == '_';
    let mut rest = 0;
    while let Some(start) = line[rest..].find(is_word).map(|s| s + rest) {
        let end = line[start..]
            .find(|c| !is_word(c))
            .map_or(line.len(), |e| e + start);
        found.push((&line[..start], &line[start..end], &line[end..]));
        rest = end;
    }
    found
}

/// The root module that a file belongs to, and the path of its own module: `checks/apply.rs` → `["checks", "apply"]`.
fn module_of(file: &str) -> Vec<String> {
    let mut parts: Vec<String> = file
        .trim_end_matches(".rs")
        .split('/')
        .map(str::to_owned)
        .collect();
    if parts.last().is_some_and(|p| p == "mod") {
        parts.pop();
    }
    parts
}

/// Root modules that a piece of code names through `crate::` or through more `super::` than its own depth, with lines.
fn imports(file: &str, code: &str) -> Vec<(usize, String)> {
    let own = module_of(file);
    let mut found = Vec::new();
    let joined = code.replace("::\n", "::"); // a path never breaks after `::` in formatted code
    for (n, line) in joined.lines().enumerate() {
        for (before, word, after) in words(line) {
            let follows_path = before.trim_end().ends_with("::");
            let target = match word {
                "crate" | "fanmill" if after.starts_with("::") && !follows_path => {
                    Some(&after[2..])
                }
                "super" if after.starts_with("::") && !follows_path => {
                    let mut rest = after;
                    let mut up = 1;
                    while let Some(next) = rest.strip_prefix("::super") {
                        (rest, up) = (next, up + 1);
                    }
                    (up >= own.len()).then(|| rest.strip_prefix("::").unwrap_or_default())
                }
                _ => None,
            };
            let Some(target) = target else { continue };
            if target.starts_with('{') {
                found.extend(heads(target).into_iter().map(|head| (n + 1, head)));
            } else if let Some((_, head, _)) = words(target).first() {
                found.push((n + 1, (*head).to_owned()));
            }
        }
    }
    found
}

/// First words of the items of `{a::b, c::{d, e}}`: `a`, `c`.
fn heads(group: &str) -> Vec<String> {
    let (mut depth, mut heads, mut at_start) = (0, Vec::new(), false);
    let mut word = String::new();
    for c in group.chars() {
        match c {
            '{' => (depth, at_start) = (depth + 1, depth == 0),
            '}' => depth -= 1,
            ',' if depth == 1 => at_start = true,
            c if at_start && (c.is_alphanumeric() || c == '_') => {
                word.push(c);
                continue;
            }
            _ => {}
        }
        if !word.is_empty() {
            heads.push(std::mem::take(&mut word));
            at_start = false;
        }
        if depth == 0 {
            break;
        }
    }
    heads
}

/// Everything about one file that the house does not do.
fn offences(file: &str, source: &str) -> Vec<Offence> {
    let code = code_only(source);
    let mut found = Vec::new();
    let mut note = |line: usize, what: String| {
        found.push(Offence {
            file: file.to_owned(),
            line,
            what,
        });
    };
    let module = module_of(file);
    let rank = |name: &str| ORDER.iter().position(|m| *m == name);
    let Some(own) = rank(&module[0]) else {
        note(1, format!("module {} has no place in the order", module[0]));
        return found;
    };
    for (line, used) in imports(file, &code) {
        match rank(&used) {
            Some(r) if r > own => note(
                line,
                format!("{} uses {used}, which stands below it", module[0]),
            ),
            Some(_) => {}
            None => note(line, format!("{used} has no place in the order")),
        }
    }
    let lines = code.trim_end().lines().count();
    if lines > LONGEST {
        note(lines, format!("{lines} lines of code; at most {LONGEST}"));
    }
    let allowed = |list: &[&str]| list.iter().any(|p| file.starts_with(p));
    for (n, line) in code.lines().enumerate() {
        for (before, word, after) in words(line) {
            let forbidden = match word {
                "println" | "eprintln" | "print" | "eprint" | "dbg" if after.starts_with('!') => {
                    !allowed(&PRINTS)
                }
                "fs" | "File" | "OpenOptions"
                    if before.ends_with("std::") || before.ends_with("fs::") =>
                {
                    !allowed(&FILES)
                }
                "env" if before.ends_with("std::") => !allowed(&WORLD),
                "SystemTime" | "Instant" => !allowed(&WORLD),
                "now" if before.ends_with("::") => !allowed(&WORLD),
                "unwrap_or" => ["(0.0)", "(0.)", "(0.0f64)", "(0f64)", "(0.0_f64)"]
                    .iter()
                    .any(|nought| after.starts_with(nought)),
                "todo" | "unimplemented" if after.starts_with('!') => true,
                _ => false,
            };
            if forbidden {
                note(
                    n + 1,
                    format!("{word}{}", after.chars().take(5).collect::<String>()),
                );
            }
        }
    }
    found
}

fn sources(folder: &Path, root: &Path, into: &mut BTreeMap<String, String>) {
    for entry in std::fs::read_dir(folder).expect("src is there") {
        let path: PathBuf = entry.expect("a file").path();
        if path.is_dir() {
            sources(&path, root, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            let file = path
                .strip_prefix(root)
                .expect("below src")
                .to_string_lossy()
                .replace('\\', "/");
            into.insert(file, std::fs::read_to_string(&path).expect("UTF-8"));
        }
    }
}

#[test]
fn every_source_keeps_to_the_house() {
    let root = crate::outside::project("src");
    let mut files = BTreeMap::new();
    sources(&root, &root, &mut files);
    assert!(files.len() > 100, "only {} sources found", files.len());
    let found: Vec<String> = files
        .iter()
        .filter(|(file, _)| !matches!(file.as_str(), "lib.rs" | "main.rs"))
        .flat_map(|(file, source)| offences(file, source))
        .map(|o| format!("src/{}:{}: {}", o.file, o.line, o.what))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn every_module_of_the_order_exists_and_the_other_way_round() {
    let root = crate::outside::project("src");
    let lib = std::fs::read_to_string(root.join("lib.rs")).expect("the crate has a root");
    let declared: Vec<&str> = lib
        .lines()
        .filter_map(|l| l.strip_prefix("pub mod ")?.strip_suffix(';'))
        .collect();
    let mut order: Vec<&str> = ORDER.into_iter().filter(|m| *m != "main").collect();
    order.sort_unstable();
    assert_eq!(
        declared, order,
        "lib.rs lists its modules in alphabetical order"
    );
}

/// The table of modules in the contributors' page is in the same order, and whole.
#[test]
fn the_contributors_page_has_the_same_order() {
    let page = crate::outside::project("DEVELOPERS.md");
    let page = std::fs::read_to_string(page).expect("DEVELOPERS.md is there");
    let modules = page
        .split("\n## Modules\n")
        .nth(1)
        .expect("a section on modules");
    let modules = modules.split("\n## ").next().unwrap_or_default();
    let listed: Vec<&str> = modules
        .lines()
        .filter(|l| l.starts_with("| `"))
        .filter_map(|l| l.split('|').nth(1))
        .flat_map(|cell| cell.split('`').skip(1).step_by(2))
        .collect();
    let order: Vec<&str> = ORDER.into_iter().filter(|m| *m != "main").collect();
    assert_eq!(listed, order);
}

#[test]
fn the_command_itself_is_short() {
    let main = crate::outside::project("src/main.rs");
    let lines = std::fs::read_to_string(main)
        .expect("a binary")
        .lines()
        .count();
    assert!(lines <= 60, "{lines} lines");
}

/// The reader itself, on sources that offend and on sources that only look like it.
mod on_small_sources {
    use super::*;

    fn whats(file: &str, source: &str) -> Vec<String> {
        offences(file, source).into_iter().map(|o| o.what).collect()
    }

    #[test]
    fn an_upward_import_is_found_however_it_is_spelt() {
        let up = ["stats uses job, which stands below it"];
        for source in [
            "use crate::job::Job;",
            "    let j = crate::job::parse(text);",
            "use crate::{\n    job::Job,\n    units::Unit,\n};"
                .replace('\n', " ")
                .as_str(),
            "pub(crate) use crate::job;",
        ] {
            assert_eq!(whats("stats/robust.rs", source), up, "{source}");
        }
        assert_eq!(whats("stats/robust.rs", "use super::super::job::Job;"), up);
        assert_eq!(whats("stats/mod.rs", "use super::job::Job;"), up);
        assert_eq!(
            whats("log/mod.rs", "fn f(m: &crate::map::YieldMap) {}").len(),
            1
        );
    }

    #[test]
    fn downward_and_own_imports_are_not() {
        for (file, source) in [
            (
                "job/mod.rs",
                "use crate::stats::median; use super::crop::Crop;",
            ),
            (
                "checks/apply.rs",
                "use super::estimate::limits; use crate::checks::Limits;",
            ),
            ("checks/apply.rs", "use super::super::log::Log;"),
            (
                "stats/mod.rs",
                "//! See [`crate::job`].\n/* crate::job */ const A: &str = \"crate::job\";",
            ),
            (
                "stats/mod.rs",
                "#[cfg(test)]\nmod tests { use crate::job::Job; }",
            ),
            (
                "stats/mod.rs",
                "const Q: char = '\"'; const R: &str = r#\"crate::job \"quoted\"\"#; fn f<'a>(x: &'a str) {}",
            ),
        ] {
            assert_eq!(whats(file, source), [""; 0], "{source}");
        }
    }

    #[test]
    fn printing_files_clock_and_environment_have_their_places() {
        for (source, word) in [
            ("println!(\"x\");", "println"),
            ("dbg!(x);", "dbg"),
            ("use std::fs;", "fs"),
            ("let f = std::fs::File::open(p);", "fs"),
            ("std::env::var(\"HOME\")", "env"),
            ("let t = Instant::now();", "Instant"),
            ("x.unwrap_or(0.0)", "unwrap_or"),
            ("todo!()", "todo"),
        ] {
            let found = whats("delay/pool.rs", source);
            assert!(
                found.first().is_some_and(|f| f.starts_with(word)),
                "{source}: {found:?}"
            );
        }
        assert_eq!(whats("cli/run.rs", "println!(\"x\");"), [""; 0]);
        assert_eq!(whats("read/text.rs", "use std::fs::File;"), [""; 0]);
        assert_eq!(
            whats(
                "delay/pool.rs",
                "x.unwrap_or(0.05); env!(\"CARGO_PKG_VERSION\");"
            ),
            [""; 0]
        );
    }

    #[test]
    fn a_file_that_is_too_long_and_one_without_a_place_are_found() {
        let long = "fn f() {}\n".repeat(LONGEST + 1);
        assert_eq!(
            whats("delay/pool.rs", &long),
            ["451 lines of code; at most 450"]
        );
        let tested = format!("{}#[cfg(test)]\n{long}", "fn f() {}\n".repeat(LONGEST));
        assert_eq!(whats("delay/pool.rs", &tested), [""; 0]);
        assert_eq!(
            whats("helpers.rs", ""),
            ["module helpers has no place in the order"]
        );
        assert_eq!(
            whats("delay/pool.rs", "use crate::helpers::f;"),
            ["helpers has no place in the order"]
        );
    }

    #[test]
    fn lines_are_counted_from_the_file() {
        let source = "/* a\n b */\nuse crate::units;\nuse crate::cli;\n";
        assert_eq!(offences("stats/mod.rs", source)[0].line, 4);
    }
}
