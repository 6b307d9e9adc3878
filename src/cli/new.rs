use std::collections::BTreeSet;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use geo::MultiPolygon;
use rayon::prelude::*;

use super::{DONE, Failure};
use crate::draft::{Found, FoundBoundary, FoundLog, FoundTickets, fields, job_text};
use crate::inspect::{Tally, crop_of_path, survey};
use crate::job::{Job, parse};
use crate::read::{ReadErrorKind, files_below, inspect, outlines_in, tickets_in};

/// Positions of a log that are held against boundaries (our choice: enough for a share in whole percent).
const PLACES: usize = 400;

/// Looks through a folder of logs, tickets and boundaries, and writes a job file with what it found and what it could
/// not find out. Never overwrites one.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The folder; the job file goes into it as job.toml.
    folder: PathBuf,
}

pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let folder = &arguments.folder;
    let target = folder.join("job.toml");
    if target.exists() {
        return Err(refuse(&target));
    }
    let files = files_below(folder).map_err(|e| {
        Failure::new(
            format!(
                "{}: expected a readable folder, found \"{e}\"",
                folder.display()
            ),
            None,
        )
    })?;
    let job = crate::inspect::job().map_err(|e| Failure::new(&e, e.hint()))?;
    let looked: Vec<What> = files
        .par_iter()
        .map(|file| look(folder, file, &job))
        .collect();
    let mut found = Found::default();
    for what in looked {
        match what {
            What::Logs(logs) => found.logs.extend(logs),
            What::Boundaries(b) => found.boundaries.extend(b),
            What::Tickets(t) => found.tickets.push(t),
            What::Unusable(path, why) => found.unusable.push((path, why)),
            What::Other(path) => found.others.push(path),
            What::Nothing => {}
        }
    }
    let fields = fields(&found);
    if fields.is_empty() {
        let seen = match found.unusable.first() {
            Some((path, why)) => format!("none that can be read; {path}: {why}"),
            None => format!("none among {} file(s)", files.len()),
        };
        return Err(Failure::new(
            format!(
                "{}: expected logs of a combine, found {seen}",
                folder.display()
            ),
            Some("fanmill inspect FILE says of one file what it is"),
        ));
    }
    let name = folder
        .canonicalize()
        .ok()
        .and_then(|p| Some(p.file_name()?.to_string_lossy().into_owned()))
        .unwrap_or_else(|| "fanmill".to_owned());
    let text = job_text(&found, &fields, &name, this_year());
    parse(&text, "job.toml", folder).map_err(|e| {
        Failure::new(
            format!("the job file that would be written cannot be read: {e}"),
            e.hint(),
        )
    })?;
    write_new(folder, &target, &text).map_err(|e| match e.kind() {
        ErrorKind::AlreadyExists => refuse(&target),
        _ => Failure::new(
            format!("{}: cannot be written: {e}", target.display()),
            None,
        ),
    })?;
    let questions = text.lines().filter(|l| l.contains("QUESTION")).count();
    println!(
        "{}: {} field(s) from {} log(s), {} boundary file(s), {} ticket file(s); {questions} question(s) in it\nnext: answer them, then fanmill run {}",
        target.display(),
        fields.len(),
        found.logs.len(),
        found.boundaries.len(),
        found.tickets.len(),
        target.display()
    );
    Ok(DONE)
}

fn refuse(target: &Path) -> Failure {
    Failure::new(
        format!(
            "{}: expected no job file yet, found one; it is left as it is",
            target.display()
        ),
        Some("move it away, or delete it, to have a new one written"),
    )
}

/// Writes a file whole or not at all, and never over another one.
fn write_new(folder: &Path, target: &Path, text: &str) -> std::io::Result<()> {
    let mut draft = tempfile::Builder::new()
        .prefix(".fanmill-new-")
        .tempfile_in(folder)?;
    draft.write_all(text.as_bytes())?;
    draft.as_file().sync_all()?;
    draft.persist_noclobber(target).map_err(|e| e.error)?;
    Ok(())
}

fn this_year() -> i32 {
    i32::from(
        jiff::tz::TimeZone::UTC
            .to_datetime(jiff::Timestamp::now())
            .year(),
    )
}

