//! Bytes of an input.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};

/// The bytes of an input, from its first.
pub(in crate::read) type Input = Box<dyn Read + Send>;

/// Opens a file.
pub(in crate::read) fn file(path: &Path) -> io::Result<Input> {
    let file = File::open(path)?;
    if file.metadata()?.is_dir() {
        return Err(io::Error::from(io::ErrorKind::IsADirectory));
    }
    Ok(Box::new(file))
}

/// Fills `buffer` as far as the input goes.
pub(in crate::read) fn fill(
    from: &mut (impl Read + ?Sized),
    buffer: &mut [u8],
) -> io::Result<usize> {
    let mut n = 0;
    while n < buffer.len() {
        match from.read(&mut buffer[n..]) {
            Ok(0) => break,
            Ok(k) => n += k,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(n)
}

/// The largest file that is read as a whole, bytes (our choice: descriptions and boundaries, not logs).
const LARGEST_WHOLE: u64 = 512 * 1024 * 1024;

/// The bytes of a file that is small by its nature.
pub(in crate::read) fn read_whole(path: &Path, shown: &str) -> Result<Vec<u8>, ReadError> {
    let io = |e| ReadError::io(shown, e);
    let mut bytes = Vec::new();
    file(path)
        .map_err(io)?
        .take(LARGEST_WHOLE + 1)
        .read_to_end(&mut bytes)
        .map_err(io)?;
    if bytes.len() as u64 > LARGEST_WHOLE {
        return Err(ReadError::new(
            ReadErrorKind::Format,
            Place::file(shown),
            "a file of at most 512 MB",
            "a larger one",
        ));
    }
    Ok(bytes)
}
