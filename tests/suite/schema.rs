//! What `fanmill schema` prints, held against the Python package jsonschema (its Draft202012Validator; the metaschema is
//! that of the standard, <https://json-schema.org/draft/2020-12/schema>) and tomllib: the schemas themselves, job files and
//! results that are sound, and such that are not. What the schema says of a job file, the parser says as well.

use std::path::Path;

use fanmill::job::{self, Job, parse};
use fanmill::write::run::RunRecord;
use serde_json::{Value, json};
use toml::{Table, Value as Toml};

use crate::harness::{Farm, fanmill, files, small_season};
use crate::outside::{oracle, printed, project};

const FILES: [&str; 3] = ["job", "summary", "run"];

/// What the command prints.
fn schema(file: &str) -> Value {
    let run = fanmill(&["schema", file]);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""));
    serde_json::from_str(&run.stdout).expect("JSON")
}

/// What the oracle says of documents, each with its format: `None` of a sound one, else what is wrong. `None` of all where
/// there is no oracle.
fn verdicts(file: &str, format: &str, texts: &[String]) -> Option<Vec<Option<String>>> {
    let mut oracle = oracle("check_schema.py")?;
    let dir = tempfile::tempdir().expect("a folder");
    let documents: Vec<Value> = texts
        .iter()
        .map(|text| json!({ "format": format, "text": text }))
        .collect();
    let write = |name: &str, text: String| {
        let path = dir.path().join(name);
        std::fs::write(&path, text).expect("written");
        path
    };
    oracle.arg(write("schema.json", fanmill(&["schema", file]).stdout));
    oracle.arg(write("documents.json", Value::from(documents).to_string()));
    let verdicts: Vec<Option<String>> =
        serde_json::from_str(&printed(&mut oracle)).expect("a list");
    assert_eq!(verdicts.len(), texts.len());
    Some(verdicts)
}

fn all_sound(file: &str, format: &str, texts: &[String]) {
    for (text, verdict) in texts
        .iter()
        .zip(verdicts(file, format, texts).into_iter().flatten())
    {
        assert_eq!(verdict, None, "{text}");
    }
}

/// Calls `see` with every schema inside a schema, and where it stands.
fn walk(schema: &Value, at: &str, see: &mut impl FnMut(&str, &Value)) {
    see(at, schema);
    for group in [
        "$defs",
        "properties",
        "patternProperties",
        "anyOf",
        "allOf",
        "oneOf",
        "prefixItems",
    ] {
        match &schema[group] {
            Value::Object(inner) => inner
                .iter()
                .for_each(|(key, s)| walk(s, &format!("{at}/{group}/{key}"), see)),
            Value::Array(inner) => inner
                .iter()
                .enumerate()
                .for_each(|(k, s)| walk(s, &format!("{at}/{group}/{k}"), see)),
            _ => {}
        }
    }
    for key in ["items", "additionalProperties"] {
        if schema[key].is_object() {
            walk(&schema[key], &format!("{at}/{key}"), see);
        }
    }
}

#[test]
fn every_key_is_described_and_no_other_is_taken() {
    for file in FILES {
        let schema = schema(file);
        assert_eq!(
            schema["$schema"],
            "https://json-schema.org/draft/2020-12/schema"
        );
        assert_eq!(
            schema["$comment"],
            concat!("fanmill ", env!("CARGO_PKG_VERSION"))
        );
        let mut keys = 0;
        walk(&schema, file, &mut |at, inner| {
            let Some(properties) = inner["properties"].as_object() else {
                return;
            };
            assert!(
                !inner["additionalProperties"].is_null(),
                "{at} takes any key"
            );
            for (key, value) in properties {
                keys += 1;
                let about = value["description"].as_str().unwrap_or_default();
                // Crops are named by what they are.
                let described = about.ends_with('.') || at.ends_with("properties/crop");
                assert!(described, "{at}: {key} is described as {about:?}");
                assert!(!about.contains('\n'), "{at}: {key}");
                // A unit at the end of a key is in its description as well.
                let unit = [
                    ("_kg", "kg"),
                    ("_ha", "ha"),
                    ("_m", " m"),
                    ("_s", " s"),
                    ("_pct", "%"),
                ];
                for (_, unit) in unit.iter().filter(|(end, _)| key.ends_with(end)) {
                    let inner = value["$ref"].as_str().unwrap_or_default();
                    assert!(
                        about.contains(unit) || inner.ends_with("Estimate"),
                        "{at}: {key}: {about}"
                    );
                }
            }
        });
        assert!(keys > 60, "{file}: {keys} keys");
    }
}

