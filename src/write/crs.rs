//! The coordinate reference system of formats that can carry one, by PROJ.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use proj::Proj;
use proj::wkt::WktVersion;
use rayon::prelude::*;

use super::WriteError;
use super::layer::Features;
use crate::geometry::UtmZone;
use crate::job::OutputCrs;
use crate::map::YieldMap;

/// WGS 84, longitude and latitude.
const WGS84: &str = "EPSG:4326";
/// Positions that a core transforms at once. Our choice: some 5 ms of work.
const POSITIONS: usize = 1 << 15;

/// EPSG codes of projection methods for which PROJ 9.6 writes no .prj: Guam, Hyperbolic Cassini-Soldner, Krovak
/// Modified (two), Lambert Conic Conformal (1SP variant B). Found by asking for all 6,313 geographic and projected
/// CRSs of the registry.
const METHODS_WITHOUT_ESRI_NAME: [u64; 5] = [9831, 9833, 1042, 1043, 1102];

/// Why a CRS cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum CrsError {
    /// PROJ does not know it.
    #[error("PROJ does not know it (expected an authority and a code, such as \"EPSG:32632\")")]
    Unknown(#[source] proj::ProjCreateError),
    /// It is no two-dimensional geographic or projected CRS.
    #[error("it is a {kind}; layers of points need a two-dimensional geographic or projected CRS")]
    Kind {
        /// What PROJ calls it.
        kind: String,
    },
    /// Its projection has no name in .prj files.
    #[error("{method} has no name in .prj files")]
    Method {
        /// The projection method.
        method: String,
    },
    /// PROJ cannot describe it.
    #[error("PROJ cannot describe it")]
    Description(#[source] proj::ProjError),
    /// The description is not what PROJ documents.
    #[error("PROJ's description of it cannot be read")]
    Projjson(#[source] serde_json::Error),
}

/// The CRS as the job names it.
pub(crate) fn name(crs: &OutputCrs) -> &str {
    match crs {
        OutputCrs::Code(code) => code,
        OutputCrs::Utm => "utm",
    }
}

/// Checks that a CRS can be written.
pub(crate) fn check(crs: &OutputCrs) -> Result<(), CrsError> {
    match crs {
        OutputCrs::Utm => Ok(()),
        OutputCrs::Code(code) => known(code).map(|_| ()),
    }
}

/// The CRS of one field season's layers.
pub(crate) struct LayerCrs {
    /// Authority and code.
    pub code: String,
    /// What formats write of it.
    pub texts: Arc<CrsTexts>,
}

/// A CRS as formats write it.
pub(crate) struct CrsTexts {
    /// Its name.
    pub name: String,
    /// WKT1 in the dialect of .prj files.
    pub esri_wkt: String,
    /// WKT1 in GDAL's dialect, which GeoPackage and FlatGeobuf take; `None` where it has no word for the projection.
    pub gdal_wkt: Option<String>,
    /// PROJJSON.
    pub projjson: serde_json::Value,
}

impl LayerCrs {
    /// The job's CRS for a field: "utm" is the zone of the field's centre.
    pub(crate) fn of(crs: &OutputCrs, map: &YieldMap) -> Result<Self, CrsError> {
        let code = match crs {
            OutputCrs::Code(code) => code.clone(),
            OutputCrs::Utm => match map.middle() {
                Some([lon, lat]) => UtmZone::of(lon, lat).code(),
                None => WGS84.to_owned(), // no point has a position
            },
        };
        Ok(Self {
            texts: Arc::clone(&known(&code)?.texts),
            code,
        })
    }

    /// The number of its code in the EPSG registry.
    pub(crate) fn epsg(&self) -> i32 {
        // `Job` knows no other authority, and its numbers fit.
        let number = self.code.rsplit(':').next().map(str::parse);
        number.and_then(Result::ok).unwrap_or_default()
    }

    /// The positions of a layer in this CRS, as [`Features::positions`] orders them.
    pub(crate) fn positions(&self, layer: &Features<'_>) -> Result<Vec<(f64, f64)>, WriteError> {
        if let Some(exact) = layer.positions_in(&self.code) {
            return Ok(exact);
        }
        let mut positions = layer.positions();
        self.transform(&mut positions)
            .map_err(|source| WriteError::Crs {
                code: self.code.clone(),
                source,
            })?;
        Ok(positions)
    }

    /// Positions from longitude and latitude into this CRS, x (east) before y (north), in place. What cannot be
    /// transformed becomes NaN.
    fn transform(&self, positions: &mut [(f64, f64)]) -> Result<(), CrsError> {
        positions
            .par_chunks_mut(POSITIONS)
            .try_for_each(|positions| {
                let known = known(&self.code)?;
                let Some(transformation) = &known.from_wgs84 else {
                    return Ok(());
                };
                for position in positions.iter_mut().filter(|p| !p.0.is_nan()) {
                    *position = match transformation.convert(*position) {
                        Ok((x, y)) if x.is_finite() && y.is_finite() => (x, y),
                        _ => (f64::NAN, f64::NAN),
                    };
                }
                Ok(())
            })
    }
}

/// What PROJ makes of a CRS.
struct Known {
    texts: Arc<CrsTexts>,
    /// Where several transformations are known, PROJ takes the best for each position's place. `None`: the CRS is
    /// WGS 84 itself.
    from_wgs84: Option<Proj>,
}

/// What PROJ makes of a CRS, asked once a thread: finding a transformation takes 5 ms to 25 ms, as long as writing
/// a small field, and PROJ's objects cannot pass from thread to thread.
///
/// It is kept until the process ends, and never dropped: dropping one clears PROJ's caches, which all threads share, and
/// a thread that ends while the process exits would clear them while they are being torn down (a crash in one of some
/// hundred runs, after all results were written).
fn known(code: &str) -> Result<&'static Known, CrsError> {
    thread_local! {
        static KNOWN: RefCell<BTreeMap<String, &'static Known>> = const { RefCell::new(BTreeMap::new()) };
    }
    if let Some(known) = KNOWN.with_borrow(|all| all.get(code).copied()) {
        return Ok(known);
    }
    let texts = Arc::new(describe(code)?);
    let from_wgs84 = match code {
        WGS84 => None,
        code => Some(Proj::new_known_crs(WGS84, code, None).map_err(CrsError::Unknown)?),
    };
    let known: &'static Known = Box::leak(Box::new(Known { texts, from_wgs84 }));
    KNOWN.with_borrow_mut(|all| all.insert(code.to_owned(), known));
    Ok(known)
}

/// A CRS as formats write it.
fn describe(code: &str) -> Result<CrsTexts, CrsError> {
    let code_text = code;
    let crs = Proj::new(code).map_err(CrsError::Unknown)?;
    let description = crs
        .to_projjson(None, None, None)
        .map_err(CrsError::Description)?;
    let description: serde_json::Value =
        serde_json::from_str(&description).map_err(CrsError::Projjson)?;
    let kind = description["type"]
        .as_str()
        .unwrap_or("definition without a type")
        .to_owned();
    let axes = description["coordinate_system"]["axis"]
        .as_array()
        .map_or(0, Vec::len);
    if !matches!(kind.as_str(), "GeographicCRS" | "ProjectedCRS") || axes != 2 {
        return Err(CrsError::Kind {
            kind: if axes == 3 {
                format!("{kind} of three dimensions")
            } else {
                kind
            },
        });
    }
    let method = &description["conversion"]["method"];
    let no_name = || CrsError::Method {
        method: method["name"].as_str().unwrap_or("its method").to_owned(),
    };
    let code = method["id"]["code"].as_u64();
    if code.is_some_and(|code| METHODS_WITHOUT_ESRI_NAME.contains(&code)) {
        return Err(no_name());
    }
    // Where PROJ has no text in this dialect, the crate panics instead of returning an error. The methods of the
    // EPSG registry for which it does are refused above; a definition from elsewhere may have yet another.
    let wkt = |version| catch_unwind(AssertUnwindSafe(|| crs.as_wkt(Some(version), None)));
    let esri_wkt = wkt(WktVersion::Wkt1_Esri)
        .map_err(|_| no_name())?
        .map_err(CrsError::Description)?;
    let gdal_wkt = wkt(WktVersion::Wkt1_Gdal).ok().and_then(Result::ok);
    Ok(CrsTexts {
        name: description["name"].as_str().unwrap_or(code_text).to_owned(),
        esri_wkt,
        gdal_wkt,
        projjson: description,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_crs_that_no_layer_can_have_is_refused() {
        assert!(matches!(describe("EPSG:999999"), Err(CrsError::Unknown(_))));
        assert!(matches!(describe("heron"), Err(CrsError::Unknown(_))));
        assert!(matches!(describe("EPSG:4979"), Err(CrsError::Kind { .. }))); // WGS 84, three-dimensional
        assert!(matches!(describe("EPSG:4978"), Err(CrsError::Kind { .. }))); // WGS 84, geocentric
        assert!(matches!(
            describe("EPSG:5516"),
            Err(CrsError::Method { .. })
        )); // Krovak Modified
        assert!(matches!(describe("EPSG:5773"), Err(CrsError::Kind { .. }))); // EGM96 height
    }

    /// The .prj text of WGS 84 as desktop systems write it (parameters: EPSG 4326, 7030, 8901).
    #[test]
    fn wgs_84_is_described_as_everywhere() {
        assert_eq!(
            describe("EPSG:4326").unwrap().esri_wkt,
            "GEOGCS[\"GCS_WGS_1984\",DATUM[\"D_WGS_1984\",SPHEROID[\"WGS_1984\",6378137.0,298.257223563]],\
             PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]]"
        );
    }
}
