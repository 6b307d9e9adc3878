//! One input looked at by itself, without a job: what its columns are, and its rows where they can be read.

use std::path::{Path, PathBuf};

use geo::MultiPolygon;
use jiff::tz::TimeZone;

use super::error::ReadError;
use super::field::settled;
use super::find::{InputFile, leads_back};
use super::log_file::{LogFile, Look};
use super::recognise::{Known, Recognised};
use super::shared::Shared;
use super::source::{LogSource, logs_in, open_table};
use super::{Unreadable, boundary, merge, ticket_row};
use crate::crop::Crop;
use crate::job::{FieldSeason, Job, LogColumn, LogSettings, parse};
use crate::log::{Clock, Log};
use crate::summary::Remark;

/// A column of a file as it stands there.
#[derive(Debug, Clone, PartialEq)]
pub struct RawColumn {
    /// Its header.
    pub header: String,
    /// Lowest, middle and highest number of its first rows, in its own unit; `None` where it has no numbers.
    pub range: Option<[f64; 3]>,
    /// Its numbers in ascending order.
    pub sorted: Vec<f64>,
    /// Its commonest texts, where it has no numbers.
    pub texts: Vec<String>,
    /// Share of its first rows that are empty.
    pub missing: f64,
}

/// A log looked at by itself.
#[derive(Debug)]
pub struct Inspected {
    /// The file (and the log in it, where it holds several).
    pub file: String,
    /// Its columns as they stand.
    pub columns: Vec<RawColumn>,
    /// What they are.
    pub recognised: Recognised,
    /// How many lines cannot be read.
    pub unreadable: usize,
    /// The first of them.
    pub first_unreadable: Option<Unreadable>,
    /// What came up.
    pub warnings: Vec<Remark>,
    /// What its clock counts from.
    pub clock: Clock,
    /// Why it cannot be read, where it cannot.
    pub error: Option<ReadError>,
}

/// Behind a remark on one piece that others have as well.
const MORE: &str = " (of the first rows; and so on behind them)";

/// Rows of a log that are looked at together (our choice: hours at 1 Hz, so that passes are whole, in some tens of MB).
const PIECE: usize = 200_000;

/// Looks at the logs of one input. `base`: the folder to which names are relative; `job`: settings to read with;
/// `crop`: the crop, where it is known; `add`: takes what it wants of a log's rows, which come in pieces, so that memory
/// does not grow with the file.
///
/// # Errors
/// Where the input cannot be opened or is no table at all.
pub fn inspect<T: Default>(
    base: &Path,
    input: &str,
    job: &Job,
    crop: Option<&Crop>,
    add: &dyn Fn(&mut T, &Log),
) -> Result<Vec<(Inspected, T)>, ReadError> {
    let field = nobodys(crop.cloned().unwrap_or_else(Crop::any));
    let zone = TimeZone::get(&job.timezone).unwrap_or(TimeZone::UTC);
    let known = Known {
        crop: &field.crop,
        crop_known: crop.is_some(),
        season: None,
        width: None,
        zone: &zone,
        decimal_comma: false,
    };
    logs_in(&[InputFile::new(base, input)], &field, None)
        .logs
        .into_iter()
        .map(|source| look_at(&source?, job, &field, &known, add))
        .collect()
}

fn look_at<T: Default>(
    source: &LogSource,
    job: &Job,
    field: &FieldSeason,
    known: &Known<'_>,
    add: &dyn Fn(&mut T, &Log),
) -> Result<(Inspected, T), ReadError> {
    let Look {
        sample, recognised, ..
    } = LogFile::look(source, job, known)?;
    let columns = sample
        .columns
        .iter()
        .map(|c| {
            let sorted = c.sorted();
            let range = c.is_numeric().then(|| {
                [
                    sorted[0],
                    sorted[sorted.len() / 2],
                    sorted[sorted.len() - 1],
                ]
            });
            let filled = c.texts().count();
            RawColumn {
                header: c.header.clone(),
                texts: if range.is_none() {
                    commonest(c.texts())
                } else {
                    Vec::new()
                },
                range,
                sorted,
                missing: if sample.rows == 0 {
                    f64::NAN
                } else {
                    1.0 - filled as f64 / sample.rows as f64
                },
            }
        })
        .collect();
    let mut inspected = Inspected {
        file: source.shown.clone(),
        columns,
        recognised,
        unreadable: 0,
        first_unreadable: None,
        warnings: Vec::new(),
        clock: Clock::None,
        error: None,
    };
    // A yield per area needs a width; the distance between passes serves where the log has none.
    let mut job = job.clone();
    let spacing = inspected.recognised.pass_spacing;
    if inspected.recognised.get(LogColumn::Width).is_none() && job.log.width.is_none() {
        job.log.width = spacing;
    }
    let known = super::field::known(&job, field, known.zone);
    let mut taken = T::default();
    if let Err(error) = in_pieces(
        source,
        &job,
        field,
        &known,
        (&mut inspected, &mut taken),
        add,
    ) {
        // Its rows are shown under the first answer to each question, and the questions stay.
        inspected.error = Some(error);
        let answers = inspected
            .recognised
            .questions
            .iter()
            .filter(|q| q.indispensable);
        for answer in answers.filter_map(|q| q.lines.first()) {
            let Some(settings) = log_settings(answer) else {
                continue;
            };
            job.log.columns.extend(settings.columns);
            job.log.units.extend(settings.units);
            job.log.section_grain = job.log.section_grain.or(settings.section_grain);
            job.log.section_width = job.log.section_width.or(settings.section_width);
        }
        taken = T::default();
        (inspected.unreadable, inspected.first_unreadable) = (0, None);
        inspected.warnings.clear();
        let again = in_pieces(
            source,
            &job,
            field,
            &known,
            (&mut inspected, &mut taken),
            add,
        );
        if again.is_err() {
            taken = T::default();
        }
    }
    Ok((inspected, taken))
}

