//! One log file: its rows as columns, and the lines that could not be read.

use csv::ByteRecord;

use super::Unreadable;
use super::error::{ReadError, ReadErrorKind};
use super::layout::{Layout, NUMBERS};
use super::log_row::{DECIMAL_POINT, Row, parse, pass_number};
use super::names::Names;
use super::owned::owned;
use super::recognise::{Known, Recognised, SAMPLE_ROWS, Sample, recognise};
use super::shared::{By, Dealing, Shared};
use super::source::{BATCH, Batch, Fault, Header, LogSource, Record, Table};
use super::text::decode;
use super::time::TimeReader;
use crate::crop::Crop;
use crate::job::{Job, LogColumn};
use crate::log::{Clock, WorkState};
use crate::place::Place;
use crate::summary::Remark;

/// Sections of the header for which more first rows are looked at, so that memory stays bounded (our choice).
const MOST_SECTIONS: usize = 16;

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
    /// Number of the moment, as text.
    pub record: Names,
    /// Name of the field, where rows are not dealt out by it already.
    pub place: Names,
    /// Rows that are other fields', and are not here.
    pub elsewhere: u64,
    /// Whether rows were dealt out while they were read.
    pub dealt: bool,
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

impl LogFile {
    /// Opens a log and finds out what its columns are. `known`: what is known of it beside its contents.
    pub fn look(source: &LogSource, job: &Job, known: &Known<'_>) -> Result<Look, ReadError> {
        let mut table = source.open(job)?;
        let headers = std::mem::take(&mut table.headers);
        let known = Known {
            decimal_comma: table.decimal_comma,
            ..*known
        };
        let mut sample = Sample::new(&headers, table.decimal_comma);
        sample.above = std::mem::take(&mut table.above);
        let mut first = Vec::new();
        first_rows(&mut table, SAMPLE_ROWS, &mut first, &mut sample)?;
        let mut recognised = recognise(&sample, &job.log, &known);
        // A row for each section: as many moments are looked at as rows elsewhere.
        if let Some(moments) = &recognised.moments {
            let wanted = SAMPLE_ROWS * moments.sections.min(MOST_SECTIONS);
            first_rows(&mut table, wanted, &mut first, &mut sample)?;
            recognised = recognise(&sample, &job.log, &known);
        }
        Ok(Look {
            table,
            headers,
            first,
            sample,
            recognised,
        })
    }

    /// Reads a log. `known`: what is known of it beside its contents; `shared`: which of its rows are the field's.
    pub fn read(
        source: &LogSource,
        job: &Job,
        known: &Known<'_>,
        shared: &Shared,
    ) -> Result<LogFile, ReadError> {
        let mut whole = LogFile::default();
        LogFile::pieces(source, job, known, (shared, usize::MAX), &mut |log| {
            whole = log;
            Ok(())
        })?;
        Ok(whole)
    }

    /// Reads a log in pieces of about so many rows, one after the other, so that memory does not grow with the file;
    /// there is at least one.
    pub fn pieces(
        source: &LogSource,
        job: &Job,
        known: &Known<'_>,
        (shared, most): (&Shared, usize),
        each: &mut dyn FnMut(LogFile) -> Result<(), ReadError>,
    ) -> Result<(), ReadError> {
        let (file, settings) = (&source.shown, &job.log);
        let Look {
            mut table,
            headers,
            first,
            recognised,
            sample,
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
        let names = layout.place.map(|k| sample.columns[k].texts());
        let mut dealing = Dealing::new(shared, names.into_iter().flatten(), layout.in_degrees());
        drop(sample);
        log.dealt = dealing.by() != By::Nothing;
        log.recognised = recognised;
        let mut given = 0;
        let mut piece = |log: &mut LogFile, clock: Clock| {
            if log.row.len() < most {
                return Ok(());
            }
            given += log.row.len();
            each(log.take(&layout, clock))
        };
        let reading = (crop, &mut dealing);
        let rows = log.read_rows(first, &mut table, &layout, &mut times, reading, &mut piece)?;
        log.elsewhere = dealing.elsewhere;
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
        if log.row.is_empty() && log.elsewhere == 0 && given == 0 {
            return Err(log.nothing_readable(rows, &layout, table.separator));
        }
        log.warn_of_other_crop(crop);
        log.layout = layout;
        log.tell_of_others(dealing.by());
        each(log)
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
        (crop, dealing): (&Crop, &mut Dealing<'_>),
        piece: &mut dyn FnMut(&mut LogFile, Clock) -> Result<(), ReadError>,
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
                let alone = record.fault.is_none() && record.lines <= 1;
                if alone && !owned(&record.cells, layout, table.decimal_comma, dealing) {
                    continue;
                }
                let parsed = match &record.fault {
                    Some(fault) => Err(fault.clone()),
                    None => parse(&record.cells, layout, times, table.decimal_comma),
                };
                if record.lines > 1 && (parsed.is_err() || record.swallowed) {
                    rows = self.open_quote(rows, record.lines, layout)?;
                    continue;
                }
                match parsed {
                    Ok(_)
                        if !alone
                            && !owned(&record.cells, layout, table.decimal_comma, dealing) => {}
                    Ok(row) => self.push(rows, &row, &record.cells, layout, crop),
                    // A row that cannot be read is whose the one before it was.
                    Err(_) if !dealing.kept => dealing.elsewhere += 1,
                    Err(fault) => self.spoil(rows, fault, layout),
                }
            }
            piece(self, times.clock)?;
        }
        self.warnings.append(&mut table.rows.remarks());
        Ok(rows)
    }

    /// Takes the rows out that are there.
    fn take(&mut self, layout: &Layout, clock: Clock) -> LogFile {
        use std::mem::take;
        LogFile {
            path: self.path.clone(),
            clock,
            layout: layout.clone(),
            recognised: self.recognised.clone(),
            row: take(&mut self.row),
            numbers: take(&mut self.numbers),
            time: take(&mut self.time),
            work: take(&mut self.work),
            machine: self.machine.take(),
            load: self.load.take(),
            pass: take(&mut self.pass),
            section: self.section.take(),
            record: self.record.take(),
            place: self.place.take(),
            dealt: self.dealt,
            unreadable: take(&mut self.unreadable),
            ..LogFile::default()
        }
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
        if let Some(field) = layout.place.filter(|_| !self.dealt) {
            self.place.push(&record[field]);
        }
        if let Some(field) = layout.record {
            self.record.push(&record[field]);
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

/// Reads on until so many first rows of a table are there: as they are, and column by column.
fn first_rows(
    table: &mut Table,
    wanted: usize,
    first: &mut Vec<Batch>,
    sample: &mut Sample,
) -> Result<(), ReadError> {
    let width = sample.columns.len();
    while sample.rows < wanted {
        let mut batch = Batch::default();
        table.rows.next_batch(&mut batch)?;
        if batch.records().is_empty() {
            break;
        }
        let whole = |r: &&Record| r.fault.is_none() && r.lines <= 1 && r.cells.len() >= width;
        for record in batch.records().iter().filter(whole) {
            sample.push(record.cells.iter());
        }
        first.push(batch);
        if first.len() * BATCH > 2 * wanted {
            break; // hardly a row is whole
        }
    }
    Ok(())
}

#[cfg(test)]
impl LogFile {
    /// A file of so many rows without columns.
    pub fn of_rows(path: &str, rows: u32) -> Self {
        Self {
            path: path.to_owned(),
            row: (1..=rows).collect(),
            ..Self::default()
        }
    }
}
