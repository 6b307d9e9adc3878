//! A batch: map → reduce → map → reduce → map over the fields of a job.
//!
//! A field that fails costs itself alone. Results do not depend on the number of threads, nor on the number of processes:
//! fields are worked on in any order, but pooled and reported in the job's. What a field's results follow from is hashed;
//! a later run does only what is missing or follows from something else.

mod error;
mod neighbours;
mod shard;
mod store;
mod work;

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, OnceLock};

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::apply::{Applied, apply};
use crate::evidence::Evidence;
use crate::gather::{self, MachineEvidence, ScaleEvidence, Settled};
use crate::job::{FieldSeason, Job, OutputCrs};
use crate::map::YieldMap;
use crate::pool::{MachineDecision, ScaleDecision};
use crate::prepare::Prepared;
use crate::read::{fingerprint, read_field};
use crate::report::pages;
use crate::summary::Summary;
use crate::units::YieldUnit;
use crate::write::run::{FieldOutcome, Outcome, RunRecord};
use crate::write::{FieldResult, WriteError, folders, tables, write_field, write_page};

pub use error::{BatchError, FieldError};
pub use neighbours::links;
pub use shard::{Merged, Shard, merge, run_shard};

use store::Store;
use work::{Kept, Kind, Sharing, Work, hash, hash_with};

/// The program that made a result: results of another are made anew.
const PROGRAM: &str = concat!(env!("CARGO_PKG_VERSION"), " ", env!("FANMILL_SOURCES"));

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

impl Act {
    /// The word for it on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Act::Machines => "machines",
            Act::Scale => "scale",
            Act::Write => "write",
        }
    }

    fn about(self) -> &'static str {
        match self {
            Act::Machines => "machines",
            Act::Scale => "loads",
            Act::Write => "map",
        }
    }
}

/// How a batch is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options {
    /// Everything is done anew, whatever an earlier run left.
    pub anew: bool,
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

/// Runs a job: every field is read, pooled, corrected and written, then the tables and the record of the run.
///
/// # Errors
/// Only where the results folder itself cannot be written or another run is at work in it; what befalls single fields
/// is in their outcomes.
pub fn run(
    job: &Job,
    options: Options,
    progress: &dyn Progress,
) -> Result<Vec<FieldOutcome>, BatchError> {
    crate::write::check(job)?;
    crate::write::prepare_results(&job.results)?;
    let work = Work::open(&job.results, Sharing::Alone)?;
    let batch = Batch::new(job, options, progress, work);
    let all: Vec<usize> = (0..job.fields.len()).collect();
    let machines = batch.pool_machines(&batch.gather_machines(&all));
    let scale = batch.pool_scale(&batch.gather_scale(&all, &machines));
    let summaries = batch.write(&all, &machines, &scale);
    batch.finish(&all, summaries)
}

/// A field that is written.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Done {
    summary: Summary,
    /// Names of its files.
    files: Vec<String>,
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
    options: Options,
    progress: &'a dyn Progress,
    folders: Vec<String>,
    work: Work,
    store: Store,
    fields: Vec<State>,
    settings: Settings,
}

/// What is known of one field while the batch runs.
#[derive(Default)]
struct State {
    /// Hash of its input, its settings and the program.
    key: OnceLock<u128>,
    /// Hash of what its results follow from.
    content: OnceLock<u128>,
    failure: Mutex<Option<String>>,
}

/// Settings of the job as text, for hashes: every one of them, but neither fields nor where things stand on this machine.
struct Settings {
    /// What evidence follows from.
    evidence: String,
    /// What results follow from.
    written: String,
}

impl Settings {
    fn of(job: &Job) -> Self {
        let mut job = Job {
            base: PathBuf::new(),
            results: PathBuf::new(),
            fields: vec![],
            ..job.clone()
        };
        let written = format!("{job:?}");
        // How results are named and written says nothing about the evidence.
        job.name.clear();
        job.file.clear();
        job.formats.clear();
        job.layers.clear();
        job.crs = OutputCrs::Utm;
        job.yield_unit = YieldUnit::default();
        let evidence = format!("{job:?}");
        Self { evidence, written }
    }
}

impl<'a> Batch<'a> {
    fn new(job: &'a Job, options: Options, progress: &'a dyn Progress, work: Work) -> Self {
        Self {
            job,
            options,
            progress,
            folders: folders(&job.fields),
            work,
            store: Store::new(job.fields.len()),
            fields: job.fields.iter().map(|_| State::default()).collect(),
            settings: Settings::of(job),
        }
    }

