//! Coordinates of any CRS into longitude and latitude, WGS 84.

use proj::{Proj, ProjCreateError};

/// Takes coordinates of one CRS to longitude and latitude.
pub(super) struct ToDegrees {
    /// `None`: they are longitude and latitude, WGS 84, already.
    proj: Option<Proj>,
}

impl ToDegrees {
    /// From a CRS by authority and code (`EPSG:32615`), as WKT of any version, or whatever else PROJ reads.
    pub fn from_crs(definition: &str) -> Result<Self, ProjCreateError> {
        let code = definition.trim().to_uppercase();
        if ["EPSG:4326", "OGC:CRS84"].contains(&code.as_str()) {
            return Ok(Self::already());
        }
        let proj = Proj::new_known_crs(definition.trim(), "OGC:CRS84", None)?;
        Ok(Self { proj: Some(proj) })
    }

    /// From longitude and latitude.
    pub fn already() -> Self {
        Self { proj: None }
    }

    /// Longitude and latitude in degrees; NaN where there are none.
    pub fn convert(&self, x: f64, y: f64) -> (f64, f64) {
        match &self.proj {
            None => (x, y),
            Some(proj) if x.is_finite() && y.is_finite() => proj
                .convert((x, y))
                .ok()
                .filter(|(lon, lat): &(f64, f64)| lon.is_finite() && lat.is_finite())
                .unwrap_or((f64::NAN, f64::NAN)),
            Some(_) => (f64::NAN, f64::NAN),
        }
    }
}

/// Whether coordinates without a CRS look like longitude and latitude.
pub(super) fn looks_like_degrees(bounds: [f64; 4]) -> bool {
    let [west, south, east, north] = bounds;
    west >= -180.0 && east <= 180.0 && south >= -90.0 && north <= 90.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// WGS 84 / UTM zone 15N: the central meridian at the equator is 500,000 E, 0 N by definition.
    #[test]
    fn codes_and_both_kinds_of_wkt_are_read() {
        let esri = "PROJCS[\"WGS_1984_UTM_Zone_15N\",GEOGCS[\"GCS_WGS_1984\",DATUM[\"D_WGS_1984\",SPHEROID[\"WGS_1984\",\
            6378137.0,298.257223563]],PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]],\
            PROJECTION[\"Transverse_Mercator\"],PARAMETER[\"False_Easting\",500000.0],PARAMETER[\"False_Northing\",0.0],\
            PARAMETER[\"Central_Meridian\",-93.0],PARAMETER[\"Scale_Factor\",0.9996],PARAMETER[\"Latitude_Of_Origin\",0.0],\
            UNIT[\"Meter\",1.0]]";
        for definition in ["EPSG:32615", esri] {
            let there = ToDegrees::from_crs(definition).expect("known");
            let (lon, lat) = there.convert(500_000.0, 0.0);
            assert!((lon + 93.0).abs() < 1e-9 && lat.abs() < 1e-9, "{lon} {lat}");
            assert!(there.convert(f64::NAN, 0.0).0.is_nan());
        }
        assert_eq!(
            ToDegrees::from_crs("EPSG:4326")
                .expect("known")
                .convert(7.0, 51.0),
            (7.0, 51.0)
        );
        assert!(ToDegrees::from_crs("nowhere").is_err());
    }
}
