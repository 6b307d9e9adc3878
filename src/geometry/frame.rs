//! A field's own plane: transverse Mercator on WGS 84, scale 1, centred on the field, computed by PROJ.
//!
//! Within 10 km of the centre distances are true to 2 parts in a million (scale grows as 1 + x²/2R²).

use std::cell::OnceCell;
use std::mem::ManuallyDrop;

use super::patch::Patch;
use proj::Proj;

/// Half a side of the square around the centre over which PROJ's projection is learnt as a polynomial, m. Our choice:
/// larger than any field, small enough for a polynomial of degree 5. Positions outside it go to PROJ one by one.
const REACH_M: f64 = 10_000.0;
/// Degrees of latitude in a metre, roughly (for a rectangle's size only).
const DEGREES_PER_M: f64 = 1.0 / 111_320.0;
/// Largest departure from PROJ at which the polynomial stands in for it, m. Our choice: far below any receiver's error.
const TOLERANCE_M: f64 = 1e-4;

/// Why a field has no frame.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FrameError {
    /// No row has a position.
    #[error(
        "no usable position (longitude within ±180°, latitude within ±90°) to centre the field on"
    )]
    NoPosition,
    /// PROJ does not take the definition.
    #[error("PROJ refused the frame \"{definition}\"")]
    Projection {
        /// The definition as given to PROJ.
        definition: String,
        /// What PROJ said.
        source: proj::ProjCreateError,
    },
}

/// A transverse Mercator plane, metres, x east and y north of its centre. Plain data: each thread has one PROJ object,
/// about (0°, 0°). With scale 1 and no false origin, the longitude of the centre shifts longitudes and its latitude shifts y,
/// and that is all they do; an object for every field cost 5 ms and more, because PROJ opens its database for it.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Frame {
    centre: [f64; 2],
    to_plane: Option<Patch>,
    to_degrees: Option<Patch>,
}

impl Frame {
    /// The frame centred on the median position of a field's rows (degrees; NaN and impossible values are passed
    /// over), so that a few far fixes do not move it.
    ///
    /// # Errors
    /// [`FrameError::NoPosition`] where no row has a usable position.
    pub fn around(lon: &[f64], lat: &[f64]) -> Result<Self, FrameError> {
        let usable = || lon.iter().zip(lat).filter(|&(&x, &y)| is_position(x, y));
        let centre_lon = lower_median(usable().map(|(&x, _)| x)).ok_or(FrameError::NoPosition)?;
        let centre_lat = lower_median(usable().map(|(_, &y)| y)).ok_or(FrameError::NoPosition)?;
        Self::centred(centre_lon, centre_lat)
    }

    /// The frame centred on a position, degrees.
    ///
    /// # Errors
    /// [`FrameError::NoPosition`] where it is none.
    pub fn centred(lon: f64, lat: f64) -> Result<Self, FrameError> {
        if !is_position(lon, lat) {
            return Err(FrameError::NoPosition);
        }
        let mut frame = Self {
            centre: [lon, lat],
            to_plane: None,
            to_degrees: None,
        };
        with_projection(lat, |projection| {
            let project = |[x, y]: [f64; 2]| projection.to_plane([x, y + lat]);
            let unproject = |p: [f64; 2]| projection.to_degrees(p).map(|d| [d[0], d[1] - lat]);
            // Longitudes and latitudes are learnt as differences from the centre, so that no digit is lost.
            let half_lat = REACH_M * DEGREES_PER_M;
            let half_lon = half_lat / lat.to_radians().cos().max(0.01);
            frame.to_plane = Patch::learn([-half_lon, -half_lat], [half_lon, half_lat], project)
                .filter(|patch| patch.worst_error(project) < TOLERANCE_M);
            frame.to_degrees = Patch::learn([-REACH_M; 2], [REACH_M; 2], unproject)
                .filter(|patch| patch.worst_error(unproject) < TOLERANCE_M * DEGREES_PER_M);
        })?;
        Ok(frame)
    }

    /// Longitude and latitude of the centre, degrees.
    pub fn centre(&self) -> [f64; 2] {
        self.centre
    }

