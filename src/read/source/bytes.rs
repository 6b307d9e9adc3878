//! Bytes of an input.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

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