#[test]
fn the_command_lists_what_there_is_and_refuses_what_is_not() {
    let list = fanmill(&["schema"]);
    assert_eq!((list.status, list.stderr.as_str()), (0, ""));
    for (line, file) in list.stdout.lines().zip(FILES) {
        assert!(
            line.starts_with(&format!("fanmill schema {file} ")),
            "{line}"
        );
    }
    assert_eq!(list.stdout.lines().count(), FILES.len());
    let refused = fanmill(&["schema", "tickets"]);
    assert_eq!((refused.status, refused.stdout.as_str()), (2, ""));
    assert!(
        refused
            .stderr
            .contains("possible values: job, summary, run"),
        "{}",
        refused.stderr
    );
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = fanmill(&["completions", shell]).stdout;
        assert!(script.contains("schema"), "{shell}");
    }
    // Those whose generator completes words of arguments.
    for (shell, words) in [("bash", "job summary run"), ("zsh", "summary\\:")] {
        let script = fanmill(&["completions", shell]).stdout;
        assert!(script.contains(words), "{shell}");
    }
}

/// Job files of the examples, the README and the demo farm.
#[test]
fn job_files_that_are_sound_are_valid() {
    let mut texts: Vec<String> = ["examples/first-field/job.toml", "examples/maize/job.toml"]
        .iter()
        .map(|name| std::fs::read_to_string(project(name)).expect("an example"))
        .collect();
    texts.push(Farm::demo().text("job.toml"));
    let readme = std::fs::read_to_string(project("README.md")).expect("a README");
    let blocks = readme.split("```toml\n").skip(1);
    let blocks = blocks.filter_map(|b| b.split("```").next());
    texts.extend(
        blocks
            .filter(|b| b.contains("[[field]]"))
            .map(str::to_owned),
    );
    assert!(texts.len() >= 6, "{} job files", texts.len());
    all_sound("job", "toml", &texts);
}

/// `run.json` and every `summary.json` of a farm.
fn results(farm: &Farm) -> (String, Vec<String>) {
    let all = files(&farm.path("results"));
    let text = |bytes: &Vec<u8>| String::from_utf8(bytes.clone()).expect("UTF-8");
    let summaries = all
        .iter()
        .filter(|(name, _)| name.ends_with("/summary.json"));
    (
        text(&all["run.json"]),
        summaries.map(|(_, bytes)| text(bytes)).collect(),
    )
}

/// Two fields with all layers and settings, one of them without its log, and the same without tickets or boundaries.
fn farms() -> [Farm; 2] {
    let seasons = [
        small_season("Brook field", "brook", 1),
        small_season("Heron meadow", "heron", 2),
    ];
    let farms = [Farm::of(&seasons), Farm::of(&seasons)];
    farms[0].edit("job.toml", |text| {
        let more = "layers = [\"points\", \"set-aside\", \"swaths\", \"grid\"]\ncrs = \"utm\"\n\
                    [log]\nat_moisture = \"harvest\"\ndate_order = \"year-month-day\"\nunits = { flow = \"kg/s\" }\n\
                    [limits]\nspeed = [\"0.3 m/s\", \"4 m/s\"]\ncut_share = \"30 %\"\n\
                    [[machine]]\nname = \"C1\"\ndelay = \"12 s\"\n";
        text.replacen("[[field]]", &format!("{more}[[field]]"), 1)
            .replacen("logs/heron/", "logs/nowhere/", 1)
    });
    farms[1].edit("job.toml", |text| {
        let kept = text
            .lines()
            .filter(|l| !l.starts_with("tickets") && !l.starts_with("boundary"));
        kept.collect::<Vec<_>>().join("\n")
    });
    farms
}

