//! What a batch keeps beside its results, so that a run that was broken off goes on where it was, and so that the acts of
//! one batch can run in several processes.
//!
//! For each field season and act there is one small file with what came of it and the hash of all that it follows from.
//! What is damaged, from another program or follows from something else is as good as not there. Values are CBOR (RFC
//! 8949), which keeps every bit of a number, NaN among them.

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use twox_hash::XxHash3_128;

use super::BatchError;
use crate::write::{WriteError, sweep, write_bytes};

/// Folder of these files, in the results.
pub(super) const FOLDER: &str = ".fanmill";

/// What is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// What a field says of its machines.
    Machines,
    /// What the batch decided about them.
    MachinesPooled,
    /// What a field says of its loads.
    Scale,
    /// What the batch decided about them.
    ScalePooled,
    /// What became of the field.
    Outcome,
}

impl Kind {
    fn extension(self) -> &'static str {
        match self {
            Kind::Machines => "machines",
            Kind::MachinesPooled => "machines-pooled",
            Kind::Scale => "scale",
            Kind::ScalePooled => "scale-pooled",
            Kind::Outcome => "outcome",
        }
    }
}

/// A value, or why there is none, and the hash of what it follows from.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct Kept<T> {
    /// The hash.
    pub key: u128,
    /// The value.
    pub value: Result<T, String>,
}

/// Who may be at work in a results folder at the same time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sharing {
    /// Nobody else.
    Alone,
    /// Other shards.
    Shards,
}

/// The folder, and the right to work in it. The system takes the lock away when the process ends, however it ends.
pub(super) struct Work {
    folder: PathBuf,
    _lock: Option<File>,
}

impl Work {
    /// Takes the results folder.
    pub fn open(results: &Path, sharing: Sharing) -> Result<Self, BatchError> {
        let folder = results.join(FOLDER);
        let path = folder.join("lock");
        let file = |source| WriteError::File {
            path: path.clone(),
            source,
        };
        std::fs::create_dir_all(&folder).map_err(|source| WriteError::Folder {
            path: folder.clone(),
            source,
        })?;
        let lock = File::options()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&path)
            .map_err(file)?;
        let taken = match sharing {
            Sharing::Alone => lock.try_lock(),
            Sharing::Shards => lock.try_lock_shared(),
        };
        match taken {
            Ok(()) => {
                if sharing == Sharing::Alone {
                    sweep(&folder)?; // nobody else is writing
                }
                Ok(Self {
                    folder,
                    _lock: Some(lock),
                })
            }
            Err(TryLockError::WouldBlock) => Err(BatchError::Busy(results.to_owned())),
            // Some network file systems know no locks: then nobody watches, as with any other program.
            Err(TryLockError::Error(_)) => Ok(Self {
                folder,
                _lock: None,
            }),
        }
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// What is kept of a field (by its folder in the results).
    pub fn load<T: DeserializeOwned>(&self, field: &str, kind: Kind) -> Option<Kept<T>> {
        let bytes = std::fs::read(self.path(field, kind)).ok()?;
        let (sum, body) = bytes
            .split_last_chunk::<16>()
            .map(|(body, sum)| (sum, body))?;
        (XxHash3_128::oneshot(body).to_le_bytes() == *sum)
            .then(|| ciborium::from_reader(body).ok())?
    }

    /// Keeps something of a field.
    pub fn keep<T: Serialize>(
        &self,
        field: &str,
        kind: Kind,
        kept: &Kept<T>,
    ) -> Result<(), WriteError> {
        let path = self.path(field, kind);
        let mut bytes = bytes(kept).map_err(|e| WriteError::File {
            path: path.clone(),
            source: std::io::Error::other(e),
        })?;
        bytes.extend(XxHash3_128::oneshot(&bytes).to_le_bytes());
        write_bytes(&path, &bytes).map(|_| ())
    }

