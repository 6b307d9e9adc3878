//! Rows of separated values, streamed.

use std::cell::Cell;
use std::collections::VecDeque;
use std::io::{self, Cursor, Read};
use std::rc::Rc;

use ::csv::{ByteRecord, Reader, ReaderBuilder};

use super::bytes::{Input, fill};
use super::preface::{header_start, is_unit_row, put_under, quoted_decimal_commas};
use super::{Batch, Fault, Header, Record, Rows, Table};
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::text::{BUFFER, decode, utf8};

/// The longest header line looked at, bytes (our choice).
const LONGEST_HEADER: usize = 1024 * 1024;

/// Most columns of a table (our choice: an export has a few hundred at most).
const MOST_COLUMNS: usize = 4096;

/// How much of a text is looked at for remarks above its header, bytes (our choice).
const HEAD: usize = 32 * 1024;

/// Rows looked at for how numbers are written, before any is handed over (our choice).
const AHEAD: usize = 20;

/// The longest cell, bytes (our choice: a remark of many pages).
const LONGEST_CELL: usize = 1024 * 1024;

/// Opens a table of separated values and reads its header. `file`: its name for messages; `lines`: what its lines
/// are, e.g. "rows".
pub(super) fn open(input: Input, file: &str, lines: &str) -> Result<Table, ReadError> {
    let mut text = utf8(input).map_err(|e| ReadError::io(file, e))?;
    let mut head = first_lines(&mut text).map_err(|e| ReadError::io(file, e))?;
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
    let (start, above) = header_start(&head, head.len() < HEAD);
    head.drain(..start);
    let separator = sniff(&head);
    let line = head.iter().take_while(|b| **b != b'\n');
    let columns = 1 + line.filter(|b| **b == separator).count();
    if columns > MOST_COLUMNS {
        return Err(ReadError::new(
            ReadErrorKind::Format,
            Place::file(file),
            format!("a header of at most {MOST_COLUMNS} columns"),
            format!("{columns} or more"),
        )
        .hinted("export the columns of the log alone, or take it off the list"));
    }
    let open_quote = Rc::new(Cell::new(false));
    let text = QuoteGuard {
        from: Cursor::new(head).chain(text),
        separator,
        open: None,
        field_start: true,
        gave_up: Rc::clone(&open_quote),
    };
    let mut reader = ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .buffer_capacity(BUFFER)
        .from_reader(Box::new(text) as Box<dyn Read>);
    let mut header = ByteRecord::new();
    reader
        .read_byte_record(&mut header)
        .map_err(|e| csv_error(file, e))?;
    let mut headers: Vec<Header> = header
        .iter()
        .map(|h| Header::named(decode(h).trim()))
        .collect();
    let mut rows = Lines {
        reader,
        open_quote,
        separator,
        file: file.to_owned(),
        ahead: VecDeque::new(),
    };
    rows.look_ahead()?;
    if let Some(first) = rows.ahead.front()
        && first.fault.is_none()
        && is_unit_row(first.cells.iter())
    {
        put_under(&mut headers, first.cells.iter());
        rows.ahead.pop_front();
    }
    let decimal_comma =
        separator != b',' || quoted_decimal_commas(rows.ahead.iter().flat_map(|r| r.cells.iter()));
    Ok(Table {
        above,
        headers,
        separator: Some(separator),
        decimal_comma,
        warnings: Vec::new(),
        rows: Box::new(rows),
    })
}

/// The lines after the header.
struct Lines {
    reader: Reader<Box<dyn Read>>,
    /// Whether the rest of the file stands in one open quote.
    open_quote: Rc<Cell<bool>>,
    separator: u8,
    file: String,
    /// Rows that were looked at before.
    ahead: VecDeque<Record>,
}

impl Lines {
    /// Reads the first rows, to be handed over later.
    fn look_ahead(&mut self) -> Result<(), ReadError> {
        while self.ahead.len() < AHEAD {
            let mut record = Record::default();
            if !self.read(&mut record)? {
                break;
            }
            self.ahead.push_back(record);
        }
        Ok(())
    }

    /// Reads the next row; `false`: there is none.
    fn read(&mut self, record: &mut Record) -> Result<bool, ReadError> {
        let more = self
            .reader
            .read_byte_record(&mut record.cells)
            .map_err(|e| csv_error(&self.file, e))?;
        if !more {
            return Ok(false);
        }
        record.lines = lines(&record.cells, &self.reader);
        record.swallowed = record.lines > 1 && holds_rows(&record.cells, self.separator);
        if self.open_quote.get() {
            (record.lines, record.swallowed) = (1, false);
            record.cells.clear();
            record.fault = Some(Fault {
                field: None,
                expected: "a quote closed in its line".to_owned(),
                found: "one that is open over more than 1 MB; the rest of the file is not read"
                    .to_owned(),
            });
        }
        Ok(true)
    }
}

