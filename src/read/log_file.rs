//! One log file: its rows as columns, and the lines that could not be read.

use std::collections::HashMap;

use csv::ByteRecord;

use super::Unreadable;
use super::error::{ReadError, ReadErrorKind};
use super::layout::{Layout, NUMBERS};
use super::log_row::{DECIMAL_POINT, Row, parse, pass_number};
use super::recognise::{Known, Recognised, SAMPLE_ROWS, Sample, recognise};
use super::sections;
use super::source::{BATCH, Batch, Fault, Header, LogSource, Record, Table};
use super::text::decode;
use super::time::TimeReader;
use crate::crop::Crop;
use crate::job::{Job, LogColumn};
use crate::log::{Clock, WorkState};
use crate::place::Place;
use crate::summary::Remark;

/// The rows of one file, in its own order, with its own names.
#[derive(Debug, Default)]
pub(super) struct LogFile {
    /// Path, for messages and results.
    pub path: String,
    pub clock: Clock,
    pub layout: Layout,
    pub recognised: Recognised,
    /// Data row, from 1.
    pub row: Vec<u32>,
    /// The columns of [`NUMBERS`], SI; empty where the file has none.
    pub numbers: [Vec<f64>; NUMBERS.len()],
    pub time: Vec<f64>,
    pub work: Vec<WorkState>,
    pub machine: Names,
    pub load: Names,
    pub pass: Vec<Option<u32>>,
    /// Section of the header, by its name.
    pub section: Names,
    pub unreadable: Vec<Unreadable>,
    pub warnings: Vec<Remark>,
    /// The first unreadable row's number, and why.
    first_fault: Option<(u32, Fault)>,
    /// Rows whose crop is another one: how many, the first row's number, its crop.
    other_crop: Option<(u64, u32, String)>,
}

/// A log that is opened and whose columns are known.
pub(super) struct Look {
    table: Table,
    headers: Vec<Header>,
    first: Vec<Batch>,
    /// Its first rows.
    pub sample: Sample,
    /// What its columns are.
    pub recognised: Recognised,
}

/// A column of names: each distinct one once, and an index per row. Empty where the file has no such column.
#[derive(Debug, Default)]
pub(super) struct Names {
    pub distinct: Vec<String>,
    pub index: Vec<Option<u32>>,
    known: HashMap<Vec<u8>, u32>,
    /// The name of the row before: most rows repeat it.
    last: Option<(Vec<u8>, u32)>,
}

impl Names {
    /// Adds a row's name; blank means none.
    fn push(&mut self, cell: &[u8]) {
        let cell = cell.trim_ascii();
        if cell.is_empty() {
            self.index.push(None);
            return;
        }
        if let Some((last, k)) = &self.last
            && last == cell
        {
            self.index.push(Some(*k));
            return;
        }
        let k = match self.known.get(cell) {
            Some(k) => *k,
            None => {
                let k = self.distinct.len() as u32;
                self.known.insert(cell.to_vec(), k);
                self.distinct.push(decode(cell).into_owned());
                k
            }
        };
        self.last = Some((cell.to_vec(), k));
        self.index.push(Some(k));
    }
}

impl LogFile {
    /// A file of so many rows without columns.
    #[cfg(test)]
    pub fn of_rows(path: &str, rows: u32) -> Self {
        Self {
            path: path.to_owned(),
            row: (1..=rows).collect(),
            ..Self::default()
        }
    }

    /// Opens a log and finds out what its columns are. `known`: what is known of it beside its contents.
    pub fn look(source: &LogSource, job: &Job, known: &Known<'_>) -> Result<Look, ReadError> {
        let mut table = source.open(job)?;
        let headers = std::mem::take(&mut table.headers);
        let known = Known {
            decimal_comma: table.decimal_comma,
            ..*known
        };
        let (first, sample) = first_rows(&mut table, &headers)?;
        let recognised = recognise(&sample, &job.log, &known);
        Ok(Look {
            table,
            headers,
            first,
            sample,
            recognised,
        })
    }

