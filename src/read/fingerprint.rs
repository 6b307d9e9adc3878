//! What a field's input files hold, as one number: another number, other contents.

use std::fs::File;
use std::io::Read;

use twox_hash::XxHash3_128;

use super::ReadError;
use super::find::{InputFile, find};
use crate::job::{FieldSeason, Job};

/// Bytes read at once. Our choice: a stream, whatever the size of a log.
const PIECE: usize = 1 << 18;

/// Hash (XXH3, 128 bits) of the names and contents of every file that the job lists for a field season. A file that
/// cannot be read counts as such: reading the field says what is wrong with it.
///
/// # Errors
/// Where a log pattern matches nothing.
pub fn fingerprint(job: &Job, field: &FieldSeason) -> Result<u128, ReadError> {
    let logs = find(&job.base, &field.logs, &field.name)?;
    let others = field.boundary.iter().chain(&field.tickets);
    let files = logs
        .into_iter()
        .chain(others.map(|written| InputFile::new(&job.base, written)));
    let mut hash = XxHash3_128::new();
    let mut piece = vec![0; PIECE];
    for file in files {
        hash.write(&(file.shown.len() as u64).to_le_bytes());
        hash.write(file.shown.as_bytes());
        let length = contents(&file, &mut hash, &mut piece);
        hash.write(&length.unwrap_or(u64::MAX).to_le_bytes());
    }
    Ok(hash.finish_128())
}

/// Hashes what a file holds; `None` where it cannot be read to its end.
fn contents(file: &InputFile, hash: &mut XxHash3_128, piece: &mut [u8]) -> Option<u64> {
    let mut open = File::open(&file.path).ok()?;
    let mut length = 0;
    loop {
        match open.read(piece) {
            Ok(0) => return Some(length),
            Ok(n) => {
                hash.write(&piece[..n]);
                length += n as u64;
            }
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
            Err(_) => return None,
        }
    }
}
