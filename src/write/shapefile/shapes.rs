//! The .shp and .shx of a layer of points. The `shapefile` crate reads them back in tests; it cannot write them,
//! because it refuses a null shape among points, and a point without a position is one.
//!
//! Source: ESRI Shapefile Technical Description (July 1998), tables 1–3.

use std::io::{self, Write};

const HEADER_BYTES: u64 = 100;
const RECORD_HEADER_BYTES: u64 = 8;
/// Shape type, x, y.
const POINT_BYTES: u64 = 20;
/// Shape type alone.
const NULL_BYTES: u64 = 4;
const POINT: i32 = 1;

/// Size of a .shp with so many points, at most.
pub(super) fn bytes(points: usize) -> u64 {
    HEADER_BYTES + points as u64 * (RECORD_HEADER_BYTES + POINT_BYTES)
}

/// Writes the .shp. A position that is NaN is a null shape.
pub(super) fn write_shapes(out: &mut impl Write, positions: &[(f64, f64)]) -> io::Result<()> {
    let size: u64 = positions
        .iter()
        .map(|p| RECORD_HEADER_BYTES + content_bytes(p))
        .sum();
    out.write_all(&header(HEADER_BYTES + size, positions))?;
    for (number, position) in (1_i32..).zip(positions) {
        let mut record = [0; (RECORD_HEADER_BYTES + POINT_BYTES) as usize];
        record[0..4].copy_from_slice(&number.to_be_bytes());
        record[4..8].copy_from_slice(&words(content_bytes(position)));
        if !is_null(position) {
            record[8..12].copy_from_slice(&POINT.to_le_bytes());
            record[12..20].copy_from_slice(&position.0.to_le_bytes());
            record[20..28].copy_from_slice(&position.1.to_le_bytes());
        }
        // A null shape is its type alone, and its type is zero.
        out.write_all(&record[..(RECORD_HEADER_BYTES + content_bytes(position)) as usize])?;
    }
    Ok(())
}

/// Writes the .shx.
pub(super) fn write_index(out: &mut impl Write, positions: &[(f64, f64)]) -> io::Result<()> {
    out.write_all(&header(
        HEADER_BYTES + positions.len() as u64 * RECORD_HEADER_BYTES,
        positions,
    ))?;
    let mut offset = HEADER_BYTES;
    for position in positions {
        let mut entry = [0; RECORD_HEADER_BYTES as usize];
        entry[0..4].copy_from_slice(&words(offset));
        entry[4..8].copy_from_slice(&words(content_bytes(position)));
        out.write_all(&entry)?;
        offset += RECORD_HEADER_BYTES + content_bytes(position);
    }
    Ok(())
}

fn is_null(position: &(f64, f64)) -> bool {
    position.0.is_nan() || position.1.is_nan()
}

fn content_bytes(position: &(f64, f64)) -> u64 {
    if is_null(position) {
        NULL_BYTES
    } else {
        POINT_BYTES
    }
}

/// A length or offset as the format counts it: big-endian, in words of two bytes. The caller has kept it below 2³².
fn words(bytes: u64) -> [u8; 4] {
    ((bytes / 2) as i32).to_be_bytes()
}

fn header(file_bytes: u64, positions: &[(f64, f64)]) -> [u8; HEADER_BYTES as usize] {
    let mut header = [0; HEADER_BYTES as usize];
    header[0..4].copy_from_slice(&9994_i32.to_be_bytes());
    header[24..28].copy_from_slice(&words(file_bytes));
    header[28..32].copy_from_slice(&1000_i32.to_le_bytes());
    header[32..36].copy_from_slice(&POINT.to_le_bytes());
    let mut bounds: Option<[f64; 4]> = None;
    for &(x, y) in positions.iter().filter(|p| !is_null(p)) {
        let [west, south, east, north] = bounds.unwrap_or([x, y, x, y]);
        bounds = Some([west.min(x), south.min(y), east.max(x), north.max(y)]);
    }
    // Without any position the box is zero: readers take it from the shapes.
    for (k, side) in bounds.into_iter().flatten().enumerate() {
        header[36 + 8 * k..44 + 8 * k].copy_from_slice(&side.to_le_bytes());
    }
    header
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    const NONE: (f64, f64) = (f64::NAN, f64::NAN);

    fn files(positions: &[(f64, f64)]) -> (Vec<u8>, Vec<u8>) {
        let (mut shp, mut shx) = (vec![], vec![]);
        write_shapes(&mut shp, positions).unwrap();
        write_index(&mut shx, positions).unwrap();
        (shp, shx)
    }

    /// Oracle: the `shapefile` crate's reader.
    #[test]
    fn the_crate_reads_points_and_null_shapes() {
        let (shp, shx) = files(&[(1.5, -2.0), NONE, (-3.0, 4.0)]);
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
        let ours = files(&positions);
        assert_eq!(ours.0, shp.into_inner());
        assert_eq!(ours.1, shx.into_inner());
    }

    #[test]
    fn an_empty_layer_is_a_header() {
        let (shp, shx) = files(&[]);
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
