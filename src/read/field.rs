//! Everything of one field season: its logs, its boundary, its tickets.

use jiff::tz::TimeZone;
use rayon::prelude::*;

use super::area_yield::{self, Given};
use super::error::{ReadError, ReadErrorKind};
use super::find::{InputFile, find};
use super::log_file::LogFile;
use super::position::{Positions, positions};
use super::recognise::Known;
use super::shared::{self, Shared};
use super::source::{LogSource, logs_in};
use super::{
    FieldInput, as_harvested, boundary, coarse, merge, row_interval, row_width, sections, siblings,
    tickets, turns,
};
use crate::crop::Crop;
use crate::job::{FieldSeason, Job};
use crate::place::Place;
use crate::summary::Remark;

/// Unreadable rows that a warning shows (our choice; all of them are counted).
const SHOWN: usize = 3;

/// Reads everything that the job lists for one field season.
///
/// A bad row, ticket or log costs itself alone and leaves a warning; the field fails where none of its logs can be
/// read, where longitude and latitude are swapped, or where its boundary cannot be used.
pub fn read_field(job: &Job, field: &FieldSeason) -> Result<FieldInput, ReadError> {
    let zone = TimeZone::get(&job.timezone).map_err(|cause| {
        ReadError::new(
            ReadErrorKind::Format,
            Place::file(&job.file),
            "a time zone",
            format!("\"{}\"", job.timezone),
        )
        .because(cause)
    })?;
    let files = find(&job.base, &field.logs, &field.name)?;
    let boundary = field.boundary.as_ref().map(|written| {
        let file = InputFile::new(&job.base, written);
        let shape = boundary::read(&file, job, field);
        (file, shape)
    });
    let known = boundary.as_ref().and_then(|(_, shape)| shape.as_ref().ok());
    let shared = Shared::new(job, field, &files, known);
    let found = logs_in(&files, field, known);
    type Reading = Result<(LogFile, Positions), ReadError>;
    let (sources, mut read): (Vec<Option<LogSource>>, Vec<Reading>) = found
        .logs
        .into_par_iter()
        .map(|source| match source {
            Ok(source) => {
                let log = read_log(job, field, &zone, (&source, &shared));
                (Some(source), log)
            }
            Err(error) => (None, Err(error)),
        })
        .unzip();
    // A log too short to prove its units is read as one beside it that does.
    let open = |r: &Reading| {
        let kind = r.as_ref().err().map(ReadError::kind);
        matches!(
            kind,
            Some(ReadErrorKind::NoUnit | ReadErrorKind::TwoReadings)
        )
    };
    let proved = read.iter().flatten().max_by_key(|(log, _)| log.row.len());
    if let Some((log, _)) = proved
        && read.iter().any(open)
    {
        let mut alike = job.clone();
        alike.log = siblings::settings(log, &job.log);
        for (result, source) in read.iter_mut().zip(&sources) {
            if open(result)
                && let Some(source) = source
                && let Ok(log) = read_log(&alike, field, &zone, (source, &shared))
            {
                *result = Ok(log);
            }
        }
    }

    let mut input = FieldInput {
        warnings: found.warnings,
        ..FieldInput::default()
    };
    let mut logs = Vec::new();
    let mut first_error = None;
    let mut elsewhere = 0;
    for result in read {
        match result {
            // Another field's log, on a list that both have.
            Ok((log, _)) if log.row.is_empty() => elsewhere += log.elsewhere,
            Ok(log) => logs.push(log),
            Err(error) if error.kind() == ReadErrorKind::Swapped => return Err(error),
            Err(error) => {
                input.warnings.push(Remark::new(
                    "bad-log",
                    format!("{}; the file is left out", error.in_a_line()),
                ));
                first_error.get_or_insert(error);
            }
        }
    }
    if logs.is_empty() {
        let nothing = || {
            ReadError::new(
                ReadErrorKind::Missing,
                Place::file(&job.file),
                "a log",
                "none",
            )
        };
        return Err(first_error.unwrap_or_else(|| match elsewhere {
            0 => nothing(),
            rows => shared::none_here(&field.name, &files[0].shown, rows),
        }));
    }
    let named = logs.iter().any(|(log, _)| log.dealt || log.elsewhere > 0);
    input.warnings.extend(shared.unsettled(&files, named));
    let headers = logs[0].0.position_headers();
    let mut bad = BadPositions::default();
    for (mut log, positions) in logs {
        input.warnings.append(&mut log.warnings);
        input.unreadable.append(&mut log.unreadable);
        bad.add(&positions);
        merge::append(
            &mut input.log,
            log,
            positions,
            default_machine(job, field),
            &job.log,
        );
    }
    input.warnings.extend(bad.warning(input.log.len()));
    input.warnings.extend(unreadable_warning(&input));
    if let Some((file, shape)) = boundary {
        let shape = shape?;
        boundary::check_place(&shape, &file.shown, &input.log, &headers)?;
        input.boundary = Some(shape);
    }
    let (tickets, warnings) = tickets::read(job, field, &input.log, &zone)?;
    input.tickets = tickets;
    input.warnings.extend(warnings);
    Ok(input)
}

