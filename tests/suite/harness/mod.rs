//! A folder with a job in it, the command run on it, and what must hold of every run.

mod layers;
pub mod truth;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use fanmill::simulate::{
    DrivingSpec, FaultSpec, FieldSpec, MachineSpec, Shape, Simulated, simulate, write_seasons,
};
use serde_json::Value;
use tempfile::TempDir;

/// Files below a folder, by their path in it with `/` between its parts.
pub type Files = BTreeMap<String, Vec<u8>>;

/// A folder that goes with the test.
pub struct Farm {
    folder: TempDir,
}

impl Farm {
    pub fn empty() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a folder"),
        }
    }

    /// The demo farm, written by the command.
    pub fn demo() -> Self {
        let farm = Self::empty();
        let made = fanmill(&["demo", farm.path("").to_str().expect("a plain path")]);
        assert_eq!(made.status, 0, "{}", made.stderr);
        farm
    }

    /// Small seasons and a job of them.
    pub fn of(seasons: &[Simulated]) -> Self {
        let farm = Self::empty();
        write_seasons(&farm.path(""), seasons).expect("written");
        farm.job(seasons, "");
        farm
    }

    /// Writes a job for seasons, `more` before the fields.
    pub fn job(&self, seasons: &[Simulated], more: &str) -> &Self {
        let mut text = format!("[job]\nformats = [\"geojson\", \"shapefile\"]\n{more}\n");
        for season in seasons {
            text.push_str(&field_entry(&season.spec.name, &season.spec.key));
        }
        self.write("job.toml", text.as_bytes())
    }

    pub fn path(&self, name: &str) -> PathBuf {
        let root = self.folder.path().to_owned();
        if name.is_empty() {
            root
        } else {
            root.join(name)
        }
    }

    pub fn write(&self, name: &str, bytes: &[u8]) -> &Self {
        let path = self.path(name);
        fs::create_dir_all(path.parent().expect("in the folder")).expect("made");
        fs::write(path, bytes).expect("written");
        self
    }

    pub fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).expect("a text")
    }

    /// Rewrites a text file.
    pub fn edit(&self, name: &str, with: impl FnOnce(String) -> String) -> &Self {
        let text = with(self.text(name));
        self.write(name, text.as_bytes())
    }

    pub fn files(&self) -> Files {
        files(&self.path(""))
    }

    /// Results, without what the batch keeps for itself.
    pub fn results(&self) -> Files {
        let mut files = files(&self.path("results"));
        files.retain(|name, _| !name.starts_with(".fanmill/"));
        files
    }

    /// Runs the job and sees that every invariant holds and that no input has changed.
    pub fn run(&self, arguments: &[&str]) -> Run {
        let inputs = self.inputs();
        let job = self.path("job.toml");
        let mut all = vec!["run", job.to_str().expect("a plain path")];
        all.extend(arguments);
        let mut run = fanmill(&all);
        assert_eq!(self.inputs(), inputs, "a run changes its inputs");
        let root = self.path("").display().to_string();
        run.stderr = run.stderr.replace(&root, "FARM");
        run.stdout = run.stdout.replace(&root, "FARM");
        if run.status < 2 {
            layers::check_run(&self.path(""), run.status);
        }
        run
    }

    fn inputs(&self) -> Files {
        let mut all = self.files();
        all.retain(|name, _| name != "results" && !name.starts_with("results/"));
        all
    }

    pub fn run_record(&self) -> Value {
        json(&self.path("results/run.json"))
    }

    /// `summary.json` of a field.
    pub fn summary(&self, field: &str) -> Value {
        json(&self.field_folder(field).join("summary.json"))
    }

    pub fn field_folder(&self, field: &str) -> PathBuf {
        let run = self.run_record();
        let fields = run["fields"].as_array().expect("fields");
        let entry = fields
            .iter()
            .find(|f| f["field"] == field)
            .expect("the field");
        self.path("results")
            .join(entry["folder"].as_str().expect("a folder"))
    }

    /// Codes of a field's warnings, with their texts.
    pub fn warnings(&self, field: &str) -> Vec<(String, String)> {
        let summary = self.summary(field);
        let text = |v: &Value| v.as_str().expect("a text").to_owned();
        summary["warnings"]
            .as_array()
            .expect("warnings")
            .iter()
            .map(|w| (text(&w["code"]), text(&w["text"])))
            .collect()
    }

    /// The text of the one warning of that code.
    pub fn warning(&self, field: &str, code: &str) -> String {
        let mut texts: Vec<String> = self
            .warnings(field)
            .into_iter()
            .filter(|w| w.0 == code)
            .map(|w| w.1)
            .collect();
        assert_eq!(texts.len(), 1, "{code}: {:?}", self.warnings(field));
        texts.remove(0)
    }
}

/// What the command said.
pub struct Run {
    pub status: i32,
    pub stdout: String,
    pub stderr: String,
}

/// Runs the command.
pub fn fanmill(arguments: &[&str]) -> Run {
    let out = Command::new(env!("CARGO_BIN_EXE_fanmill"))
        .args(arguments)
        .output()
        .expect("the command starts");
    Run {
        status: out.status.code().expect("it ends by itself"),
        stdout: String::from_utf8(out.stdout).expect("UTF-8"),
        stderr: String::from_utf8(out.stderr).expect("UTF-8"),
    }
}

pub fn field_entry(name: &str, key: &str) -> String {
    format!(
        "[[field]]\nclient = \"Heron Lane\"\nfarm = \"Home\"\nname = \"{name}\"\nseason = 2025\ncrop = \"maize\"\n\
         logs = [\"logs/{key}/*.csv\"]\nboundary = \"boundaries/{key}.geojson\"\ntickets = [\"tickets.csv\"]\n"
    )
}

/// A field of 1.5 ha with a load every 4 t and nothing wrong with its log.
pub fn small_field(name: &str, key: &str) -> FieldSpec {
    FieldSpec {
        name: name.into(),
        key: key.into(),
        shape: Shape::rectangle(90.0, 170.0),
        driving: DrivingSpec {
            stops_per_hour: 0.0,
            abrupt_per_hour: 0.0,
            ..DrivingSpec::default()
        },
        machines: vec![MachineSpec {
            bin: 4_000.0,
            ..MachineSpec::default()
        }],
        faults: FaultSpec::none(),
        ..FieldSpec::default()
    }
}

pub fn small_season(name: &str, key: &str, seed: u64) -> Simulated {
    simulate(&small_field(name, key), seed).expect("a season")
}

pub fn json(path: &Path) -> Value {
    let text = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Everything below a folder; the file itself where it is one.
pub fn files(folder: &Path) -> Files {
    let mut out = Files::new();
    collect(folder, "", &mut out);
    out
}

fn collect(folder: &Path, prefix: &str, out: &mut Files) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries {
        let entry = entry.expect("an entry");
        let name = format!(
            "{prefix}{}",
            entry.file_name().to_str().expect("a plain name")
        );
        if entry.path().is_dir() {
            collect(&entry.path(), &format!("{name}/"), out);
        } else {
            out.insert(name, fs::read(entry.path()).expect("readable"));
        }
    }
}
