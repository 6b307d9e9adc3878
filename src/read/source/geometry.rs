//! Points and polygons as well-known binary and as GeoPackage and shapefile wrap them.

use geo::{Coord, LineString, Polygon};

/// Nesting that a geometry may have (our choice: a collection in a multipolygon is two).
const DEEPEST: u8 = 4;

/// A geometry, as far as we need it. Heights and measures are left out.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::read) enum Shape {
    /// No position.
    Empty,
    /// One point.
    Point(f64, f64),
    /// Polygons, each with its holes.
    Polygons(Vec<Polygon<f64>>),
    /// Something else, by its name.
    Other(&'static str),
}

/// Bytes that are not a geometry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::read) struct NotAGeometry;

/// Numbers of either byte order from a slice, never past its end.
#[derive(Clone)]
pub(in crate::read) struct Cursor<'a> {
    bytes: &'a [u8],
    little: bool,
}

impl<'a> Cursor<'a> {
    pub fn little(bytes: &'a [u8]) -> Self {
        Self {
            bytes,
            little: true,
        }
    }

    fn take<const N: usize>(&mut self) -> Result<[u8; N], NotAGeometry> {
        let (head, rest) = self.bytes.split_first_chunk::<N>().ok_or(NotAGeometry)?;
        self.bytes = rest;
        Ok(*head)
    }

    pub fn u8(&mut self) -> Result<u8, NotAGeometry> {
        self.take::<1>().map(|[b]| b)
    }

    pub fn u32(&mut self) -> Result<u32, NotAGeometry> {
        let bytes = self.take::<4>()?;
        Ok(if self.little {
            u32::from_le_bytes(bytes)
        } else {
            u32::from_be_bytes(bytes)
        })
    }

    pub fn f64(&mut self) -> Result<f64, NotAGeometry> {
        let bytes = self.take::<8>()?;
        Ok(if self.little {
            f64::from_le_bytes(bytes)
        } else {
            f64::from_be_bytes(bytes)
        })
    }

    fn skip(&mut self, n: usize) -> Result<(), NotAGeometry> {
        self.bytes = self.bytes.get(n..).ok_or(NotAGeometry)?;
        Ok(())
    }
}

/// The geometry of a GeoPackage blob (OGC 12-128r18, clause 2.1.3): `GP`, version, flags, SRS, envelope, then WKB.
pub(in crate::read) fn of_geopackage(blob: &[u8]) -> Result<Shape, NotAGeometry> {
    let rest = blob.strip_prefix(b"GP").ok_or(NotAGeometry)?;
    let mut cursor = Cursor::little(rest);
    let _version = cursor.u8()?;
    let flags = cursor.u8()?;
    cursor.skip(4)?;
    let envelope = match (flags >> 1) & 7 {
        0 => 0,
        1 => 32,
        2 | 3 => 48,
        4 => 64,
        _ => return Err(NotAGeometry),
    };
    if flags & 0b1_0000 != 0 {
        return Ok(Shape::Empty);
    }
    cursor.skip(envelope)?;
    wkb(&mut cursor, 0)
}

/// A geometry in well-known binary (OGC 06-103r4, clause 8; ISO adds 1000 for Z, 2000 for M, 3000 for both).
fn wkb(cursor: &mut Cursor<'_>, depth: u8) -> Result<Shape, NotAGeometry> {
    cursor.little = match cursor.u8()? {
        0 => false,
        1 => true,
        _ => return Err(NotAGeometry),
    };
    let kind = cursor.u32()?;
    // The older way of marking Z and M: the high bits.
    let (z, m) = (kind & 0x8000_0000 != 0, kind & 0x4000_0000 != 0);
    if kind & 0x2000_0000 != 0 {
        cursor.skip(4)?;
    }
    let kind = kind & 0x0FFF_FFFF;
    let more = match kind / 1000 {
        0 => usize::from(z) + usize::from(m),
        1 | 2 => 1,
        3 => 2,
        _ => return Err(NotAGeometry),
    };
    match kind % 1000 {
        1 => {
            let (x, y) = (cursor.f64()?, cursor.f64()?);
            cursor.skip(8 * more)?;
            Ok(if x.is_nan() || y.is_nan() {
                Shape::Empty
            } else {
                Shape::Point(x, y)
            })
        }
        3 => Ok(Shape::Polygons(
            polygon(cursor, more)?.into_iter().collect(),
        )),
        4 | 6 | 7 if depth < DEEPEST => many(cursor, depth),
        2 => Ok(Shape::Other("line")),
        5 => Ok(Shape::Other("set of lines")),
        _ => Ok(Shape::Other("geometry of another kind")),
    }
}