    /// The plane as PROJ writes it.
    pub fn definition(&self) -> String {
        let [lon, lat] = self.centre;
        format!("+proj=tmerc +lat_0={lat} +lon_0={lon} +k=1 +x_0=0 +y_0=0 +ellps=WGS84")
    }

    /// Degrees to metres (x, y). A missing, impossible or unprojectable position is NaN.
    pub fn forward(&self, lon: &[f64], lat: &[f64]) -> (Vec<f64>, Vec<f64>) {
        pairs(lon, lat, |x, y| {
            if !is_position(x, y) {
                return None;
            }
            let offset = [wrapped(x - self.centre[0]), y - self.centre[1]];
            if let Some(p) = self.to_plane.as_ref().and_then(|patch| patch.at(offset)) {
                return Some(p);
            }
            with_projection(self.centre[1], |p| p.to_plane([offset[0], y])).ok()?
        })
    }

    /// Metres to degrees (longitude within ±180, latitude). NaN stays NaN.
    pub fn inverse(&self, x: &[f64], y: &[f64]) -> (Vec<f64>, Vec<f64>) {
        pairs(x, y, |x, y| {
            if let Some(d) = self.to_degrees.as_ref().and_then(|patch| patch.at([x, y])) {
                return Some([wrapped(d[0] + self.centre[0]), d[1] + self.centre[1]]);
            }
            if !(x.is_finite() && y.is_finite()) {
                return None;
            }
            let [lon, lat] = with_projection(self.centre[1], |p| p.to_degrees([x, y])).ok()??;
            Some([wrapped(lon + self.centre[0]), lat])
        })
    }
}

/// Works with the thread's projection of the frame whose centre has that latitude.
fn with_projection<T>(lat: f64, work: impl FnOnce(&Projection) -> T) -> Result<T, FrameError> {
    PROJ.with(|kept| {
        let proj = match kept.get() {
            Some(proj) => proj,
            None => {
                let proj = Proj::new(ABOUT_ZERO).map_err(|source| FrameError::Projection {
                    definition: ABOUT_ZERO.to_owned(),
                    source,
                })?;
                kept.get_or_init(|| ManuallyDrop::new(proj))
            }
        };
        let north = run(proj, [0.0, lat], Way::ToPlane).ok_or(FrameError::NoPosition)?[1];
        Ok(work(&Projection { proj, north }))
    })
}

/// A frame about (0°, 0°), from and to degrees.
const ABOUT_ZERO: &str = "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad \
     +step +proj=tmerc +lat_0=0 +lon_0=0 +k=1 +x_0=0 +y_0=0 +ellps=WGS84";

thread_local! {
    /// The thread's PROJ object of [`ABOUT_ZERO`]. It stays when the thread ends: the crate's own end of an object calls
    /// `proj_cleanup`, which met what the thread's end had taken away already, and the heap broke.
    static PROJ: OnceCell<ManuallyDrop<Proj>> = const { OnceCell::new() };
}

/// A frame's projection; longitudes are relative to its centre.
struct Projection<'a> {
    proj: &'a Proj,
    /// How far north of the equator the centre lies in the plane, m.
    north: f64,
}

impl Projection<'_> {
    fn to_plane(&self, [lon, lat]: [f64; 2]) -> Option<[f64; 2]> {
        let [x, y] = run(self.proj, [lon, lat], Way::ToPlane)?;
        Some([x, y - self.north])
    }

    fn to_degrees(&self, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
        run(self.proj, [x, y + self.north], Way::ToDegrees)
    }
}

/// A place in the transverse Mercator plane about the equator at a central meridian, scale 1: from degrees east of the
/// meridian and latitude, m.
pub(super) fn about_meridian(east_of_it: f64, lat: f64) -> Option<[f64; 2]> {
    with_projection(0.0, |p| p.to_plane([wrapped(east_of_it), lat])).ok()?
}

