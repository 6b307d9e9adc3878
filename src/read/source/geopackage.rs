//! Points and polygons of a GeoPackage (OGC 12-128).

use std::path::Path;

use rusqlite::types::ValueRef;
use rusqlite::{Connection, OpenFlags};

use super::geometry::{Shape, of_geopackage};
use super::{BATCH, Batch, Fault, Header, Record, Rows, Table};
use crate::job::{LogColumn, LogSettings};
use crate::place::Place;
use crate::read::crs::ToDegrees;
use crate::read::error::{ReadError, ReadErrorKind};

/// A table of features.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::read) struct Layer {
    pub table: String,
    pub geometry: String,
    /// Upper case: `POINT`, `MULTIPOLYGON`, `GEOMETRY`, …
    pub kind: String,
    /// Authority and code, or WKT; `None` where the file does not say.
    pub crs: Option<String>,
}

impl Layer {
    /// Whether its features may be points.
    pub fn may_hold_points(&self) -> bool {
        ["POINT", "MULTIPOINT", "GEOMETRY", "GEOMETRYCOLLECTION"].contains(&self.kind.as_str())
    }
}

fn failed(file: &str, cause: rusqlite::Error) -> ReadError {
    ReadError::new(
        ReadErrorKind::Format,
        Place::file(file),
        "a GeoPackage",
        format!("\"{cause}\""),
    )
    .hinted("export it again")
    .because(cause)
}

/// Opens the database so that nothing is ever written, not even a lock beside it.
pub(in crate::read) fn connect(path: &Path, file: &str) -> Result<Connection, ReadError> {
    let mut uri = String::from("file:");
    for byte in std::path::absolute(path)
        .map_err(|e| ReadError::io(file, e))?
        .to_string_lossy()
        .bytes()
    {
        match byte {
            b'/' | b'.' | b'-' | b'_' | b'0'..=b'9' | b'a'..=b'z' | b'A'..=b'Z' => {
                uri.push(char::from(byte))
            }
            b'\\' => uri.push('/'),
            other => uri.push_str(&format!("%{other:02X}")),
        }
    }
    uri.push_str("?immutable=1");
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_URI
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(uri, flags).map_err(|e| failed(file, e))?;
    // A file may define views and triggers of its own: its schema is not trusted with functions that do things.
    connection
        .pragma_update(None, "trusted_schema", false)
        .map_err(|e| failed(file, e))?;
    Ok(connection)
}

/// The feature tables of a GeoPackage, by name.
pub(in crate::read) fn layers(
    connection: &Connection,
    file: &str,
) -> Result<Vec<Layer>, ReadError> {
    let query = "SELECT g.table_name, g.column_name, upper(g.geometry_type_name), s.organization, \
        s.organization_coordsys_id, s.definition FROM gpkg_geometry_columns g \
        JOIN gpkg_contents c ON c.table_name = g.table_name AND c.data_type = 'features' \
        LEFT JOIN gpkg_spatial_ref_sys s ON s.srs_id = g.srs_id ORDER BY g.table_name";
    let mut statement = connection.prepare(query).map_err(|e| failed(file, e))?;
    let rows = statement.query_map([], |row| {
        let (organization, code): (Option<String>, Option<i64>) = (row.get(3)?, row.get(4)?);
        let definition: Option<String> = row.get(5)?;
        let crs = match (organization, code) {
            (Some(organization), Some(code))
                if code > 0 && !organization.eq_ignore_ascii_case("none") =>
            {
                Some(format!("{}:{code}", organization.to_uppercase()))
            }
            _ => {
                definition.filter(|d| !d.trim().is_empty() && !d.eq_ignore_ascii_case("undefined"))
            }
        };
        Ok(Layer {
            table: row.get(0)?,
            geometry: row.get(1)?,
            kind: row.get(2)?,
            crs,
        })
    });
    rows.and_then(Iterator::collect)
        .map_err(|e| failed(file, e))
}

/// How to take a layer's coordinates to degrees.
pub(in crate::read) fn crs_of(
    layer: &Layer,
    file: &str,
    given: Option<&str>,
) -> Result<ToDegrees, ReadError> {
    let refuse = |found: String| {
        ReadError::new(
            ReadErrorKind::Crs,
            Place::file(file),
            "a CRS that PROJ knows",
            found,
        )
        .hinted("export it in WGS 84, or give the CRS: [log] crs = \"EPSG:NUMBER\"")
    };
    let Some(crs) = layer.crs.as_deref().or(given) else {
        return Err(refuse(format!("none for the table \"{}\"", layer.table)));
    };
    ToDegrees::from_crs(crs).map_err(|cause| refuse(format!("\"{crs}\"")).because(cause))
}

