//! Points of a shapefile (ESRI Shapefile Technical Description, 1998).
//!
//! Points are read here, one after the other, so that a file that is cut short keeps its whole records; polygons of
//! boundaries go through the `shapefile` crate.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use super::bytes::fill;
use super::container::beside;
use super::dbf::{Dbf, Next};
use super::geometry::Cursor;
use super::{Batch, Fault, Header, Rows, Table};
use crate::job::{LogColumn, LogSettings};
use crate::place::Place;
use crate::read::crs::{ToDegrees, looks_like_degrees};
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::text::{BUFFER, decode};
use crate::summary::Remark;

/// The longest point record: PointZ with its type (44 bytes), or a multipoint of one point.
const LONGEST: usize = 128;

/// Opens a shapefile of points. `path`: its .shp.
pub(super) fn open(path: &Path, file: &str, settings: &LogSettings) -> Result<Table, ReadError> {
    let io = |e| ReadError::io(file, e);
    let mut shapes = BufReader::with_capacity(BUFFER, File::open(path).map_err(io)?);
    let mut head = [0u8; 100];
    let n = fill(&mut shapes, &mut head).map_err(io)?;
    let kind = match (n, &head[..4], head[32]) {
        (100, [0, 0, 0x27, 0x0A], kind) => kind,
        _ => return Err(not_points(file, "no shapefile".to_owned())),
    };
    match kind {
        0 | 1 | 11 | 21 | 8 | 18 | 28 => {}
        3 | 13 | 23 => return Err(not_points(file, "lines".to_owned())),
        5 | 15 | 25 => return Err(not_points(file, "polygons".to_owned())),
        other => return Err(not_points(file, format!("shapes of type {other}"))),
    }
    let bounds = [36, 44, 52, 60].map(|at| {
        let bytes: [u8; 8] = std::array::from_fn(|k| head[at + k]);
        f64::from_le_bytes(bytes)
    });
    let mut warnings = Vec::new();
    let to_degrees = crs(path, file, settings.crs.as_deref(), bounds, &mut warnings)?;
    let Some(dbf) = beside(path, "dbf") else {
        let error = ReadError::new(
            ReadErrorKind::Missing,
            Place::file(file),
            "a .dbf beside it, with its columns",
            "none",
        );
        return Err(error.hinted("copy all files of the shapefile: .shp, .shx, .dbf, .prj, .cpg"));
    };
    let table = Dbf::open(&dbf, file)?;
    let mut headers = vec![
        Header::stated("longitude of the shape", LogColumn::Lon, Some("deg")),
        Header::stated("latitude of the shape", LogColumn::Lat, Some("deg")),
    ];
    headers.extend(table.headers.iter().cloned());
    Ok(Table {
        above: Vec::new(),
        headers,
        separator: None,
        decimal_comma: true,
        warnings,
        rows: Box::new(Points {
            shapes,
            table,
            to_degrees,
            rows: 0,
            ended: false,
            file: file.to_owned(),
            remarks: Vec::new(),
        }),
    })
}

/// Opens a dBase table that has no shapes.
pub(super) fn open_table(path: &Path, file: &str) -> Result<Table, ReadError> {
    let table = Dbf::open(path, file)?;
    Ok(Table {
        above: Vec::new(),
        headers: table.headers.clone(),
        separator: None,
        decimal_comma: true,
        warnings: Vec::new(),
        rows: Box::new(Alone {
            table,
            file: file.to_owned(),
        }),
    })
}

fn not_points(file: &str, found: String) -> ReadError {
    ReadError::new(
        ReadErrorKind::Geometry,
        Place::file(file),
        "a shapefile of points",
        found,
    )
    .hinted("a log has a point per row")
}

/// The CRS: that of the .prj, else the job's, else WGS 84 where the coordinates look like degrees.
pub(in crate::read) fn crs(
    path: &Path,
    file: &str,
    given: Option<&str>,
    bounds: [f64; 4],
    warnings: &mut Vec<Remark>,
) -> Result<ToDegrees, ReadError> {
    /// No definition of a CRS is longer (our choice).
    const LONGEST_PRJ: u64 = 64 * 1024;
    let refuse = |found: String| {
        ReadError::new(
            ReadErrorKind::Crs,
            Place::file(file),
            "a CRS that PROJ knows",
            found,
        )
    };
    let mut bytes = Vec::new();
    if let Some(prj) = beside(path, "prj") {
        let io = |e| ReadError::io(file, e);
        File::open(prj)
            .map_err(io)?
            .take(LONGEST_PRJ)
            .read_to_end(&mut bytes)
            .map_err(io)?;
    }
    let written = decode(&bytes)
        .trim_matches(['\u{feff}', '\0', ' ', '\r', '\n', '\t'])
        .to_owned();
    if !written.is_empty() {
        return ToDegrees::from_crs(&written).map_err(|cause| {
            let start: String = written.chars().take(60).collect();
            refuse(format!("\"{start}…\" in its .prj"))
                .hinted("export it in WGS 84, or take the .prj away and give the CRS: [log] crs = \"EPSG:NUMBER\"")
                .because(cause)
        });
    }
    if let Some(given) = given {
        return ToDegrees::from_crs(given).map_err(|cause| {
            refuse(format!("\"{given}\""))
                .hinted("look the number up at epsg.org: [log] crs = \"EPSG:NUMBER\"")
                .because(cause)
        });
    }
    if looks_like_degrees(bounds) {
        let text = format!(
            "{file}: it has no .prj; its coordinates look like degrees and are taken as WGS 84"
        );
        warnings.push(Remark::new("no-crs", text));
        return Ok(ToDegrees::already());
    }
    Err(refuse("no .prj".to_owned())
        .hinted("copy the .prj along, or give the CRS: [log] crs = \"EPSG:NUMBER\""))
}

