//! A field's boundary: polygons in longitude and latitude.

use std::path::Path;

use geo::{
    BoundingRect, Centroid, Contains, Distance, Haversine, LineString, MultiPolygon, Point, Polygon,
};
use geojson::{GeoJson, GeometryValue, Position};

use super::NamedOutline;
use super::crs::ToDegrees;
use super::error::{ReadError, ReadErrorKind};
use super::find::InputFile;
use super::outlines::{self, Outline};
use super::position::swapped_error;
use super::source::{crs_member, read_whole};
use super::text::decode;
use crate::job::{FieldSeason, Job};
use crate::log::Log;
use crate::place::Place;

/// Reads a field's boundary: GeoJSON, a shapefile, a GeoPackage or ISO 11783-10 task data. Where one file holds the
/// outlines of several fields and some carry the field's name, those are its boundary; otherwise all are.
pub(super) fn read(
    input: &InputFile,
    job: &Job,
    field: &FieldSeason,
) -> Result<MultiPolygon<f64>, ReadError> {
    let polygons = own(all(input, job, field)?, field);
    if polygons.0.is_empty() {
        return Err(not_a_polygon(&input.shown, "no geometry".to_owned()));
    }
    Ok(polygons)
}

/// The polygons of the outlines that carry the field's name; of all where none does.
fn own(outlines: Vec<Outline>, field: &FieldSeason) -> MultiPolygon<f64> {
    let any = outlines.iter().any(|o| is_of(&o.names, field));
    let own = outlines
        .into_iter()
        .filter(|o| !any || is_of(&o.names, field));
    MultiPolygon(own.flat_map(|o| o.polygons).collect())
}

/// The same of outlines that are wanted for other fields as well; `None` where they have no polygon.
pub(super) fn own_of(outlines: &[NamedOutline], field: &FieldSeason) -> Option<MultiPolygon<f64>> {
    let any = outlines.iter().any(|(_, names)| is_of(names, field));
    let own = outlines
        .iter()
        .filter(|(_, names)| !any || is_of(names, field));
    let polygons: Vec<Polygon<f64>> = own.flat_map(|(p, _)| p.0.iter().cloned()).collect();
    (!polygons.is_empty()).then_some(MultiPolygon(polygons))
}

fn is_of(names: &[String], field: &FieldSeason) -> bool {
    let own = field.name.trim().to_lowercase();
    names.iter().any(|n| n.trim().to_lowercase() == own)
}

/// Every outline in a file, each with the names that stand with it.
pub(super) fn all(
    input: &InputFile,
    job: &Job,
    field: &FieldSeason,
) -> Result<Vec<Outline>, ReadError> {
    match outlines::other_formats(input, job.log.crs.as_deref(), field)? {
        Some(outlines) => Ok(outlines),
        None => geojson(&input.path, &input.shown),
    }
}

fn geojson(path: &Path, file: &str) -> Result<Vec<Outline>, ReadError> {
    let bytes = read_whole(path, file)?;
    let text = decode(&bytes);
    let json: GeoJson =
        text.trim_start_matches('\u{feff}')
            .parse()
            .map_err(|cause: geojson::Error| {
                ReadError::new(
                    ReadErrorKind::Format,
                    Place::file(file),
                    "a boundary in GeoJSON",
                    "something else",
                )
                .hinted("export the boundary as GeoJSON in WGS 84 (longitude, latitude)")
                .because(cause)
            })?;
    let to_degrees = match crs_member(&bytes) {
        None => ToDegrees::already(),
        Some(name) => outlines::known_crs(&name, file)?,
    };
    let geometries: Vec<(Option<&geojson::Geometry>, Vec<String>)> = match &json {
        GeoJson::Geometry(geometry) => vec![(Some(geometry), Vec::new())],
        GeoJson::Feature(feature) => vec![(feature.geometry.as_ref(), names(feature))],
        GeoJson::FeatureCollection(collection) => {
            let features = collection.features.iter();
            features.map(|f| (f.geometry.as_ref(), names(f))).collect()
        }
    };
    let mut found = Vec::new();
    for (k, (geometry, names)) in geometries.into_iter().enumerate() {
        let mut polygons = Vec::new();
        if let Some(geometry) = geometry {
            collect(&geometry.value, k + 1, file, &to_degrees, &mut polygons)?;
        }
        found.push(Outline { polygons, names });
    }
    Ok(found)
}

/// The texts among a feature's properties: one may be the field's name.
fn names(feature: &geojson::Feature) -> Vec<String> {
    let properties = feature.properties.iter().flatten();
    properties
        .filter_map(|(_, value)| value.as_str().map(str::to_owned))
        .collect()
}

