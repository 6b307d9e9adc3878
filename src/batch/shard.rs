//! A batch in several processes: map → reduce → map → reduce → map over a shared results folder.
//!
//! Every shard runs an act on its fields; a merge pools what they gathered; the next act follows. The same functions do
//! the same work on the same values as in one process, so the results are the same bytes. Everything can be run again:
//! what is done and still holds is not done twice.

use std::sync::atomic::Ordering;

use super::work::{Kept, Kind, Sharing, Work, hash_with};
use super::{Act, Batch, BatchError, FieldError, Options, Progress};
use crate::gather::{MachineEvidence, ScaleEvidence};
use crate::job::Job;
use crate::pool::{self, MachineDecision, ScaleDecision};
use crate::summary::Summary;
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
            batch.keep_failures::<Vec<MachineEvidence>>(&mine, Kind::Machines, &gathered)?;
        }
        Act::Scale => {
            let pooled: Vec<_> = mine.iter().map(|&f| batch.pooled_machines(f)).collect();
            let machines = batch.settle(act, &mine, pooled);
            let gathered = batch.gather_scale(&mine, &machines);
            batch.keep_failures::<ScaleEvidence>(&mine, Kind::Scale, &gathered)?;
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
            batch.keep_failures::<Summary>(&mine, Kind::Outcome, &written)?;
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
            let (keys, evidence) = batch.kept_of_all(act, Kind::Machines)?;
            let decisions = batch.pool_machines(&evidence);
            let pooled = batch.keep_pooled(Kind::MachinesPooled, &keys, decisions)?;
            Ok(Merged::Pooled(pooled))
        }
        Act::Scale => {
            let (keys, evidence) = batch.kept_of_all(act, Kind::Scale)?;
            let decisions = batch.pool_scale(&evidence);
            let pooled = batch.keep_pooled(Kind::ScalePooled, &keys, decisions)?;
            Ok(Merged::Pooled(pooled))
        }
        Act::Write => {
            let (keys, done) = batch.kept_of_all::<super::Done>(act, Kind::Outcome)?;
            for (f, key) in keys.into_iter().enumerate() {
                if let Some(key) = key {
                    batch.note_content(f, key);
                }
            }
            let summaries = done.into_iter().map(|d| d.map(|done| done.summary));
            batch.finish(&all, summaries.collect()).map(Merged::Written)
        }
    }
}

/// For each field, a hash, or nothing where it has failed.
type Keys = Vec<Option<u128>>;

impl Batch<'_> {
    /// Keeps why fields failed, so that a merge knows of them.
    fn keep_failures<T: serde::Serialize>(
        &self,
        mine: &[usize],
        kind: Kind,
        values: &[Option<T>],
    ) -> Result<(), BatchError> {
        for (&f, value) in mine.iter().zip(values) {
            if let (None, Some(error)) = (value, self.failure(f)) {
                let kept: Kept<T> = Kept {
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

    /// What every field left of an act, and its keys; a field that failed in it is noted and has neither.
    fn kept_of_all<T: serde::de::DeserializeOwned>(
        &self,
        act: Act,
        kind: Kind,
    ) -> Result<(Keys, Vec<Option<T>>), BatchError> {
        let mut missing = vec![];
        let kept = (0..self.job.fields.len())
            .map(|f| match self.work.load::<T>(&self.folders[f], kind) {
                Some(Kept { key, value: Ok(v) }) => (Some(key), Some(v)),
                Some(Kept { value: Err(e), .. }) => {
                    self.fail(act, f, &FieldError::Before(e));
                    (None, None)
                }
                None => {
                    missing.push(f);
                    (None, None)
                }
            })
            .unzip();
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

    /// First reduce: delays and ramps.
    pub(super) fn pool_machines(
        &self,
        evidence: &[Option<Vec<MachineEvidence>>],
    ) -> Vec<Option<Vec<MachineDecision>>> {
        let known: Vec<usize> = (0..evidence.len())
            .filter(|&f| evidence[f].is_some())
            .collect();
        let fields: Vec<(&str, &[MachineEvidence])> = known
            .iter()
            .filter_map(|&f| Some((self.crop(f), evidence[f].as_deref()?)))
            .collect();
        spread(evidence.len(), &known, pool::machines(self.job, &fields))
    }

    /// Second reduce: factors.
    pub(super) fn pool_scale(
        &self,
        evidence: &[Option<ScaleEvidence>],
    ) -> Vec<Option<ScaleDecision>> {
        let known: Vec<usize> = (0..evidence.len())
            .filter(|&f| evidence[f].is_some())
            .collect();
        let fields: Vec<(&str, &ScaleEvidence)> = known
            .iter()
            .filter_map(|&f| Some((self.crop(f), evidence[f].as_ref()?)))
            .collect();
        spread(evidence.len(), &known, pool::scale(&fields))
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
