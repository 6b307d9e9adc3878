//! The .shp and .shx of a layer. The `shapefile` crate reads them back in tests; it cannot write them, because it
//! refuses a null shape among others, and a feature without a position is one.
//!
//! Source: ESRI Shapefile Technical Description (July 1998), tables 1–3 and 6.

use std::io::{self, Write};

const HEADER_BYTES: u64 = 100;
const RECORD_HEADER_BYTES: u64 = 8;
/// Shape type, x, y.
const POINT_BYTES: u64 = 20;
/// Shape type, box, number of parts and of points, start of the one part.
const POLYGON_BYTES: u64 = 48;
const POSITION_BYTES: u64 = 16;
/// Shape type alone.
const NULL_BYTES: u64 = 4;
const POINT: i32 = 1;
const POLYGON: i32 = 5;

/// The shapes of a layer.
pub(super) struct Shapes<'a> {
    positions: &'a [(f64, f64)],
    /// Positions of a shape: one of a point, else the corners of a polygon's only ring.
    corners: usize,
}

impl<'a> Shapes<'a> {
    /// `positions`: `corners` of them for each shape, one after the other. A shape with a position that is NaN is null.
    pub(super) fn new(positions: &'a [(f64, f64)], corners: usize) -> Self {
        Self { positions, corners }
    }

    /// Size of a .shp with so many shapes, at most.
    pub(super) fn bytes(shapes: usize, corners: usize) -> u64 {
        HEADER_BYTES + shapes as u64 * (RECORD_HEADER_BYTES + shape_bytes(corners))
    }

    /// Writes the .shp.
    pub(super) fn write(&self, out: &mut impl Write) -> io::Result<()> {
        let size: u64 = self
            .each()
            .map(|shape| RECORD_HEADER_BYTES + content_bytes(shape))
            .sum();
        out.write_all(&self.header(HEADER_BYTES + size))?;
        let mut record = vec![];
        for (number, shape) in (1_i32..).zip(self.each()) {
            record.clear();
            record.extend(number.to_be_bytes());
            record.extend(words(content_bytes(shape)));
            if is_null(shape) {
                record.extend([0; NULL_BYTES as usize]); // a null shape is its type alone, and its type is zero
            } else if let [(x, y)] = shape {
                record.extend(POINT.to_le_bytes());
                record.extend(x.to_le_bytes());
                record.extend(y.to_le_bytes());
            } else {
                push_polygon(&mut record, shape);
            }
            out.write_all(&record)?;
        }
        Ok(())
    }

    /// Writes the .shx.
    pub(super) fn write_index(&self, out: &mut impl Write) -> io::Result<()> {
        let shapes = (self.positions.len() / self.corners) as u64;
        out.write_all(&self.header(HEADER_BYTES + shapes * RECORD_HEADER_BYTES))?;
        let mut offset = HEADER_BYTES;
        for shape in self.each() {
            let mut entry = [0; RECORD_HEADER_BYTES as usize];
            entry[0..4].copy_from_slice(&words(offset));
            entry[4..8].copy_from_slice(&words(content_bytes(shape)));
            out.write_all(&entry)?;
            offset += RECORD_HEADER_BYTES + content_bytes(shape);
        }
        Ok(())
    }

    fn each(&self) -> impl Iterator<Item = &'a [(f64, f64)]> {
        self.positions.chunks_exact(self.corners)
    }

    fn header(&self, file_bytes: u64) -> [u8; HEADER_BYTES as usize] {
        let mut header = [0; HEADER_BYTES as usize];
        header[0..4].copy_from_slice(&9994_i32.to_be_bytes());
        header[24..28].copy_from_slice(&words(file_bytes));
        header[28..32].copy_from_slice(&1000_i32.to_le_bytes());
        let kind = if self.corners == 1 { POINT } else { POLYGON };
        header[32..36].copy_from_slice(&kind.to_le_bytes());
        let shapes = self.each().filter(|s| !is_null(s)).flatten();
        // Without any position the box is zero: readers take it from the shapes.
        for (k, side) in bounds(shapes).into_iter().flatten().enumerate() {
            header[36 + 8 * k..44 + 8 * k].copy_from_slice(&side.to_le_bytes());
        }
        header
    }
}

/// A polygon of one ring, clockwise and closed.
fn push_polygon(record: &mut Vec<u8>, ring: &[(f64, f64)]) {
    record.extend(POLYGON.to_le_bytes());
    for side in bounds(ring.iter()).into_iter().flatten() {
        record.extend(side.to_le_bytes());
    }
    record.extend(1_i32.to_le_bytes());
    record.extend((ring.len() as i32 + 1).to_le_bytes());
    record.extend(0_i32.to_le_bytes());
    let mut push = |&(x, y): &(f64, f64)| {
        record.extend(x.to_le_bytes());
        record.extend(y.to_le_bytes());
    };
    if doubled_area(ring) > 0.0 {
        ring[..1]
            .iter()
            .chain(ring.iter().rev())
            .for_each(&mut push);
    } else {
        ring.iter().chain(&ring[..1]).for_each(&mut push);
    }
}

/// Twice the signed area of a ring, above zero where it runs counter-clockwise; from its first corner, so that no digit
/// is lost to large coordinates.
fn doubled_area(ring: &[(f64, f64)]) -> f64 {
    let Some(&(x0, y0)) = ring.first() else {
        return 0.0;
    };
    let of_pair = |w: &[(f64, f64)]| (w[0].0 - x0) * (w[1].1 - y0) - (w[1].0 - x0) * (w[0].1 - y0);
    ring.windows(2).map(of_pair).sum()
}