    /// Reads a log. `known`: what is known of it beside its contents.
    pub fn read(source: &LogSource, job: &Job, known: &Known<'_>) -> Result<LogFile, ReadError> {
        let (file, settings) = (&source.shown, &job.log);
        let Look {
            mut table,
            headers,
            first,
            recognised,
            ..
        } = LogFile::look(source, job, known)?;
        let crop = known.crop;
        let mut log = LogFile {
            path: file.clone(),
            warnings: std::mem::take(&mut table.warnings),
            ..LogFile::default()
        };
        let layout = Layout::new(
            headers.into_iter().map(|h| h.name).collect(),
            &recognised,
            settings,
            crop,
            file,
            &mut log.warnings,
        )?;
        let factor = layout.time.map_or(1.0, |(_, factor)| factor);
        let stated = recognised.zone.clone();
        let zone = stated.as_ref().unwrap_or(known.zone);
        let mut times = TimeReader::new(zone, layout.clock, factor, table.decimal_comma);
        let rows = log.read_rows(first, &mut table, &layout, &mut times, crop)?;
        log.recognised = recognised;
        log.clock = times.clock;
        if rows == 0 {
            return Err(ReadError::new(
                ReadErrorKind::Empty,
                Place::file(file),
                "rows under the header",
                "none",
            )
            .hinted("export it again, or take it off the list"));
        }
        if log.row.is_empty() {
            return Err(log.nothing_readable(rows, &layout, table.separator));
        }
        log.warn_of_other_crop(crop);
        log.layout = layout;
        sections::refuse(&log)?;
        Ok(log)
    }

    /// The headers of its longitude and latitude (or x and y).
    pub fn position_headers(&self) -> (String, String) {
        let of = |column| self.layout.header(column).to_owned();
        match self.layout.in_degrees() {
            true => (of(LogColumn::Lon), of(LogColumn::Lat)),
            false => (of(LogColumn::X), of(LogColumn::Y)),
        }
    }

    fn read_rows(
        &mut self,
        first: Vec<Batch>,
        table: &mut Table,
        layout: &Layout,
        times: &mut TimeReader<'_>,
        crop: &Crop,
    ) -> Result<u32, ReadError> {
        let mut batch = Batch::default();
        let mut rows = 0u32;
        let mut first = first.into_iter();
        loop {
            // The rows that were looked at, then those behind them.
            match first.next() {
                Some(looked_at) => batch = looked_at,
                None => table.rows.next_batch(&mut batch)?,
            }
            if batch.records().is_empty() {
                break;
            }
            for record in batch.records() {
                rows = self.count(rows, 1)?;
                let parsed = match &record.fault {
                    Some(fault) => Err(fault.clone()),
                    None => parse(&record.cells, layout, times, table.decimal_comma),
                };
                if record.lines > 1 && (parsed.is_err() || record.swallowed) {
                    rows = self.open_quote(rows, record.lines, layout)?;
                    continue;
                }
                match parsed {
                    Ok(row) => self.push(rows, &row, &record.cells, layout, crop),
                    Err(fault) => self.spoil(rows, fault, layout),
                }
            }
        }
        self.warnings.append(&mut table.rows.remarks());
        Ok(rows)
    }

    /// The number of rows with `more` of them.
    fn count(&self, rows: u32, more: u64) -> Result<u32, ReadError> {
        u64::from(rows)
            .checked_add(more)
            .and_then(|n| u32::try_from(n).ok())
            .ok_or_else(|| {
                let place = Place::file(&self.path);
                ReadError::new(
                    ReadErrorKind::Format,
                    place,
                    "at most 4,294,967,295 rows",
                    "more",
                )
                .hinted("split the file")
            })
    }

    /// A quote that is opened and not closed in its line takes the lines after it along: each is a row that cannot be
    /// read. Returns the number of the last of them.
    fn open_quote(&mut self, first: u32, lines: u64, layout: &Layout) -> Result<u32, ReadError> {
        let last = self.count(first, lines - 1)?;
        for row in first..=last {
            let expected = "a quote closed in its line".to_owned();
            let found = format!("one that is open over {lines} lines");
            self.spoil(
                row,
                Fault {
                    field: None,
                    expected,
                    found,
                },
                layout,
            );
        }
        Ok(last)
    }

