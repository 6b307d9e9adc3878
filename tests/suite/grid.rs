//! The grid against something outside: block kriging of an open data set by PyKrige and numpy; simulated seasons whose true
//! yield is known at every place; the real maize log. And what happens where there is little to make a grid from.

use crate::outside::{given, oracle, printed};

use crate::study::{Run, job_of, run};
use fanmill::geometry::{Boundary, Frame, UtmZone};
use fanmill::grid::{self, Grid, GridInput, GridParams, NoGrid, Structure};
use fanmill::job::Layer;
use fanmill::passes::Ground;
use fanmill::simulate::{
    FieldSpec, FlowSensorSpec, MachineSpec, Shape, Smoothness, SurfaceSpec, simulate,
};
use geo::{Contains, Coord, polygon};
use serde_json::Value;

/// meuse (Burrough & McDonnell 1998), as scikit-gstat ships it; see `oracles/grid.py`.
#[test]
fn blocks_are_those_of_pykrige_and_numpy() {
    if given("FANMILL_PYTHON").is_none() {
        return;
    }
    for (sill, range, nugget) in [(0.6, 300.0, 0.05), (0.4, 120.0, 0.2), (0.7, 900.0, 0.01)] {
        let parameters = [sill, range, nugget].map(|v: f64| v.to_string());
        let said = printed(oracle("grid.py").expect("a Python").args(parameters));
        let said: Value = serde_json::from_str(&said).expect("JSON");
        let numbers = |v: &Value| -> Vec<f64> {
            let all = v.as_array().expect("a list").iter();
            all.map(|v| v.as_f64().expect("a number")).collect()
        };
        let points: Vec<([f64; 2], f64)> = (said["points"].as_array().expect("points").iter())
            .map(numbers)
            .map(|p| ([p[0], p[1]], p[2]))
            .collect();
        assert_eq!(points.len(), 155);
        let structure = Structure {
            sill,
            range,
            error: nugget,
            shared: 0.0,
        };
        for block in said["blocks"].as_array().expect("blocks") {
            let ground: Vec<[f64; 2]> = (block["ground"].as_array().expect("places").iter())
                .map(numbers)
                .map(|p| [p[0], p[1]])
                .collect();
            let (mean, variance) = grid::block(&points, structure, &ground).expect("a block");
            let of = |key: &str| block[key].as_f64().expect("a number");
            let (pykrige, numpy) = (of("pykrige"), of("numpy"));
            assert!((mean - pykrige).abs() < 1e-4, "{mean} {pykrige}");
            assert!((mean - numpy).abs() < 1e-4, "{mean} {numpy}");
            let expected = of("variance");
            assert!(
                (variance - expected).abs() < 1e-4 * sill,
                "{variance} {expected}"
            );
        }
    }
}

/// A season's ground and machine. Odd ones are rough; every third has a poor headland, whose edge no variogram foresees.
fn season(seed: u64) -> FieldSpec {
    let base = MachineSpec::default();
    let at = |low: f64, high: f64, k: u64| low + (high - low) * ((seed * k) % 7) as f64 / 6.0;
    FieldSpec {
        shape: Shape::trapezoid(at(200.0, 300.0, 3), 160.0, 280.0).turned(at(-40.0, 40.0, 5)),
        surface: SurfaceSpec {
            mean_yield: at(5_000.0, 11_000.0, 2),
            cv: at(0.05, 0.2, 4),
            range: at(40.0, 120.0, 6),
            smoothness: if seed.is_multiple_of(2) {
                Smoothness::Smooth
            } else {
                Smoothness::Rough
            },
            headland_width: if seed.is_multiple_of(3) { 15.0 } else { 0.0 },
            headland_effect: -0.2,
            ..SurfaceSpec::default()
        },
        machines: vec![MachineSpec {
            header_width: [6.0, 7.5, 9.0][seed as usize % 3],
            sensor: FlowSensorSpec {
                noise: at(0.03, 0.1, 5),
                ..base.sensor.clone()
            },
            ..base
        }],
        ..FieldSpec::default()
    }
}

fn run_of(seed: u64) -> Run {
    let spec = season(seed);
    let (mut job, field) = job_of(&spec, |w| w, "");
    job.layers.push(Layer::Grid);
    let season = simulate(&spec, seed).expect("a season");
    let input = season.to_input();
    run(&job, &field, season, input).expect("a run")
}

