//! GeoParquet 1.1.0 (OGC community, geoparquet.org/releases/v1.1.0): a column a attribute, then the geometry as WKB.
//!
//! The columns are handed to the `parquet` crate as they are; its Arrow layer and the `geoparquet` crate on top of it
//! would add some hundred crates for one function call. Beside the geometry stands its box (the covering of the standard),
//! by which readers skip row groups.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use parquet::basic::Compression;
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::parser::parse_message_type;
use serde_json::json;

use super::atomic::{remove_drafts, write_whole};
use super::cells::{Cell, Column, Kind, descriptions};
use super::crs::LayerCrs;
use super::layer::Features;
use super::{WriteError, wkb};

/// Features in a row group. Our choice: most fields are one group, and a group's columns fit into memory.
const GROUP: usize = 1 << 17;
const GEOMETRY: &str = "geometry";
/// West, south, east, north.
const BOX: [&str; 4] = ["xmin", "ymin", "xmax", "ymax"];

/// Writes a layer.
pub(crate) fn write(
    path: &Path,
    layer: &Features<'_>,
    crs: &LayerCrs,
) -> Result<PathBuf, WriteError> {
    remove_drafts(path)?;
    let positions = crs.positions(layer)?;
    let columns = Column::all(layer);
    write_whole(path, |out| {
        fill(out, layer, &columns, crs, &positions).map_err(|source| WriteError::Parquet {
            path: path.to_owned(),
            source,
        })
    })
}

fn fill(
    out: impl Write + Send,
    layer: &Features<'_>,
    columns: &[Column<'_>],
    crs: &LayerCrs,
    positions: &[(f64, f64)],
) -> Result<(), ParquetError> {
    let schema = Arc::new(parse_message_type(&schema(columns))?);
    let value = |key: &str, document: serde_json::Value| KeyValue {
        key: key.to_owned(),
        value: Some(document.to_string()),
    };
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_created_by(concat!("fanmill ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_key_value_metadata(Some(vec![
            value("geo", geo(layer, crs, positions)),
            value("attributes", descriptions(columns)),
        ]))
        .build();
    let mut file = SerializedFileWriter::new(out, schema, Arc::new(properties))?;
    let corners = layer.corners();
    for (rows, positions) in (layer.rows.chunks(GROUP)).zip(positions.chunks(GROUP * corners)) {
        let mut group = file.next_row_group()?;
        for column in columns {
            write_column(&mut group, column, rows)?;
        }
        let shapes = positions.chunks_exact(corners).map(|corners| {
            wkb::envelope(corners).map(|_| {
                let mut bytes = vec![];
                wkb::push(&mut bytes, corners);
                ByteArray::from(bytes)
            })
        });
        write_values::<ByteArrayType>(&mut group, shapes)?;
        for side in 0..BOX.len() {
            let boxes = positions.chunks_exact(corners).map(wkb::envelope);
            write_values::<DoubleType>(&mut group, boxes.map(|b| b.map(|sides| sides[side])))?;
        }
        group.close()?;
    }
    file.close()?;
    Ok(())
}

/// The schema in Parquet's own notation. Anything may be missing.
fn schema(columns: &[Column<'_>]) -> String {
    let mut text = String::from("message layer {\n");
    for column in columns {
        let name = column.name;
        text.push_str(&match column.kind() {
            Kind::Text => format!("  optional binary {name} (STRING);\n"),
            Kind::Whole => format!("  optional int64 {name};\n"),
            Kind::Number => format!("  optional double {name};\n"),
            Kind::Time => format!("  optional int64 {name} (TIMESTAMP(MILLIS,true));\n"),
        });
    }
    let sides = BOX.map(|side| format!("required double {side};")).join(" ");
    text.push_str(&format!(
        "  optional binary {GEOMETRY};\n  optional group bbox {{ {sides} }}\n}}\n"
    ));
    text
}

/// The metadata that make it GeoParquet.
fn geo(layer: &Features<'_>, crs: &LayerCrs, positions: &[(f64, f64)]) -> serde_json::Value {
    let kind = if layer.has_polygons() {
        "Polygon"
    } else {
        "Point"
    };
    let mut column = json!({
        "encoding": "WKB",
        "geometry_types": [kind],
        "crs": crs.texts.projjson,
        "orientation": "counterclockwise",
        "covering": { "bbox": BOX.map(|side| (side, ["bbox", side])).into_iter().collect::<BTreeMap<_, _>>() },
    });
    if let Some(extent) = wkb::extent(positions, layer.corners()) {
        column["bbox"] = json!(extent);
    }
    json!({ "version": "1.1.0", "primary_column": GEOMETRY, "columns": { GEOMETRY: column } })
}

fn write_column<W: Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    column: &Column<'_>,
    rows: &[u32],
) -> Result<(), ParquetError> {
    let cells = rows.iter().map(|&row| column.cell(row as usize));
    match column.kind() {
        Kind::Text => write_values::<ByteArrayType>(
            group,
            cells.map(|cell| match cell {
                Cell::Text(text) => Some(ByteArray::from(text)),
                _ => None,
            }),
        ),
        Kind::Number => write_values::<DoubleType>(
            group,
            cells.map(|cell| match cell {
                Cell::Number(number) => Some(number),
                _ => None,
            }),
        ),
        Kind::Whole | Kind::Time => write_values::<Int64Type>(
            group,
            cells.map(|cell| match cell {
                Cell::Whole(number) => Some(number.into()),
                Cell::Time(ms) => Some(ms),
                _ => None,
            }),
        ),
    }
}

/// Writes the group's next column; `None` is a missing value.
fn write_values<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, impl Write + Send>,
    values: impl Iterator<Item = Option<T::T>>,
) -> Result<(), ParquetError> {
    let mut there = vec![];
    let levels: Vec<i16> = values
        .map(|value| match value {
            Some(value) => {
                there.push(value);
                1
            }
            None => 0,
        })
        .collect();
    let mut column = group
        .next_column()?
        .ok_or_else(|| ParquetError::General("more columns than the schema has".into()))?;
    column
        .typed::<T>()
        .write_batch(&there, Some(&levels), None)?;
    column.close()
}