#[test]
fn results_are_valid_whatever_became_of_the_fields() {
    let [whole, bare] = farms();
    let demo = Farm::demo();
    for (farm, status) in [(&demo, 0), (&whole, 1), (&bare, 0)] {
        assert_eq!(farm.run(&["--quiet"]).status, status);
        let (run, summaries) = results(farm);
        assert!(!summaries.is_empty());
        all_sound("run", "json", &[run]);
        all_sound("summary", "json", &summaries);
    }
    // The runs are as different as they should be.
    let (failed, summary) = (
        &whole.run_record()["fields"][1],
        whole.summary("Brook field"),
    );
    assert_eq!(
        (&failed["status"], failed["error"].is_string()),
        (&json!("failed"), true)
    );
    assert!(summary["grid"].is_object() && summary["headland"].is_object());
    let summary = bare.summary("Brook field");
    assert_eq!(summary["calibration"]["tickets_used"], 0);
    assert!(summary["grid"].is_null() && summary["headland"].is_null());
}

/// A job with every key, as `run.json` has it.
#[test]
fn settings_are_valid_where_all_are_set() {
    let readme = std::fs::read_to_string(project("README.md")).expect("a README");
    let blocks = readme.split("```toml\n").skip(1);
    let blocks = blocks.filter_map(|b| b.split("```").next());
    let whole = blocks.max_by_key(|b| b.len()).expect("a job file");
    let job = read(whole).expect("sound");
    let record = serde_json::to_value(RunRecord::new(&job, &[])).expect("JSON");
    assert!(!record["settings"]["log"]["at_moisture"].is_null());
    all_sound("run", "json", &[record.to_string()]);
}

/// A copy with the value at a pointer changed; `None` takes it away.
fn changed(document: &Value, pointer: &str, to: Option<Value>) -> String {
    let mut copy = document.clone();
    let (parent, key) = pointer.rsplit_once('/').expect("a pointer");
    let parent = copy
        .pointer_mut(parent)
        .expect("it is there")
        .as_object_mut()
        .expect("an object");
    match to {
        Some(value) => parent.insert(key.to_owned(), value),
        None => Some(parent.remove(key).expect("it is there")),
    };
    copy.to_string()
}

#[test]
fn results_that_are_not_as_written_are_refused() {
    let [farm, _] = farms();
    assert_eq!(farm.run(&["--quiet"]).status, 1);
    let summary = farm.summary("Brook field");
    let spoilt = [
        ("/colour", Some(json!("blue"))),
        ("/points/weeds", Some(json!(1))),
        ("/points/set_aside/weeds", Some(json!(1))),
        ("/points/rows", Some(json!(-1))),
        ("/points/rows", Some(json!(1.5))),
        ("/area_ha", Some(json!("1.5"))),
        ("/area_ha", Some(Value::Null)),
        ("/season", Some(json!("2025"))),
        ("/machines/0/delay_s/basis", Some(json!("guess"))),
        ("/machines/0/delay_s/value", None),
        ("/yield/unit", Some(json!("t/acre"))),
        ("/yield/mean", None),
        ("/grid/cell_m", Some(json!(null))),
        ("/loads/0/remarks", Some(json!("none"))),
        ("/loads/0/basis", Some(json!("Ticket"))),
        ("/ledger/0/item", Some(json!("lost"))),
        ("/ledger/0/kg", None),
        ("/quality/before", Some(json!([]))),
        ("/warnings", None),
        ("/warnings", Some(json!([{ "code": "x" }]))),
    ];
    refused("summary", &summary, &spoilt);
    let spoilt = [
        ("/fields/0/status", Some(json!("half"))),
        ("/fields/0/content", Some(json!("0123"))),
        ("/fields/0/colour", Some(json!(1))),
        ("/fields/1/error", Some(json!(7))),
        ("/fields/0/folder", None),
        ("/settings/job/formats", Some(json!(["csv"]))),
        ("/settings/job/yield_unit", Some(json!("t"))),
        ("/settings/job/grid_cell_m", Some(json!("10 m"))),
        ("/settings/limits/speed_m_s", Some(json!([1.0]))),
        ("/settings/limits/speed_m_s", Some(json!([1.0, 2.0, 3.0]))),
        ("/settings/log/date_order", Some(json!("ymd"))),
        ("/settings/log/units/colour", Some(json!("kg/s"))),
        ("/settings/machines/0/delay_s", Some(json!("12 s"))),
        ("/settings/fields/0/crop", Some(json!("maize"))),
        ("/settings/fields/0/crop/bushel_kg", None),
        ("/version", None),
    ];
    refused("run", &farm.run_record(), &spoilt);
}

