//! A batch: map → reduce → map → reduce → map over the fields of a job.
//!
//! A field that fails costs itself alone. Results do not depend on the number of threads: fields are worked on in any
//! order, but pooled and reported in the job's.

mod store;

use std::path::Path;
use std::sync::Mutex;

use rayon::prelude::*;

use crate::apply::{Applied, ApplyError, apply};
use crate::evidence::Evidence;
use crate::gather::{self, MachineEvidence, ScaleEvidence};
use crate::job::{FieldSeason, Job};
use crate::map::YieldMap;
use crate::pool::{self, MachineDecision, ScaleDecision};
use crate::prepare::{PrepareError, Prepared};
use crate::read::{ReadError, read_field};
use crate::report::pages;
use crate::summary::Summary;
use crate::write::run::{FieldOutcome, Outcome, RunRecord};
use crate::write::{FieldResult, WriteError, folders, tables, write_field, write_page};

use store::Store;

/// The acts of a batch, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Reading the fields and gathering what they say of their machines.
    Machines,
    /// Gathering what they say of their loads.
    Scale,
    /// Correcting and writing them.
    Write,
}

/// Who wants to know how far a batch is. Called from several threads.
pub trait Progress: Sync {
    /// An act begins over `fields` fields.
    fn begin(&self, act: Act, fields: usize);
    /// One field of it is done (or has failed).
    fn field(&self, act: Act, name: &str, error: Option<&str>);
}

/// No one wants to know.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn begin(&self, _: Act, _: usize) {}
    fn field(&self, _: Act, _: &str, _: Option<&str>) {}
}

/// Why one field failed.
#[derive(Debug, thiserror::Error)]
pub enum FieldError {
    /// It cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// It cannot be worked with.
    #[error(transparent)]
    Prepare(#[from] PrepareError),
    /// A stage was called wrongly.
    #[error(transparent)]
    Apply(#[from] ApplyError),
    /// Its results cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl FieldError {
    /// The error with its causes and a way out, on one line.
    pub fn render(&self) -> String {
        let mut text = self.to_string();
        let mut cause = std::error::Error::source(self);
        while let Some(error) = cause {
            let more = error.to_string();
            if !text.contains(&more) {
                text.push_str(": ");
                text.push_str(&more);
            }
            cause = error.source();
        }
        let hint = match self {
            FieldError::Read(e) => e.hint().map(str::to_owned),
            FieldError::Prepare(e) => e.hint(),
            FieldError::Write(e) => Some(e.hint()),
            FieldError::Apply(_) => None,
        };
        if let Some(hint) = hint.filter(|h| !h.is_empty()) {
            text.push_str(" (hint: ");
            text.push_str(&hint);
            text.push(')');
        }
        text
    }
}

/// Runs a job: every field is read, pooled, corrected and written, then the tables and the record of the run.
///
/// # Errors
/// Only where the results folder itself cannot be written; what befalls single fields is in their outcomes.
pub fn run(job: &Job, progress: &dyn Progress) -> Result<Vec<FieldOutcome>, WriteError> {
    crate::write::check(job)?;
    crate::write::prepare_results(&job.results)?;
    let folders = folders(&job.fields);
    let batch = Batch {
        job,
        progress,
        store: Store::new(job.fields.len()),
        failed: Mutex::new(vec![None; job.fields.len()]),
    };
    let machines = batch.machines();
    let scale = batch.scale();
    let outcomes = batch.write(&machines, &scale, &folders);
    tables::write_fields(&job.results, &outcomes)?;
    tables::write_loads(&job.results, &outcomes)?;
    RunRecord::new(job, &outcomes).write(&job.results)?;
    write_pages(job, &outcomes)?;
    Ok(outcomes)
}

/// The pages over the whole batch, and what all pages share.
fn write_pages(job: &Job, outcomes: &[FieldOutcome]) -> Result<(), WriteError> {
    let mut all = pages::assets();
    all.extend(pages::clients(&job.name, outcomes));
    all.push(pages::index(&job.name, outcomes));
    for page in all {
        write_page(&job.results, &page.name, &page.bytes)?;
    }
    Ok(())
}

fn pages_of(
    job: &Job,
    field: &FieldSeason,
    map: &YieldMap,
    summary: &Summary,
    evidence: &Evidence,
) -> Vec<(String, Vec<u8>)> {
    let page = pages::FieldPage {
        job,
        field,
        map,
        summary,
        evidence,
    };
    let files = pages::of_field(&page).into_iter();
    files.map(|p| (p.name, p.bytes)).collect()
}

struct Batch<'a> {
    job: &'a Job,
    progress: &'a dyn Progress,
    store: Store,
    failed: Mutex<Vec<Option<String>>>,
}

impl Batch<'_> {
    /// First map and reduce: delays and ramps.
    fn machines(&self) -> Vec<Option<Vec<MachineDecision>>> {
        let evidence: Vec<Option<Vec<MachineEvidence>>> =
            self.each(Act::Machines, |_, _, field| Ok(gather::machines(field)));
        let known: Vec<usize> = (0..evidence.len())
            .filter(|&f| evidence[f].is_some())
            .collect();
        let fields: Vec<(&str, &[MachineEvidence])> = known
            .iter()
            .filter_map(|&f| Some((self.crop(f), evidence[f].as_deref()?)))
            .collect();
        spread(evidence.len(), &known, pool::machines(self.job, &fields))
    }

