//! Rows of separated values, streamed.

use std::io::{self, Cursor, Read};

use ::csv::{ByteRecord, Reader, ReaderBuilder};

use super::bytes::{Input, fill};
use super::{Batch, Header, Rows, Table};
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::text::{BUFFER, decode, utf8};

/// The longest header line looked at, bytes (our choice).
const LONGEST_HEADER: usize = 1024 * 1024;

/// Opens a table of separated values and reads its header. `file`: its name for messages; `lines`: what its lines
/// are, e.g. "rows".
pub(super) fn open(input: Input, file: &str, lines: &str) -> Result<Table, ReadError> {
    let mut text = utf8(input).map_err(|e| ReadError::io(file, e))?;
    let head = first_line(&mut text).map_err(|e| ReadError::io(file, e))?;
    if head.trim_ascii().is_empty() {
        let expected = format!("a header and {lines}");
        return Err(ReadError::new(
            ReadErrorKind::Empty,
            Place::file(file),
            expected,
            "an empty file",
        )
        .hinted("export it again, or take it off the list"));
    }
    let separator = sniff(&head);
    let mut reader = ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .buffer_capacity(BUFFER)
        .from_reader(Box::new(Cursor::new(head).chain(text)) as Box<dyn Read + Send>);
    let mut header = ByteRecord::new();
    reader
        .read_byte_record(&mut header)
        .map_err(|e| csv_error(file, e))?;
    let headers = header
        .iter()
        .map(|h| Header::named(decode(h).trim()))
        .collect();
    let file = file.to_owned();
    Ok(Table {
        headers,
        separator: Some(separator),
        decimal_comma: separator != b',',
        warnings: Vec::new(),
        rows: Box::new(Lines {
            reader,
            separator,
            file,
        }),
    })
}

/// The lines after the header.
struct Lines {
    reader: Reader<Box<dyn Read + Send>>,
    separator: u8,
    file: String,
}

impl Rows for Lines {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<(), ReadError> {
        batch.clear();
        while !batch.is_full() {
            let record = batch.add();
            let more = self
                .reader
                .read_byte_record(&mut record.cells)
                .map_err(|e| csv_error(&self.file, e))?;
            if !more {
                batch.take_back();
                break;
            }
            record.lines = lines(&record.cells, &self.reader);
            record.swallowed = record.lines > 1 && holds_rows(&record.cells, self.separator);
        }
        Ok(())
    }
}

/// A read error of the CSV reader. Rows of any length and bytes of any kind are accepted, so it is the disk's.
fn csv_error(file: &str, error: ::csv::Error) -> ReadError {
    match error.into_kind() {
        ::csv::ErrorKind::Io(cause) => ReadError::io(file, cause),
        other => ReadError::io(file, io::Error::other(format!("{other:?}"))),
    }
}

/// How many lines of the file a record takes, blank ones left out.
fn lines<R: Read>(record: &ByteRecord, rows: &Reader<R>) -> u64 {
    let taken = rows.position().line() - record.position().map_or(0, |p| p.line());
    if taken <= 1 {
        return taken;
    }
    let more = record.as_slice().split(|&b| b == b'\n').skip(1);
    more.filter(|line| !line.trim_ascii().is_empty()).count() as u64 + 1
}

/// Whether a field that runs over lines has taken whole rows in, and is not just a remark of several lines.
fn holds_rows(record: &ByteRecord, separator: u8) -> bool {
    let separators = |line: &[u8]| line.iter().filter(|&&b| b == separator).count();
    record
        .as_slice()
        .split(|&b| b == b'\n')
        .skip(1)
        .any(|line| separators(line) + 1 >= record.len())
}

/// Reads on until the first line that is not blank is whole; returns all that was read.
fn first_line(text: &mut impl Read) -> io::Result<Vec<u8>> {
    let mut head = Vec::new();
    let mut block = [0u8; 4096];
    loop {
        let n = fill(text, &mut block)?;
        head.extend_from_slice(&block[..n]);
        let line = head.trim_ascii_start();
        let whole = line.iter().any(|&b| b == b'\n' || b == b'\r');
        if n < block.len() || whole || head.len() > LONGEST_HEADER {
            return Ok(head);
        }
    }
}

/// The separator that the first line holds most of, outside quotes; a comma where there is none.
fn sniff(head: &[u8]) -> u8 {
    let line = head.trim_ascii_start();
    let end = line
        .iter()
        .position(|&b| b == b'\n' || b == b'\r')
        .unwrap_or(line.len());
    // A leading tab or separator is a column without a name, which trimming takes off: it cannot change the choice.
    let mut counts = [(0, b'\t'), (0, b';'), (0, b','), (0, b'|')];
    let mut quoted = false;
    for &b in &line[..end] {
        if b == b'"' {
            quoted = !quoted;
        } else if !quoted && let Some((n, _)) = counts.iter_mut().find(|(_, s)| *s == b) {
            *n += 1;
        }
    }
    counts
        .into_iter()
        .fold(
            (0, b','),
            |best, next| if next.0 > best.0 { next } else { best },
        )
        .1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_separator_is_the_commonest_one_outside_quotes() {
        assert_eq!(sniff(b"a,b;c,d\n1;2;3;4;5"), b',');
        assert_eq!(sniff(b"\"a,b,c\";d\r\n"), b';');
        assert_eq!(sniff(b"a\tb, or c"), b'\t');
        assert_eq!(sniff(b"a|b|c, or d"), b'|');
        assert_eq!(sniff(b"alone"), b',');
    }
}
