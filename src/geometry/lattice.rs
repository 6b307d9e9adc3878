//! Square cells whose corners lie at whole multiples of their side in a UTM zone, so that fields and seasons share them.

use super::patch::Patch;
use super::{Frame, UtmZone};

/// Half a side of the square around the field's centre over which the way between the field's frame and the zone is learnt,
/// m (our choice: larger than any field).
const REACH_M: f64 = 10_000.0;
/// Largest departure from PROJ that is accepted, m (our choice: far below any receiver's error).
const TOLERANCE_M: f64 = 1e-3;

/// Square cells of a UTM zone about a field. A place in it is counted in metres of the zone from [`Lattice::origin`], so
/// that no digit is lost; cell (0, 0) has its south-west corner there. Distances in a zone are true to 4 parts in ten
/// thousand on its meridian, and to one in a thousand anywhere in it.
#[derive(Debug, Clone)]
pub struct Lattice {
    zone: UtmZone,
    side: f64,
    origin: [f64; 2],
    from_frame: Patch,
    to_frame: Patch,
}

impl Lattice {
    /// Cells of a side, m (more than 0), about the centre of a frame. `None` where the zone cannot be reached from there.
    pub fn about(frame: &Frame, zone: UtmZone, side: f64) -> Option<Self> {
        let [lon, lat] = frame.centre();
        let centre = zone.forward(lon, lat)?;
        let origin = centre.map(|c| (c / side).floor() * side);
        if !(side > 0.0) || origin.iter().any(|o| !o.is_finite()) {
            return None;
        }
        let from_frame = |[x, y]: [f64; 2]| {
            let (lon, lat) = frame.inverse(&[x], &[y]);
            let [east, north] = zone.forward(*lon.first()?, *lat.first()?)?;
            Some([east - origin[0], north - origin[1]])
        };
        let to_frame = |[u, v]: [f64; 2]| {
            let [lon, lat] = zone.inverse([origin[0] + u, origin[1] + v])?;
            let (x, y) = frame.forward(&[lon], &[lat]);
            Some([*x.first()?, *y.first()?]).filter(|p| p.iter().all(|c| c.is_finite()))
        };
        let learn = |map: &dyn Fn([f64; 2]) -> Option<[f64; 2]>| {
            Patch::learn([-REACH_M; 2], [REACH_M; 2], map)
                .filter(|patch| patch.worst_error(map) < TOLERANCE_M)
        };
        Some(Self {
            zone,
            side,
            origin,
            from_frame: learn(&from_frame)?,
            to_frame: learn(&to_frame)?,
        })
    }

    /// The zone.
    pub fn zone(&self) -> UtmZone {
        self.zone
    }

    /// Side of a cell, m of the zone.
    pub fn side(&self) -> f64 {
        self.side
    }

    /// Easting and northing of its origin, whole multiples of the side.
    pub fn origin(&self) -> [f64; 2] {
        self.origin
    }

    /// A place of the frame in the lattice; `None` beyond 10 km, and for NaN.
    pub fn from_frame(&self, p: [f64; 2]) -> Option<[f64; 2]> {
        self.from_frame.at(p)
    }

    /// A place of the lattice in the frame.
    pub fn to_frame(&self, p: [f64; 2]) -> Option<[f64; 2]> {
        self.to_frame.at(p)
    }

    /// Easting and northing of a cell's corners, counter-clockwise from the south-west. Neighbours share theirs to the
    /// last bit.
    pub fn corners(&self, [column, row]: [i32; 2]) -> [[f64; 2]; 4] {
        let at = |column: i32, row: i32| {
            [
                self.origin[0] + f64::from(column) * self.side,
                self.origin[1] + f64::from(row) * self.side,
            ]
        };
        [
            at(column, row),
            at(column + 1, row),
            at(column + 1, row + 1),
            at(column, row + 1),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corners_are_whole_multiples_and_two_fields_share_them() {
        let zone = UtmZone::of(9.2, 48.8);
        let here = Lattice::about(&Frame::centred(9.2, 48.8).unwrap(), zone, 10.0).unwrap();
        let there = Lattice::about(&Frame::centred(9.21, 48.805).unwrap(), zone, 10.0).unwrap();
        let corner = here.corners([0, 0])[0];
        assert!(corner.iter().all(|c| c % 10.0 == 0.0), "{corner:?}");
        let apart = [0, 1].map(|k| ((corner[k] - there.origin()[k]) / 10.0).round() as i32);
        assert_eq!(there.corners(apart)[0], corner);
        assert_eq!(here.corners([3, 4])[2], here.corners([4, 5])[0]);
    }

    #[test]
    fn the_frame_and_the_zone_are_one_plane_turned() {
        let frame = Frame::centred(11.5, 48.8).unwrap(); // 2.5° from the meridian: turned by 1.9°
        let lattice = Lattice::about(&frame, UtmZone::of(11.5, 48.8), 10.0).unwrap();
        for p in [[0.0, 0.0], [400.0, -300.0], [-2500.0, 1800.0]] {
            let q = lattice.from_frame(p).unwrap();
            let back = lattice.to_frame(q).unwrap();
            assert!((back[0] - p[0]).abs() < 1e-3 && (back[1] - p[1]).abs() < 1e-3);
        }
        let [a, b] = [[0.0, 0.0], [100.0, 0.0]].map(|p| lattice.from_frame(p).unwrap());
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        assert!((99.9..100.1).contains(&length), "{length}");
        let turn = (b[1] - a[1]).atan2(b[0] - a[0]).to_degrees();
        assert!((1.8..2.0).contains(&turn.abs()), "{turn}");
        assert!(lattice.from_frame([f64::NAN, 0.0]).is_none());
    }
}
