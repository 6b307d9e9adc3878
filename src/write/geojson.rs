//! GeoJSON by RFC 7946: WGS 84, longitude before latitude, no `crs` member, null for what is missing.
//!
//! Features are formatted here and not by the `geojson` crate's `FeatureWriter`: the crate has no say over decimals,
//! writes a position that is not a number as `[null,null]`, and builds a map of owned values for each point, which
//! on one core took four times as long (0.5 against 1.9 million points a second). Tests read everything back with
//! the crate.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::atomic::{remove_drafts, write_whole};
use super::attributes::Values;
use super::digits::{TimeText, push_decimal, push_integer};
use super::layer::Features;
use super::{WriteError, chunks};

/// Decimals of a degree: 1 cm or better, what RFC 7946 section 11.2 holds to be enough is six.
const DEGREE_DECIMALS: usize = 7;

/// Writes a layer.
pub(crate) fn write(path: &Path, layer: &Features<'_>) -> Result<PathBuf, WriteError> {
    let columns: Vec<Column<'_>> = layer
        .attributes()
        .into_iter()
        .enumerate()
        .map(|(k, a)| Column::new(k == 0, a.name, a.values, a.decimals))
        .collect();
    remove_drafts(path)?;
    write_whole(path, |out| {
        let head = [
            &b"{\"type\":\"FeatureCollection\","[..],
            &bbox(layer),
            b"\"features\":[",
        ]
        .concat();
        out.write_all(&head).map_err(WriteError::file(path))?;
        chunks::write_in_order(&mut *out, &layer.rows, |rows, first, text| {
            features(rows, layer, &columns, first == 0, text);
        })
        .map_err(WriteError::file(path))?;
        out.write_all(b"\n]}\n").map_err(WriteError::file(path))
    })
}

/// The `bbox` member with its comma; nothing where no point has a position.
fn bbox(layer: &Features<'_>) -> Vec<u8> {
    let all = layer.positions();
    let positions = || all.iter().filter(|p| !p.0.is_nan()).map(|&(x, y)| [x, y]);
    let range = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        })
    };
    let (mut west, mut east) = range(&mut positions().map(|p| p[0]));
    let (south, north) = range(&mut positions().map(|p| p[1]));
    if west > east {
        return vec![];
    }
    if east - west > 180.0 {
        // The field lies across the antimeridian: west is then greater than east (RFC 7946 section 5.2).
        west = range(&mut positions().map(|p| p[0]).filter(|x| *x > 0.0)).0;
        east = range(&mut positions().map(|p| p[0]).filter(|x| *x <= 0.0)).1;
    }
    let mut out = b"\"bbox\":[".to_vec();
    for (k, side) in [west, south, east, north].into_iter().enumerate() {
        if k > 0 {
            out.push(b',');
        }
        push_decimal(&mut out, side, DEGREE_DECIMALS);
    }
    out.extend_from_slice(b"],");
    out
}

/// A property, with what never changes made ready: its key (after a comma, unless it is the first), and its texts
/// in quotes.
struct Column<'a> {
    key: Vec<u8>,
    texts: Vec<Vec<u8>>,
    values: Values<'a>,
    decimals: usize,
}

impl<'a> Column<'a> {
    fn new(first: bool, name: &str, values: Values<'a>, decimals: usize) -> Self {
        let quoted = |text: &str| serde_json::Value::from(text).to_string().into_bytes();
        let mut key = if first { vec![] } else { vec![b','] };
        key.extend(quoted(name));
        key.push(b':');
        let texts = values.texts().into_iter().flatten().map(quoted).collect();
        Self {
            key,
            texts,
            values,
            decimals,
        }
    }

    fn push(&self, out: &mut Vec<u8>, row: usize, clock: &mut TimeText) {
        out.extend_from_slice(&self.key);
        let written = match self.values {
            Values::Number(column) => push_decimal(out, column[row], self.decimals),
            Values::Whole(column) => {
                push_integer(out, column[row].into());
                true
            }
            Values::OptionalWhole(column) => {
                column[row].map(|n| push_integer(out, n.into())).is_some()
            }
            Values::Time(column) => {
                let start = out.len();
                out.push(b'"');
                let written = clock.push(out, column[row]);
                if written {
                    out.push(b'"');
                } else {
                    out.truncate(start);
                }
                written
            }
            Values::Name { .. } | Values::OptionalName { .. } | Values::Reason(_) => {
                let text = self.values.text_index(row).and_then(|i| self.texts.get(i));
                text.map(|t| out.extend_from_slice(t)).is_some()
            }
        };
        if !written {
            out.extend_from_slice(b"null");
        }
    }
}

/// Appends a point, the ring of a swath (counter-clockwise, closed: RFC 7946 section 3.1.6), or null.
fn push_geometry(out: &mut Vec<u8>, layer: &Features<'_>, row: usize) {
    let push_position = |out: &mut Vec<u8>, [lon, lat]: [f64; 2]| {
        out.push(b'[');
        push_decimal(out, lon, DEGREE_DECIMALS);
        out.push(b',');
        push_decimal(out, lat, DEGREE_DECIMALS);
        out.push(b']');
    };
    if layer.has_polygons() {
        let Some(quad) = layer.polygon(row) else {
            out.extend_from_slice(b"null");
            return;
        };
        out.extend_from_slice(b"{\"type\":\"Polygon\",\"coordinates\":[[");
        for corner in quad {
            push_position(out, corner);
            out.push(b',');
        }
        push_position(out, quad[0]);
        out.extend_from_slice(b"]]}");
    } else if let Some(position) = layer.position(row) {
        out.extend_from_slice(b"{\"type\":\"Point\",\"coordinates\":");
        push_position(out, position);
        out.push(b'}');
    } else {
        out.extend_from_slice(b"null");
    }
}

/// Appends the features of some rows, one on a line.
fn features(
    rows: &[u32],
    layer: &Features<'_>,
    columns: &[Column<'_>],
    first: bool,
    out: &mut Vec<u8>,
) {
    let mut clock = TimeText::default();
    for (k, &row) in rows.iter().enumerate() {
        let row = row as usize;
        let separator: &[u8] = if first && k == 0 { b"\n" } else { b",\n" };
        out.extend_from_slice(separator);
        out.extend_from_slice(b"{\"type\":\"Feature\",\"geometry\":");
        push_geometry(out, layer, row);
        out.extend_from_slice(b",\"properties\":{");
        for column in columns {
            column.push(out, row, &mut clock);
        }
        out.extend_from_slice(b"}}");
    }
}