/// Opens one table of points.
pub(super) fn open(
    path: &Path,
    layer: &Layer,
    file: &str,
    settings: &LogSettings,
) -> Result<Table, ReadError> {
    let connection = connect(path, file)?;
    let to_degrees = crs_of(layer, file, settings.crs.as_deref())?;
    let names: Vec<String> = {
        let statement = connection
            .prepare(&format!("SELECT * FROM {} LIMIT 0", quoted(&layer.table)))
            .map_err(|e| failed(file, e))?;
        statement
            .column_names()
            .into_iter()
            .map(str::to_owned)
            .collect()
    };
    let geometry = names
        .iter()
        .position(|n| n.eq_ignore_ascii_case(&layer.geometry));
    let Some(geometry) = geometry else {
        let found = format!("none in the table \"{}\"", layer.table);
        return Err(ReadError::new(
            ReadErrorKind::Format,
            Place::file(file),
            format!("the column \"{}\"", layer.geometry),
            found,
        ));
    };
    // A view has no row numbers of its own: it is paged by offset.
    let by_rowid = connection
        .prepare(&format!(
            "SELECT rowid FROM {} LIMIT 0",
            quoted(&layer.table)
        ))
        .is_ok()
        && !names.iter().any(|n| n.eq_ignore_ascii_case("rowid"))
        && !is_view(&connection, &layer.table);
    let mut headers = vec![
        Header::stated("longitude of the geometry", LogColumn::Lon, Some("deg")),
        Header::stated("latitude of the geometry", LogColumn::Lat, Some("deg")),
    ];
    let others = names.iter().enumerate().filter(|(k, _)| *k != geometry);
    headers.extend(others.map(|(_, n)| Header::named(n.as_str())));
    let table = quoted(&layer.table);
    let query = match by_rowid {
        true => {
            format!("SELECT rowid, * FROM {table} WHERE rowid > ?1 ORDER BY rowid LIMIT {BATCH}")
        }
        false => format!("SELECT 0, * FROM {table} LIMIT {BATCH} OFFSET ?1"),
    };
    let rows = Points {
        connection,
        query,
        by_rowid,
        geometry,
        to_degrees,
        after: if by_rowid { i64::MIN } else { 0 },
        file: file.to_owned(),
    };
    Ok(Table {
        above: Vec::new(),
        headers,
        separator: None,
        decimal_comma: false,
        warnings: Vec::new(),
        rows: Box::new(rows),
    })
}

/// A name as SQL quotes it.
pub(in crate::read) fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

fn is_view(connection: &Connection, table: &str) -> bool {
    let query =
        "SELECT count(*) FROM sqlite_master WHERE type = 'view' AND lower(name) = lower(?1)";
    connection
        .query_row(query, [table], |row| row.get::<_, i64>(0))
        .is_ok_and(|n| n > 0)
}

struct Points {
    connection: Connection,
    query: String,
    by_rowid: bool,
    geometry: usize,
    to_degrees: ToDegrees,
    after: i64,
    file: String,
}

impl Rows for Points {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<(), ReadError> {
        batch.clear();
        let file = &self.file;
        let mut statement = self
            .connection
            .prepare_cached(&self.query)
            .map_err(|e| failed(file, e))?;
        let columns = statement.column_count();
        let mut rows = statement.query([self.after]).map_err(|e| failed(file, e))?;
        while let Some(row) = rows.next().map_err(|e| failed(file, e))? {
            self.after = match self.by_rowid {
                true => row.get(0).map_err(|e| failed(file, e))?,
                false => self.after + 1,
            };
            let record = batch.add();
            let shape = match row
                .get_ref(self.geometry + 1)
                .map_err(|e| failed(file, e))?
            {
                ValueRef::Null => Ok(Shape::Empty),
                ValueRef::Blob(blob) => {
                    of_geopackage(blob).map_err(|_| "bytes that are no geometry")
                }
                _ => Err("a value that is no geometry"),
            };
            let (x, y) = match shape {
                Ok(Shape::Point(x, y)) => (x, y),
                Ok(Shape::Empty) => (f64::NAN, f64::NAN),
                Ok(Shape::Polygons(_)) => no_point(record, "a polygon"),
                Ok(Shape::Other(what)) => no_point(record, what),
                Err(what) => no_point(record, what),
            };
            let (lon, lat) = self.to_degrees.convert(x, y);
            record.push_number(lon);
            record.push_number(lat);
            for k in (1..columns).filter(|k| *k != self.geometry + 1) {
                match row.get_ref(k).map_err(|e| failed(file, e))? {
                    ValueRef::Null | ValueRef::Blob(_) => record.cells.push_field(b""),
                    ValueRef::Integer(value) => {
                        record.cells.push_field(value.to_string().as_bytes())
                    }
                    ValueRef::Real(value) => record.push_number(value),
                    ValueRef::Text(text) => record.cells.push_field(text),
                }
            }
        }
        Ok(())
    }
}

fn no_point(record: &mut Record, found: &str) -> (f64, f64) {
    record.fault = Some(Fault {
        field: None,
        expected: "a point".to_owned(),
        found: found.to_owned(),
    });
    (f64::NAN, f64::NAN)
}
