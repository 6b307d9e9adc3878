//! Well-known binary, little-endian (OGC 06-103r4, section 8).

const POINT: u32 = 1;
const POLYGON: u32 = 3;

/// Appends a point (one position) or a polygon of one ring (its corners counter-clockwise, not closed).
pub(crate) fn push(out: &mut Vec<u8>, corners: &[(f64, f64)]) {
    out.push(1); // little-endian
    if let [position] = corners {
        out.extend(POINT.to_le_bytes());
        push_position(out, position);
        return;
    }
    out.extend(POLYGON.to_le_bytes());
    out.extend(1_u32.to_le_bytes());
    out.extend((corners.len() as u32 + 1).to_le_bytes());
    for position in corners.iter().chain(corners.first()) {
        push_position(out, position);
    }
}

/// West, south, east and north of a feature's positions; `None` where one is missing.
pub(crate) fn envelope(corners: &[(f64, f64)]) -> Option<[f64; 4]> {
    let mut sides: Option<[f64; 4]> = None;
    for &(x, y) in corners {
        if x.is_nan() || y.is_nan() {
            return None;
        }
        let [west, south, east, north] = sides.unwrap_or([x, y, x, y]);
        sides = Some([west.min(x), south.min(y), east.max(x), north.max(y)]);
    }
    sides
}

/// The envelope of all features that have a place.
pub(crate) fn extent(positions: &[(f64, f64)], corners: usize) -> Option<[f64; 4]> {
    positions
        .chunks_exact(corners)
        .filter_map(envelope)
        .reduce(|a, b| {
            [
                a[0].min(b[0]),
                a[1].min(b[1]),
                a[2].max(b[2]),
                a[3].max(b[3]),
            ]
        })
}

fn push_position(out: &mut Vec<u8>, (x, y): &(f64, f64)) {
    out.extend(x.to_le_bytes());
    out.extend(y.to_le_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The point example of OGC 06-103r4, section 8.2.3 spelt out: byte order, type, x = 1, y = 2.
    #[test]
    fn a_point_is_21_bytes() {
        let mut out = vec![];
        push(&mut out, &[(1.0, 2.0)]);
        assert_eq!(out[..5], [1, 1, 0, 0, 0]);
        assert_eq!(
            out[5..],
            [0, 0, 0, 0, 0, 0, 0xf0, 0x3f, 0, 0, 0, 0, 0, 0, 0, 0x40]
        );
    }

    #[test]
    fn a_missing_corner_is_no_place() {
        assert_eq!(envelope(&[(1.0, 2.0), (f64::NAN, 2.0)]), None);
        assert_eq!(
            extent(&[(1.0, 2.0), (f64::NAN, 9.0), (0.0, 5.0)], 1),
            Some([0.0, 2.0, 1.0, 5.0])
        );
        assert_eq!(extent(&[], 1), None);
    }
}