struct Points {
    shapes: BufReader<File>,
    table: Dbf,
    to_degrees: ToDegrees,
    rows: u64,
    ended: bool,
    file: String,
    remarks: Vec<Remark>,
}

impl Rows for Points {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<(), ReadError> {
        batch.clear();
        let file = self.file.clone();
        let io = |e| ReadError::io(&file, e);
        while !self.ended && !batch.is_full() {
            let shape = point(&mut self.shapes).map_err(io)?;
            let record = batch.add();
            if let Some(Ok((x, y))) = &shape {
                let (lon, lat) = self.to_degrees.convert(*x, *y);
                record.push_number(lon);
                record.push_number(lat);
            } else {
                record.cells.push_field(b"");
                record.cells.push_field(b"");
            }
            let next = match self.table.next(record).map_err(io)? {
                // The mark of the end is one byte; a whole row of it is none.
                Next::Row if self.rows >= u64::from(self.table.count) => Next::End,
                next => next,
            };
            match (&next, &shape) {
                (Next::End, None) => {}
                (Next::End, Some(_)) | (_, None) => self.uneven(matches!(next, Next::End)),
                (Next::Cut, _) => {
                    let text = format!(
                        "{}: its .dbf ends within a row; the {} rows before are read",
                        self.file, self.rows
                    );
                    self.remarks.push(Remark::new("cut-short", text));
                }
                (Next::Deleted, _) => {
                    self.rows += 1;
                    record.fault = Some(fault("a row", "one that is marked as deleted"));
                    continue;
                }
                (Next::Row, Some(shape)) => {
                    self.rows += 1;
                    if let Err(found) = shape {
                        record.fault = Some(fault("a point", found));
                    }
                    continue;
                }
            }
            batch.take_back();
            self.ended = true;
        }
        Ok(())
    }

    fn remarks(&mut self) -> Vec<Remark> {
        std::mem::take(&mut self.remarks)
    }
}

impl Points {
    fn uneven(&mut self, table_first: bool) {
        let (short, long) = if table_first {
            (".dbf", ".shp")
        } else {
            (".shp", ".dbf")
        };
        let text = format!(
            "{}: its {short} ends before its {long}; the {} rows that both have are read. Copy all its files again",
            self.file, self.rows
        );
        self.remarks.push(Remark::new("cut-short", text));
    }
}

fn fault(expected: &str, found: &str) -> Fault {
    Fault {
        field: None,
        expected: expected.to_owned(),
        found: found.to_owned(),
    }
}

/// The next shape: a point (NaN where it is null), or what else it is; `None` at the end or where the file is cut.
type Found = Result<(f64, f64), &'static str>;

fn point(shapes: &mut BufReader<File>) -> std::io::Result<Option<Found>> {
    let mut head = [0u8; 8];
    if fill(shapes, &mut head)? < 8 {
        return Ok(None);
    }
    let words = u32::from_be_bytes([head[4], head[5], head[6], head[7]]);
    let length = u64::from(words) * 2;
    let mut content = [0u8; LONGEST];
    let kept = LONGEST.min(usize::try_from(length).unwrap_or(LONGEST));
    if fill(shapes, &mut content[..kept])? < kept {
        return Ok(None);
    }
    let rest = length - kept as u64;
    if std::io::copy(&mut shapes.by_ref().take(rest), &mut std::io::sink())? < rest {
        return Ok(None);
    }
    let mut cursor = Cursor::little(&content[..kept]);
    let numbers = |cursor: &mut Cursor<'_>| Ok((cursor.f64()?, cursor.f64()?));
    let found = cursor.u32().and_then(|kind| match kind {
        0 => Ok(Ok((f64::NAN, f64::NAN))),
        1 | 11 | 21 => numbers(&mut cursor).map(Ok),
        8 | 18 | 28 => {
            for _ in 0..4 {
                cursor.f64()?;
            }
            match cursor.u32()? {
                1 => numbers(&mut cursor).map(Ok),
                _ => Ok(Err("a set of several points")),
            }
        }
        _ => Ok(Err("a shape of another kind")),
    });
    Ok(Some(found.unwrap_or(Err("a record too short for a point"))))
}

/// Rows of a table without shapes.
struct Alone {
    table: Dbf,
    file: String,
}

impl Rows for Alone {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<(), ReadError> {
        batch.clear();
        while !batch.is_full() {
            let record = batch.add();
            match self
                .table
                .next(record)
                .map_err(|e| ReadError::io(&self.file, e))?
            {
                Next::Row => {}
                Next::Deleted => {
                    record.fault = Some(fault("a row", "one that is marked as deleted"))
                }
                Next::End | Next::Cut => {
                    batch.take_back();
                    break;
                }
            }
        }
        Ok(())
    }
}

/// The cells of the rows of the table beside a shapefile, as texts: one may be a field's name. Empty where there is
/// no table.
pub(in crate::read) fn texts(path: &Path, file: &str) -> Result<Vec<Vec<String>>, ReadError> {
    let Some(dbf) = beside(path, "dbf") else {
        return Ok(Vec::new());
    };
    let mut table = Dbf::open(&dbf, file)?;
    let mut rows = Vec::new();
    loop {
        let mut record = super::Record::default();
        match table
            .next(&mut record)
            .map_err(|e| ReadError::io(file, e))?
        {
            Next::Row | Next::Deleted => {
                let texts = record.cells.iter().map(|c| decode(c).into_owned());
                rows.push(texts.collect());
            }
            Next::End | Next::Cut => return Ok(rows),
        }
    }
}