/// Mean true yield over the field's ground in each cell.
fn truth(grid: &Grid, run: &Run) -> Vec<f64> {
    let of_cell = |c: &[[f64; 2]; 4]| {
        let inside: Vec<[f64; 2]> = (0..100)
            .map(|k| {
                let (s, t) = (
                    (f64::from(k % 10) + 0.5) / 10.0,
                    (f64::from(k / 10) + 0.5) / 10.0,
                );
                [0, 1].map(|a| c[0][a] + s * (c[1][a] - c[0][a]) + t * (c[3][a] - c[0][a]))
            })
            .filter(|p| run.season.boundary.contains(&Coord { x: p[0], y: p[1] }))
            .collect();
        let yields = run.season.true_yields(&inside).expect("a frame");
        yields.iter().sum::<f64>() / yields.len() as f64
    };
    grid.corners.iter().map(of_cell).collect()
}

/// Plain mean of the kept points in each cell.
fn plain(grid: &Grid, run: &Run) -> Vec<f64> {
    let zone = grid.zone.expect("a zone");
    let mut sums = vec![(0.0, 0.0); grid.len()];
    for i in (0..run.map.lon.len()).filter(|&i| run.map.verdicts.is_kept(i)) {
        let [east, north] = zone
            .forward(run.map.lon[i], run.map.lat[i])
            .expect("a place");
        let half = 0.5 * grid.side;
        let cell = (0..grid.len()).find(|&k| {
            (east - grid.east_m[k]).abs() <= half && (north - grid.north_m[k]).abs() <= half
        });
        if let Some(k) = cell {
            sums[k].0 += run.map.yld_kg_ha[i];
            sums[k].1 += 1.0;
        }
    }
    sums.iter().map(|s| s.0 / s.1).collect()
}

/// Bars are ours: 95 % intervals hold 92 to 99.5 % of all cells (they err to the safe side where machines are good and ground is even)
/// and 85 % or more of any season's; cells are nearer to the truth
/// than plain means of their points; ground and mean are the field's. `examples/grid_study.rs` has wider ranges.
#[test]
fn cells_of_simulated_seasons_hold_the_truth() {
    let (mut cells, mut held) = (0, 0);
    let (mut square, mut square_plain) = (0.0, 0.0);
    for seed in 1..=9 {
        let run = run_of(seed);
        let grid = run.grid.as_ref().expect("a grid");
        let truth = truth(grid, &run);
        let plain = plain(grid, &run);
        let inside = (0..grid.len())
            .filter(|&k| (grid.yld_low[k]..=grid.yld_high[k]).contains(&truth[k]))
            .count();
        let share = inside as f64 / grid.len() as f64;
        println!("season {seed}: {share:.3} of {} cells", grid.len());
        assert!(share >= 0.85, "season {seed}: {share}");
        (cells, held) = (cells + grid.len(), held + inside);
        let mean = run.summary.yields.mean.expect("a mean");
        for k in (0..grid.len()).filter(|&k| grid.points[k] > 0) {
            square += (grid.yld_kg_ha[k] / truth[k] - 1.0).powi(2);
            square_plain += (plain[k] / truth[k] - 1.0).powi(2);
        }
        let s = run.summary.grid.as_ref().expect("figures");
        assert_eq!((s.cells as usize, s.left_out), (grid.len(), 0));
        assert!(
            (s.mean.expect("a mean") / mean - 1.0).abs() < 0.015,
            "{s:?} {mean}"
        );
        assert!(
            (s.area_ha / run.summary.area_ha - 1.0).abs() < 0.01,
            "{s:?}"
        );
        assert!(
            (grid
                .mean_pct
                .iter()
                .zip(&grid.ground_pct)
                .map(|(m, g)| m * g)
                .sum::<f64>()
                / grid.ground_pct.iter().sum::<f64>()
                - 100.0)
                .abs()
                < 1e-9
        );
    }
    let share = held as f64 / cells as f64;
    assert!((0.92..=0.995).contains(&share), "{held} of {cells}");
    assert!(square < 0.85 * square_plain, "{square} {square_plain}");
}

#[test]
fn a_grid_is_the_same_on_any_number_of_cores() {
    let of = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("threads");
        pool.install(|| run_of(2).grid.expect("a grid"))
    };
    assert_eq!(of(1), of(3));
}

/// Straight passes of 9 m, 2 m a row, `long` rows each, from the west, in the frame; their yields by place.
struct Made {
    frame: Frame,
    passes: Vec<Vec<u32>>,
    ground: Vec<Option<Ground>>,
    x: Vec<f64>,
    y: Vec<f64>,
    kept: Vec<bool>,
    yields: Vec<f64>,
    width: f64,
}