    /// First map: what fields say of their machines. Results are in the order of `mine`, as in the other maps.
    fn gather_machines(&self, mine: &[usize]) -> Vec<Option<Vec<MachineEvidence>>> {
        self.each(Act::Machines, mine, |_, f| {
            self.kept_or(f, Kind::Machines, self.key(f)?, |field| {
                Ok(gather::machines(field))
            })
        })
    }

    /// Second map: what they say of their loads.
    fn gather_scale(
        &self,
        mine: &[usize],
        machines: &[Option<Vec<MachineDecision>>],
    ) -> Vec<Option<ScaleEvidence>> {
        self.each(Act::Scale, mine, |k, f| {
            let Some(machines) = &machines[k] else {
                return Err(FieldError::NotPooled { act: Act::Machines });
            };
            let key = hash_with(self.key(f)?, machines);
            let settled: Vec<Settled> = machines.iter().map(Settled::from).collect();
            self.kept_or(f, Kind::Scale, key, |field| {
                Ok(gather::scale(field, &settled))
            })
        })
    }

    /// Last map: the maps.
    fn write(
        &self,
        mine: &[usize],
        machines: &[Option<Vec<MachineDecision>>],
        scale: &[Option<ScaleDecision>],
    ) -> Vec<Option<Summary>> {
        self.each(Act::Write, mine, |k, f| {
            let (Some(machines), Some(scale)) = (&machines[k], &scale[k]) else {
                return Err(FieldError::NotPooled { act: Act::Scale });
            };
            let gathered = hash_with(hash_with(self.key(f)?, machines), scale);
            let key = hash_with(gathered, &self.settings.written);
            self.note_content(f, key);
            let folder = folder_path(&self.job.results, &self.folders[f]);
            if let Some(done) = self.kept::<Done>(f, Kind::Outcome, key)
                && done.files.iter().all(|name| folder.join(name).is_file())
            {
                return Ok(done.summary);
            }
            let field = self.prepared(f)?;
            let Applied {
                map,
                mut summary,
                evidence,
            } = apply(self.job, &field, machines, scale)?;
            let result = FieldResult {
                map: &map,
                summary: &summary,
                pages: &|figures| pages_of(self.job, &field.season, &map, figures, &evidence),
            };
            let written = write_field(&folder, result, self.job)?;
            summary.warnings.extend(written.remarks);
            let names = written
                .files
                .iter()
                .filter_map(|path| path.strip_prefix(&folder).ok());
            let done = Done {
                summary,
                files: names.map(|n| n.to_string_lossy().into_owned()).collect(),
            };
            let kept = Kept {
                key,
                value: Ok(done),
            };
            self.work.keep(&self.folders[f], Kind::Outcome, &kept)?;
            Ok(kept.value.map_err(FieldError::Before)?.summary)
        })
    }

    /// Writes what concerns the whole batch.
    fn finish(
        &self,
        fields: &[usize],
        summaries: Vec<Option<Summary>>,
    ) -> Result<Vec<FieldOutcome>, BatchError> {
        let outcome = |(&f, summary): (&usize, Option<Summary>)| {
            let content = summary.as_ref().and(self.fields[f].content.get().copied());
            let outcome = match summary {
                Some(summary) => Outcome::Done(Box::new(summary)),
                None => Outcome::Failed(
                    self.failure(f)
                        .unwrap_or_else(|| "the field was not worked on".to_owned()),
                ),
            };
            FieldOutcome::new(&self.job.fields[f], &self.folders[f], outcome).with_content(content)
        };
        let outcomes: Vec<FieldOutcome> = fields.iter().zip(summaries).map(outcome).collect();
        tables::write_fields(&self.job.results, &outcomes)?;
        tables::write_loads(&self.job.results, &outcomes)?;
        RunRecord::new(self.job, &outcomes).write(&self.job.results)?;
        write_pages(self.job, &outcomes)?;
        Ok(outcomes)
    }

    fn crop(&self, f: usize) -> &str {
        &self.job.fields[f].crop.name
    }

    /// Runs `work` on every field that has not failed, in parallel; a failure is noted and reported once. `work` is told
    /// the field's place in `mine`, and the field.
    fn each<T: Send>(
        &self,
        act: Act,
        mine: &[usize],
        work: impl Fn(usize, usize) -> Result<T, FieldError> + Sync,
    ) -> Vec<Option<T>> {
        self.progress.begin(act, mine.len());
        (mine.par_iter().enumerate())
            .map(|(k, &f)| {
                if self.failure(f).is_some() {
                    return None;
                }
                let result = catch_unwind(AssertUnwindSafe(|| work(k, f)))
                    .unwrap_or_else(|cause| Err(FieldError::Panic(said(cause.as_ref()))));
                match result {
                    Ok(value) => {
                        self.progress.field(act, &self.job.fields[f].name, None);
                        Some(value)
                    }
                    Err(error) => {
                        self.fail(act, f, &error);
                        None
                    }
                }
            })
            .collect()
    }