/// Logs and headers of ISO 11783-10 task data, which their TASKDATA.XML names.
fn is_part_of_task_data(file: &str) -> bool {
    let name = file.rsplit('/').next().unwrap_or(file).to_lowercase();
    let parts = [
        "tlg", "ctr", "frm", "pfd", "dvc", "tsk", "pdt", "wkr", "linklist",
    ];
    let is = |ending: &str| name.ends_with(ending) && parts.iter().any(|p| name.starts_with(p));
    is(".xml") || is(".bin")
}

/// The outlines of a file as boundaries: each by its name where they all have one of their own, else all together.
fn boundaries(file: &str, outlines: Vec<(MultiPolygon<f64>, Vec<String>)>) -> Vec<FoundBoundary> {
    let names: BTreeSet<&String> = outlines.iter().filter_map(|(_, n)| n.first()).collect();
    if outlines.len() > 1 && names.len() == outlines.len() {
        let one = |(shape, mut names): (MultiPolygon<f64>, Vec<String>)| FoundBoundary {
            path: file.to_owned(),
            name: Some(names.swap_remove(0)),
            shape,
        };
        return outlines.into_iter().map(one).collect();
    }
    let shape = outlines
        .into_iter()
        .flat_map(|(shape, _)| shape.0)
        .collect();
    vec![FoundBoundary {
        path: file.to_owned(),
        name: None,
        shape: MultiPolygon(shape),
    }]
}

/// How a job file names a log: by its own path, by the header or the records of a log of task data, or by the file that
/// holds it.
fn path_of(folder: &Path, file: &str, log: &str) -> String {
    ["", ".XML", ".xml", ".BIN", ".bin"]
        .iter()
        .map(|ending| format!("{log}{ending}"))
        .find(|path| folder.join(path).is_file())
        .unwrap_or_else(|| file.to_owned())
}

/// What a file is.
enum What {
    Logs(Vec<FoundLog>),
    Boundaries(Vec<FoundBoundary>),
    Tickets(FoundTickets),
    Unusable(String, String),
    Other(String),
    /// A part of another file.
    Nothing,
}

fn look(folder: &Path, file: &str, job: &Job) -> What {
    let extension = file.rsplit('.').next().unwrap_or_default().to_lowercase();
    if ["shx", "dbf", "prj", "cpg", "qpj", "sbn", "sbx"].contains(&extension.as_str()) {
        return What::Nothing;
    }
    if is_part_of_task_data(file) {
        return What::Nothing;
    }
    let task_data = file.to_lowercase().ends_with("taskdata.xml");
    if !task_data
        && let Ok(outlines) = outlines_in(folder, file, job)
        && !outlines.is_empty()
    {
        return What::Boundaries(boundaries(file, outlines));
    }
    if let Ok(loads) = tickets_in(folder, file) {
        return What::Tickets(FoundTickets {
            path: file.to_owned(),
            loads,
        });
    }
    let crop = crop_of_path(file);
    let logs = match inspect(folder, file, job, crop.as_ref(), &Tally::add) {
        Ok(logs) => logs,
        Err(error) if error.kind() == ReadErrorKind::Unopenable => {
            return What::Unusable(file.to_owned(), error.to_string());
        }
        Err(_) => return What::Other(file.to_owned()),
    };
    let mut found = Vec::new();
    for (log, tally) in &logs {
        let kind = log.error.as_ref().map(|e| e.kind());
        if matches!(
            kind,
            Some(
                ReadErrorKind::NoColumn
                    | ReadErrorKind::Empty
                    | ReadErrorKind::Crs
                    | ReadErrorKind::Format
            )
        ) && log.recognised.questions.is_empty()
        {
            let grain = log.recognised.columns.len() >= 3;
            return match (&log.error, grain) {
                (Some(error), true) => What::Unusable(file.to_owned(), error.to_string()),
                _ => What::Other(file.to_owned()),
            };
        }
        let every = (tally.places.len() / PLACES).max(1);
        let places = tally.places.iter().step_by(every).copied();
        let places = places
            .filter(|p| p[0].is_finite() && p[1].is_finite())
            .collect();
        found.push(FoundLog {
            path: path_of(folder, file, &log.file),
            survey: survey(log, tally),
            places,
        });
    }
    What::Logs(found)
}
