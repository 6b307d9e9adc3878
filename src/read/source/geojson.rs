//! Points of a GeoJSON feature collection (RFC 7946), one feature at a time.

use std::io::{self, BufRead, BufReader, Read};

use serde::Deserialize;
use serde_json::{Map, Value};

use super::bytes::Input;
use super::{BATCH, Batch, Fault, Header, Record, Rows, Table};
use crate::job::{LogColumn, LogSettings};
use crate::place::Place;
use crate::read::crs::ToDegrees;
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::text::{BUFFER, utf8};
use crate::summary::Remark;

/// What may stand before the features, bytes (our choice: a name, a box, a crs).
const LONGEST_HEAD: usize = 1024 * 1024;

/// A feature, as far as a log needs it.
#[derive(Deserialize)]
struct Feature {
    #[serde(default)]
    geometry: Option<Geometry>,
    #[serde(default)]
    properties: Option<Map<String, Value>>,
}

#[derive(Deserialize)]
struct Geometry {
    #[serde(rename = "type")]
    kind: String,
    #[serde(default)]
    coordinates: Value,
}

/// Opens a feature collection of points. Its columns are the properties of the first rows.
pub(super) fn open(input: Input, file: &str, settings: &LogSettings) -> Result<Table, ReadError> {
    let io = |e| ReadError::io(file, e);
    let text = utf8(input).map_err(io)?;
    let mut text = BufReader::with_capacity(BUFFER, text);
    let refuse = |found: &str| {
        ReadError::new(
            ReadErrorKind::Format,
            Place::file(file),
            "a GeoJSON feature collection of points",
            found,
        )
        .hinted("export the log as GeoJSON, or as CSV")
    };
    let head = to_features(&mut text)
        .map_err(io)?
        .ok_or_else(|| refuse("no list of features"))?;
    let to_degrees = match crs_member(&head).or_else(|| settings.crs.clone()) {
        None => ToDegrees::already(),
        Some(name) => ToDegrees::from_crs(&name).map_err(|cause| {
            ReadError::new(
                ReadErrorKind::Crs,
                Place::file(file),
                "a CRS that PROJ knows",
                format!("\"{name}\""),
            )
            .hinted("export it in WGS 84, as RFC 7946 has it")
            .because(cause)
        })?,
    };
    let mut stream = Features {
        text,
        started: false,
        ended: false,
    };
    let mut first = Vec::new();
    let mut names: Vec<String> = Vec::new();
    while first.len() < BATCH {
        let Some(feature) = stream.next() else { break };
        if let Ok(Feature {
            properties: Some(properties),
            ..
        }) = &feature
        {
            for name in properties.keys() {
                if !names.contains(name) {
                    names.push(name.clone());
                }
            }
        }
        first.push(feature);
    }
    let mut headers = vec![
        Header::stated("longitude of the geometry", LogColumn::Lon, Some("deg")),
        Header::stated("latitude of the geometry", LogColumn::Lat, Some("deg")),
    ];
    headers.extend(names.iter().map(|n| Header::named(n.as_str())));
    let points = Points {
        first: first.into_iter(),
        stream,
        names,
        to_degrees,
        rows: 0,
        late: None,
        file: file.to_owned(),
    };
    Ok(Table {
        above: Vec::new(),
        headers,
        separator: None,
        decimal_comma: false,
        warnings: Vec::new(),
        rows: Box::new(points),
    })
}

struct Points {
    first: std::vec::IntoIter<Result<Feature, serde_json::Error>>,
    stream: Features,
    names: Vec<String>,
    to_degrees: ToDegrees,
    rows: u64,
    /// The first property that the first rows do not have, and its row.
    late: Option<(String, u64)>,
    file: String,
}

impl Rows for Points {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<(), ReadError> {
        batch.clear();
        while !batch.is_full() {
            let Some(feature) = self.first.next().or_else(|| self.stream.next()) else {
                break;
            };
            self.rows += 1;
            let record = batch.add();
            match feature {
                Ok(feature) => self.fill(feature, record),
                Err(cause) => {
                    let found =
                        format!("JSON that breaks off ({cause}); the rest of the file is not read");
                    record.fault = Some(Fault {
                        field: None,
                        expected: "a feature".to_owned(),
                        found,
                    });
                }
            }
        }
        Ok(())
    }

