//! Results into files. Nothing else in the crate writes one.
//!
//! One file per format; [`attributes`] is the table that they all follow. Files are whole or not there.

mod atomic;
pub mod attributes;
mod cells;
mod chunks;
pub mod crs;
mod digits;
mod error;
mod flatgeobuf;
mod folder;
mod geojson;
mod geopackage;
mod geoparquet;
mod layer;
pub mod run;
pub mod settings;
mod shapefile;
mod style;
pub mod tables;
mod wkb;

use std::borrow::Cow;
use std::io::Write;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

pub use error::WriteError;
pub use folder::{folder_name, folders};

use crate::grid::Grid;
use crate::job::{Format, Job, Layer};
use crate::map::YieldMap;
use crate::summary::{Remark, Summary};
use layer::Features;
use style::Style;

/// Name of the file that holds a field season's figures. It is written last: where it stands, the rest stands too.
pub const SUMMARY: &str = "summary.json";

/// Names of the pages in a field season's folder.
const PAGES: [&str; 2] = ["report.html", "map.png"];

/// Makes pages, each with a name and contents, from the figures as they are written.
pub type PagesOf<'a> = dyn Fn(&Summary) -> Vec<(String, Vec<u8>)> + Sync + 'a;

/// What one field season came to.
#[derive(Clone, Copy)]
pub struct FieldResult<'a> {
    /// Its points.
    pub map: &'a YieldMap,
    /// Its grid, where one was asked for.
    pub grid: Option<&'a Grid>,
    /// Its figures.
    pub summary: &'a Summary,
    /// Makes its pages from the figures as they are written. Each has a name and contents.
    pub pages: &'a PagesOf<'a>,
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Written {
    /// The files, in the order in which they were finished.
    pub files: Vec<PathBuf>,
    /// What a format could not hold in full; the summary that was written names it among its warnings.
    pub remarks: Vec<Remark>,
}

/// Checks what a job asks of the formats, before anything is computed.
pub fn check(job: &Job) -> Result<(), WriteError> {
    crs::check(&job.crs).map_err(|source| WriteError::Crs {
        code: crs::name(&job.crs).to_owned(),
        source,
    })
}

/// Writes a field season's layers and its `summary.json` into its folder (see [`folders`]).
///
/// A folder that does not stand yet is whole or not there. In one that stands, the summary of an earlier run is taken
/// away first and the new one written last, so that a killed run never leaves old figures beside new layers. Layers of an
/// earlier run that the job no longer asks for go with it.
pub fn write_field(
    folder: &Path,
    result: FieldResult<'_>,
    job: &Job,
) -> Result<Written, WriteError> {
    atomic::fill_folder(folder, |to| {
        let mut written = write_into(to, result, job)?;
        for file in &mut written.files {
            if let Ok(name) = file.strip_prefix(to) {
                *file = folder.join(name);
            }
        }
        Ok(written)
    })
}

/// Puts away what an earlier run left of a field season that cannot be done any more, so that nobody takes it for this
/// run's: a folder that is whole gets another name (`2025-maize-earlier`), and of one that is not, what fanmill writes is
/// removed, for it is neither the old map nor the new one. Files of other people stay.
pub fn put_away(folder: &Path) -> Result<(), WriteError> {
    if folder.join(SUMMARY).is_file() {
        return atomic::rename_aside(folder, "earlier");
    }
    if !folder.is_dir() {
        return Ok(());
    }
    for layer in Layer::ALL {
        let stem = folder.join(layer::file_stem(layer));
        let all = Format::ALL.into_iter().flat_map(extensions).chain(&STYLES);
        for extension in all {
            remove_with_drafts(&stem.with_extension(extension))?;
        }
    }
    for page in PAGES {
        remove_with_drafts(&folder.join(page))?;
    }
    remove_with_drafts(&folder.join(SUMMARY))?;
    let _ = std::fs::remove_dir(folder); // stays where something is in it
    Ok(())
}

fn remove_with_drafts(path: &Path) -> Result<(), WriteError> {
    atomic::remove_drafts(path)?;
    atomic::remove(path)
}