/// West, south, east and north.
fn bounds<'a>(positions: impl Iterator<Item = &'a (f64, f64)>) -> Option<[f64; 4]> {
    positions.fold(None, |bounds: Option<[f64; 4]>, &(x, y)| {
        let [west, south, east, north] = bounds.unwrap_or([x, y, x, y]);
        Some([west.min(x), south.min(y), east.max(x), north.max(y)])
    })
}

fn is_null(shape: &[(f64, f64)]) -> bool {
    shape.iter().any(|(x, y)| x.is_nan() || y.is_nan())
}

fn shape_bytes(corners: usize) -> u64 {
    if corners == 1 {
        POINT_BYTES
    } else {
        POLYGON_BYTES + (corners as u64 + 1) * POSITION_BYTES
    }
}

fn content_bytes(shape: &[(f64, f64)]) -> u64 {
    if is_null(shape) {
        NULL_BYTES
    } else {
        shape_bytes(shape.len())
    }
}

/// A length or offset as the format counts it: big-endian, in words of two bytes. The caller has kept it below 2³².
fn words(bytes: u64) -> [u8; 4] {
    ((bytes / 2) as i32).to_be_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    const NONE: (f64, f64) = (f64::NAN, f64::NAN);

    fn files(positions: &[(f64, f64)], corners: usize) -> (Vec<u8>, Vec<u8>) {
        let (mut shp, mut shx) = (vec![], vec![]);
        let shapes = Shapes::new(positions, corners);
        shapes.write(&mut shp).unwrap();
        shapes.write_index(&mut shx).unwrap();
        (shp, shx)
    }

    /// Oracle: the `shapefile` crate's reader.
    #[test]
    fn the_crate_reads_points_and_null_shapes() {
        let (shp, shx) = files(&[(1.5, -2.0), NONE, (-3.0, 4.0)], 1);
        let mut reader =
            shapefile::ShapeReader::with_shx(Cursor::new(shp), Cursor::new(shx)).unwrap();
        let bbox = reader.header().bbox;
        assert_eq!(
            (bbox.min.x, bbox.min.y, bbox.max.x, bbox.max.y),
            (-3.0, -2.0, 1.5, 4.0)
        );
        let third = reader
            .read_nth_shape_as::<shapefile::Point>(2)
            .unwrap()
            .unwrap();
        assert_eq!((third.x, third.y), (-3.0, 4.0));
        let shapes: Vec<_> = reader.iter_shapes().map(Result::unwrap).collect();
        assert!(matches!(shapes[0], shapefile::Shape::Point(p) if (p.x, p.y) == (1.5, -2.0)));
        assert!(matches!(shapes[1], shapefile::Shape::NullShape));
        assert_eq!(shapes.len(), 3);
    }

    /// Oracle: the bytes of the `shapefile` crate's writer, where it can write the layer.
    #[test]
    fn points_are_the_bytes_that_the_crate_writes() {
        let positions = [(1.5, -2.0), (-3.0, 4.0)];
        let (mut shp, mut shx) = (Cursor::new(vec![]), Cursor::new(vec![]));
        let mut writer = shapefile::ShapeWriter::with_shx(&mut shp, &mut shx);
        for (x, y) in positions {
            writer.write_shape(&shapefile::Point::new(x, y)).unwrap();
        }
        writer.finalize().unwrap();
        drop(writer);
        let ours = files(&positions, 1);
        assert_eq!(ours.0, shp.into_inner());
        assert_eq!(ours.1, shx.into_inner());
    }

    /// Oracle: the bytes of the `shapefile` crate's writer, which turns rings as the format wants them.
    #[test]
    fn polygons_are_the_bytes_that_the_crate_writes() {
        let quads = [
            [(0.0, 0.0), (3.0, 0.5), (3.0, 2.0), (0.0, 1.5)],
            [(9.0, 9.0), (9.0, 10.0), (10.0, 10.0), (10.0, 9.0)],
        ];
        let (mut shp, mut shx) = (Cursor::new(vec![]), Cursor::new(vec![]));
        let mut writer = shapefile::ShapeWriter::with_shx(&mut shp, &mut shx);
        for quad in quads {
            let ring = quad
                .iter()
                .chain(&quad[..1])
                .map(|&(x, y)| shapefile::Point::new(x, y));
            let ring = shapefile::PolygonRing::Outer(ring.collect());
            writer.write_shape(&shapefile::Polygon::new(ring)).unwrap();
        }
        writer.finalize().unwrap();
        drop(writer);
        let ours = files(quads.as_flattened(), 4);
        assert_eq!(ours.0, shp.into_inner());
        assert_eq!(ours.1, shx.into_inner());
    }

    #[test]
    fn a_polygon_with_a_missing_corner_is_a_null_shape() {
        let (shp, shx) = files(&[(0.0, 0.0), (1.0, 0.0), NONE, (0.0, 1.0)], 4);
        let mut reader =
            shapefile::ShapeReader::with_shx(Cursor::new(shp), Cursor::new(shx)).unwrap();
        let shapes: Vec<_> = reader.iter_shapes().map(Result::unwrap).collect();
        assert!(matches!(shapes[..], [shapefile::Shape::NullShape]));
    }

    #[test]
    fn an_empty_layer_is_a_header() {
        let (shp, shx) = files(&[], 1);
        assert_eq!((shp.len(), shx.len()), (100, 100));
        assert_eq!(
            shapefile::ShapeReader::new(Cursor::new(shp))
                .unwrap()
                .iter_shapes()
                .count(),
            0
        );
    }
}