/// The members of a multipoint, multipolygon or collection: one point, or all polygons.
fn many(cursor: &mut Cursor<'_>, depth: u8) -> Result<Shape, NotAGeometry> {
    let count = cursor.u32()?;
    let (mut polygons, mut point, mut points) = (Vec::new(), None, 0);
    for _ in 0..count {
        match wkb(cursor, depth + 1)? {
            Shape::Polygons(mut more) => polygons.append(&mut more),
            Shape::Point(x, y) => {
                point = Some((x, y));
                points += 1;
            }
            Shape::Empty => {}
            other => return Ok(other), // its length is not known
        }
    }
    Ok(match (polygons.is_empty(), point, points) {
        (false, _, _) => Shape::Polygons(polygons),
        (true, Some((x, y)), 1) => Shape::Point(x, y),
        (true, None, _) => Shape::Empty,
        _ => Shape::Other("set of several points"),
    })
}

fn polygon(cursor: &mut Cursor<'_>, more: usize) -> Result<Option<Polygon<f64>>, NotAGeometry> {
    let count = cursor.u32()?;
    let mut rings = Vec::new();
    for _ in 0..count {
        let corners = cursor.u32()?;
        let mut ring = Vec::new();
        for _ in 0..corners {
            let (x, y) = (cursor.f64()?, cursor.f64()?);
            cursor.skip(8 * more)?;
            ring.push(Coord { x, y });
        }
        rings.push(LineString(ring));
    }
    let mut rings = rings.into_iter();
    Ok(rings
        .next()
        .map(|outer| Polygon::new(outer, rings.collect())))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(kind: u32, numbers: &[f64]) -> Vec<u8> {
        let mut blob = b"GP\0\x01\xE6\x10\0\0".to_vec();
        blob.push(1);
        blob.extend(kind.to_le_bytes());
        blob.extend(numbers.iter().flat_map(|n| n.to_le_bytes()));
        blob
    }

    #[test]
    fn points_come_without_their_heights() {
        for (kind, numbers) in [
            (1, &[7.0, 51.0][..]),
            (1001, &[7.0, 51.0, 90.0]),
            (3001, &[7.0, 51.0, 90.0, 1.0]),
        ] {
            assert_eq!(
                of_geopackage(&point(kind, numbers)),
                Ok(Shape::Point(7.0, 51.0))
            );
        }
        assert_eq!(
            of_geopackage(&point(0x8000_0001, &[7.0, 51.0, 9.0])),
            Ok(Shape::Point(7.0, 51.0))
        );
        assert_eq!(
            of_geopackage(&point(1, &[f64::NAN, f64::NAN])),
            Ok(Shape::Empty)
        );
        assert_eq!(of_geopackage(&point(2, &[])), Ok(Shape::Other("line")));
    }

    #[test]
    fn cut_bytes_are_no_geometry() {
        let whole = point(1001, &[7.0, 51.0, 90.0]);
        for n in 0..whole.len() {
            assert_eq!(of_geopackage(&whole[..n]), Err(NotAGeometry), "{n}");
        }
        // A count of corners that no file holds takes neither memory nor time.
        let mut huge = b"GP\0\x01\0\0\0\0\x01\x03\0\0\0".to_vec();
        huge.extend([0xFF; 8]);
        assert_eq!(of_geopackage(&huge), Err(NotAGeometry));
    }
}