    /// Second map and reduce: factors.
    fn scale(&self) -> Vec<Option<ScaleDecision>> {
        let evidence: Vec<Option<ScaleEvidence>> =
            self.each(Act::Scale, |_, _, field| Ok(gather::scale(field)));
        let known: Vec<usize> = (0..evidence.len())
            .filter(|&f| evidence[f].is_some())
            .collect();
        let fields: Vec<(&str, &ScaleEvidence)> = known
            .iter()
            .filter_map(|&f| Some((self.crop(f), evidence[f].as_ref()?)))
            .collect();
        spread(evidence.len(), &known, pool::scale(&fields))
    }

    /// Last map: the maps.
    fn write(
        &self,
        machines: &[Option<Vec<MachineDecision>>],
        scale: &[Option<ScaleDecision>],
        folders: &[String],
    ) -> Vec<FieldOutcome> {
        let summaries = self.each(Act::Write, |f, _, field| {
            let (Some(machines), Some(scale)) = (&machines[f], &scale[f]) else {
                return Ok(None);
            };
            let Applied {
                map,
                mut summary,
                evidence,
            } = apply(self.job, field, machines, scale)?;
            let folder = folder_path(&self.job.results, &folders[f]);
            let written = write_field(
                &folder,
                FieldResult {
                    map: &map,
                    summary: &summary,
                    pages: &|figures| pages_of(self.job, &field.season, &map, figures, &evidence),
                },
                self.job,
            )?;
            summary.warnings.extend(written.remarks);
            Ok(Some(summary))
        });
        let failed = self.failed.lock().map(|f| f.clone()).unwrap_or_default();
        summaries
            .into_iter()
            .enumerate()
            .map(|(f, summary)| {
                let outcome = match summary.flatten() {
                    Some(summary) => Outcome::Done(Box::new(summary)),
                    None => Outcome::Failed(
                        failed
                            .get(f)
                            .cloned()
                            .flatten()
                            .unwrap_or_else(|| "the field was not worked on".to_owned()),
                    ),
                };
                FieldOutcome::new(&self.job.fields[f], &folders[f], outcome)
            })
            .collect()
    }

    fn crop(&self, f: usize) -> &str {
        &self.job.fields[f].crop.name
    }

    /// Runs `work` on every field that has not failed, in parallel; a failure is noted and reported once.
    fn each<T: Send>(
        &self,
        act: Act,
        work: impl Fn(usize, &FieldSeason, &Prepared) -> Result<T, FieldError> + Sync,
    ) -> Vec<Option<T>> {
        self.progress.begin(act, self.job.fields.len());
        (self.job.fields.par_iter().enumerate())
            .map(|(f, season)| {
                if self.has_failed(f) {
                    return None;
                }
                let result = self.prepared(f, season).and_then(|field| {
                    let value = work(f, season, &field)?;
                    if act != Act::Write {
                        self.store.keep(f, field);
                    }
                    Ok(value)
                });
                match result {
                    Ok(value) => {
                        self.progress.field(act, &season.name, None);
                        Some(value)
                    }
                    Err(error) => {
                        let text = error.render();
                        self.progress.field(act, &season.name, Some(&text));
                        if let Ok(mut failed) = self.failed.lock() {
                            failed[f] = Some(text);
                        }
                        None
                    }
                }
            })
            .collect()
    }

    fn has_failed(&self, f: usize) -> bool {
        self.failed.lock().is_ok_and(|failed| failed[f].is_some())
    }

    /// The field as the store has it, or made anew.
    fn prepared(&self, f: usize, season: &FieldSeason) -> Result<Box<Prepared>, FieldError> {
        if let Some(field) = self.store.take(f) {
            return Ok(field);
        }
        let input = read_field(self.job, season)?;
        Ok(Box::new(Prepared::new(self.job, season, input)?))
    }
}

/// Puts the results of known fields back to their places.
fn spread<T>(n: usize, known: &[usize], values: Vec<T>) -> Vec<Option<T>> {
    let mut out: Vec<Option<T>> = (0..n).map(|_| None).collect();
    for (&f, value) in known.iter().zip(values) {
        out[f] = Some(value);
    }
    out
}

fn folder_path(results: &Path, folder: &str) -> std::path::PathBuf {
    folder
        .split('/')
        .fold(results.to_owned(), |path, part| path.join(part))
}