pub(super) fn read_log(
    job: &Job,
    field: &FieldSeason,
    zone: &TimeZone,
    (source, shared): (&LogSource, &Shared),
) -> Result<(LogFile, Positions), ReadError> {
    let log = LogFile::read(source, job, &known(job, field, zone), shared)?;
    settled(job, field, log, shared)
}

/// What is known of a field's logs beside their contents.
pub(super) fn known<'a>(job: &Job, field: &'a FieldSeason, zone: &'a TimeZone) -> Known<'a> {
    Known {
        crop: &field.crop,
        crop_known: field.crop.name != Crop::UNNAMED,
        season: Some(field.season).filter(|year| *year != 0),
        width: job
            .machines
            .iter()
            .find(|m| m.name == default_machine(job, field))
            .and_then(|m| m.header_width),
        zone,
        decimal_comma: false,
    }
}

/// Everything that makes the rows of a log comparable: positions in degrees, rows that are the field's, one row a moment,
/// widths, intervals, wet masses.
pub(super) fn settled(
    job: &Job,
    field: &FieldSeason,
    mut log: LogFile,
    shared: &Shared,
) -> Result<(LogFile, Positions), ReadError> {
    let crs = job.log.crs.clone().or(log.recognised.crs.clone());
    let mut positions = positions(&mut log, crs.as_deref())?;
    shared::deal(&mut log, &mut positions, shared);
    if log.row.is_empty() {
        return Ok((log, positions));
    }
    let width = |machine: Option<&str>| {
        let name = machine.unwrap_or_else(|| default_machine(job, field));
        let known = job.machines.iter().find(|m| m.name == name);
        known.and_then(|m| m.header_width).or(job.log.width)
    };
    row_width::derive(&mut log, field.crop.row_spacing, &width);
    sections::gather(&mut log, &mut positions, &width)?;
    turns::refuse(&log, &positions)?;
    row_interval::derive(&mut log, &positions, job.log.interval);
    let given = Given {
        width: &width,
        moisture: job.log.moisture,
        interval: job.log.interval,
        crop: &field.crop,
    };
    let moved = |k: usize, before: usize| {
        positions.lon[k] != positions.lon[before] || positions.lat[k] != positions.lat[before]
    };
    let spread = coarse::spread_each(&mut log.time, &log.machine.index, moved);
    if spread > 0 {
        let text = format!(
            "{}: {spread} of {} rows repeat the time of the row before: its clock is coarser than its rows, which are spread evenly",
            log.path,
            log.row.len()
        );
        log.warnings.push(Remark::new("coarse-clock", text));
    }
    as_harvested::restore(&mut log, &field.crop, &job.log)?;
    area_yield::to_mass(&mut log, &positions, &given)?;
    Ok((log, positions))
}

/// The machine of rows that name none: the field's, else the job's only one, else a name of ours.
fn default_machine<'a>(job: &'a Job, field: &'a FieldSeason) -> &'a str {
    match (&field.machine, job.machines.as_slice()) {
        (Some(name), _) => name,
        (None, [only]) => &only.name,
        (None, _) => "machine 1",
    }
}

/// Rows without a usable position, over all files.
#[derive(Default)]
struct BadPositions {
    count: u64,
    first: Option<(Place, String)>,
}

impl BadPositions {
    fn add(&mut self, positions: &Positions) {
        self.count += positions.bad;
        if self.first.is_none() {
            self.first.clone_from(&positions.first_bad);
        }
    }

    fn warning(self, rows: usize) -> Option<Remark> {
        let (place, what) = self.first?;
        let count = self.count;
        let text =
            format!("{count} of {rows} rows have no usable position; the first is {place}: {what}");
        Some(Remark::new("bad-position", text))
    }
}

fn unreadable_warning(input: &FieldInput) -> Option<Remark> {
    if input.unreadable.is_empty() {
        return None;
    }
    let count = input.unreadable.len();
    let shown: Vec<String> = input
        .unreadable
        .iter()
        .take(SHOWN)
        .map(|u| format!("{}: {}", u.place, u.what))
        .collect();
    let more = if count > SHOWN {
        format!("; and {} more", count - SHOWN)
    } else {
        String::new()
    };
    let rows = input.log.len() + count;
    let text = format!(
        "{count} of {rows} rows cannot be read: {}{more}",
        shown.join("; ")
    );
    Some(Remark::new("unreadable-rows", text))
}
