//! The cut raster against geo's polygon union.

use fanmill::geometry::CutRaster;
use geo::{Area, BooleanOps, Coord, LineString, MultiPolygon, Polygon, unary_union};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn polygon(corners: [[f64; 2]; 4]) -> Polygon<f64> {
    Polygon::new(
        LineString::from_iter(corners.map(|[x, y]| Coord { x, y })),
        vec![],
    )
}

/// A field of wandering passes, most of them overlapping: swath rectangles of steps of 0.5 to 3 m.
fn swaths(seed: u64, width: f64) -> Vec<[[f64; 2]; 4]> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut quads = Vec::new();
    for _ in 0..12 {
        let mut at = [rng.random_range(0.0..150.0), rng.random_range(0.0..150.0)];
        let mut heading: f64 = rng.random_range(0.0..std::f64::consts::TAU);
        for _ in 0..rng.random_range(20..60) {
            heading += rng.random_range(-0.05..0.05);
            let step = rng.random_range(0.5..3.0);
            let [c, s] = [heading.cos(), heading.sin()];
            let to = [at[0] + step * c, at[1] + step * s];
            let side = |p: [f64; 2], h: f64| [p[0] - s * h, p[1] + c * h];
            let h = width / 2.0;
            quads.push([side(at, -h), side(to, -h), side(to, h), side(at, h)]);
            at = to;
        }
    }
    quads
}

#[test]
fn cut_ground_is_the_union_of_the_swaths() {
    let window = Polygon::new(
        LineString::from(vec![
            (20.0, 10.0),
            (140.0, 30.0),
            (120.0, 150.0),
            (60.0, 90.0),
            (10.0, 130.0),
        ]),
        vec![LineString::from(vec![
            (60.0, 40.0),
            (90.0, 40.0),
            (90.0, 70.0),
            (60.0, 70.0),
        ])],
    );
    for seed in 0..20 {
        let quads = swaths(seed, [3.0, 6.0, 9.144, 12.2][seed as usize % 4]);
        let union: MultiPolygon<f64> =
            unary_union(&quads.iter().copied().map(polygon).collect::<Vec<_>>());
        let mut raster = CutRaster::new(0.25, 0.17 * seed as f64);
        let new: u64 = quads
            .iter()
            .map(|&q| u64::from(raster.fill_quad(q).new))
            .sum();
        assert_eq!(new, raster.cells());
        let error = raster.area() / union.unsigned_area() - 1.0;
        assert!(error.abs() < 0.005, "seed {seed}: {error}");

        let inside = union.intersection(&window).unsigned_area();
        let error = raster.area_inside(&MultiPolygon(vec![window.clone()])) / inside - 1.0;
        assert!(error.abs() < 0.005, "seed {seed}, inside: {error}");
    }
}
