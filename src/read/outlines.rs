//! Outlines of fields in formats other than GeoJSON: shapefiles, GeoPackages, ISO 11783-10 task data; zips of them.

use std::io::BufReader;
use std::path::{Path, PathBuf};

use geo::{Coord, LineString, Polygon};
use shapefile::{PolygonRing, Shape as EsriShape, ShapeReader};

use super::crs::ToDegrees;
use super::error::{ReadError, ReadErrorKind};
use super::find::{InputFile, leads_back};
use super::source::{
    Kind, Shape, connect, crs_of, is_taskdata, kind, layers, of_geopackage, open_file, quoted,
    shapefile_crs, shapefile_texts, unzip,
};
use super::taskdata::{TaskField, TaskSet};
use crate::job::FieldSeason;
use crate::place::Place;

/// Polygons that belong together, and the texts that stand with them.
pub(super) struct Outline {
    pub polygons: Vec<Polygon<f64>>,
    pub names: Vec<String>,
}

/// The outlines in a file that is not GeoJSON; `None` where it is neither of the formats.
pub(super) fn other_formats(
    input: &InputFile,
    crs: Option<&str>,
    field: &FieldSeason,
) -> Result<Option<Vec<Outline>>, ReadError> {
    let (path, file) = (input.path.as_path(), input.shown.as_str());
    if path.is_dir() {
        return of_folder(path, file, crs, field).map(Some);
    }
    if is_taskdata(path) {
        return of_tasks(path.parent().unwrap_or(Path::new(".")), file, field).map(Some);
    }
    Ok(Some(
        match kind(path).map_err(|e| ReadError::io(file, e))? {
            Kind::Shapefile => of_shapefile(path, file, crs)?,
            Kind::Sqlite => of_geopackage_file(path, file, crs)?,
            Kind::Zip => {
                let unpacked = unzip(path, file)?;
                of_folder(unpacked.path(), file, crs, field)?
            }
            _ => return Ok(None),
        },
    ))
}

/// A CRS by its name in a file.
pub(super) fn known_crs(name: &str, file: &str) -> Result<ToDegrees, ReadError> {
    ToDegrees::from_crs(name).map_err(|cause| {
        ReadError::new(
            ReadErrorKind::Crs,
            Place::file(file),
            "a CRS that PROJ knows",
            format!("\"{name}\""),
        )
        .hinted("export it in WGS 84 (longitude, latitude)")
        .because(cause)
    })
}

/// What a folder holds: task data, else its shapefiles and GeoPackages.
fn of_folder(
    folder: &Path,
    file: &str,
    crs: Option<&str>,
    field: &FieldSeason,
) -> Result<Vec<Outline>, ReadError> {
    let mut found = Vec::new();
    let mut folders = vec![(folder.to_owned(), 0)];
    while let Some((folder, depth)) = folders.pop() {
        let entries = std::fs::read_dir(&folder).map_err(|e| ReadError::io(file, e))?;
        let mut paths: Vec<PathBuf> = entries.flatten().map(|e| e.path()).collect();
        paths.sort();
        if paths.iter().any(|p| is_taskdata(p)) {
            return of_tasks(&folder, file, field);
        }
        for path in paths {
            match path
                .extension()
                .map(|e| e.to_string_lossy().to_lowercase())
                .as_deref()
            {
                Some("shp") => found.append(&mut of_shapefile(&path, file, crs)?),
                Some("gpkg") => found.append(&mut of_geopackage_file(&path, file, crs)?),
                _ if path.is_dir() && depth < 8 && !leads_back(&folder, &path) => {
                    folders.push((path, depth + 1))
                }
                _ => {}
            }
        }
    }
    if found.is_empty() {
        let error = ReadError::new(
            ReadErrorKind::Geometry,
            Place::file(file),
            "a boundary in it",
            "none",
        );
        return Err(
            error.hinted("name the boundary's file: GeoJSON, shapefile, GeoPackage or task data")
        );
    }
    Ok(found)
}

/// The boundary of the field of that name in task data; of the only one that has a boundary, where none has the name.
fn of_tasks(folder: &Path, file: &str, field: &FieldSeason) -> Result<Vec<Outline>, ReadError> {
    let set = TaskSet::read(folder, file)?;
    let bounded: Vec<&TaskField> = set.fields.iter().filter(|f| f.boundary.is_some()).collect();
    let own = bounded
        .iter()
        .find(|f| set.is_field(f, &field.name))
        .or(match bounded.as_slice() {
            [only] => Some(only),
            _ => None,
        });
    let Some(boundary) = own.and_then(|f| f.boundary.clone()) else {
        let names: Vec<&str> = bounded.iter().map(|f| f.name.as_str()).collect();
        let found = match names.is_empty() {
            true => "no field with one".to_owned(),
            false => format!("boundaries of {}", names.join(", ")),
        };
        let expected = format!("the boundary of field \"{}\"", field.name);
        return Err(
            ReadError::new(ReadErrorKind::Geometry, Place::file(file), expected, found)
                .hinted("name the field as the task data do, or leave `boundary` out"),
        );
    };
    Ok(vec![Outline {
        polygons: boundary.0,
        names: Vec::new(),
    }])
}