impl Rows for Lines {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<(), ReadError> {
        batch.clear();
        while !batch.is_full() {
            let record = batch.add();
            if let Some(first) = self.ahead.pop_front() {
                *record = first;
            } else if !self.read(record)? {
                batch.take_back();
                break;
            }
        }
        Ok(())
    }
}

/// Ends the text where a quote stays open for longer than any cell is: what follows is no cell, and must not stand in
/// memory as one.
struct QuoteGuard<R> {
    from: R,
    separator: u8,
    /// Bytes since the quote that is open.
    open: Option<usize>,
    /// Whether a field starts here: only there a quote opens.
    field_start: bool,
    gave_up: Rc<Cell<bool>>,
}

impl<R: Read> Read for QuoteGuard<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.gave_up.get() {
            return Ok(0);
        }
        let n = self.from.read(out)?;
        let bytes = &out[..n];
        if self.open.is_none() && !bytes.contains(&b'"') {
            self.field_start = match bytes.last() {
                Some(&last) => self.starts_field(last),
                None => self.field_start,
            };
            return Ok(n);
        }
        for (k, &byte) in bytes.iter().enumerate() {
            match (&mut self.open, byte) {
                // A quote within a quote closes it; a doubled one opens it again at once.
                (Some(_), b'"') => (self.open, self.field_start) = (None, true),
                (Some(length), _) if *length >= LONGEST_CELL => {
                    self.gave_up.set(true);
                    return Ok(k);
                }
                (Some(length), _) => *length += 1,
                (None, b'"') if self.field_start => self.open = Some(0),
                (None, other) => self.field_start = self.starts_field(other),
            }
        }
        Ok(n)
    }
}

impl<R> QuoteGuard<R> {
    /// Whether a field starts after this byte outside quotes.
    fn starts_field(&self, byte: u8) -> bool {
        byte == self.separator || byte == b'\n' || byte == b'\r'
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

/// Reads the first bytes, and on until a line that is not blank is whole; returns all that was read.
fn first_lines(text: &mut impl Read) -> io::Result<Vec<u8>> {
    let mut head = Vec::new();
    let mut block = [0u8; 4096];
    loop {
        let n = fill(text, &mut block)?;
        head.extend_from_slice(&block[..n]);
        let line = head.trim_ascii_start();
        let whole = line.iter().any(|&b| b == b'\n' || b == b'\r');
        if n < block.len() || (whole && head.len() >= HEAD) || head.len() > LONGEST_HEADER {
            return Ok(head);
        }
    }
}

/// The separator that the first line holds most of, outside quotes; a comma where there is none.
pub(super) fn sniff(head: &[u8]) -> u8 {
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

/// How many of a separator a line has outside quotes.
pub(super) fn separators(line: &[u8], separator: u8) -> usize {
    let mut quoted = false;
    let outside = |b: &&u8| {
        quoted ^= **b == b'"';
        !quoted && **b == separator
    };
    line.iter().filter(outside).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quote_that_stays_open_does_not_fill_the_memory() {
        let mut text = b"a,b\n1,\"x \"\"y\"\"\nz\"\n2,\"open\n".to_vec();
        text.resize(text.len() + 5 * LONGEST_CELL, b'3');
        let mut table = open(Box::new(Cursor::new(text)), "a.csv", "rows").expect("opens");
        let mut batch = Batch::default();
        table.rows.next_batch(&mut batch).expect("reads");
        assert_eq!(&batch.records()[0].cells[1], b"x \"y\"\nz");
        assert!(batch.records()[0].fault.is_none() && batch.records()[1].fault.is_some());
        assert_eq!(batch.records().len(), 2);
    }

    #[test]
    fn the_separator_is_the_commonest_one_outside_quotes() {
        assert_eq!(sniff(b"a,b;c,d\n1;2;3;4;5"), b',');
        assert_eq!(sniff(b"\"a,b,c\";d\r\n"), b';');
        assert_eq!(sniff(b"a\tb, or c"), b'\t');
        assert_eq!(sniff(b"a|b|c, or d"), b'|');
        assert_eq!(sniff(b"alone"), b',');
    }
}