/// Each change is refused; the document itself is not.
fn refused(file: &str, document: &Value, changes: &[(&str, Option<Value>)]) {
    all_sound(file, "json", &[document.to_string()]);
    let texts: Vec<String> = changes
        .iter()
        .map(|(pointer, to)| changed(document, pointer, to.clone()))
        .collect();
    let verdicts = verdicts(file, "json", &texts).into_iter().flatten();
    for (change, verdict) in changes.iter().zip(verdicts) {
        assert!(verdict.is_some(), "{file}: {change:?} passes");
    }
}

/// Sections with keys of their own, and those of `[log]`.
const SECTIONS: [&str; 8] = [
    "job",
    "log",
    "log columns",
    "log units",
    "machine",
    "crop",
    "limits",
    "field",
];

/// The shortest job.
fn shortest() -> Table {
    "[[field]]\nclient = 'a'\nfarm = 'b'\nname = 'c'\nseason = 2025\ncrop = 'maize'\nlogs = ['*.csv']"
        .parse()
        .expect("TOML")
}

/// The table of a section, made where there is none.
fn section<'a>(job: &'a mut Table, name: &str) -> &'a mut Table {
    fn below<'a>(table: &'a mut Table, key: &str) -> &'a mut Table {
        let inner = table.entry(key).or_insert_with(|| Table::new().into());
        inner.as_table_mut().expect("a table")
    }
    let first = |job: &'a mut Table, key: &str, new: Table| {
        let list = job
            .entry(key)
            .or_insert_with(|| vec![Toml::from(new)].into());
        list[0].as_table_mut().expect("a table")
    };
    match name.split_once(' ') {
        Some((outer, inner)) => below(below(job, outer), inner),
        None if name == "machine" => {
            let mut machine = Table::new();
            machine.insert("name".to_owned(), "C1".into());
            first(job, name, machine)
        }
        None if name == "field" => first(job, name, Table::new()),
        None if name == "crop" => below(below(job, name), "maize"),
        None => below(job, name),
    }
}

/// The shortest job with one more value, as text.
fn with(at: &str, key: &str, value: impl Into<Toml>) -> String {
    let mut job = shortest();
    section(&mut job, at).insert(key.to_owned(), value.into());
    toml::to_string(&job).expect("TOML")
}

fn read(text: &str) -> Result<Job, String> {
    parse(text, "job.toml", Path::new("farm")).map_err(|e| e.to_string())
}

/// The keys of a section, with the schema of each.
fn keys(schema: &Value, at: &str) -> Vec<(String, Value)> {
    let pointer = match at {
        "log columns" => "/$defs/Log/properties/columns".to_owned(),
        "log units" => "/$defs/Log/properties/units".to_owned(),
        name => format!("/$defs/{}{}", name[..1].to_uppercase(), &name[1..]),
    };
    let properties = schema.pointer(&format!("{pointer}/properties"));
    let properties = properties.and_then(Value::as_object).expect(at);
    properties
        .iter()
        .map(|(key, s)| (key.clone(), s.clone()))
        .collect()
}

/// What an editor offers is taken: examples, and defaults, which change nothing.
#[test]
fn defaults_and_examples_are_the_parsers() {
    let schema = job::schema();
    let plain = |at: &str| {
        let mut job = shortest();
        section(&mut job, at);
        read(&toml::to_string(&job).expect("TOML")).expect("sound")
    };
    let (mut examples, mut defaults) = (0, 0);
    for at in SECTIONS {
        for (key, about) in keys(&schema, at) {
            let toml = |value: &Value| Toml::try_from(value).expect("TOML");
            if !about["default"].is_null() {
                defaults += 1;
                assert_eq!(
                    read(&with(at, &key, toml(&about["default"]))),
                    Ok(plain(at)),
                    "{key}"
                );
            }
            let own = about["examples"].as_array();
            let mut offered: Vec<&Value> = own.into_iter().flatten().collect();
            if own.is_none() {
                let inner = about["anyOf"].as_array().into_iter().flatten();
                offered.extend(inner.flat_map(|s| s["examples"].as_array().into_iter().flatten()));
            }
            for example in offered {
                examples += 1;
                let text = with(at, &key, toml(example));
                assert!(read(&text).is_ok(), "{at} {key}: {:?}", read(&text));
            }
        }
    }
    assert!(
        examples > 30 && defaults == 11,
        "{examples} examples, {defaults} defaults"
    );
}