    /// What an earlier run left, or what `gather` finds; the latter is kept.
    fn kept_or<T: Serialize + serde::de::DeserializeOwned>(
        &self,
        f: usize,
        kind: Kind,
        key: u128,
        gather: impl FnOnce(&Prepared) -> Result<T, FieldError>,
    ) -> Result<T, FieldError> {
        if let Some(value) = self.kept(f, kind, key) {
            return Ok(value);
        }
        let field = self.prepared(f)?;
        let kept = Kept {
            key,
            value: Ok(gather(&field)?),
        };
        self.store.keep(f, field);
        self.work.keep(&self.folders[f], kind, &kept)?;
        kept.value.map_err(FieldError::Before)
    }

    fn kept<T: serde::de::DeserializeOwned>(&self, f: usize, kind: Kind, key: u128) -> Option<T> {
        if self.options.anew {
            return None;
        }
        let kept = self.work.load::<T>(&self.folders[f], kind)?;
        kept.value.ok().filter(|_| kept.key == key)
    }

    /// Hash of the field's input files, its settings and the program.
    fn key(&self, f: usize) -> Result<u128, FieldError> {
        if let Some(&key) = self.fields[f].key.get() {
            return Ok(key);
        }
        let season = &self.job.fields[f];
        let input = fingerprint(self.job, season)?;
        let key = hash(&[
            PROGRAM.as_bytes(),
            self.settings.evidence.as_bytes(),
            format!("{season:?}").as_bytes(),
            &input.to_le_bytes(),
        ]);
        Ok(*self.fields[f].key.get_or_init(|| key))
    }

    fn note_content(&self, f: usize, content: u128) {
        self.fields[f].content.get_or_init(|| content);
    }

    fn failure(&self, f: usize) -> Option<String> {
        self.fields[f].failure.lock().ok()?.clone()
    }

    fn fail(&self, act: Act, f: usize, error: &FieldError) {
        let text = error.render();
        self.progress
            .field(act, &self.job.fields[f].name, Some(&text));
        if let Ok(mut failure) = self.fields[f].failure.lock() {
            *failure = Some(text);
        }
    }

    /// The field as the store has it, or made anew.
    fn prepared(&self, f: usize) -> Result<Box<Prepared>, FieldError> {
        if let Some(field) = self.store.take(f) {
            return Ok(field);
        }
        let season = &self.job.fields[f];
        let input = read_field(self.job, season)?;
        Ok(Box::new(Prepared::new(self.job, season, input)?))
    }
}

/// What a panic said.
fn said(cause: &(dyn Any + Send)) -> String {
    let text = cause.downcast_ref::<&str>().copied();
    let text = text.or_else(|| cause.downcast_ref::<String>().map(String::as_str));
    text.unwrap_or("no more is known").to_owned()
}

fn folder_path(results: &Path, folder: &str) -> PathBuf {
    folder
        .split('/')
        .fold(results.to_owned(), |path, part| path.join(part))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_costs_its_field_alone() {
        let dir = tempfile::tempdir().unwrap();
        let field = |name: &str| {
            format!(
                "[[field]]\nclient = \"c\"\nfarm = \"f\"\nname = \"{name}\"\nseason = 2025\ncrop = \"maize\"\nlogs = [\"x\"]\n"
            )
        };
        let text = field("one") + &field("two");
        let job = crate::job::parse(&text, "job.toml", dir.path()).unwrap();
        let work = Work::open(dir.path(), Sharing::Alone).unwrap();
        let batch = Batch::new(&job, Options::default(), &Silent, work);
        let work = |_, f: usize| {
            assert!(f > 0, "nothing at {f}");
            Ok(f)
        };
        assert_eq!(batch.each(Act::Scale, &[0, 1], work), [None, Some(1)]);
        let said = batch.failure(0).unwrap();
        assert!(
            said.contains("an error of the program itself: nothing at 0"),
            "{said}"
        );
        assert!(batch.failure(1).is_none());
        // It takes no part in what comes after.
        assert_eq!(
            batch.each(Act::Write, &[0, 1], |_, f| Ok(f)),
            [None, Some(1)]
        );
    }
}
