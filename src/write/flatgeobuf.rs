//! FlatGeobuf 3 (flatgeobuf.org) with its packed R-tree: features come in the order of a Hilbert curve.
//!
//! The index has no place for a feature without a position, and readers take one without a geometry for damage. So such
//! points are left out, and said.

use std::io::Write;
use std::path::Path;

use flatgeobuf::{ColumnType, FgbCrs, FgbWriter, FgbWriterOptions, GeometryType};
use geozero::error::{GeozeroError, Result as GeozeroResult};
use geozero::{ColumnValue, GeomProcessor, GeozeroGeometry, PropertyProcessor};

use super::atomic::{remove_drafts, write_whole};
use super::cells::{Cell, Column, Kind, descriptions};
use super::crs::LayerCrs;
use super::digits::TimeText;
use super::layer::Features;
use super::style::Style;
use super::{WriteError, Written, wkb};
use crate::summary::Remark;

/// Writes a layer.
pub(crate) fn write(
    path: &Path,
    layer: &Features<'_>,
    crs: &LayerCrs,
    style: &Style,
) -> Result<Written, WriteError> {
    remove_drafts(path)?;
    let positions = crs.positions(layer)?;
    let columns = Column::all(layer);
    let shapes: Vec<Shape<'_>> = positions.chunks_exact(layer.corners()).map(Shape).collect();
    let placed = shapes.iter().filter(|s| s.is_placed()).count();
    let file = write_whole(path, |out| {
        let mut file =
            open(layer, &columns, crs, style, placed > 0).map_err(WriteError::flatgeobuf(path))?;
        fill(&mut file, layer, &columns, &shapes).map_err(WriteError::flatgeobuf(path))?;
        file.write(&mut *out)
            .map_err(WriteError::flatgeobuf(path))?;
        out.flush().map_err(WriteError::file(path))
    })?;
    let lost = shapes.len() - placed;
    let remark = (lost > 0).then(|| {
        let text = format!(
            "{}.fgb: {lost} of {} points have no position and are left out; the other formats have them",
            style.name,
            shapes.len()
        );
        Remark::new("position-left-out", text)
    });
    Ok(Written {
        files: vec![file],
        remarks: remark.into_iter().collect(),
    })
}

fn open<'a>(
    layer: &Features<'_>,
    columns: &[Column<'_>],
    crs: &LayerCrs,
    style: &Style,
    index: bool,
) -> Result<FgbWriter<'a>, flatgeobuf::Error> {
    let kind = if layer.has_polygons() {
        GeometryType::Polygon
    } else {
        GeometryType::Point
    };
    let attributes = serde_json::json!({ "attributes": descriptions(columns) }).to_string();
    let options = FgbWriterOptions {
        write_index: index,
        detect_type: false,
        promote_to_multi: false,
        crs: FgbCrs {
            org: Some("EPSG"),
            code: crs.epsg(),
            name: Some(&crs.texts.name),
            wkt: crs.texts.gdal_wkt.as_deref(),
            ..FgbCrs::default()
        },
        title: Some(&style.title),
        metadata: Some(&attributes),
        ..FgbWriterOptions::default()
    };
    let mut file = FgbWriter::create_with_options(style.name, kind, options)?;
    for column in columns {
        let kind = match column.kind() {
            Kind::Text => ColumnType::String,
            Kind::Whole => ColumnType::Long,
            Kind::Number => ColumnType::Double,
            Kind::Time => ColumnType::DateTime,
        };
        let title = column.title();
        file.add_column(column.name, kind, |buffer, column| {
            column.title = Some(buffer.create_string(&title));
        });
    }
    Ok(file)
}

fn fill(
    file: &mut FgbWriter<'_>,
    layer: &Features<'_>,
    columns: &[Column<'_>],
    shapes: &[Shape<'_>],
) -> GeozeroResult<()> {
    let mut clock = TimeText::default();
    let mut time = vec![];
    for (shape, &row) in shapes.iter().zip(&layer.rows) {
        if !shape.is_placed() {
            continue;
        }
        let mut failed: Option<GeozeroError> = None;
        file.add_feature_geom(*shape, |feature| {
            for (k, column) in columns.iter().enumerate() {
                let value = match column.cell(row as usize) {
                    Cell::Missing => continue,
                    Cell::Text(text) => ColumnValue::String(text),
                    Cell::Whole(number) => ColumnValue::Long(number.into()),
                    Cell::Number(number) => ColumnValue::Double(number),
                    Cell::Time(ms) => {
                        time.clear();
                        clock.push(&mut time, ms as f64 / 1e3);
                        ColumnValue::DateTime(std::str::from_utf8(&time).unwrap_or_default())
                    }
                };
                if let Err(error) = feature.property(k, column.name, &value) {
                    failed.get_or_insert(error);
                }
            }
        })?;
        if let Some(error) = failed {
            return Err(error);
        }
    }
    Ok(())
}

/// The positions of a feature: a point, or the ring of a polygon.
#[derive(Clone, Copy)]
struct Shape<'a>(&'a [(f64, f64)]);

impl Shape<'_> {
    fn is_placed(&self) -> bool {
        wkb::envelope(self.0).is_some()
    }
}

impl GeozeroGeometry for Shape<'_> {
    fn process_geom<P: GeomProcessor>(&self, to: &mut P) -> GeozeroResult<()> {
        if let [(x, y)] = *self.0 {
            to.point_begin(0)?;
            to.xy(x, y, 0)?;
            return to.point_end(0);
        }
        to.polygon_begin(true, 1, 0)?;
        to.linestring_begin(false, self.0.len() + 1, 0)?;
        for (k, &(x, y)) in self.0.iter().chain(self.0.first()).enumerate() {
            to.xy(x, y, k)?;
        }
        to.linestring_end(false, 0)?;
        to.polygon_end(true, 0)
    }
}