/// Reads a log piece by piece.
fn in_pieces<T>(
    source: &LogSource,
    job: &Job,
    field: &FieldSeason,
    known: &Known<'_>,
    (inspected, taken): (&mut Inspected, &mut T),
    add: &dyn Fn(&mut T, &Log),
) -> Result<(), ReadError> {
    let shared = Shared::default();
    let mut pieces = 0;
    LogFile::pieces(source, job, known, (&shared, PIECE), &mut |piece| {
        let (mut file, positions) = settled(job, field, piece, &shared)?;
        inspected.clock = file.clock;
        inspected.unreadable += file.unreadable.len();
        let first = file.unreadable.drain(..).next();
        inspected.first_unreadable = inspected.first_unreadable.take().or(first);
        for warning in file.warnings.drain(..) {
            // Counts are a piece's; the pieces behind it say the same of their rows.
            match inspected
                .warnings
                .iter_mut()
                .find(|w| w.code == warning.code)
            {
                Some(known) if pieces > 0 && !known.text.ends_with(MORE) => known.text += MORE,
                Some(_) if pieces > 0 => {}
                _ => inspected.warnings.push(warning),
            }
        }
        pieces += 1;
        let mut log = Log::default();
        merge::append(&mut log, file, positions, "machine 1", &job.log);
        add(taken, &log);
        Ok(())
    })
}

/// What a line of `[log]` says.
fn log_settings(line: &str) -> Option<LogSettings> {
    let field = "[[field]]\nclient=\"-\"\nfarm=\"-\"\nname=\"-\"\nseason=2000\ncrop=\"wheat\"\nlogs=[\"-\"]\n";
    let job = parse(&format!("[log]\n{line}\n{field}"), "", Path::new(""));
    job.ok().map(|job| job.log)
}

/// Up to three texts, the commonest first.
fn commonest<'a>(texts: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut counts: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
    for text in texts {
        *counts.entry(text).or_default() += 1;
    }
    let mut counts: Vec<(&str, usize)> = counts.into_iter().collect();
    counts.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    counts
        .into_iter()
        .take(3)
        .map(|(t, _)| t.to_owned())
        .collect()
}

/// Files below a folder, by their paths relative to it with `/` between their parts, in alphabetical order. Hidden ones,
/// and whatever lies more than eight folders deep, are left out.
pub fn files_below(folder: &Path) -> std::io::Result<Vec<String>> {
    let mut files = Vec::new();
    let mut folders: Vec<(PathBuf, String, usize)> = vec![(folder.to_owned(), String::new(), 0)];
    while let Some((path, prefix, depth)) = folders.pop() {
        for entry in std::fs::read_dir(&path)? {
            let entry = entry?;
            let name = entry.file_name().to_string_lossy().into_owned();
            if name.starts_with('.') {
                continue;
            }
            let shown = format!("{prefix}{name}");
            let kind = entry.path();
            if kind.is_dir() {
                if depth < 8 && !leads_back(&path, &kind) {
                    folders.push((kind, format!("{shown}/"), depth + 1));
                }
            } else {
                files.push(shown);
            }
        }
    }
    files.sort();
    Ok(files)
}

/// A field that no job names.
fn nobodys(crop: Crop) -> FieldSeason {
    FieldSeason {
        client: String::new(),
        farm: String::new(),
        name: String::new(),
        season: 0,
        crop,
        logs: Vec::new(),
        boundary: None,
        tickets: Vec::new(),
        machine: None,
    }
}

/// An outline in longitude and latitude, and the names that stand with it.
pub type NamedOutline = (MultiPolygon<f64>, Vec<String>);

/// The outlines in a file; an error where it holds none.
pub fn outlines_in(base: &Path, file: &str, job: &Job) -> Result<Vec<NamedOutline>, ReadError> {
    let input = InputFile::new(base, file);
    let all = boundary::all(&input, job, &nobodys(Crop::any()))?;
    Ok(all
        .into_iter()
        .filter(|o| !o.polygons.is_empty())
        .map(|o| (MultiPolygon(o.polygons), o.names))
        .collect())
}

/// Load names of a ticket file; an error where it is none.
pub fn tickets_in(base: &Path, file: &str) -> Result<Vec<String>, ReadError> {
    let table = open_table(&InputFile::new(base, file), "tickets")?;
    ticket_row::loads_in(table, file)
}