fn of_shapefile(path: &Path, file: &str, crs: Option<&str>) -> Result<Vec<Outline>, ReadError> {
    let refuse = |found: String| {
        ReadError::new(
            ReadErrorKind::Geometry,
            Place::file(file),
            "a boundary of polygons",
            found,
        )
        .hinted("draw the field's outline as a polygon, or leave `boundary` out")
    };
    let broken = |cause: shapefile::Error| {
        refuse("a shapefile that cannot be read".to_owned()).because(cause)
    };
    let from = open_file(path).map_err(|e| ReadError::io(file, e))?;
    let mut bytes = Vec::new();
    std::io::Read::read_to_end(&mut BufReader::new(from), &mut bytes)
        .map_err(|e| ReadError::io(file, e))?;
    let reader = ShapeReader::new(std::io::Cursor::new(bytes)).map_err(broken)?;
    let bounds = reader.header().bbox;
    let bounds = [bounds.min.x, bounds.min.y, bounds.max.x, bounds.max.y];
    let to_degrees = shapefile_crs(path, file, crs, bounds, &mut Vec::new())?;
    let mut texts = shapefile_texts(path, file)?.into_iter();
    let mut found = Vec::new();
    for shape in reader.read().map_err(broken)? {
        let names = texts.next().unwrap_or_default();
        let rings: Vec<(bool, Vec<(f64, f64)>)> = match &shape {
            EsriShape::NullShape => Vec::new(),
            EsriShape::Polygon(polygon) => rings(polygon.rings(), |p| (p.x, p.y)),
            EsriShape::PolygonM(polygon) => rings(polygon.rings(), |p| (p.x, p.y)),
            EsriShape::PolygonZ(polygon) => rings(polygon.rings(), |p| (p.x, p.y)),
            other => return Err(refuse(format!("a {}", other.shapetype()))),
        };
        found.push(Outline {
            polygons: polygons(rings, &to_degrees, file)?,
            names,
        });
    }
    Ok(found)
}

/// The rings of a shape: whether each is an outer one, and its corners.
fn rings<P>(
    rings: &[PolygonRing<P>],
    corner: impl Fn(&P) -> (f64, f64),
) -> Vec<(bool, Vec<(f64, f64)>)> {
    let of = |ring: &PolygonRing<P>| match ring {
        PolygonRing::Outer(points) => (true, points.iter().map(&corner).collect()),
        PolygonRing::Inner(points) => (false, points.iter().map(&corner).collect()),
    };
    rings.iter().map(of).collect()
}

/// Outer rings with the holes that follow them.
fn polygons(
    rings: Vec<(bool, Vec<(f64, f64)>)>,
    to_degrees: &ToDegrees,
    file: &str,
) -> Result<Vec<Polygon<f64>>, ReadError> {
    let mut found: Vec<Polygon<f64>> = Vec::new();
    for (outer, corners) in rings {
        let line = line(
            corners.into_iter().map(|(x, y)| Coord { x, y }),
            to_degrees,
            file,
        )?;
        match found.last_mut() {
            Some(last) if !outer => last.interiors_push(line),
            _ => found.push(Polygon::new(line, Vec::new())),
        }
    }
    Ok(found)
}

/// A ring in degrees, closed.
fn line(
    corners: impl Iterator<Item = Coord<f64>>,
    to_degrees: &ToDegrees,
    file: &str,
) -> Result<LineString<f64>, ReadError> {
    let refuse = |found: String| {
        ReadError::new(
            ReadErrorKind::Geometry,
            Place::file(file),
            "corners of polygons that lie on the globe",
            found,
        )
        .hinted("check the CRS that the boundary was exported in")
    };
    let mut ring = Vec::new();
    for Coord { x, y } in corners {
        let (lon, lat) = to_degrees.convert(x, y);
        if !(lon.abs() <= 180.0 && lat.abs() <= 90.0) {
            return Err(refuse(format!("{x}, {y}")));
        }
        ring.push(Coord { x: lon, y: lat });
    }
    let mut ring = LineString(ring);
    ring.close();
    match ring.0.len() {
        0..=3 => Err(refuse(format!("a ring of {} corners", ring.0.len()))),
        _ => Ok(ring),
    }
}

fn of_geopackage_file(
    path: &Path,
    file: &str,
    crs: Option<&str>,
) -> Result<Vec<Outline>, ReadError> {
    let connection = connect(path, file)?;
    let failed = |cause: rusqlite::Error| {
        ReadError::new(
            ReadErrorKind::Format,
            Place::file(file),
            "a GeoPackage",
            format!("\"{cause}\""),
        )
        .hinted("export it again")
        .because(cause)
    };
    let mut found = Vec::new();
    for layer in layers(&connection, file)? {
        if ![
            "POLYGON",
            "MULTIPOLYGON",
            "GEOMETRY",
            "GEOMETRYCOLLECTION",
            "SURFACE",
            "MULTISURFACE",
            "CURVEPOLYGON",
        ]
        .contains(&layer.kind.as_str())
        {
            continue;
        }
        let to_degrees = crs_of(&layer, file, crs)?;
        let query = format!(
            "SELECT {}, * FROM {}",
            quoted(&layer.geometry),
            quoted(&layer.table)
        );
        let mut statement = connection.prepare(&query).map_err(failed)?;
        let columns = statement.column_count();
        let mut rows = statement.query([]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            let blob: Option<Vec<u8>> = row.get(0).map_err(failed)?;
            let Some(Ok(Shape::Polygons(shapes))) = blob.map(|b| of_geopackage(&b)) else {
                continue; // a layer of mixed geometries
            };
            let mut polygons = Vec::new();
            for shape in shapes {
                let (outer, inner) = shape.into_inner();
                let outer = line(outer.0.into_iter(), &to_degrees, file)?;
                let inner: Result<Vec<_>, _> = inner
                    .into_iter()
                    .map(|r| line(r.0.into_iter(), &to_degrees, file))
                    .collect();
                polygons.push(Polygon::new(outer, inner?));
            }
            let names = (1..columns)
                .filter_map(|k| row.get::<_, String>(k).ok())
                .collect();
            found.push(Outline { polygons, names });
        }
    }
    Ok(found)
}
