//! The table of a shapefile (dBase): its cells as the file has them.
//!
//! The `dbase` crate reads the header. The cells are taken from the bytes: the crate reads the numbers of `F` columns
//! into 32 bits, which a coordinate does not survive, and one cell that is no number costs it the whole row.

use std::fs::File;
use std::io::{BufReader, Seek, SeekFrom};
use std::path::Path;

use dbase::{FieldType, encoding::UnicodeLossy};

use super::bytes::fill;
use super::code_page::CodePage;
use super::{Header, Record};
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::text::BUFFER;

/// An opened dBase file.
pub(super) struct Dbf {
    pub headers: Vec<Header>,
    /// Type and length of each column.
    columns: Vec<(FieldType, usize)>,
    rows: BufReader<File>,
    row: Vec<u8>,
    code_page: CodePage,
    /// Rows that the header counts.
    pub count: u32,
}

/// What the next row of a table is.
pub(super) enum Next {
    Row,
    /// Marked as deleted: not a row.
    Deleted,
    End,
    /// The file ends within a row.
    Cut,
}

impl Dbf {
    /// Opens it; the code page stands in a .cpg beside it, or in its header.
    pub fn open(path: &Path, file: &str) -> Result<Dbf, ReadError> {
        let io = |e| ReadError::io(file, e);
        let bytes = File::open(path).map_err(io)?;
        let reader = dbase::ReaderBuilder::new()
            .with_encoding(UnicodeLossy)
            .build(BufReader::new(&bytes))
            .map_err(|cause| {
                ReadError::new(
                    ReadErrorKind::Format,
                    Place::file(file),
                    "a dBase table",
                    "something else",
                )
                .hinted("export it again")
                .because(cause)
            })?;
        let columns: Vec<(FieldType, usize)> = reader
            .fields()
            .iter()
            .map(|f| (f.field_type(), usize::from(f.length())))
            .collect();
        let header = reader.header();
        let code_page = CodePage::of(path, header.code_page_mark);
        let (start, length) = (
            u64::from(header.offset_to_first_record),
            usize::from(header.size_of_record),
        );
        let count = header.num_records;
        drop(reader);
        let headers = names(&bytes, columns.len(), &code_page).map_err(io)?;
        if columns.iter().map(|(_, n)| n).sum::<usize>() + 1 > length {
            let error = ReadError::new(
                ReadErrorKind::Format,
                Place::file(file),
                "rows as long as their columns",
                "shorter ones",
            );
            return Err(error.hinted("export it again"));
        }
        let mut rows = BufReader::with_capacity(BUFFER, bytes);
        rows.seek(SeekFrom::Start(start)).map_err(io)?;
        Ok(Dbf {
            headers,
            columns,
            rows,
            row: vec![0; length],
            code_page,
            count,
        })
    }

    /// Adds the cells of the next row to a record.
    pub fn next(&mut self, record: &mut Record) -> std::io::Result<Next> {
        let n = fill(&mut self.rows, &mut self.row)?;
        match (n, self.row.first()) {
            (0, _) => return Ok(Next::End),
            (1, Some(0x1A)) => return Ok(Next::End), // the mark at the end of the file
            (n, _) if n < self.row.len() => return Ok(Next::Cut),
            (_, Some(b'*')) => return Ok(Next::Deleted),
            _ => {}
        }
        let mut at = 1;
        for &(kind, length) in &self.columns {
            cell(kind, &self.row[at..at + length], &self.code_page, record);
            at += length;
        }
        Ok(Next::Row)
    }
}

/// The names of the columns: eleven bytes at the start of each description of 32, ended by a nought. The crate does not
/// know the code page when it reads them.
fn names(mut file: &File, columns: usize, code_page: &CodePage) -> std::io::Result<Vec<Header>> {
    file.seek(SeekFrom::Start(32))?;
    let mut descriptions = vec![0u8; 32 * columns];
    fill(&mut file, &mut descriptions)?;
    let name = |d: &[u8]| {
        let end = d[..11].iter().position(|b| *b == 0).unwrap_or(11);
        Header::named(code_page.text(&d[..end]).trim())
    };
    Ok(descriptions.chunks_exact(32).map(name).collect())
}

