//! UTM zones on WGS 84.
//!
//! Source: NGA.STND.0037, "Universal Grids and Grid Reference Systems": central meridians, scale 0.9996, false origins, and
//! the zones that are wider over Norway and Svalbard; EPSG 32601–32660 north, 32701–32760 south.

use super::frame::{about_meridian, from_meridian, wrapped};

/// Scale on the central meridian.
const SCALE: f64 = 0.9996;
/// Easting of the central meridian, m.
const FALSE_EASTING: f64 = 500_000.0;
/// Northing of the equator in zones of the southern hemisphere, m.
const FALSE_NORTHING: f64 = 10_000_000.0;

/// A zone, north or south of the equator.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UtmZone {
    number: u32,
    is_south: bool,
}

impl UtmZone {
    /// The zone of a place, degrees.
    pub fn of(lon: f64, lat: f64) -> Self {
        let regular = ((lon + 180.0) / 6.0).floor().rem_euclid(60.0) as u32 + 1;
        let number = if (56.0..64.0).contains(&lat) && (3.0..12.0).contains(&lon) {
            32
        } else if (72.0..=84.0).contains(&lat) && (0.0..42.0).contains(&lon) {
            31 + 2 * ((lon + 3.0) / 12.0).floor() as u32
        } else {
            regular
        };
        Self {
            number,
            is_south: lat < 0.0,
        }
    }

    /// Its code in the EPSG registry, such as `EPSG:32632`.
    pub fn code(self) -> String {
        let first = if self.is_south { 32_700 } else { 32_600 };
        format!("EPSG:{}", first + self.number)
    }

    fn meridian(self) -> f64 {
        6.0 * f64::from(self.number) - 183.0
    }

    fn false_northing(self) -> f64 {
        if self.is_south { FALSE_NORTHING } else { 0.0 }
    }

    /// Easting and northing of a place given in degrees, m; `None` where PROJ has none.
    pub fn forward(self, lon: f64, lat: f64) -> Option<[f64; 2]> {
        let [x, y] = about_meridian(lon - self.meridian(), lat)?;
        Some([SCALE * x + FALSE_EASTING, SCALE * y + self.false_northing()])
    }

    /// Longitude (within ±180°) and latitude of an easting and a northing, degrees.
    pub fn inverse(self, [east, north]: [f64; 2]) -> Option<[f64; 2]> {
        let [lon, lat] = from_meridian([
            (east - FALSE_EASTING) / SCALE,
            (north - self.false_northing()) / SCALE,
        ])?;
        Some([wrapped(lon + self.meridian()), lat])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proj::Proj;

    /// Zones by NGA.STND.0037: regular ones, the wide ones of Norway (32V) and Svalbard (31X, 33X, 35X, 37X).
    #[test]
    fn zones_are_those_of_the_grid() {
        for (lon, lat, code) in [
            (-93.6, 42.0, "EPSG:32615"),
            (8.5, 49.0, "EPSG:32632"),
            (5.5, 59.0, "EPSG:32632"),
            (5.5, 50.0, "EPSG:32631"),
            (8.9, 78.0, "EPSG:32631"),
            (9.1, 78.0, "EPSG:32633"),
            (21.0, 78.0, "EPSG:32635"),
            (33.0, 78.0, "EPSG:32637"),
            (-63.0, -33.0, "EPSG:32720"),
            (180.0, 10.0, "EPSG:32601"),
            (-180.0, 10.0, "EPSG:32601"),
        ] {
            assert_eq!(UtmZone::of(lon, lat).code(), code, "{lon} {lat}");
        }
    }

    /// Oracle: PROJ's own definition of the zone by its EPSG code.
    #[test]
    fn places_are_where_proj_has_them() {
        for (lon, lat) in [
            (-93.6, 42.0),
            (11.99, 48.8),
            (5.5, 59.0),
            (-63.0, -33.0),
            (179.99, -17.0),
        ] {
            let zone = UtmZone::of(lon, lat);
            let proj = Proj::new_known_crs("EPSG:4326", &zone.code(), None).unwrap();
            let (east, north) = proj.convert((lon, lat)).unwrap();
            let ours = zone.forward(lon, lat).unwrap();
            assert!(
                (ours[0] - east).abs() < 1e-6 && (ours[1] - north).abs() < 1e-6,
                "{lon} {lat}: {ours:?}, {east} {north}"
            );
            let [x, y] = zone.inverse(ours).unwrap();
            assert!((x - lon).abs() < 1e-11 && (y - lat).abs() < 1e-11);
        }
    }
}