impl Made {
    fn new(starts: &[[f64; 2]], long: usize, yields: impl Fn(f64, f64) -> f64) -> Self {
        let mut made = Self {
            frame: Frame::centred(9.2, 48.8).expect("a frame"),
            passes: Vec::new(),
            ground: Vec::new(),
            x: Vec::new(),
            y: Vec::new(),
            kept: Vec::new(),
            yields: Vec::new(),
            width: 9.0,
        };
        for &[x, y] in starts {
            let first = made.ground.len() as u32;
            for k in 0..long {
                let from = x + 2.0 * k as f64;
                made.ground.push(Some(Ground {
                    from: [from, y],
                    to: [from + 2.0, y],
                }));
                made.x.push(from + 1.0);
                made.y.push(y);
                made.yields.push(yields(from + 1.0, y));
            }
            made.kept.resize(made.ground.len(), true);
            made.passes
                .push((first..made.ground.len() as u32).collect());
        }
        made
    }

    fn grid(&self, side: f64, boundary: Option<&Boundary>) -> Result<Grid, NoGrid> {
        let n = self.x.len();
        let column = |v: f64| vec![v; n];
        let (width, area, level, blur) = (
            column(self.width),
            column(2.0 * self.width),
            column(0.02),
            column(4.0),
        );
        let input = GridInput {
            frame: &self.frame,
            boundary,
            zone: UtmZone::of(9.2, 48.8),
            passes: &self.passes,
            ground: &self.ground,
            header_width: &width,
            x: &self.x,
            y: &self.y,
            kept: &self.kept,
            yield_kg_ha: &self.yields,
            area: &area,
            cut_m: &width,
            level_sd: &level,
            blur_m: &blur,
        };
        let params = GridParams {
            side,
            ..GridParams::default()
        }
        .check()
        .expect("a side");
        let plan = grid::estimate(&input, &params).expect("columns")?;
        Ok(grid::apply(&input, &plan, &params, 0.001))
    }
}

fn rows_of(n: usize, x: f64) -> Vec<[f64; 2]> {
    (0..n).map(|k| [x, 9.0 * k as f64]).collect()
}

#[test]
fn a_field_where_nothing_varies_is_that_yield_everywhere() {
    let grid = Made::new(&rows_of(12, 0.0), 60, |_, _| 8000.0)
        .grid(10.0, None)
        .expect("a grid");
    assert!(grid.yld_kg_ha.iter().all(|y| (y - 8000.0).abs() < 1e-6));
    assert!(grid.yields.iter().all(|y| (y - 8.0).abs() < 1e-9));
    assert!(grid.class.iter().all(|c| *c == 3) && grid.yld_se.iter().all(|se| *se >= 160.0));
    let ground: f64 = grid.ground_pct.iter().sum();
    assert!(
        (ground / (12.0 * 9.0 * 120.0) - 1.0).abs() < 0.02,
        "{ground}"
    );
}

#[test]
fn a_trend_is_followed_and_without_a_pattern_cells_are_means() {
    let trend = Made::new(&rows_of(14, 0.0), 80, |x, _| 5000.0 + 20.0 * x)
        .grid(10.0, None)
        .expect("a grid");
    // Easting runs with x but for the turn of the zone, 0.15° here.
    let (west, east) = (
        0,
        trend
            .east_m
            .iter()
            .position(|e| e - trend.east_m[0] >= 100.0)
            .expect("a cell"),
    );
    let rise =
        (trend.yld_kg_ha[east] - trend.yld_kg_ha[west]) / (trend.east_m[east] - trend.east_m[west]);
    assert!((rise - 20.0).abs() < 2.0, "{rise}");

    let noise = |x: f64, y: f64| {
        6000.0 * (1.0 + 0.1 * ((x * 7919.0 + y * 104_729.0).sin() * 43_758.5).fract())
    };
    let grid = Made::new(&rows_of(14, 0.0), 80, noise)
        .grid(10.0, None)
        .expect("a grid");
    let sd = |v: &[f64]| {
        let mean = v.iter().sum::<f64>() / v.len() as f64;
        (v.iter().map(|y| (y - mean).powi(2)).sum::<f64>() / v.len() as f64).sqrt()
    };
    let points = sd(&(0..14 * 80)
        .map(|k| noise(2.0 * f64::from(k % 80) + 1.0, 9.0 * f64::from(k / 80)))
        .collect::<Vec<_>>());
    assert!(
        sd(&grid.yld_kg_ha) < 0.35 * points,
        "{} {points}",
        sd(&grid.yld_kg_ha)
    );
}

