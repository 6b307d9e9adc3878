//! Which format an input has, and which logs it holds.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use geo::MultiPolygon;

use super::container::{Kind, Unpacked, beside, gunzip, kind, kind_of, unzip};
use super::geopackage::{self, Layer};
use super::{Table, bytes, csv, geojson, shapefile};
use crate::job::{FieldSeason, Job, LogSettings};
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::find::{InputFile, leads_back};
use crate::read::taskdata::{self, Task, TaskSet, tasks_of};
use crate::summary::Remark;

/// Folders in folders that are looked into (our choice).
const DEEPEST: usize = 8;

/// One log: a file, or one of the logs that a file, a folder or an archive holds.
#[derive(Debug, Clone)]
pub(in crate::read) struct LogSource {
    /// Its name in messages and results.
    pub shown: String,
    origin: Origin,
    /// Holds what was unpacked for as long as it is read.
    _unpacked: Option<Unpacked>,
}

#[derive(Debug, Clone)]
enum Origin {
    Text(PathBuf),
    Gzip(PathBuf),
    GeoJson(PathBuf),
    Shapefile(PathBuf),
    Dbf(PathBuf),
    GeoPackage(PathBuf, Layer),
    Task(Arc<TaskSet>, Option<Task>, String),
}

impl LogSource {
    /// Opens it and reads its headers.
    pub fn open(&self, job: &Job) -> Result<Table, ReadError> {
        let (file, settings) = (&self.shown, &job.log);
        let io = |e| ReadError::io(file, e);
        match &self.origin {
            Origin::Text(path) => csv::open(bytes::file(path).map_err(io)?, file, "rows"),
            Origin::Gzip(path) => gzip(path, file, settings, "rows"),
            Origin::GeoJson(path) => geojson::open(bytes::file(path).map_err(io)?, file, settings),
            Origin::Shapefile(path) => shapefile::open(path, file, settings),
            Origin::Dbf(path) => shapefile::open_table(path, file),
            Origin::GeoPackage(path, layer) => geopackage::open(path, layer, file, settings),
            Origin::Task(set, task, stem) => taskdata::open(set, task.as_ref(), stem, |machine| {
                let of = job.machines.iter().find(|m| m.name == machine);
                of.is_some_and(|m| m.antenna_behind_cutter_bar.is_some())
            }),
        }
    }
}

/// What inputs hold.
#[derive(Debug, Default)]
pub(in crate::read) struct Found {
    /// The logs, in the order of the inputs; one that cannot be used stands as its error.
    pub logs: Vec<Result<LogSource, ReadError>>,
    /// What the user should know.
    pub warnings: Vec<Remark>,
}

/// The logs that inputs hold.
pub(in crate::read) fn logs_in(
    inputs: &[InputFile],
    field: &FieldSeason,
    boundary: Option<&MultiPolygon<f64>>,
) -> Found {
    let mut search = Search {
        field,
        boundary,
        found: Found::default(),
        inputs,
    };
    for input in inputs {
        let before = search.found.logs.len();
        let skipped = search.input(&input.path, &input.shown, None, 0);
        match skipped {
            Err(error) => search.found.logs.push(Err(error)),
            Ok(Seen::Companion) => {}
            Ok(Seen::Input) if search.found.logs.len() > before => {}
            Ok(Seen::Input) => search.found.logs.push(Err(nothing_in(&input.shown))),
        }
    }
    search.found
}

fn nothing_in(shown: &str) -> ReadError {
    ReadError::new(ReadErrorKind::Missing, Place::file(shown), "a log in it", "none")
        .hinted("logs are CSV, shapefiles, GeoJSON, GeoPackages and ISO 11783-10 task data, also in a zip; CSV and GeoJSON also in gzip")
}

/// What became of an input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Seen {
    /// It has been looked through.
    Input,
    /// It belongs to another file and is read along with it.
    Companion,
}

struct Search<'a> {
    field: &'a FieldSeason,
    boundary: Option<&'a MultiPolygon<f64>>,
    found: Found,
    inputs: &'a [InputFile],
}

