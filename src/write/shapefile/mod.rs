//! Shapefiles: .shp and .shx (positions), .dbf (attributes), .prj (CRS) and .cpg (encoding), whole or none.
//!
//! Source: ESRI Shapefile Technical Description (July 1998); dBase III+ file structure.

mod shapes;
mod table;

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use super::atomic::{self, Draft};
use super::crs::LayerCrs;
use super::layer::Features;
use super::{WriteError, Written, extensions};
use crate::job::Format;
use shapes::Shapes;

/// Largest .shp or .dbf, bytes: offsets beyond 2³¹ are not read everywhere.
const LARGEST: u64 = 1 << 31;

/// Writes a layer. `path` names the .shp.
///
/// All files are finished under temporary names first. Then an older .shp is taken away, the others get their names,
/// and the .shp comes last: what stands between two steps is never a .shp with another layer's attributes.
pub(crate) fn write(
    path: &Path,
    layer: &Features<'_>,
    crs: &LayerCrs,
) -> Result<Written, WriteError> {
    let part = |extension: &str| path.with_extension(extension);
    for extension in extensions(Format::Shapefile) {
        atomic::remove_drafts(&part(extension))?;
    }
    let table = table::Table::new(layer);
    if table
        .bytes()
        .max(Shapes::bytes(layer.rows.len(), layer.corners()))
        > LARGEST
    {
        return Err(WriteError::TooLarge {
            path: path.to_owned(),
            points: layer.rows.len(),
        });
    }
    let positions = crs.positions(layer)?;
    let shapes = Shapes::new(&positions, layer.corners());
    let drafts = [
        fill(&part("shp"), |out| shapes.write(out))?,
        fill(&part("shx"), |out| shapes.write_index(out))?,
        fill(&part("dbf"), |out| table.write(out))?,
        fill(&part("prj"), |out| {
            out.write_all(crs.texts.esri_wkt.as_bytes())
        })?,
        fill(&part("cpg"), |out| out.write_all(b"UTF-8"))?,
    ];
    atomic::remove(path)?;
    let files = drafts
        .into_iter()
        .rev()
        .map(Draft::publish)
        .collect::<Result<Vec<PathBuf>, _>>()?;
    Ok(Written {
        files,
        remarks: table.into_remarks(),
    })
}

fn fill(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<&File>) -> std::io::Result<()>,
) -> Result<Draft, WriteError> {
    let draft = Draft::new(path)?;
    let mut out = BufWriter::with_capacity(1 << 16, draft.file());
    write(&mut out)
        .and_then(|()| out.flush())
        .map_err(WriteError::file(path))?;
    drop(out);
    Ok(draft)
}