#[test]
fn two_parts_far_apart_are_one_grid_and_nothing_lies_between() {
    let mut starts = rows_of(10, 0.0);
    starts.extend(rows_of(10, 3000.0));
    let grid = Made::new(&starts, 60, |x, y| {
        7000.0 + 500.0 * (x / 30.0).sin() + 300.0 * (y / 25.0).cos()
    })
    .grid(10.0, None)
    .expect("a grid");
    let west = grid.east_m.iter().copied().fold(f64::INFINITY, f64::min);
    let parts = [0.0, 2900.0].map(|from| {
        (grid
            .east_m
            .iter()
            .filter(|e| (from..from + 240.0).contains(&(*e - west))))
        .count()
    });
    assert_eq!(parts.iter().sum::<usize>(), grid.len());
    assert!(parts.iter().all(|n| (120..160).contains(n)), "{parts:?}");
}

/// The boundary cuts the ground; ground without kept points near is left out, and nearer ground is less well known.
#[test]
fn nothing_is_predicted_beyond_the_ground_or_far_from_points() {
    let mut made = Made::new(&rows_of(20, 0.0), 100, |x, y| {
        7000.0 + 900.0 * (x / 30.0).sin() + 600.0 * (y / 25.0).cos()
    });
    for i in 0..made.x.len() {
        made.kept[i] = made.x[i] < 100.0;
    }
    let half = geo::MultiPolygon(vec![polygon![
        (x: -10.0, y: -10.0), (x: 300.0, y: -10.0), (x: 300.0, y: 85.5), (x: -10.0, y: 85.5)
    ]]);
    let grid = made.grid(10.0, Some(&Boundary::new(half))).expect("a grid");
    assert!(grid.left_out > 0);
    let west = grid.east_m.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(grid.east_m.iter().all(|e| e - west < 170.0));
    let south = grid.north_m.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(grid.north_m.iter().all(|n| n - south < 100.0));
    let mean_se = |far: bool| {
        let of: Vec<f64> = (0..grid.len())
            .filter(|&k| (grid.east_m[k] - west > 125.0) == far)
            .map(|k| grid.yld_se[k])
            .collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    assert!(
        mean_se(true) > 1.5 * mean_se(false),
        "{} {}",
        mean_se(true),
        mean_se(false)
    );
}

/// A log that is a sample of its rows (the ground of each second one) has the same cells on the same ground.
#[test]
fn ground_between_sampled_rows_was_cut() {
    let yields = |x: f64, y: f64| 7000.0 + 900.0 * (x / 30.0).sin() + 600.0 * (y / 25.0).cos();
    let whole = Made::new(&rows_of(12, 0.0), 80, yields);
    let mut sampled = Made::new(&rows_of(12, 0.0), 80, yields);
    for pass in &mut sampled.passes {
        *pass = pass.iter().copied().step_by(2).collect();
    }
    let [a, b] = [whole, sampled].map(|made| made.grid(10.0, None).expect("a grid"));
    let area = |g: &Grid| g.ground_pct.iter().sum::<f64>();
    assert!(
        (area(&b) / area(&a) - 1.0).abs() < 0.03,
        "{} {}",
        area(&a),
        area(&b)
    );
    let mean = |g: &Grid| g.mean_kg_ha().expect("a mean");
    assert!(
        (mean(&b) / mean(&a) - 1.0).abs() < 0.01,
        "{} {}",
        mean(&a),
        mean(&b)
    );
}

#[test]
fn too_little_to_go_by_is_said() {
    let one = Made::new(&[[0.0, 0.0]], 400, |x, _| 7000.0 + x);
    assert_eq!(one.grid(10.0, None), Err(NoGrid::NoPairs));
    let few = Made::new(&rows_of(3, 0.0), 20, |x, _| 7000.0 + x);
    assert!(matches!(
        few.grid(10.0, None),
        Err(NoGrid::TooFew { needed: 30, .. })
    ));
    let mut none = Made::new(&rows_of(9, 0.0), 50, |_, _| 7000.0);
    none.kept.fill(false);
    assert_eq!(
        none.grid(10.0, None),
        Err(NoGrid::TooFew {
            stretches: 0,
            needed: 30
        })
    );
    let missing = Made::new(&rows_of(9, 0.0), 50, |_, _| f64::NAN);
    assert!(missing.grid(10.0, None).is_err());
    // All on one place: no ground, no grid, no panic.
    let mut standing = Made::new(&rows_of(9, 0.0), 50, |_, _| 7000.0);
    for g in standing.ground.iter_mut().flatten() {
        (g.from, g.to) = ([0.0; 2], [0.0; 2]);
    }
    (standing.x, standing.y) = (vec![0.0; 450], vec![0.0; 450]);
    assert!(standing.grid(10.0, None).is_err());
    let mut wide = Made::new(&rows_of(12, 0.0), 60, |x, _| 7000.0 + x);
    wide.width = 13.0;
    assert_eq!(wide.grid(10.0, None).expect("a grid").side, 15.0);
}
