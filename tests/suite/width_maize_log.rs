//! Cut ground of a real log: `gartner.corn` of the R package agridat 1.27 (University of Minnesota Precision Agriculture
//! Center, CC BY-SA 3.0), against the union of its swath rectangles: by GEOS in UTM zone 15N (pyproj 3.7.2 and shapely 2.2.0,
//! run once: 4,946 steps of at most 30 m, sum 280,033.6 m², union 271,388.9 m²) and by geo, here.

use crate::outside::{maize_log, maize_rows, oracle, printed};
use fanmill::geometry::Frame;
use fanmill::passes::{Activity, Ground, Pass, Passes};
use fanmill::width::{Params, Rows, cut_width};
use geo::{Area, Coord, LineString, Polygon, unary_union};

/// 12 rows of 30 inches.
const HEADER: f64 = 360.0 * 0.0254;

/// Longitudes and latitudes, its first two columns.
fn positions() -> Option<(Vec<f64>, Vec<f64>)> {
    maize_rows().map(|rows| rows.iter().map(|r| (r[0], r[1])).unzip())
}

#[test]
fn cut_ground_of_the_maize_log_is_the_union_of_its_swaths() {
    let Some((lon, lat)) = positions() else {
        return;
    };
    assert_eq!(lon.len(), 4949);
    let frame = Frame::around(&lon, &lat).unwrap();
    let (x, y) = frame.forward(&lon, &lat);
    // A pass is an unbroken run of steps of at most 30 m; every step is taken to cut, as the expected value has it.
    let mut p = Passes::default();
    let n = x.len();
    let mut pass = 0;
    let mut first = 0;
    for k in 0..n {
        let step = if k == 0 {
            f64::NAN
        } else {
            (x[k] - x[k - 1]).hypot(y[k] - y[k - 1])
        };
        let joined = step <= 30.0;
        if !joined && k > first {
            p.passes.push(Pass {
                track: 0,
                first,
                end: k,
            });
            first = k;
            pass += 1;
        }
        p.ground.push(joined.then(|| Ground {
            from: [x[k - 1], y[k - 1]],
            to: [x[k], y[k]],
        }));
        p.direction.push(if joined {
            (y[k] - y[k - 1]).atan2(x[k] - x[k - 1])
        } else {
            f64::NAN
        });
        p.pass_of.push(Some(pass));
        p.activity.push(Activity::Cutting);
        p.speed.push(f64::NAN);
        p.header_width.push(HEADER);
    }
    p.passes.push(Pass {
        track: 0,
        first,
        end: n,
    });
    let order: Vec<u32> = (0..n as u32).collect();
    let cut = cut_width(
        Rows {
            order: &order,
            passes: &p,
        },
        None,
        &Params::default().check().unwrap(),
    );

    // UTM's scale at this field, PROJ's factor squared, brings the plane's areas to the zone's.
    let zone = utm_scale(&frame);
    let raster = cut.raster_area_m2 * zone * zone;
    match union_by_geos() {
        Some([steps, sum, union]) => {
            assert_eq!(
                (steps, sum.round(), union.round()),
                (4946.0, 280_034.0, 271_389.0)
            );
            assert!((raster / union - 1.0).abs() < 0.005, "{raster} {union}");
        }
        None => println!("GEOS itself is skipped: no FANMILL_PYTHON"),
    }
    println!(
        "raster {raster:.1} m², computed {:.1} m², {:?}",
        cut.cut_area_m2, cut.spacing
    );
    assert!((raster / 271_388.9 - 1.0).abs() < 0.005, "{raster}");
    assert!((cut.raster_area_m2 / union_of_rectangles(&p) - 1.0).abs() < 0.005);
    let swaths: f64 = p
        .ground
        .iter()
        .flatten()
        .map(|g| HEADER * (g.to[0] - g.from[0]).hypot(g.to[1] - g.from[1]))
        .sum();
    assert!(
        (swaths * zone / 280_033.6 - 1.0).abs() < 1e-6,
        "{}",
        swaths * zone
    );
    // The header cannot cut more than its swaths; rows of maize are cut once.
    assert!(cut.cut_area_m2 > cut.raster_area_m2 * 0.995 && cut.cut_area_m2 < swaths);
    assert!(
        cut.spacing.header_width_check.is_none(),
        "{:?}",
        cut.spacing
    );
}

/// Rectangles, sum and union of their areas by pyproj and shapely, today.
fn union_by_geos() -> Option<[f64; 3]> {
    let text = printed(oracle("swath_union.py")?.arg(maize_log()?).args([
        &HEADER.to_string(),
        "30",
        "32615",
    ]));
    let numbers: Vec<f64> = text
        .split_whitespace()
        .map(|n| n.parse().expect("a number"))
        .collect();
    Some([numbers[0], numbers[1], numbers[2]])
}

/// geo's union of each row's rectangle, m².
fn union_of_rectangles(p: &Passes) -> f64 {
    let rectangle = |g: &Ground| {
        let [dx, dy] = [g.to[0] - g.from[0], g.to[1] - g.from[1]];
        let part = HEADER / 2.0 / dx.hypot(dy);
        let [ax, ay] = [-dy * part, dx * part];
        let corner = |p: [f64; 2], side: f64| Coord {
            x: p[0] + side * ax,
            y: p[1] + side * ay,
        };
        let ring = [
            corner(g.from, -1.0),
            corner(g.to, -1.0),
            corner(g.to, 1.0),
            corner(g.from, 1.0),
        ];
        Polygon::new(LineString::from_iter(ring), vec![])
    };
    unary_union(&p.ground.iter().flatten().map(rectangle).collect::<Vec<_>>()).unsigned_area()
}

/// Scale of UTM at the frame's centre: a kilometre east in the frame, measured in the zone.
fn utm_scale(frame: &Frame) -> f64 {
    let (lon, lat) = frame.inverse(&[-500.0, 500.0], &[0.0, 0.0]);
    let utm = proj::Proj::new_known_crs("EPSG:4326", "EPSG:32615", None).unwrap();
    let [a, b]: [(f64, f64); 2] = [0, 1].map(|k| utm.convert((lon[k], lat[k])).unwrap());
    (b.0 - a.0).hypot(b.1 - a.1) / 1000.0
}