impl Search<'_> {
    fn add(&mut self, shown: &str, origin: Origin, unpacked: Option<&Unpacked>) -> Seen {
        self.found.logs.push(Ok(LogSource {
            shown: shown.to_owned(),
            origin,
            _unpacked: unpacked.cloned(),
        }));
        Seen::Input
    }

    fn input(
        &mut self,
        path: &Path,
        shown: &str,
        unpacked: Option<&Unpacked>,
        depth: usize,
    ) -> Result<Seen, ReadError> {
        if path.is_dir() {
            self.folder(path, shown, unpacked, depth)?;
            return Ok(Seen::Input);
        }
        let extension = extension(path);
        if companion(path, &extension) {
            return Ok(Seen::Companion);
        }
        if let Some(stem) = tlg_stem(path, &extension) {
            return self.single_task_log(path, shown, &stem, unpacked);
        }
        if extension == "dbf" {
            return Ok(self.add(shown, Origin::Dbf(path.to_owned()), unpacked));
        }
        match kind(path).map_err(|e| ReadError::io(shown, e))? {
            Kind::Zip
                if unpacked.is_none() && !["xlsx", "ods", "docx"].contains(&extension.as_str()) =>
            {
                let unpacked = unzip(path, shown)?;
                self.folder(unpacked.path(), shown, Some(&unpacked), depth)?;
                Ok(Seen::Input)
            }
            Kind::Gzip => Ok(self.add(shown, Origin::Gzip(path.to_owned()), unpacked)),
            Kind::Shapefile => Ok(self.add(shown, Origin::Shapefile(path.to_owned()), unpacked)),
            Kind::Json => Ok(self.add(shown, Origin::GeoJson(path.to_owned()), unpacked)),
            Kind::Sqlite => self.geopackage(path, shown, unpacked),
            Kind::Xml if is_taskdata(path) => {
                let (folder, shown) = (path.parent().unwrap_or(Path::new(".")), parent_of(shown));
                self.tasks(folder, shown, unpacked)?;
                Ok(Seen::Input)
            }
            Kind::Text if !["xls", "bin", "ods"].contains(&extension.as_str()) => {
                Ok(self.add(shown, Origin::Text(path.to_owned()), unpacked))
            }
            other => Err(refuse(other, &extension, shown)),
        }
    }

    /// A folder: task data, or every log below it.
    fn folder(
        &mut self,
        path: &Path,
        shown: &str,
        unpacked: Option<&Unpacked>,
        depth: usize,
    ) -> Result<(), ReadError> {
        let folder = path;
        let entries = std::fs::read_dir(folder).map_err(|e| ReadError::io(shown, e))?;
        let mut paths: Vec<PathBuf> = entries.flatten().map(|e| e.path()).collect();
        paths.sort();
        if paths.iter().any(|p| is_taskdata(p)) {
            return self.tasks(folder, shown, unpacked);
        }
        for path in paths {
            let name = path
                .file_name()
                .map(|n| n.to_string_lossy().into_owned())
                .unwrap_or_default();
            let is_log = [
                "csv", "txt", "tsv", "gz", "zip", "shp", "dbf", "geojson", "json", "gpkg",
            ];
            let into = path.is_dir() && depth < DEEPEST && name != "__MACOSX";
            if into && leads_back(folder, &path) {
                continue;
            }
            if name.starts_with('.') || !(into || is_log.contains(&extension(&path).as_str())) {
                continue;
            }
            let shown = format!("{}/{name}", shown.trim_end_matches('/'));
            // One log that cannot be used costs itself alone.
            if let Err(error) = self.input(&path, &shown, unpacked, depth + 1) {
                self.found.logs.push(Err(error));
            }
        }
        Ok(())
    }

    fn geopackage(
        &mut self,
        path: &Path,
        shown: &str,
        unpacked: Option<&Unpacked>,
    ) -> Result<Seen, ReadError> {
        let connection = geopackage::connect(path, shown)?;
        let layers = geopackage::layers(&connection, shown)?;
        let points: Vec<Layer> = layers.into_iter().filter(Layer::may_hold_points).collect();
        let alone = points.len() == 1;
        if points.is_empty() {
            return Err(ReadError::new(
                ReadErrorKind::Geometry,
                Place::file(shown),
                "a table of points",
                "none",
            )
            .hinted("a log has a point per row"));
        }
        for layer in points {
            let name = if alone {
                shown.to_owned()
            } else {
                format!("{shown}/{}", layer.table)
            };
            self.add(&name, Origin::GeoPackage(path.to_owned(), layer), unpacked);
        }
        Ok(Seen::Input)
    }

    /// The logs of the tasks that are the field's.
    fn tasks(
        &mut self,
        folder: &Path,
        shown: &str,
        unpacked: Option<&Unpacked>,
    ) -> Result<(), ReadError> {
        let mut set = TaskSet::read(folder, shown)?;
        self.found.warnings.append(&mut set.warnings);
        let set = Arc::new(set);
        for task in tasks_of(&set, self.field, self.boundary)? {
            for stem in &task.logs {
                let name = format!("{}/{stem}", set.shown);
                self.add(
                    &name,
                    Origin::Task(Arc::clone(&set), Some(task.clone()), stem.clone()),
                    unpacked,
                );
            }
        }
        Ok(())
    }

    /// A log of a set that the job names itself; its set need not name it.
    fn single_task_log(
        &mut self,
        path: &Path,
        shown: &str,
        stem: &str,
        unpacked: Option<&Unpacked>,
    ) -> Result<Seen, ReadError> {
        let folder = path.parent().unwrap_or(Path::new("."));
        let also = |p: &Path| p.parent() == Some(folder);
        // A pattern that matches the whole set means its tasks; one that matches header and records means one log.
        let whole = self
            .inputs
            .iter()
            .any(|i| is_taskdata(&i.path) && also(&i.path));
        let header = self.inputs.iter().any(|i| {
            also(&i.path)
                && i.path != path
                && extension(&i.path) == "xml"
                && tlg_stem(&i.path, "xml").as_deref() == Some(stem)
        });
        if whole || (header && extension(path) == "bin") {
            return Ok(Seen::Companion);
        }
        let mut set = TaskSet::read(folder, parent_of(shown))?;
        self.found.warnings.append(&mut set.warnings);
        let set = Arc::new(set);
        let task = set
            .tasks
            .iter()
            .find(|t| t.logs.iter().any(|l| l.eq_ignore_ascii_case(stem)))
            .cloned();
        let name = format!("{}/{stem}", set.shown);
        Ok(self.add(&name, Origin::Task(set, task, stem.to_owned()), unpacked))
    }
}