    fn remarks(&mut self) -> Vec<Remark> {
        let late = self.late.take().map(|(name, row)| {
            let text = format!(
                "{}, row {row}: the property \"{name}\" is not read, because the first {BATCH} rows do not have it",
                self.file
            );
            Remark::new("late-property", text)
        });
        late.into_iter().collect()
    }
}

impl Points {
    fn fill(&mut self, feature: Feature, record: &mut Record) {
        let (lon, lat) = match position(feature.geometry.as_ref()) {
            Ok((x, y)) => self.to_degrees.convert(x, y),
            Err(found) => {
                record.fault = Some(Fault {
                    field: None,
                    expected: "a point".to_owned(),
                    found,
                });
                (f64::NAN, f64::NAN)
            }
        };
        record.push_number(lon);
        record.push_number(lat);
        let properties = feature.properties.unwrap_or_default();
        for name in &self.names {
            match properties.get(name) {
                None | Some(Value::Null) => record.cells.push_field(b""),
                Some(Value::String(text)) => record.cells.push_field(text.as_bytes()),
                Some(Value::Bool(yes)) => record.cells.push_field(if *yes { b"1" } else { b"0" }),
                Some(other) => record.cells.push_field(other.to_string().as_bytes()),
            }
        }
        if self.late.is_none() && self.rows > BATCH as u64 {
            let late = properties.keys().find(|name| !self.names.contains(name));
            self.late = late.map(|name| (name.clone(), self.rows));
        }
    }
}

/// The position of a point; NaN where there is none.
fn position(geometry: Option<&Geometry>) -> Result<(f64, f64), String> {
    let Some(geometry) = geometry else {
        return Ok((f64::NAN, f64::NAN));
    };
    let coordinates = match (geometry.kind.as_str(), &geometry.coordinates) {
        ("Point", coordinates) => coordinates,
        ("MultiPoint", Value::Array(points)) if points.len() == 1 => &points[0],
        (other, _) => return Err(format!("a {other}")),
    };
    match coordinates.as_array().map(Vec::as_slice) {
        Some([]) => Ok((f64::NAN, f64::NAN)),
        Some([x, y, ..]) => match (x.as_f64(), y.as_f64()) {
            (Some(x), Some(y)) => Ok((x, y)),
            _ if x.is_null() || y.is_null() => Ok((f64::NAN, f64::NAN)),
            _ => Err("coordinates that are no numbers".to_owned()),
        },
        _ => Err("no coordinates".to_owned()),
    }
}

/// The features of the list, read one by one.
struct Features {
    text: BufReader<Input>,
    started: bool,
    ended: bool,
}

impl Iterator for Features {
    type Item = Result<Feature, serde_json::Error>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.ended {
            return None;
        }
        let broken = |text: &str| <serde_json::Error as serde::de::Error>::custom(text);
        let next = loop {
            let mut byte = [0u8];
            match self.text.read(&mut byte) {
                Ok(0) => break Err(broken("the file ends within its list of features")),
                Ok(_) if byte[0].is_ascii_whitespace() => {}
                Ok(_) => break Ok(byte[0]),
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => break Err(serde_json::Error::io(e)),
            }
        };
        let started = std::mem::replace(&mut self.started, true);
        let feature = match next {
            Ok(b']') => {
                self.ended = true;
                return None;
            }
            Ok(b',') if started => one(&mut self.text),
            Ok(byte) if !started => one(&mut io::Cursor::new([byte]).chain(&mut self.text)),
            Ok(byte) => Err(broken(&format!(
                "expected , or ], found {}",
                char::from(byte).escape_debug()
            ))),
            Err(e) => Err(e),
        };
        self.ended = feature.is_err();
        Some(feature)
    }
}

fn one(text: &mut impl Read) -> Result<Feature, serde_json::Error> {
    let mut values = serde_json::Deserializer::from_reader(text).into_iter::<Feature>();
    let broken = || <serde_json::Error as serde::de::Error>::custom("the file ends");
    values.next().unwrap_or_else(|| Err(broken()))
}