/// The way back: degrees east of the meridian and latitude.
pub(super) fn from_meridian(p: [f64; 2]) -> Option<[f64; 2]> {
    with_projection(0.0, |projection| projection.to_degrees(p)).ok()?
}

/// Which way a projection is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    ToPlane,
    ToDegrees,
}

fn run(proj: &Proj, p: [f64; 2], way: Way) -> Option<[f64; 2]> {
    let (x, y): (f64, f64) = proj.project((p[0], p[1]), way == Way::ToDegrees).ok()?;
    (x.is_finite() && y.is_finite()).then_some([x, y])
}

fn pairs(
    a: &[f64],
    b: &[f64],
    convert: impl Fn(f64, f64) -> Option<[f64; 2]>,
) -> (Vec<f64>, Vec<f64>) {
    a.iter()
        .zip(b)
        .map(|(&a, &b)| convert(a, b).unwrap_or([f64::NAN; 2]))
        .map(|[x, y]| (x, y))
        .unzip()
}

/// Whether a longitude and a latitude name a place. Longitudes up to 360 are taken as some writers count eastward.
fn is_position(lon: f64, lat: f64) -> bool {
    lon.abs() <= 360.0 && lat.abs() <= 90.0
}

/// A longitude or a difference of longitudes within ±180°.
pub(super) fn wrapped(degrees: f64) -> f64 {
    if degrees > 180.0 {
        degrees - 360.0
    } else if degrees < -180.0 {
        degrees + 360.0
    } else {
        degrees
    }
}

/// The lower of the two middle values, never a mean of both: across the antimeridian a mean lies on the far side.
fn lower_median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    let middle = values.len().checked_sub(1)? / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_centre_is_a_median_that_a_far_fix_does_not_move() {
        let frame = Frame::around(
            &[10.0, 10.001, 10.002, 0.0, f64::NAN],
            &[50.0, 50.001, 50.002, 0.0, 50.0],
        )
        .unwrap();
        assert_eq!(frame.centre(), [10.0, 50.0]);
        let (x, y) = frame.forward(&[10.0, f64::NAN, 10.0, 10.0], &[50.0, 50.0, f64::NAN, 91.0]);
        assert!(x[0].abs() < 1e-6 && y[0].abs() < 1e-6);
        assert!(x[1..].iter().chain(&y[1..]).all(|v| v.is_nan()));
    }

    #[test]
    fn no_position_is_an_error() {
        assert!(matches!(
            Frame::around(&[], &[]),
            Err(FrameError::NoPosition)
        ));
        assert!(matches!(
            Frame::around(&[f64::NAN, 400.0], &[1.0, 2.0]),
            Err(FrameError::NoPosition)
        ));
    }

    #[test]
    fn a_field_on_the_antimeridian_is_one_field() {
        let (lon, lat) = ([179.999, -179.999, 179.998, -179.998], [-17.0; 4]);
        let frame = Frame::around(&lon, &lat).unwrap();
        let (x, y) = frame.forward(&lon, &lat);
        let width =
            x.iter().fold(f64::MIN, |a, &b| a.max(b)) - x.iter().fold(f64::MAX, |a, &b| a.min(b));
        assert!((425.0..427.0).contains(&width), "{width}"); // 0.004° of 106.5 km
        let back = frame.inverse(&x, &y).0;
        assert!(
            back.iter().zip(&lon).all(|(a, b)| (a - b).abs() < 1e-9),
            "{back:?}"
        );
    }

    #[test]
    fn a_far_fix_still_has_its_place() {
        let frame = Frame::centred(10.0, 50.0).unwrap();
        let (x, y) = frame.forward(&[0.0, 12.0], &[0.0, 50.0]);
        assert!(
            x[0].hypot(y[0]) > 5e6 && (143_000.0..144_000.0).contains(&x[1]),
            "{x:?} {y:?}"
        );
        let (lon, lat) = frame.inverse(&x, &y);
        assert!((lon[1] - 12.0).abs() < 1e-9 && (lat[1] - 50.0).abs() < 1e-9);
        assert!(frame.inverse(&[f64::NAN], &[0.0]).0[0].is_nan());
    }
}