fn extension(path: &Path) -> String {
    path.extension()
        .map(|e| e.to_string_lossy().to_lowercase())
        .unwrap_or_default()
}

pub(in crate::read) fn is_taskdata(path: &Path) -> bool {
    path.file_name()
        .is_some_and(|n| n.eq_ignore_ascii_case("taskdata.xml"))
}

/// The folder of a name as it is shown.
fn parent_of(shown: &str) -> &str {
    shown.rsplit_once('/').map_or(".", |(parent, _)| parent)
}

/// `TLG00001` of `tlg00001.xml` and `TLG00001.BIN`.
fn tlg_stem(path: &Path, extension: &str) -> Option<String> {
    let stem = path.file_stem()?.to_string_lossy().to_uppercase();
    let digits = stem.strip_prefix("TLG")?;
    let is = ["xml", "bin"].contains(&extension)
        && digits.len() == 5
        && digits.bytes().all(|b| b.is_ascii_digit());
    is.then_some(stem)
}

/// Whether a file is part of a shapefile that stands beside it.
fn companion(path: &Path, extension: &str) -> bool {
    [
        "dbf", "shx", "prj", "cpg", "qix", "qpj", "sbn", "sbx", "xml",
    ]
    .contains(&extension)
        && {
            // `a.shp.xml` describes `a.shp`.
            let described = extension == "xml"
                && path.with_extension("").is_file()
                && self::extension(&path.with_extension("")) == "shp";
            described || (extension != "xml" && beside(path, "shp").is_some())
        }
}

fn gzip(path: &Path, file: &str, settings: &LogSettings, lines: &str) -> Result<Table, ReadError> {
    let io = |e| ReadError::io(file, e);
    let open = || bytes::file(path).map(gunzip);
    let mut head = [0u8; 64];
    let n = bytes::fill(&mut *open().map_err(io)?, &mut head).map_err(io)?;
    match kind_of(&head[..n]) {
        Kind::Json => geojson::open(open().map_err(io)?, file, settings),
        Kind::Text
            if !path.to_string_lossy().to_lowercase().ends_with(".tar.gz")
                && !file.to_lowercase().ends_with(".tgz") =>
        {
            csv::open(open().map_err(io)?, file, lines)
        }
        _ => Err(ReadError::new(
            ReadErrorKind::Format,
            Place::file(file),
            "a CSV or a GeoJSON in the gzip",
            "something else",
        )
        .hinted("unpack it, and name what was in it")),
    }
}

/// Opens a file as one table of text. `lines`: what its lines are, for messages, e.g. "rows".
pub(in crate::read) fn open_table(input: &InputFile, lines: &str) -> Result<Table, ReadError> {
    let io = |e| ReadError::io(&input.shown, e);
    match kind(&input.path).map_err(io)? {
        Kind::Gzip => gzip(&input.path, &input.shown, &LogSettings::default(), lines),
        Kind::Text => csv::open(bytes::file(&input.path).map_err(io)?, &input.shown, lines),
        other => Err(ReadError::new(
            ReadErrorKind::Format,
            Place::file(&input.shown),
            format!("{lines} as CSV"),
            other.words(),
        )
        .hinted("export them as CSV (commas, semicolons or tabs)")),
    }
}

fn refuse(kind: Kind, extension: &str, shown: &str) -> ReadError {
    let found = match kind {
        Kind::Text | Kind::Zip if !extension.is_empty() => format!("a .{extension} file"),
        other => other.words().to_owned(),
    };
    ReadError::new(
        ReadErrorKind::Format,
        Place::file(shown),
        "a log as CSV, shapefile, GeoJSON, GeoPackage or ISO 11783-10 task data",
        found,
    )
    .hinted("export the log as CSV")
}

impl Kind {
    fn words(self) -> &'static str {
        match self {
            Kind::Gzip => "a gzip file",
            Kind::Zip => "a zip archive",
            Kind::Shapefile => "a shapefile",
            Kind::Sqlite => "a database",
            Kind::Json => "JSON",
            Kind::Xml => "XML",
            Kind::Compound => "an office document",
            Kind::Parquet => "a Parquet file",
            Kind::FlatGeobuf => "a FlatGeobuf file",
            Kind::Pdf => "a PDF",
            Kind::Text => "text",
        }
    }
}
