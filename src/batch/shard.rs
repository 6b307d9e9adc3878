//! A batch in several processes: map → reduce → map → reduce → map over a shared results folder.
//!
//! Every shard runs an act on its fields; a merge pools what they gathered; the next act follows. The same functions do
//! the same work on the same values as in one process, so the results are the same bytes. Everything can be run again:
//! what is done and still holds is not done twice.

use std::sync::atomic::Ordering;

use super::pooling::Said;
use super::work::{Kept, Kind, Sharing, Work, hash_with};
use super::{Act, Batch, BatchError, Done, FieldError, Options, Progress};
use crate::gather::{MachineEvidence, ScaleEvidence};
use crate::job::Job;
use crate::pool::{MachineDecision, ScaleDecision};
use crate::write::run::FieldOutcome;

/// Which fields of a batch a process works on: every `of`-th, from the `index`-th (from 1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shard {
    index: usize,
    of: usize,
}

impl Shard {
    /// The shard `index` of `of`; `None` unless 1 ≤ `index` ≤ `of`.
    pub fn new(index: usize, of: usize) -> Option<Self> {
        (1..=of).contains(&index).then_some(Self { index, of })
    }

    fn has(self, field: usize) -> bool {
        field % self.of + 1 == self.index
    }
}

/// Runs one act on the fields of a shard. Returns how many fields failed.
///
/// # Errors
/// Where the results folder cannot be written or a whole run is at work in it.
pub fn run_shard(
    job: &Job,
    options: Options,
    shard: Shard,
    act: Act,
    progress: &dyn Progress,
) -> Result<usize, BatchError> {
    crate::write::check(job)?;
    crate::write::prepare_results(&job.results)?;
    let work = Work::open(&job.results, Sharing::Shards)?;
    let batch = Batch::new(job, options, progress, work);
    let mine: Vec<usize> = (0..job.fields.len()).filter(|&f| shard.has(f)).collect();
    match act {
        Act::Machines => {
            let gathered = batch.gather_machines(&mine);
            batch.keep_failures(&mine, Kind::Machines, &gathered)?;
        }
        Act::Scale => {
            let pooled: Vec<_> = mine.iter().map(|&f| batch.pooled_machines(f)).collect();
            let machines = batch.settle(act, &mine, pooled);
            let gathered = batch.gather_scale(&mine, &machines);
            batch.keep_failures(&mine, Kind::Scale, &gathered)?;
        }
        Act::Write => {
            let pooled: Vec<_> = (mine.iter())
                .map(|&f| {
                    let machines = batch.pooled_machines(f)?;
                    let scale = batch.pooled_scale(f, &machines)?;
                    Ok((machines, scale))
                })
                .collect();
            let (machines, scale) = (batch.settle(act, &mine, pooled).into_iter())
                .map(Option::unzip)
                .unzip::<_, _, Vec<_>, Vec<_>>();
            let written = batch.write(&mine, &machines, &scale);
            batch.keep_failures(&mine, Kind::Outcome, &written)?;
        }
    }
    // What comes after is another process's.
    if batch.stopped.load(Ordering::Relaxed) {
        return Err(BatchError::Stopped { act });
    }
    Ok(mine.iter().filter(|&&f| batch.failure(f).is_some()).count())
}

/// What a merge did.
#[derive(Debug)]
pub enum Merged {
    /// It pooled the evidence of so many fields.
    Pooled(usize),
    /// It wrote the tables and the record of the run.
    Written(Vec<FieldOutcome>),
}

/// Joins what the shards of an act left: pools it, or writes the batch's tables after the last act.
///
/// # Errors
/// Where a field has not been through the act, the results cannot be written, or a shard is still at work.
pub fn merge(job: &Job, act: Act, progress: &dyn Progress) -> Result<Merged, BatchError> {
    let work = Work::open(&job.results, Sharing::Alone)?;
    let batch = Batch::new(job, Options::default(), progress, work);
    let all: Vec<usize> = (0..job.fields.len()).collect();
    match act {
        Act::Machines => {
            let gathered =
                batch.kept_of_all(act, Kind::Machines, |key, e: Vec<_>| Said::of(key, &e))?;
            let decisions = batch.pool_machines(&gathered);
            let keys: Keys = gathered.iter().map(|s| Some(s.as_ref()?.key)).collect();
            let pooled = batch.keep_pooled(Kind::MachinesPooled, &keys, decisions)?;
            Ok(Merged::Pooled(pooled))
        }
        Act::Scale => {
            let keys = batch.kept_of_all(act, Kind::Scale, |key, _: ScaleEvidence| key)?;
            let decisions = batch.pool_scale(&keys);
            let pooled = batch.keep_pooled(Kind::ScalePooled, &keys, decisions)?;
            Ok(Merged::Pooled(pooled))
        }
        Act::Write => {
            let done = batch.kept_of_all(act, Kind::Outcome, |key, done: Done| (key, done))?;
            let summary = |(f, done): (usize, Option<(u128, Done)>)| {
                let (key, done) = done?;
                batch.note_content(f, key);
                Some(done.summary)
            };
            let summaries = done.into_iter().enumerate().map(summary).collect();
            batch.finish(&all, summaries).map(Merged::Written)
        }
    }
}