/// What may stand at a key, sound at some and not at others.
fn values(schema: &Value) -> Vec<Toml> {
    let mut texts: Vec<String> = [
        "",
        "  ",
        "9.1",
        "m 9",
        "9,1 m",
        "9.1 furlongs",
        "9.1m",
        " +9.1  m ",
        ".5 m",
        "5. m",
        "1e2 cm",
        "1e m",
        "- 2 s",
        "-2 s",
        "-200 s",
        "2 min",
        "NaN m",
        "inf s",
        "auto",
        "Auto",
        "utm",
        "UTM",
        "harvest",
        "reference",
        "EPSG:4326",
        "epsg: 25832",
        "EPSG:0",
        "EPSG",
        "WGS84",
        "8 rows of 75 cm",
        "8 rows of 75 m",
        "8 x 30 in",
        "8 × 0.75 m",
        "8 rows",
        "0 rows of 75 cm",
        "49 rows of 75 cm",
        "8 rows of 75",
        "8 lanes of 75 cm",
        "UTC",
        "wheat",
        "no such word",
        "120 %",
        "56 bu",
        "300 bu/ac",
    ]
    .map(str::to_owned)
    .to_vec();
    walk(schema, "", &mut |_, inner| {
        let words = inner["enum"]
            .as_array()
            .into_iter()
            .flatten()
            .chain([&inner["const"]]);
        texts.extend(words.filter_map(Value::as_str).map(str::to_owned));
    });
    let amounts = [
        "9.1 m", "56 lb", "8 kg/s", "1.5 m/s", "12 s", "15.5 %", "90 deg", "9 t/ha",
    ];
    texts.extend(amounts.map(str::to_owned));
    texts.sort_unstable();
    texts.dedup();
    let mut values: Vec<Toml> = texts.iter().map(|t| Toml::from(t.as_str())).collect();
    values.extend(texts.iter().map(|t| Toml::from(vec![t.as_str()])));
    for amount in amounts {
        let low = format!("0 {}", amount.split(' ').nth(1).expect("a unit"));
        values.push(vec![low.as_str(), amount].into());
        values.push(vec![amount, low.as_str()].into());
        values.push(vec![amount, amount, amount].into());
        values.push(vec!["0", amount].into());
    }
    values.extend([9.1, 0.4, 1.5, -0.1].map(Toml::from));
    values.extend([0i64, 1, 12, 25, 2025, 30_000].map(Toml::from));
    values.push(true.into());
    values.push(Toml::Array(Vec::new()));
    values.push(Toml::Array(vec![1i64.into()]));
    values.push(Table::new().into());
    values.push("[a]\nname = 'x'".parse::<Table>().expect("TOML").into());
    values.push("d = 2025-09-12".parse::<Table>().expect("TOML")["d"].clone());
    values
}

/// What the parser alone knows, by its words: sizes, order, and what other values or lists say.
const BEYOND: [&str; 6] = [
    " between ",
    " of at least ",
    "the lower one first",
    "a crop of the job's [crop.NAME]",
    "a time zone by its IANA name",
    "1 to 48 rows and how far they are apart",
];