    /// Adds an unreadable row.
    fn spoil(&mut self, row: u32, fault: Fault, layout: &Layout) {
        let mut place = Place::file(&self.path).row(row);
        place.column = fault.field.and_then(|f| layout.headers.get(f)).cloned();
        let what = format!("expected {}, found {}", fault.expected, fault.found);
        self.unreadable.push(Unreadable { place, what });
        self.first_fault.get_or_insert((row, fault));
    }

    fn push(&mut self, number: u32, row: &Row, record: &ByteRecord, layout: &Layout, crop: &Crop) {
        self.row.push(number);
        for column in &layout.numbers {
            self.numbers[column.slot].push(row.numbers[column.slot]);
        }
        if layout.time.is_some() {
            self.time.push(row.time);
        }
        if layout.work.is_some() {
            self.work.push(row.work);
        }
        if let Some(field) = layout.machine {
            self.machine.push(&record[field]);
        }
        if let Some(field) = layout.load {
            self.load.push(&record[field]);
        }
        if let Some(field) = layout.pass {
            self.pass.push(pass_number(&record[field]));
        }
        if let Some(field) = layout.section {
            self.section.push(&record[field]);
        }
        if let Some(field) = layout.crop {
            let cell = record[field].trim_ascii();
            if !cell.is_empty() && !cell.eq_ignore_ascii_case(crop.name.as_bytes()) {
                self.other_crop
                    .get_or_insert_with(|| (0, number, decode(cell).into_owned()))
                    .0 += 1;
            }
        }
    }

    /// The error that none of the rows can be read, by the first one's fault.
    fn nothing_readable(&self, rows: u32, layout: &Layout, separator: Option<u8>) -> ReadError {
        let mut place = Place::file(&self.path);
        let (mut expected, mut found, mut commas) = ("a row".to_owned(), "none".to_owned(), false);
        if let Some((row, fault)) = &self.first_fault {
            place = place.row(*row);
            place.column = fault.field.and_then(|f| layout.headers.get(f)).cloned();
            expected.clone_from(&fault.expected);
            found.clone_from(&fault.found);
            commas = separator == Some(b',')
                && (fault.expected == DECIMAL_POINT || fault.expected.ends_with(" fields"));
        }
        let hint = if commas {
            "where numbers have decimal commas, export with semicolons or tabs between the columns, or with decimal points"
        } else {
            "see what the file was exported as; [log] columns says which header is which"
        };
        let found = format!("{found}; none of the {rows} row(s) can be read");
        ReadError::new(ReadErrorKind::NothingReadable, place, expected, found).hinted(hint)
    }

    fn warn_of_other_crop(&mut self, crop: &Crop) {
        if let Some((count, row, other)) = &self.other_crop {
            let text = format!(
                "{}: the log's crop is \"{other}\", the job's is \"{}\" ({count} of {} rows); all are read as {}",
                Place::file(&self.path).row(*row),
                crop.name,
                self.row.len(),
                crop.name
            );
            self.warnings.push(Remark::new("other-crop", text));
        }
    }
}

/// The first rows of a table: as they are, and column by column.
fn first_rows(table: &mut Table, headers: &[Header]) -> Result<(Vec<Batch>, Sample), ReadError> {
    let mut sample = Sample::new(headers, table.decimal_comma);
    sample.above = std::mem::take(&mut table.above);
    let mut first = Vec::new();
    while sample.rows < SAMPLE_ROWS {
        let mut batch = Batch::default();
        table.rows.next_batch(&mut batch)?;
        if batch.records().is_empty() {
            break;
        }
        let whole =
            |r: &&Record| r.fault.is_none() && r.lines <= 1 && r.cells.len() >= headers.len();
        for record in batch.records().iter().filter(whole) {
            sample.push(record.cells.iter());
        }
        first.push(batch);
        if first.len() * BATCH > 2 * SAMPLE_ROWS {
            break; // hardly a row is whole
        }
    }
    Ok((first, sample))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_kept_once() {
        let mut names = Names::default();
        for cell in [&b"L1"[..], b" L1 ", b"L2", b"", b"L1"] {
            names.push(cell);
        }
        assert_eq!(names.distinct, ["L1", "L2"]);
        assert_eq!(names.index, [Some(0), Some(0), Some(1), None, Some(0)]);
    }
}