/// Adds one cell as text.
fn cell(kind: FieldType, bytes: &[u8], code_page: &CodePage, record: &mut Record) {
    let text = bytes.trim_ascii();
    let text = &text[..text.iter().position(|&b| b == 0).unwrap_or(text.len())];
    match kind {
        FieldType::Numeric | FieldType::Float => {
            let overflown = text.contains(&b'*'); // the number did not fit: nobody knows it
            let text = if overflown { &b""[..] } else { whole(text) };
            record.cells.push_field(text);
        }
        FieldType::Date => match text {
            [y1, y2, y3, y4, m1, m2, d1, d2]
                if text.iter().all(u8::is_ascii_digit) && text != b"00000000" =>
            {
                record
                    .cells
                    .push_field(&[*y1, *y2, *y3, *y4, b'-', *m1, *m2, b'-', *d1, *d2]);
            }
            _ => record.cells.push_field(b""),
        },
        FieldType::Logical => record.cells.push_field(match text {
            b"T" | b"t" | b"Y" | b"y" => b"1",
            b"F" | b"f" | b"N" | b"n" => b"0",
            _ => b"",
        }),
        FieldType::Integer => binary(bytes, |b| f64::from(i32::from_le_bytes(b)), record),
        FieldType::Double => binary(bytes, f64::from_le_bytes, record),
        FieldType::Currency => binary(bytes, |b| i64::from_le_bytes(b) as f64 / 1e4, record),
        FieldType::DateTime => date_time(bytes, record),
        FieldType::Memo => record.cells.push_field(b""), // a number of a text in another file
        FieldType::Character => record.cells.push_field(code_page.text(text).as_bytes()),
    }
}

/// A number without the noughts that its column's width adds behind the point: load `1.000` is load 1.
fn whole(text: &[u8]) -> &[u8] {
    if !text.contains(&b'.') || text.iter().any(|b| b.eq_ignore_ascii_case(&b'e')) {
        return text;
    }
    let noughts = text.iter().rev().take_while(|b| **b == b'0').count();
    let text = &text[..text.len() - noughts];
    text.strip_suffix(b".").unwrap_or(text)
}

fn binary<const N: usize>(bytes: &[u8], value: impl Fn([u8; N]) -> f64, record: &mut Record) {
    match bytes.first_chunk::<N>() {
        Some(chunk) => record.push_number(value(*chunk)),
        None => record.cells.push_field(b""),
    }
}

/// A day by its Julian number and milliseconds since midnight, as ISO 8601.
fn date_time(bytes: &[u8], record: &mut Record) {
    /// 1970-01-01 by its Julian day number.
    const EPOCH: i64 = 2_440_588;
    let (day, millis) = match bytes {
        [a, b, c, d, e, f, g, h] => (
            i32::from_le_bytes([*a, *b, *c, *d]),
            i32::from_le_bytes([*e, *f, *g, *h]),
        ),
        _ => (0, 0),
    };
    let stamp = jiff::Timestamp::from_millisecond(
        (i64::from(day) - EPOCH) * 86_400_000 + i64::from(millis),
    );
    match stamp {
        // The file names no zone.
        Ok(stamp) if day != 0 => {
            let civil = jiff::tz::TimeZone::UTC.to_datetime(stamp);
            record.cells.push_field(civil.to_string().as_bytes());
        }
        _ => record.cells.push_field(b""),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(kind: FieldType, bytes: &[u8]) -> String {
        let mut record = Record::default();
        cell(kind, bytes, &CodePage::Unknown, &mut record);
        String::from_utf8(record.cells[0].to_vec()).expect("UTF-8")
    }

    #[test]
    fn cells_are_texts_as_the_file_has_them() {
        assert_eq!(
            of(FieldType::Float, b"  -93.978421234567"),
            "-93.978421234567"
        );
        assert_eq!(of(FieldType::Numeric, b"*****"), "");
        assert_eq!(of(FieldType::Numeric, b"    1.000"), "1");
        assert_eq!(of(FieldType::Float, b"-0.500e003"), "-0.500e003");
        assert_eq!(of(FieldType::Numeric, b"1000"), "1000");
        assert_eq!(of(FieldType::Date, b"20251003"), "2025-10-03");
        assert_eq!(of(FieldType::Date, b"        "), "");
        assert_eq!(of(FieldType::Logical, b"T"), "1");
        assert_eq!(of(FieldType::Logical, b"?"), "");
        assert_eq!(of(FieldType::Character, b"M\xFChle   "), "Mühle");
        assert_eq!(of(FieldType::Integer, &(-7i32).to_le_bytes()), "-7");
        // 2000-01-01 has the Julian day number 2,451,545 (Meeus, Astronomical Algorithms, ch. 7).
        let mut noon = 2_451_545i32.to_le_bytes().to_vec();
        noon.extend(43_200_000i32.to_le_bytes());
        assert_eq!(of(FieldType::DateTime, &noon), "2000-01-01T12:00:00");
    }
}