/// Every key with every value (27,000 job files), every unknown and every missing key: the schema refuses what the parser refuses, and
/// nothing else.
#[test]
fn parser_and_schema_agree() {
    let schema = job::schema();
    let values = values(&schema);
    let mut texts = Vec::new();
    for at in SECTIONS {
        for (key, _) in keys(&schema, at) {
            texts.extend(values.iter().map(|value| with(at, &key, value.clone())));
        }
        texts.push(with(at, "unheard_of", 1));
        for value in [
            Toml::from(1),
            "x".into(),
            vec!["x"].into(),
            Toml::Array(vec![]),
        ] {
            let mut job = shortest();
            match at.split_once(' ') {
                Some((outer, inner)) => section(&mut job, outer).insert(inner.to_owned(), value),
                None => job.insert(at.to_owned(), value),
            };
            texts.push(toml::to_string(&job).expect("TOML"));
        }
    }
    for (at, needed) in [
        ("machine", vec!["name"]),
        (
            "field",
            vec!["client", "farm", "name", "season", "crop", "logs"],
        ),
    ] {
        for key in needed {
            let mut job = shortest();
            section(&mut job, at).remove(key).expect("it is there");
            texts.push(toml::to_string(&job).expect("TOML"));
        }
    }
    let field = toml::to_string(&shortest()).expect("TOML");
    for more in [
        "[fields]",
        "[[log]]",
        "[crop]\nmaize = 1",
        "[crop.Maize]",
        "[crop.\"oilseed rape\"]",
        "[crop.maize]\nbushel = '56 lb'",
        "[crop.quinoa]",
        "[crop.quinoa]\nreference_moisture = '12 %'",
        "[crop.quinoa]\nbushel_weight = '50 lb'",
        "[crop.quinoa]\nreference_moisture = '12 %'\nbushel_weight = '50 lb'",
        "[crop.quinoa]\nreference_moisture = '12 %'\nbushel_weight = '50 lb'\ncolour = 'red'",
    ] {
        texts.push(format!("{field}{more}\n"));
    }
    texts.push(String::new());

    let Some(verdicts) = verdicts("job", "toml", &texts) else {
        return;
    };
    let (mut sound, mut both, mut beyond) = (0, 0, [0; BEYOND.len()]);
    for (text, verdict) in texts.iter().zip(verdicts) {
        match (read(text), verdict) {
            (Ok(_), None) => sound += 1,
            (Err(_), Some(_)) => both += 1,
            (Ok(_), Some(refused)) => panic!("the schema alone refuses: {refused}\n{text}"),
            (Err(error), None) => {
                let kind = BEYOND.iter().position(|words| error.contains(words));
                beyond[kind
                    .unwrap_or_else(|| panic!("the parser alone refuses: {error}\n{text}"))] += 1;
            }
        }
    }
    println!("{sound} sound, {both} refused by both, by the parser alone {beyond:?}");
    assert!(
        sound > 1_500 && both > 5_000,
        "{sound} sound, {both} refused"
    );
    assert!(beyond.iter().all(|n| *n > 0), "{beyond:?}");
}

/// The one thing in which the schema is stricter: it knows units by their symbols.
#[test]
fn units_in_plain_words_are_the_parsers_alone() {
    let texts = ["30 feet", "30 FT", "30 ft"].map(|width| with("machine", "header_width", width));
    assert!(texts.iter().all(|text| read(text).is_ok()));
    let Some(verdicts) = verdicts("job", "toml", &texts) else {
        return;
    };
    assert!(
        verdicts
            .iter()
            .map(Option::is_none)
            .eq([false, false, true]),
        "{verdicts:?}"
    );
}

/// The oracle itself: it does not take everything for a schema.
#[test]
fn the_oracle_refuses_what_is_no_schema() {
    let dir = tempfile::tempdir().expect("a folder");
    let documents = dir.path().join("documents.json");
    std::fs::write(&documents, "[]").expect("written");
    let path = dir.path().join("schema.json");
    for (spoilt, said) in [
        (
            json!({ "type": "colour" }),
            "is not valid under any of the given schemas",
        ),
        (
            json!({ "properties": { "a": { "pattern": "(" } } }),
            "unterminated",
        ),
        (json!({ "requires": ["a"] }), "keywords {'requires'}"),
    ] {
        let mut schema = spoilt;
        schema["$schema"] = "https://json-schema.org/draft/2020-12/schema".into();
        std::fs::write(&path, schema.to_string()).expect("written");
        let Some(mut oracle) = oracle("check_schema.py") else {
            return;
        };
        let output = oracle.arg(&path).arg(&documents).output().expect("it runs");
        let complaint = crate::outside::complaint(&output).to_string();
        assert!(
            !output.status.success() && complaint.contains(said),
            "{complaint}"
        );
    }
}
