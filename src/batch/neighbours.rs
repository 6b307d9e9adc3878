//! What neighbouring ground says of the loads of every field, without writing anything: the first two rounds of a batch.

use std::panic::{AssertUnwindSafe, catch_unwind};

use rayon::prelude::*;

use super::memory::Memory;
use super::store::Store;
use crate::gather::{self, MachineEvidence, ScaleEvidence, Settled};
use crate::job::Job;
use crate::pool;
use crate::prepare::Prepared;
use crate::read::read_field;

/// What every field of a job says of its loads, in its order, as a run finds it; `None` for fields that cannot be made
/// ready (a run fails on those).
pub fn scale_evidence(job: &Job) -> Vec<Option<ScaleEvidence>> {
    let store = Store::new(
        job.fields.len(),
        Memory::of(None, job.fields.len()).waiting,
        None,
    );
    let ready = |f: usize| -> Option<Box<Prepared>> {
        store.take(f).or_else(|| {
            let season = &job.fields[f];
            let input = read_field(job, season).ok()?;
            Some(Box::new(Prepared::new(job, season, input).ok()?))
        })
    };
    // A panic costs its field, as in a run.
    let all = 0..job.fields.len();
    let evidence: Vec<Option<Vec<MachineEvidence>>> = (all.clone().into_par_iter())
        .map(|f| {
            catch_unwind(AssertUnwindSafe(|| {
                let field = ready(f)?;
                let evidence = gather::machines(&field);
                store.keep(f, field);
                Some(evidence)
            }))
            .ok()?
        })
        .collect();
    let known: Vec<usize> = all.filter(|&f| evidence[f].is_some()).collect();
    let fields: Vec<(&str, &[MachineEvidence])> = (known.iter())
        .filter_map(|&f| {
            let crop = job.fields[f].crop.name.as_str();
            Some((crop, evidence[f].as_deref()?))
        })
        .collect();
    let machines = pool::machines(job, &fields);
    let found: Vec<Option<ScaleEvidence>> = (known.par_iter().zip(&machines))
        .map(|(&f, machines)| {
            let settled: Vec<Settled> = machines.iter().map(Settled::from).collect();
            catch_unwind(AssertUnwindSafe(|| {
                Some(gather::scale(&*ready(f)?, &settled))
            }))
            .ok()?
        })
        .collect();
    let mut out = vec![None; job.fields.len()];
    for (f, evidence) in known.into_iter().zip(found) {
        out[f] = evidence;
    }
    out
}