    fn path(&self, field: &str, kind: Kind) -> PathBuf {
        let name = format!("{:032x}", XxHash3_128::oneshot(field.as_bytes()));
        // Two levels, so that no folder holds a hundred thousand files.
        self.folder
            .join(&name[..2])
            .join(format!("{}.{}", &name[2..], kind.extension()))
    }
}

/// A hash over several parts.
pub(super) fn hash(parts: &[&[u8]]) -> u128 {
    let mut hash = XxHash3_128::new();
    for part in parts {
        hash.write(&(part.len() as u64).to_le_bytes());
        hash.write(part);
    }
    hash.finish_128()
}

/// A hash that adds a value to another hash.
pub(super) fn hash_with(key: u128, value: &impl Serialize) -> u128 {
    // A value that cannot be written down never equals another: its results are made anew each time.
    let bytes = bytes(value).unwrap_or_default();
    hash(&[&key.to_le_bytes(), &bytes])
}

fn bytes(value: &impl Serialize) -> Result<Vec<u8>, String> {
    let mut bytes = vec![];
    ciborium::into_writer(value, &mut bytes).map_err(|e| e.to_string())?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(value: f64) -> Kept<Vec<f64>> {
        Kept {
            key: u128::MAX - 5,
            value: Ok(vec![value, 0.1 + 0.2]),
        }
    }

    #[test]
    fn numbers_come_back_to_the_last_bit() {
        let dir = tempfile::tempdir().unwrap();
        let work = Work::open(dir.path(), Sharing::Alone).unwrap();
        for value in [f64::NAN, f64::NEG_INFINITY, -0.0, 1e-310, 0.3] {
            work.keep("a/b", Kind::Scale, &kept(value)).unwrap();
            let back: Kept<Vec<f64>> = work.load("a/b", Kind::Scale).unwrap();
            assert_eq!(back.key, u128::MAX - 5);
            let bits: Vec<u64> = back.value.unwrap().iter().map(|v| v.to_bits()).collect();
            assert_eq!(bits, [value.to_bits(), (0.1 + 0.2_f64).to_bits()]);
        }
        assert!(work.load::<Vec<f64>>("a/b", Kind::Machines).is_none());
        assert!(work.load::<Vec<f64>>("a/c", Kind::Scale).is_none());
    }

    #[test]
    fn a_damaged_file_is_none() {
        let dir = tempfile::tempdir().unwrap();
        let work = Work::open(dir.path(), Sharing::Alone).unwrap();
        work.keep("a", Kind::Scale, &kept(1.0)).unwrap();
        let path = work.path("a", Kind::Scale);
        let whole = std::fs::read(&path).unwrap();
        for length in [0, 5, whole.len() - 1] {
            std::fs::write(&path, &whole[..length]).unwrap();
            assert!(work.load::<Vec<f64>>("a", Kind::Scale).is_none());
        }
        let mut flipped = whole.clone();
        flipped[whole.len() / 2] ^= 1;
        std::fs::write(&path, flipped).unwrap();
        assert!(work.load::<Vec<f64>>("a", Kind::Scale).is_none());
        std::fs::write(&path, whole).unwrap();
        assert!(work.load::<Vec<f64>>("a", Kind::Scale).is_some());
    }

    #[test]
    fn shards_work_side_by_side_and_a_whole_run_alone() {
        let dir = tempfile::tempdir().unwrap();
        let open = |sharing| Work::open(dir.path(), sharing);
        let shards = [
            open(Sharing::Shards).unwrap(),
            open(Sharing::Shards).unwrap(),
        ];
        assert!(matches!(open(Sharing::Alone), Err(BatchError::Busy(_))));
        drop(shards);
        let alone = open(Sharing::Alone).unwrap();
        assert!(matches!(open(Sharing::Shards), Err(BatchError::Busy(_))));
        drop(alone);
        open(Sharing::Shards).unwrap();
    }

    #[test]
    fn parts_do_not_run_together() {
        assert_ne!(hash(&[b"ab", b"c"]), hash(&[b"a", b"bc"]));
        assert_ne!(hash_with(1, &"a"), hash_with(2, &"a"));
    }
}