/// Reads up to the list of features of the outermost object and returns what stands before it; `None` where there is
/// no such list.
fn to_features(text: &mut impl BufRead) -> io::Result<Option<Vec<u8>>> {
    let mut head = Vec::new();
    let (mut depth, mut string, mut escaped, mut start) = (0i32, false, false, 0);
    let mut key: &[u8] = b"";
    let mut found = Vec::new();
    for byte in text.bytes() {
        let byte = byte?;
        head.push(byte);
        match byte {
            _ if escaped => escaped = false,
            b'\\' if string => escaped = true,
            b'"' if string => {
                string = false;
                if depth == 1 {
                    found.clear();
                    found.extend_from_slice(&head[start..head.len() - 1]);
                }
            }
            b'"' => (string, start) = (true, head.len()),
            _ if string => {}
            b':' if depth == 1 => {
                key = if found == b"features" {
                    b"features"
                } else {
                    b""
                }
            }
            b'[' if depth == 1 && key == b"features" => return Ok(Some(head)),
            b'{' | b'[' => depth += 1,
            b'}' | b']' => depth -= 1,
            b',' if depth == 1 => key = b"",
            _ => {}
        }
        if head.len() > LONGEST_HEAD || (depth <= 0 && !byte.is_ascii_whitespace()) {
            break;
        }
    }
    Ok(None)
}

/// The CRS that the `crs` member of older GeoJSON (2008) names, where it is not the longitude and latitude of RFC 7946.
pub(in crate::read) fn crs_member(head: &[u8]) -> Option<String> {
    let at = head.windows(5).position(|w| w == b"\"crs\"")? + 5;
    let rest = head[at..].trim_ascii_start().strip_prefix(b":")?;
    let value: Value = serde_json::Deserializer::from_slice(rest)
        .into_iter()
        .next()?
        .ok()?;
    let name = value.get("properties")?.get("name")?.as_str()?;
    // urn:ogc:def:crs:EPSG::32615 and urn:ogc:def:crs:OGC:1.3:CRS84
    let mut parts = name
        .strip_prefix("urn:ogc:def:crs:")
        .unwrap_or(name)
        .split(':');
    let (authority, code) = (parts.next()?, parts.next_back()?);
    let crs = format!("{authority}:{code}");
    (!["OGC:CRS84", "EPSG:4326"].contains(&crs.as_str())).then_some(crs)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> (Vec<String>, Vec<Vec<String>>, Vec<Option<Fault>>) {
        let input = Box::new(io::Cursor::new(text.as_bytes().to_vec()));
        let mut table = open(input, "a.geojson", &LogSettings::default()).expect("opens");
        let mut batch = Batch::default();
        let (mut cells, mut faults) = (Vec::new(), Vec::new());
        loop {
            table.rows.next_batch(&mut batch).expect("reads");
            if batch.records().is_empty() {
                break;
            }
            for record in batch.records() {
                cells.push(
                    record
                        .cells
                        .iter()
                        .map(|c| String::from_utf8_lossy(c).into_owned())
                        .collect(),
                );
                faults.push(record.fault.clone());
            }
        }
        (
            table.headers.into_iter().map(|h| h.name).collect(),
            cells,
            faults,
        )
    }

    #[test]
    fn features_come_one_by_one() {
        let text = r#" {"type":"FeatureCollection","name":"[x","bbox":[1,2,3,4],"features" : [
            {"type":"Feature","properties":{"flow":1.5,"load":"A \"1\""},"geometry":{"type":"Point","coordinates":[7.25,51.5,90]}},
            {"type":"Feature","geometry":null,"properties":{"load":null,"late":true}}, {"type":"Feature","properties":null,
            "geometry":{"type":"LineString","coordinates":[[1,2],[3,4]]}}] , "after": 1}"#;
        let (headers, cells, faults) = rows(text);
        assert_eq!(headers[2..], ["flow", "load", "late"]);
        assert_eq!(cells[0], ["7.25", "51.5", "1.5", "A \"1\"", ""]);
        assert_eq!(cells[1], ["", "", "", "", "1"]);
        assert_eq!(
            faults[2].as_ref().map(|f| f.found.as_str()),
            Some("a LineString")
        );
        assert_eq!(cells.len(), 3);
    }

    #[test]
    fn what_breaks_off_keeps_what_was_whole() {
        let text = r#"{"features":[{"properties":{"a":1},"geometry":null},{"proper"#;
        let (_, cells, faults) = rows(text);
        assert_eq!(cells.len(), 2);
        assert!(faults[0].is_none() && faults[1].is_some());
    }

    #[test]
    fn an_older_file_may_name_its_crs() {
        let head = br#"{"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::32615"}},"features":["#;
        assert_eq!(crs_member(head).as_deref(), Some("EPSG:32615"));
        let head = br#"{"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}},"features":["#;
        assert_eq!(crs_member(head), None);
    }
}
