//! The field frame against published coordinates and against geodesics.

use fanmill::geometry::Frame;
use geo::{Distance, Geodesic, Haversine, Point};
use proj::Proj;

/// IOGP Geomatics Guidance Note 7 part 2 (373-07-02), section on Transverse Mercator (EPSG method 9807), worked example
/// for the British National Grid: 50°30'N 0°30'E (OSGB 1936) is E 577274.99 m, N 69740.50 m. It settles that PROJ's
/// projection, which the frame is made of, is the method of the register.
#[test]
fn proj_reproduces_the_epsg_worked_example() {
    let grid = Proj::new(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=tmerc +lat_0=49 +lon_0=-2 \
         +k=0.9996012717 +x_0=400000 +y_0=-100000 +ellps=airy",
    )
    .unwrap();
    let (east, north): (f64, f64) = grid.convert((0.5, 50.5)).unwrap();
    assert!(
        (east - 577_274.99).abs() < 0.01 && (north - 69_740.50).abs() < 0.01,
        "{east} {north}"
    );
}

/// GeographicLib's GeoConvert manual: 33.3°N 44.4°E is UTM 38N 444140.54 3684706.36. UTM is this frame on the central
/// meridian and the equator, scaled by 0.9996 and moved 500 km east.
#[test]
fn the_frame_reproduces_a_published_utm_position() {
    let frame = Frame::centred(45.0, 0.0).unwrap();
    let (x, y) = frame.forward(&[44.4], &[33.3]);
    let (east, north) = (x[0] * 0.9996 + 500_000.0, y[0] * 0.9996);
    assert!(
        (east - 444_140.54).abs() < 0.005 && (north - 3_684_706.36).abs() < 0.005,
        "{east} {north}"
    );
}

/// Positions over a square of `half` metres around the centre, a grid of 21 × 21.
fn around(lon: f64, lat: f64, half: f64) -> (Vec<f64>, Vec<f64>) {
    let step = |k: i32| half * (f64::from(k) / 10.0 - 1.0) / 111_320.0;
    (0..21)
        .flat_map(|i| (0..21).map(move |j| (lon + step(i) / lat.to_radians().cos(), lat + step(j))))
        .unzip()
}

const PLACES: [(f64, f64); 5] = [
    (-93.9, 44.1),
    (10.2, 52.3),
    (150.1, -33.8),
    (36.0, 0.2),
    (25.5, 66.4),
];

/// Every position against PROJ asked one by one, and back to where it was.
#[test]
fn the_frame_is_projs_and_comes_back() {
    for (lon0, lat0) in PLACES {
        for half in [600.0, 5_000.0, 20_000.0] {
            let (lon, lat) = around(lon0, lat0, half);
            let frame = Frame::around(&lon, &lat).unwrap();
            let (x, y) = frame.forward(&lon, &lat);
            let proj = Proj::new(&format!(
                "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step {}",
                frame.definition()
            ))
            .unwrap();
            let (back_lon, back_lat) = frame.inverse(&x, &y);
            for k in 0..lon.len() {
                let (px, py): (f64, f64) = proj.convert((lon[k], lat[k])).unwrap();
                assert!(
                    (x[k] - px).hypot(y[k] - py) < 1e-4,
                    "{} m from PROJ",
                    (x[k] - px).hypot(y[k] - py)
                );
                assert!((back_lon[k] - lon[k]).abs() < 2e-9 && (back_lat[k] - lat[k]).abs() < 2e-9);
            }
        }
    }
}

/// Distances in the plane against geo's geodesic (Karney 2013, through geographiclib-rs): within the scale's growth
/// x²/2R², 5e-8 over 2 km, and against its sphere within 0.6 % (the flattening's share, from memory).
#[test]
fn distances_in_the_frame_are_distances_on_the_ground() {
    for (lon0, lat0) in PLACES {
        let (lon, lat) = around(lon0, lat0, 2_000.0);
        let frame = Frame::around(&lon, &lat).unwrap();
        let (x, y) = frame.forward(&lon, &lat);
        for (a, b) in (0..lon.len())
            .zip((0..lon.len()).rev())
            .filter(|(a, b)| a < b)
        {
            let plane = (x[a] - x[b]).hypot(y[a] - y[b]);
            let (p, q) = (Point::new(lon[a], lat[a]), Point::new(lon[b], lat[b]));
            assert!(
                (plane / Geodesic.distance(p, q) - 1.0).abs() < 6e-8,
                "{plane}"
            );
            assert!((plane / Haversine.distance(p, q) - 1.0).abs() < 6e-3);
        }
    }
}
