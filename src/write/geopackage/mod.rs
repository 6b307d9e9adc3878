//! GeoPackage 1.4 (OGC 12-128r19) with a spatial index, what every attribute means, and the style that the layer opens
//! with.
//!
//! Written through SQLite itself, which is linked in for PROJ. The same layer gives the same bytes: nothing in it is the
//! time of the day (`last_change` is the last time in the field's log).

mod schema;

use std::path::{Path, PathBuf};

use rusqlite::types::{ToSqlOutput, Value, ValueRef};
use rusqlite::{Connection, params};
use serde_json::json;

use super::atomic::{Draft, remove_drafts};
use super::cells::{Cell, Column, Kind};
use super::crs::LayerCrs;
use super::digits::{TimeText, unix_ms};
use super::layer::{Features, file_stem};
use super::style::Style;
use super::{WriteError, wkb};

/// `last_change` where no row has a time (our choice, the earliest that a .dbf can hold too).
const NO_TIME: &str = "1980-01-01T00:00:00.000Z";

/// Writes a layer as a GeoPackage of its own.
pub(crate) fn write(
    path: &Path,
    layer: &Features<'_>,
    crs: &LayerCrs,
    style: &Style,
) -> Result<PathBuf, WriteError> {
    remove_drafts(path)?;
    let positions = crs.positions(layer)?;
    let draft = Draft::new(path)?;
    let package = Package {
        layer,
        crs,
        style,
        positions: &positions,
        table: table_name(layer),
        changed: last_change(layer),
    };
    package
        .write(draft.path())
        .map_err(|source| WriteError::Database {
            path: path.to_owned(),
            source,
        })?;
    draft.publish()
}

/// The table is called like the layer, without a character that SQL would have to quote.
fn table_name(layer: &Features<'_>) -> String {
    file_stem(layer.layer).replace('-', "_")
}

/// The last time in the field's log.
fn last_change(layer: &Features<'_>) -> String {
    let last = layer.map.time.iter().copied().filter_map(unix_ms).max();
    last.map_or_else(
        || NO_TIME.to_owned(),
        |ms| date_time(&mut TimeText::default(), ms),
    )
}

/// A time as the DATETIME of the standard has it: always with milliseconds.
fn date_time(clock: &mut TimeText, ms: i64) -> String {
    let mut text = vec![];
    clock.push(&mut text, ms.div_euclid(1000) as f64);
    text.pop(); // the Z
    text.extend(format!(".{:03}Z", ms.rem_euclid(1000)).bytes());
    text.into_iter().map(char::from).collect() // ASCII
}

struct Package<'a> {
    layer: &'a Features<'a>,
    crs: &'a LayerCrs,
    style: &'a Style,
    positions: &'a [(f64, f64)],
    table: String,
    changed: String,
}