fn not_a_polygon(file: &str, found: String) -> ReadError {
    ReadError::new(
        ReadErrorKind::Geometry,
        Place::file(file),
        "a boundary of polygons",
        found,
    )
    .hinted("draw the field's outline as a polygon, or leave `boundary` out")
}

fn collect(
    geometry: &GeometryValue,
    feature: usize,
    file: &str,
    to_degrees: &ToDegrees,
    polygons: &mut Vec<Polygon<f64>>,
) -> Result<(), ReadError> {
    match geometry {
        GeometryValue::Polygon { coordinates } => {
            polygons.push(polygon(coordinates, feature, file, to_degrees)?)
        }
        GeometryValue::MultiPolygon { coordinates } => {
            for rings in coordinates {
                polygons.push(polygon(rings, feature, file, to_degrees)?);
            }
        }
        GeometryValue::GeometryCollection { geometries } => {
            for inner in geometries {
                collect(&inner.value, feature, file, to_degrees, polygons)?;
            }
        }
        other => {
            return Err(not_a_polygon(
                file,
                format!("a {} (feature {feature})", other.type_name()),
            ));
        }
    }
    Ok(())
}

/// A polygon of rings, which are closed where the file leaves them open.
fn polygon(
    rings: &[Vec<Position>],
    feature: usize,
    file: &str,
    to_degrees: &ToDegrees,
) -> Result<Polygon<f64>, ReadError> {
    let mut lines = Vec::with_capacity(rings.len());
    for ring in rings {
        let mut line = Vec::with_capacity(ring.len() + 1);
        for position in ring {
            let &[x, y, ..] = position.as_slice() else {
                return Err(not_a_polygon(
                    file,
                    format!(
                        "a corner with {} numbers (feature {feature})",
                        position.len()
                    ),
                ));
            };
            let (lon, lat) = to_degrees.convert(x, y);
            if !(lon.abs() <= 180.0 && lat.abs() <= 90.0) {
                let found = format!("{x}, {y} (feature {feature})");
                let expected = "corners as longitude and latitude in degrees";
                return Err(ReadError::new(
                    ReadErrorKind::Geometry,
                    Place::file(file),
                    expected,
                    found,
                )
                .hinted("GeoJSON is in WGS 84, longitude first: export it again with EPSG:4326"));
            }
            line.push(geo::Coord { x: lon, y: lat });
        }
        let mut line = LineString(line);
        line.close();
        if line.0.len() < 4 {
            return Err(not_a_polygon(
                file,
                format!("a ring of {} corners (feature {feature})", ring.len()),
            ));
        }
        lines.push(line);
    }
    let mut lines = lines.into_iter();
    match lines.next() {
        Some(outer) => Ok(Polygon::new(outer, lines.collect())),
        None => Err(not_a_polygon(
            file,
            format!("a polygon without a ring (feature {feature})"),
        )),
    }
}

/// Refuses a boundary that holds none of the log's points. `headers`: of the log's longitude and latitude.
pub(super) fn check_place(
    boundary: &MultiPolygon<f64>,
    file: &str,
    log: &Log,
    headers: &(String, String),
) -> Result<(), ReadError> {
    let points = || {
        log.lon
            .iter()
            .zip(&log.lat)
            .filter(|(lon, _)| lon.is_finite())
    };
    let Some(bounds) = boundary.bounding_rect() else {
        return Ok(());
    };
    let holds = |lon: f64, lat: f64| {
        let point = Point::new(lon, lat);
        bounds.contains(&point) && boundary.contains(&point)
    };
    if points().next().is_none() || points().any(|(&lon, &lat)| holds(lon, lat)) {
        return Ok(());
    }
    let path = log.sources.first().map_or("", |s| s.path.as_str());
    if points().any(|(&lon, &lat)| holds(lat, lon)) {
        return Err(swapped_error(
            path,
            headers,
            &format!("positions that lie in \"{file}\" only the other way round"),
        ));
    }
    let Some(middle) = boundary.centroid() else {
        return Ok(());
    };
    let distance = Haversine.distance(
        middle,
        Point::new(
            median(points().map(|p| *p.0)),
            median(points().map(|p| *p.1)),
        ),
    );
    Err(ReadError::new(
        ReadErrorKind::Elsewhere,
        Place::file(file),
        "a boundary around the log's points",
        format!("none of them in it: the middle of the boundary is {} from that of the log", kilometres(distance)),
    )
    .hinted("check that it is the right field's file, and that its coordinates are longitude first, then latitude"))
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// A distance in whole kilometres, or tenths where it is short.
fn kilometres(metres: f64) -> String {
    if metres < 10_000.0 {
        format!("{:.1} km", metres / 1000.0)
    } else {
        format!("{:.0} km", metres / 1000.0)
    }
}
