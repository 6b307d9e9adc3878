//! A batch: map → reduce → map → reduce → map over the fields of a job.
//!
//! A field that fails costs itself alone. Results do not depend on the number of threads, nor on the number of processes:
//! fields are worked on in any order, but pooled and reported in the job's. What a field's results follow from is hashed;
//! a later run does only what is missing or follows from something else.

mod act;
mod error;
mod flight;
mod memory;
mod neighbours;
mod pages;
mod pooling;
mod settings;
mod shard;
mod store;
mod work;

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, OnceLock};

use serde::{Deserialize, Serialize};

use crate::apply::{Applied, apply};
use crate::gather::{self, ScaleEvidence, Settled};
use crate::job::Job;
use crate::pool::{MachineDecision, ScaleDecision};
use crate::prepare::Prepared;
use crate::read::{fingerprint, input_bytes, read_field};
use crate::summary::Summary;
use crate::write::run::{FieldOutcome, Outcome, RunRecord};
use crate::write::{FieldResult, folders, put_away, tables, write_field};

pub use act::{Act, Progress, Silent};
pub use error::{BatchError, FieldError};
pub use neighbours::scale_evidence;
pub use shard::{Merged, Shard, merge, run_shard};

use flight::Flight;
use memory::Memory;
use pages::{pages_of, write_pages};
use pooling::Said;
use settings::Settings;
use store::Store;
use work::{Kept, Kind, Sharing, Work, hash, hash_with};

/// The program that made a result: results of another are made anew.
const PROGRAM: &str = concat!(env!("CARGO_PKG_VERSION"), " ", env!("FANMILL_SOURCES"));

/// How a batch is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options {
    /// Everything is done anew, whatever an earlier run left.
    pub anew: bool,
    /// Memory that the run may take, bytes, about: so many fields are in flight at once, and so many wait in memory. A field
    /// that needs more runs alone. Without it, fields in flight follow the threads.
    pub memory: Option<u64>,
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
    let gathered = batch.gather_machines(&all);
    batch.go_on(Act::Machines)?;
    let machines = batch.pool_machines(&gathered);
    let gathered = batch.gather_scale(&all, &machines);
    batch.go_on(Act::Scale)?;
    let scale = batch.pool_scale(&gathered);
    let summaries = batch.write(&all, &machines, &scale);
    batch.go_on(Act::Write)?;
    batch.finish(&all, summaries)
}

/// A field that is written.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Done {
    summary: Summary,
    /// Names of its files.
    files: Vec<String>,
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
    memory: Memory,
    /// Whether fields were left because the run is to end.
    stopped: AtomicBool,
}

/// What is known of one field while the batch runs.
#[derive(Default)]
struct State {
    /// Hash of its input files, as they were when the run first looked.
    input: OnceLock<u128>,
    /// Hash of its input, its settings and the program.
    key: OnceLock<u128>,
    /// Hash of what its results follow from.
    content: OnceLock<u128>,
    failure: Mutex<Option<String>>,
}

impl<'a> Batch<'a> {
    fn new(job: &'a Job, options: Options, progress: &'a dyn Progress, work: Work) -> Self {
        let memory = Memory::of(options.memory, job.fields.len());
        let wait_in = work.folder().to_owned();
        Self {
            job,
            options,
            progress,
            folders: folders(&job.fields),
            work,
            store: Store::new(job.fields.len(), memory.waiting, Some(wait_in)),
            fields: job.fields.iter().map(|_| State::default()).collect(),
            settings: Settings::of(job),
            memory,
            stopped: AtomicBool::new(false),
        }
    }

    /// First map: what fields say of their machines. Results are in the order of `mine`, as in the other maps.
    /// What they say waits on the disk.
    fn gather_machines(&self, mine: &[usize]) -> Vec<Option<Said>> {
        self.each(Act::Machines, mine, |_, f| {
            let key = self.key(f)?;
            let said = self.kept_or(f, Kind::Machines, key, |field| Ok(gather::machines(field)))?;
            Ok(Said::of(key, &said))
        })
    }

    /// Second map: what they say of their loads. It waits on the disk; here is what it follows from.
    fn gather_scale(
        &self,
        mine: &[usize],
        machines: &[Option<Vec<MachineDecision>>],
    ) -> Vec<Option<u128>> {
        self.each(Act::Scale, mine, |k, f| {
            let Some(machines) = &machines[k] else {
                return Err(FieldError::NotPooled { act: Act::Machines });
            };
            let key = hash_with(self.key(f)?, machines);
            let settled: Vec<Settled> = machines.iter().map(Settled::from).collect();
            let _: ScaleEvidence = self.kept_or(f, Kind::Scale, key, |field| {
                Ok(gather::scale(field, &settled))
            })?;
            Ok(key)
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
                grid,
                mut summary,
                evidence,
            } = apply(self.job, &field, machines, scale)?;
            let grid = grid.as_ref();
            let result = FieldResult {
                map: &map,
                grid,
                summary: &summary,
                pages: &|figures| {
                    pages_of(self.job, &field.season, (&map, grid), figures, &evidence)
                },
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
        for failed in outcomes.iter().filter(|o| o.summary().is_none()) {
            put_away(&folder_path(&self.job.results, &failed.folder))?;
        }
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
        let cost = |&f: &usize| Memory::of_field(input_bytes(self.job, &self.job.fields[f]));
        let costs: Vec<u64> = mine.iter().map(cost).collect();
        let flight = Flight {
            costs: &costs,
            memory: self.memory.in_flight,
            stop: &|| self.progress.stop(),
        };
        let results = flight.each(&|k| {
            let f = mine[k];
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
        });
        let left = results.iter().any(Option::is_none);
        self.stopped.fetch_or(left, Ordering::Relaxed);
        results.into_iter().map(Option::flatten).collect()
    }

    /// Whether what follows an act is to be done: not where fields of it were left, or more acts would come and the run is
    /// to end.
    fn go_on(&self, act: Act) -> Result<(), BatchError> {
        let asked = act != Act::Write && self.progress.stop();
        match self.stopped.load(Ordering::Relaxed) || asked {
            true => Err(BatchError::Stopped { act }),
            false => Ok(()),
        }
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
        let input = *self.fields[f].input.get_or_init(|| input);
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
        // A file that changed while it was read, or since an earlier act, would give results that follow from nothing.
        if fingerprint(self.job, season).ok().as_ref() != self.fields[f].input.get() {
            return Err(FieldError::InputChanged);
        }
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