impl Package<'_> {
    /// Fills an empty file. Nobody else sees it, and it is thrown away if it is not finished: no journal, no syncing.
    fn write(&self, path: &Path) -> rusqlite::Result<()> {
        let mut database = Connection::open(path)?;
        database.execute_batch(
            "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA locking_mode = EXCLUSIVE; PRAGMA page_size = 4096;",
        )?;
        database.pragma_update(None, "application_id", schema::APPLICATION_ID)?;
        database.pragma_update(None, "user_version", schema::USER_VERSION)?;
        let step = database.transaction()?;
        step.execute_batch(schema::TABLES)?;
        step.execute_batch(schema::REFERENCE_SYSTEMS)?;
        self.reference_system(&step)?;
        let columns = Column::all(self.layer);
        self.contents(&step, &columns)?;
        self.features(&step, &columns)?;
        self.index(&step)?;
        self.describe(&step, &columns)?;
        step.commit()?;
        database.close().map_err(|(_, error)| error)
    }

    fn reference_system(&self, database: &Connection) -> rusqlite::Result<()> {
        let wkt = self.crs.texts.gdal_wkt.as_deref().unwrap_or("undefined");
        database.execute(
            "INSERT OR IGNORE INTO gpkg_spatial_ref_sys VALUES (?1, ?2, 'EPSG', ?2, ?3, NULL)",
            params![self.crs.texts.name, self.crs.epsg(), wkt],
        )?;
        Ok(())
    }

    fn contents(&self, database: &Connection, columns: &[Column<'_>]) -> rusqlite::Result<()> {
        let corners = self.layer.corners();
        let [west, south, east, north] =
            wkb::extent(self.positions, corners).map_or([None; 4], |sides| sides.map(Some));
        database.execute(
            "INSERT INTO gpkg_contents VALUES (?1, 'features', ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            params![
                self.table,
                self.style.name,
                self.style.title,
                self.changed,
                west,
                south,
                east,
                north,
                self.crs.epsg()
            ],
        )?;
        database.execute(
            "INSERT INTO gpkg_contents VALUES ('layer_styles', 'attributes', 'layer_styles', 'how layers look', ?1, \
             NULL, NULL, NULL, NULL, 0)",
            params![self.changed],
        )?;
        let geometry = if self.layer.has_polygons() {
            "POLYGON"
        } else {
            "POINT"
        };
        database.execute(
            "INSERT INTO gpkg_geometry_columns VALUES (?1, 'geom', ?2, ?3, 0, 0)",
            params![self.table, geometry, self.crs.epsg()],
        )?;
        let mut create = format!(
            "CREATE TABLE \"{}\" (\"fid\" INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, \"geom\" {geometry}",
            self.table
        );
        for column in columns {
            let kind = match column.kind() {
                Kind::Text => "TEXT",
                Kind::Whole => "INTEGER",
                Kind::Number => "DOUBLE",
                Kind::Time => "DATETIME",
            };
            create.push_str(&format!(", \"{}\" {kind}", column.name));
        }
        create.push(')');
        database.execute(&create, [])?;
        Ok(())
    }

    fn features(&self, database: &Connection, columns: &[Column<'_>]) -> rusqlite::Result<()> {
        let marks = vec!["?"; columns.len() + 2].join(", ");
        let mut insert =
            database.prepare(&format!("INSERT INTO \"{}\" VALUES ({marks})", self.table))?;
        let mut clock = TimeText::default();
        let mut blob = vec![];
        for (k, &row) in self.layer.rows.iter().enumerate() {
            insert.raw_bind_parameter(1, k as i64 + 1)?;
            self.geometry(k, &mut blob);
            if blob.is_empty() {
                insert.raw_bind_parameter(2, rusqlite::types::Null)?;
            } else {
                insert.raw_bind_parameter(2, &blob)?;
            }
            for (c, column) in columns.iter().enumerate() {
                let value = match column.cell(row as usize) {
                    Cell::Missing => ToSqlOutput::Owned(Value::Null),
                    Cell::Text(text) => ToSqlOutput::Borrowed(ValueRef::Text(text.as_bytes())),
                    Cell::Whole(number) => ToSqlOutput::Owned(Value::Integer(number.into())),
                    Cell::Number(number) => ToSqlOutput::Owned(Value::Real(number)),
                    Cell::Time(ms) => ToSqlOutput::Owned(Value::Text(date_time(&mut clock, ms))),
                };
                insert.raw_bind_parameter(c + 3, value)?;
            }
            insert.raw_execute()?;
        }
        Ok(())
    }

    fn corners(&self, feature: usize) -> &[(f64, f64)] {
        let corners = self.layer.corners();
        &self.positions[feature * corners..(feature + 1) * corners]
    }

    /// A geometry with its header (section 2.1.3): the envelope only where it says more than the geometry itself. Empty
    /// where there is none.
    fn geometry(&self, feature: usize, blob: &mut Vec<u8>) {
        const LITTLE_ENDIAN: u8 = 1;
        const ENVELOPE_XY: u8 = 1 << 1;
        blob.clear();
        let corners = self.corners(feature);
        let Some([west, south, east, north]) = wkb::envelope(corners) else {
            return;
        };
        let polygon = self.layer.has_polygons();
        let flags = LITTLE_ENDIAN | if polygon { ENVELOPE_XY } else { 0 };
        blob.extend([b'G', b'P', 0, flags]);
        blob.extend(self.crs.epsg().to_le_bytes());
        if polygon {
            for side in [west, east, south, north] {
                blob.extend(side.to_le_bytes());
            }
        }
        wkb::push(blob, corners);
    }

    fn index(&self, database: &Connection) -> rusqlite::Result<()> {
        let index = format!("rtree_{}_geom", self.table);
        database.execute(
            &format!("CREATE VIRTUAL TABLE \"{index}\" USING rtree(id, minx, maxx, miny, maxy)"),
            [],
        )?;
        let mut insert =
            database.prepare(&format!("INSERT INTO \"{index}\" VALUES (?, ?, ?, ?, ?)"))?;
        for feature in 0..self.layer.rows.len() {
            if let Some([west, south, east, north]) = wkb::envelope(self.corners(feature)) {
                insert.execute(params![feature as i64 + 1, west, east, south, north])?;
            }
        }
        database.execute_batch(&schema::SPATIAL_INDEX.replace("<t>", &self.table))
    }

    /// What attributes mean, where the layer comes from, how it looks, and which extensions say so.
    fn describe(&self, database: &Connection, columns: &[Column<'_>]) -> rusqlite::Result<()> {
        for column in columns {
            database.execute(
                "INSERT INTO gpkg_data_columns VALUES (?1, ?2, ?2, ?3, ?4, NULL, NULL)",
                params![
                    self.table,
                    column.name,
                    column.title(),
                    column.unit.map(|unit| format!("unit: {unit}")),
                ],
            )?;
        }
        let metadata = json!({
            "title": self.style.title,
            "software": concat!("fanmill ", env!("CARGO_PKG_VERSION")),
            "attributes": super::cells::descriptions(columns),
        });
        database.execute(
            "INSERT INTO gpkg_metadata VALUES (1, 'dataset', 'https://www.json.org', 'application/json', ?1)",
            params![metadata.to_string()],
        )?;
        database.execute(
            "INSERT INTO gpkg_metadata_reference VALUES ('table', ?1, NULL, NULL, ?2, 1, NULL)",
            params![self.table, self.changed],
        )?;
        let text = |style: std::io::Result<Vec<u8>>| {
            style
                .map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
                .map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))
        };
        database.execute(
            "INSERT INTO layer_styles VALUES (1, '', '', ?1, 'geom', ?2, ?3, ?4, 1, ?5, '', NULL, ?6)",
            params![
                self.table,
                self.style.name,
                text(self.style.qml())?,
                text(self.style.sld())?,
                self.style.title,
                self.changed
            ],
        )?;
        const EXTENSION: &str = "http://www.geopackage.org/spec140/#extension_";
        let mut declare = database.prepare("INSERT INTO gpkg_extensions VALUES (?, ?, ?, ?, ?)")?;
        let table = self.table.as_str();
        for (table, column, name, page, scope) in [
            (
                Some(table),
                Some("geom"),
                "gpkg_rtree_index",
                "rtree",
                "write-only",
            ),
            (
                Some("gpkg_data_columns"),
                None,
                "gpkg_schema",
                "schema",
                "read-write",
            ),
            (
                Some("gpkg_data_column_constraints"),
                None,
                "gpkg_schema",
                "schema",
                "read-write",
            ),
            (
                Some("gpkg_metadata"),
                None,
                "gpkg_metadata",
                "metadata",
                "read-write",
            ),
            (
                Some("gpkg_metadata_reference"),
                None,
                "gpkg_metadata",
                "metadata",
                "read-write",
            ),
        ] {
            declare.execute(params![
                table,
                column,
                name,
                format!("{EXTENSION}{page}"),
                scope
            ])?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_have_milliseconds() {
        let mut clock = TimeText::default();
        assert_eq!(
            date_time(&mut clock, 1_759_500_309_250),
            "2025-10-03T14:05:09.250Z"
        );
        assert_eq!(
            date_time(&mut clock, 1_759_500_309_000),
            "2025-10-03T14:05:09.000Z"
        );
        assert_eq!(date_time(&mut clock, -1), "1969-12-31T23:59:59.999Z");
    }
}
