//! Reduce: what all fields say, into decisions. It waits on the disk until it is asked for, so that memory follows the
//! fields in flight and what is pooled at once: the delays and ramps of a machine, then the loads of the batch.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::work::Kind;
use super::{Act, Batch, FieldError};
use crate::gather::{MachineEvidence, ScaleEvidence};
use crate::pool::{self, MachineDecision, ScaleDecision};

/// What one field has said of its machines.
pub(super) struct Said {
    /// What it follows from.
    pub key: u128,
    /// The machines, in the order of the evidence.
    machines: Vec<String>,
}

impl Said {
    /// Of evidence and what it follows from.
    pub fn of(key: u128, evidence: &[MachineEvidence]) -> Self {
        let name = |e: &MachineEvidence| e.delay.machine.clone();
        Self {
            key,
            machines: evidence.iter().map(name).collect(),
        }
    }
}

impl Batch<'_> {
    /// First reduce: delays and ramps.
    pub(super) fn pool_machines(&self, said: &[Option<Said>]) -> Vec<Option<Vec<MachineDecision>>> {
        let mut groups: BTreeMap<(&str, &str), Vec<(usize, usize)>> = BTreeMap::new();
        for (f, said) in said.iter().enumerate() {
            for (m, name) in said.iter().flat_map(|s| s.machines.iter().enumerate()) {
                let group = groups.entry((name, self.crop(f))).or_default();
                group.push((f, m));
            }
        }
        let of_field = |&(f, m): &(usize, usize)| -> Option<((usize, usize), MachineEvidence)> {
            let mut all: Vec<MachineEvidence> =
                self.read_back(Act::Machines, f, Kind::Machines, said[f].as_ref()?.key)?;
            (m < all.len()).then(|| ((f, m), all.swap_remove(m)))
        };
        let of_group = |((name, _), members): ((&str, &str), Vec<(usize, usize)>)| {
            let (places, evidence): (Vec<(usize, usize)>, Vec<MachineEvidence>) =
                members.iter().filter_map(of_field).unzip();
            let evidence: Vec<&MachineEvidence> = evidence.iter().collect();
            let decisions = pool::machine(self.job, name, &evidence);
            places.into_iter().zip(decisions).collect::<Vec<_>>()
        };
        self.store.make_room();
        let decided: Vec<Vec<_>> = groups.into_par_iter().map(of_group).collect();
        let mut out: Vec<Option<Vec<Option<MachineDecision>>>> = (said.iter())
            .map(|s| s.as_ref().map(|s| vec![None; s.machines.len()]))
            .collect();
        for ((f, m), decision) in decided.into_iter().flatten() {
            if let Some(of_field) = &mut out[f] {
                of_field[m] = Some(decision);
            }
        }
        out.into_iter()
            .map(|of_field| of_field?.into_iter().collect())
            .collect()
    }

    /// Second reduce: factors. `keys`: what the evidence of each field follows from.
    pub(super) fn pool_scale(&self, keys: &[Option<u128>]) -> Vec<Option<ScaleDecision>> {
        self.store.make_room();
        let evidence: Vec<Option<ScaleEvidence>> = (keys.par_iter().enumerate())
            .map(|(f, &key)| self.read_back(Act::Scale, f, Kind::Scale, key?))
            .collect();
        let fields: Vec<(&str, &ScaleEvidence)> = (evidence.iter().enumerate())
            .filter_map(|(f, e)| Some((self.crop(f), e.as_ref()?)))
            .collect();
        let mut decisions = pool::scale(&fields).into_iter();
        (evidence.iter())
            .map(|e| e.as_ref().and_then(|_| decisions.next()))
            .collect()
    }

    /// What a field left of an act; where it cannot be read back, the field has failed.
    fn read_back<T: serde::de::DeserializeOwned>(
        &self,
        act: Act,
        f: usize,
        kind: Kind,
        key: u128,
    ) -> Option<T> {
        let kept = self.work.load::<T>(&self.folders[f], kind);
        let value = kept.filter(|k| k.key == key).and_then(|k| k.value.ok());
        if value.is_none() {
            self.fail(act, f, &FieldError::Lost { act });
        }
        value
    }
}