fn write_into(folder: &Path, result: FieldResult<'_>, job: &Job) -> Result<Written, WriteError> {
    let summary = folder.join(SUMMARY);
    if summary.exists() {
        atomic::remove(&summary)?;
        remove_unwanted(folder, job)?;
    }
    let crs = crs::LayerCrs::of(&job.crs, result.map).map_err(|source| WriteError::Crs {
        code: crs::name(&job.crs).to_owned(),
        source,
    })?;
    let no_grid = Grid::default();
    let grid = result.grid.unwrap_or(&no_grid);
    let layers: Vec<(Features<'_>, Style)> = job
        .layers
        .iter()
        .map(|&layer| {
            let layer = Features::new(result.map, grid, layer, job.yield_unit);
            let style = Style::of(&layer);
            (layer, style)
        })
        .collect();
    let tasks: Vec<(&(Features<'_>, Style), Format)> = layers
        .iter()
        .flat_map(|layer| job.formats.iter().map(move |&format| (layer, format)))
        .collect();
    let parts: Vec<Written> = tasks
        .par_iter()
        .map(|&((layer, style), format)| write_layer(folder, layer, style, format, &crs))
        .collect::<Result<_, _>>()?;
    let mut written = Written::default();
    for part in parts {
        written.files.extend(part.files);
        written.remarks.extend(part.remarks);
    }
    if job.formats.iter().any(|&f| needs_style_beside(f)) {
        for (_, style) in &layers {
            written
                .files
                .extend(style.write_beside(&folder.join(style.name))?);
        }
    }
    let mut figures = Cow::Borrowed(result.summary);
    if !written.remarks.is_empty() {
        figures
            .to_mut()
            .warnings
            .extend(written.remarks.iter().cloned());
    }
    for (name, bytes) in (result.pages)(&figures) {
        written.files.push(write_page(folder, &name, &bytes)?);
    }
    written.files.push(write_json(&summary, &figures)?);
    Ok(written)
}

fn write_layer(
    folder: &Path,
    layer: &Features<'_>,
    style: &Style,
    format: Format,
    crs: &crs::LayerCrs,
) -> Result<Written, WriteError> {
    let path = folder.join(format!("{}.{}", style.name, extensions(format)[0]));
    let one = |file| Written {
        files: vec![file],
        remarks: vec![],
    };
    match format {
        Format::GeoJson => geojson::write(&path, layer).map(one),
        Format::Shapefile => shapefile::write(&path, layer, crs),
        Format::GeoPackage => geopackage::write(&path, layer, crs, style).map(one),
        Format::GeoParquet => geoparquet::write(&path, layer, crs).map(one),
        Format::FlatGeobuf => flatgeobuf::write(&path, layer, crs, style),
    }
}

/// Extensions of a format's files, the one that names the layer first.
fn extensions(format: Format) -> &'static [&'static str] {
    match format {
        Format::GeoJson => &["geojson"],
        Format::Shapefile => &["shp", "shx", "dbf", "prj", "cpg"],
        Format::GeoPackage => &["gpkg"],
        Format::GeoParquet => &["parquet"],
        Format::FlatGeobuf => &["fgb"],
    }
}

/// Extensions of the files that say how a layer looks.
const STYLES: [&str; 2] = ["qml", "sld"];

/// Whether a format has no room for its style.
fn needs_style_beside(format: Format) -> bool {
    format != Format::GeoPackage
}

/// Removes the layers that the job does not ask for.
fn remove_unwanted(folder: &Path, job: &Job) -> Result<(), WriteError> {
    for layer in Layer::ALL {
        let asked = job.layers.contains(&layer);
        let stem = folder.join(layer::file_stem(layer));
        let unwanted = (Format::ALL.into_iter())
            .filter(|format| !(asked && job.formats.contains(format)))
            .flat_map(|format| extensions(format).iter().copied());
        let styled = asked && job.formats.iter().any(|&f| needs_style_beside(f));
        let unwanted_styles = STYLES.into_iter().filter(|_| !styled);
        for extension in unwanted.chain(unwanted_styles) {
            atomic::remove(&stem.with_extension(extension))?;
        }
    }
    Ok(())
}

/// Writes a page or what belongs to it. `name`: relative to the folder, with `/` between its parts.
pub fn write_page(folder: &Path, name: &str, bytes: &[u8]) -> Result<PathBuf, WriteError> {
    let path = name
        .split('/')
        .fold(folder.to_owned(), |path, part| path.join(part));
    atomic::make_folder(path.parent().unwrap_or(folder))?;
    atomic::remove_drafts(&path)?;
    atomic::write_whole(&path, |out| {
        out.write_all(bytes).map_err(WriteError::file(&path))
    })
}

/// Writes a JSON document for people and programs: indented, missing numbers null.
pub(crate) fn write_json(
    path: &Path,
    document: &impl serde::Serialize,
) -> Result<PathBuf, WriteError> {
    let text = serde_json::to_string_pretty(document).map_err(|source| WriteError::Json {
        path: path.to_owned(),
        source,
    })?;
    atomic::write_whole(path, |out| {
        writeln!(out, "{text}").map_err(WriteError::file(path))
    })
}

/// Removes what a killed run left unfinished in a folder and below it.
pub(crate) fn sweep(folder: &Path) -> Result<(), WriteError> {
    atomic::sweep(folder)
}

/// Writes a file whole, with the folder that it stands in.
pub(crate) fn write_bytes(path: &Path, bytes: &[u8]) -> Result<PathBuf, WriteError> {
    if let Some(folder) = path.parent() {
        atomic::make_folder(folder)?;
    }
    atomic::write_whole(path, |out| {
        out.write_all(bytes).map_err(WriteError::file(path))
    })
}

/// Makes the results folder and sees that it can be written, before anything is computed.
pub fn prepare_results(results: &Path) -> Result<(), WriteError> {
    atomic::make_folder(results)?;
    let probe = results.join(".fanmill-probe");
    atomic::write_whole(&probe, |_| Ok(()))?;
    atomic::remove(&probe)
}
