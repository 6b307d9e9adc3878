//! Where rows come from, whatever the format of the file: headers, and rows of cells in batches.
//!
//! A source knows files and formats and nothing of grain. It says what the file says: the header of each column, what
//! the format itself states about it (a shapefile's geometry *is* a position; a data dictionary gives quantity and
//! unit), and cells as text, blank where the file has nothing. What the columns *mean* is settled after it, alike for
//! every format.

mod bytes;
mod code_page;
mod container;
mod csv;
mod dbf;
mod geojson;
mod geometry;
mod geopackage;
mod open;
mod preface;
mod shapefile;

pub(super) use bytes::{Input, file as open_file, fill, read_whole};
pub(super) use container::{Kind, kind, unzip};
pub(super) use geojson::crs_member;
pub(super) use geometry::{Shape, of_geopackage};
pub(super) use geopackage::{connect, crs_of, layers, quoted};
pub(super) use open::{LogSource, is_taskdata, logs_in, open_table};
pub(super) use shapefile::{crs as shapefile_crs, texts as shapefile_texts};

use ::csv::ByteRecord;

use super::error::ReadError;
use crate::job::LogColumn;
use crate::summary::Remark;
use crate::units::Unit;

/// Rows handed over at a time (our choice: a batch stays in the processor's cache).
pub(super) const BATCH: usize = 512;

/// A column of a source.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Header {
    /// Its name in the file, blanks around it taken off.
    pub name: String,
    /// What the format itself says that it is; `None` where there is only the name to go by.
    pub stated: Option<Stated>,
    /// What a second header row has under it, such as a unit.
    pub under: Option<String>,
}

/// What a format states about a column: no guess, and no mapping is needed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stated {
    /// The column of ours that it is.
    pub column: LogColumn,
    /// The unit of its numbers; `None` for names, states and texts.
    pub unit: Option<&'static Unit>,
}

impl Header {
    /// A column of which the file gives the name alone.
    pub fn named(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            stated: None,
            under: None,
        }
    }

    /// The name and what stands under it, for its words.
    pub fn spelt(&self) -> String {
        match &self.under {
            Some(under) => format!("{} ({under})", self.name),
            None => self.name.clone(),
        }
    }

    /// A column whose meaning the format states, `unit` by its symbol.
    pub fn stated(name: impl Into<String>, column: LogColumn, unit: Option<&str>) -> Self {
        let unit = unit.and_then(|symbol| column.quantity()?.unit(symbol));
        let stated = Some(Stated { column, unit });
        Self {
            name: name.into(),
            stated,
            under: None,
        }
    }
}

/// An opened source: its columns, and the rows to come.
pub(super) struct Table {
    /// The columns.
    pub headers: Vec<Header>,
    /// What separates columns, where they are separated texts.
    pub separator: Option<u8>,
    /// Whether a comma may stand for the decimal point.
    pub decimal_comma: bool,
    /// Lines of remarks above the header.
    pub above: Vec<String>,
    /// What the user should know about how the file was read; complete once the rows are.
    pub warnings: Vec<Remark>,
    /// The rows.
    pub rows: Box<dyn Rows>,
}

/// The rows of a source, streamed.
pub(super) trait Rows {
    /// Puts the next rows into the emptied `batch`: none when the source is at its end.
    fn next_batch(&mut self, batch: &mut Batch) -> Result<(), ReadError>;

    /// What came up while the rows were read; asked for once, at the end.
    fn remarks(&mut self) -> Vec<Remark> {
        Vec::new()
    }
}

/// A row of a source.
#[derive(Debug, Default)]
pub(super) struct Record {
    /// The cells, as many as headers (in text files: as many as the line has). Blank: the file has nothing there.
    pub cells: ByteRecord,
    /// How many data rows of the file it takes: 1, unless a quote that was not closed took lines along.
    pub lines: u64,
    /// Whether one of its cells has whole rows in it: a quote was not closed.
    pub swallowed: bool,
    /// Why it cannot be read although it is there.
    pub fault: Option<Fault>,
}

/// Why a row is unreadable.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fault {
    /// Which column; `None`: the row as a whole.
    pub field: Option<usize>,
    /// What should have stood there.
    pub expected: String,
    /// What stood there.
    pub found: String,
}

/// Rows handed over together. Its records are used again, so that reading allocates little.
#[derive(Debug, Default)]
pub(super) struct Batch {
    records: Vec<Record>,
    used: usize,
}

impl Batch {
    /// Empties it.
    pub fn clear(&mut self) {
        self.used = 0;
    }

    /// Whether it holds as many rows as it should.
    pub fn is_full(&self) -> bool {
        self.used >= BATCH
    }

    /// An empty row at the end, to be filled.
    pub fn add(&mut self) -> &mut Record {
        if self.used == self.records.len() {
            self.records.push(Record::default());
        }
        let record = &mut self.records[self.used];
        self.used += 1;
        record.cells.clear();
        (record.lines, record.swallowed, record.fault) = (1, false, None);
        record
    }

    /// Takes back the row added last.
    pub fn take_back(&mut self) {
        self.used = self.used.saturating_sub(1);
    }

    /// The rows.
    pub fn records(&self) -> &[Record] {
        &self.records[..self.used]
    }
}

impl Record {
    /// Adds a number's cell: its shortest decimal that reads back as the same number, blank where it is missing.
    pub fn push_number(&mut self, value: f64) {
        use std::io::Write;
        let mut text = [0u8; 352]; // the longest decimal of an f64 without an exponent has 327 characters
        let mut rest = &mut text[..];
        let n = match value.is_finite() && write!(rest, "{value}").is_ok() {
            true => 352 - rest.len(),
            false => 0,
        };
        self.cells.push_field(&text[..n]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_come_back_to_the_last_bit() {
        let mut record = Record::default();
        let values = [
            0.1,
            -93.978_42,
            f64::MAX,
            -f64::MIN_POSITIVE,
            5e-324,
            1e22,
            0.0,
        ];
        for value in values {
            record.push_number(value);
        }
        record.push_number(f64::NAN);
        for (cell, value) in record.cells.iter().zip(values) {
            let text = std::str::from_utf8(cell).expect("ASCII");
            assert_eq!(
                text.parse::<f64>().map(f64::to_bits),
                Ok(value.to_bits()),
                "{text}"
            );
        }
        assert_eq!(&record.cells[values.len()], b"");
    }

    #[test]
    fn a_batch_is_used_again() {
        let mut batch = Batch::default();
        batch.add().cells.push_field(b"a");
        batch.add().swallowed = true;
        batch.take_back();
        assert_eq!(batch.records().len(), 1);
        batch.clear();
        let record = batch.add();
        assert!(record.cells.is_empty() && record.lines == 1 && !record.swallowed);
    }
}