/// For each field, a hash, or nothing where it has failed.
type Keys = Vec<Option<u128>>;

impl Batch<'_> {
    /// Keeps why fields failed, so that a merge knows of them.
    fn keep_failures<T>(
        &self,
        mine: &[usize],
        kind: Kind,
        values: &[Option<T>],
    ) -> Result<(), BatchError> {
        for (&f, value) in mine.iter().zip(values) {
            if let (None, Some(error)) = (value, self.failure(f)) {
                let kept: Kept<()> = Kept {
                    key: 0,
                    value: Err(error),
                };
                self.work.keep(&self.folders[f], kind, &kept)?;
            }
        }
        Ok(())
    }

    /// Values that are there; the others' fields have failed.
    fn settle<T>(
        &self,
        act: Act,
        mine: &[usize],
        values: Vec<Result<T, FieldError>>,
    ) -> Vec<Option<T>> {
        let one = |(&f, value): (&usize, Result<T, FieldError>)| {
            value.map_err(|error| self.fail(act, f, &error)).ok()
        };
        mine.iter().zip(values).map(one).collect()
    }

    fn pooled_machines(&self, f: usize) -> Result<Vec<MachineDecision>, FieldError> {
        self.failed_before::<Vec<MachineEvidence>>(f, Kind::Machines)?;
        let key = self.key(f)?;
        self.pooled(f, Kind::MachinesPooled, key, Act::Machines)
    }

    fn pooled_scale(
        &self,
        f: usize,
        machines: &[MachineDecision],
    ) -> Result<ScaleDecision, FieldError> {
        self.failed_before::<ScaleEvidence>(f, Kind::Scale)?;
        let key = hash_with(self.key(f)?, &machines);
        self.pooled(f, Kind::ScalePooled, key, Act::Scale)
    }

    fn pooled<T: serde::de::DeserializeOwned>(
        &self,
        f: usize,
        kind: Kind,
        key: u128,
        act: Act,
    ) -> Result<T, FieldError> {
        let kept = self.work.load::<T>(&self.folders[f], kind);
        match kept.filter(|k| k.key == key).map(|k| k.value) {
            Some(Ok(value)) => Ok(value),
            _ => Err(FieldError::NotPooled { act }),
        }
    }

    fn failed_before<T: serde::de::DeserializeOwned>(
        &self,
        f: usize,
        kind: Kind,
    ) -> Result<(), FieldError> {
        match self.work.load::<T>(&self.folders[f], kind) {
            Some(Kept { value: Err(e), .. }) => Err(FieldError::Before(e)),
            _ => Ok(()),
        }
    }

    /// What `take` takes of what every field left of an act and its key; nothing of a field that failed in it, which is noted.
    fn kept_of_all<T: serde::de::DeserializeOwned, U>(
        &self,
        act: Act,
        kind: Kind,
        take: impl Fn(u128, T) -> U,
    ) -> Result<Vec<Option<U>>, BatchError> {
        let mut missing = vec![];
        let kept = (0..self.job.fields.len())
            .map(|f| match self.work.load::<T>(&self.folders[f], kind) {
                Some(Kept { key, value: Ok(v) }) => Some(take(key, v)),
                Some(Kept { value: Err(e), .. }) => {
                    self.fail(act, f, &FieldError::Before(e));
                    None
                }
                None => {
                    missing.push(f);
                    None
                }
            })
            .collect();
        match missing.first() {
            None => Ok(kept),
            Some(&first) => Err(BatchError::Incomplete {
                act,
                missing: missing.len(),
                fields: self.job.fields.len(),
                first: self.folders[first].clone(),
            }),
        }
    }

    /// Keeps a decision a field, under the key of the evidence that it follows from.
    fn keep_pooled<T: serde::Serialize>(
        &self,
        kind: Kind,
        keys: &[Option<u128>],
        decisions: Vec<Option<T>>,
    ) -> Result<usize, BatchError> {
        let mut pooled = 0;
        for (f, (key, decision)) in keys.iter().zip(decisions).enumerate() {
            if let (Some(key), Some(decision)) = (key, decision) {
                let kept = Kept {
                    key: *key,
                    value: Ok(decision),
                };
                self.work.keep(&self.folders[f], kind, &kept)?;
                pooled += 1;
            }
        }
        Ok(pooled)
    }
}
