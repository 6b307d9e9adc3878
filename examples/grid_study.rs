//! How true the cells of the grid are: seasons drawn at random from wide ranges, each cell held against the mean of the
//! true yield over the field's ground in it.
//!
//! `cargo run --release --example grid_study [SEASONS] [FIRST_SEED] [CELL_M]` prints a line a season (root mean square error of
//! cells as predicted and of the plain mean of the kept points in them, over cells that have points; share of cells whose
//! 95 % interval holds the truth; mean of the grid against the truth and against the field's) and the whole.

mod study;

use fanmill::grid::Grid;
use fanmill::job::Layer;
use fanmill::simulate::{
    FaultSpec, FieldSpec, FlowSensorSpec, GnssSpec, MachineSpec, Pattern, Shape, Shift, Smoothness,
    SurfaceSpec, Weighed, WeighingSpec, simulate,
};
use geo::{Contains, Coord};
use rayon::prelude::*;
use study::{Draw, Run, job_of, quantile, run};

/// Places along a cell's side at which the truth is looked up.
const PLACES: usize = 10;

fn spec_of(seed: u64) -> FieldSpec {
    let mut draw = Draw::new(seed);
    let (w, h) = (draw.between(200.0, 380.0), draw.between(250.0, 450.0));
    let shape = match draw.one_of(&[0, 1, 2, 3]) {
        0 => Shape::rectangle(w, h),
        1 => Shape::curved(w, h, 40.0),
        2 => Shape::l_shape(1.3 * w, h, 0.5 * w, 0.4 * h),
        _ => Shape::trapezoid(w, 0.6 * w, h),
    };
    let base = MachineSpec::default();
    let delay = base.transport.dead_time;
    let mut machine = MachineSpec {
        header_width: draw.one_of(&[4.5, 6.0, 7.5, 9.0, 10.7, 12.2]),
        speed: draw.between(1.3, 2.4),
        bin: draw.between(5_000.0, 10_000.0),
        sensor: FlowSensorSpec {
            factor: draw.between(0.85, 1.15),
            load_sd: draw.between(0.0, 0.02),
            noise: draw.between(0.01, 0.12),
            ..base.sensor.clone()
        },
        gnss: GnssSpec {
            error_sd: draw.one_of(&[0.02, 0.08, 0.2, 0.4]),
            ..base.gnss.clone()
        },
        ..base
    };
    machine.log.interval = draw.one_of(&[1.0, 1.0, 1.0, 2.0, 3.0]);
    if draw.chance(0.3) {
        machine.log.shift = Shift::WholeClock { seconds: delay };
    }
    let headland = draw.chance(0.4);
    FieldSpec {
        shape: shape.turned(draw.between(-80.0, 80.0)),
        surface: SurfaceSpec {
            mean_yield: draw.between(4_000.0, 12_000.0),
            cv: draw.between(0.03, 0.25),
            range: draw.between(25.0, 150.0),
            smoothness: draw.one_of(&[Smoothness::Rough, Smoothness::Smooth]),
            trend: draw.one_of(&[0.0, 0.2, -0.2]),
            headland_width: if headland {
                draw.between(10.0, 30.0)
            } else {
                0.0
            },
            headland_effect: -0.2,
            ..SurfaceSpec::default()
        },
        driving: fanmill::simulate::DrivingSpec {
            heading: draw.between(0.0, 180.0),
            pattern: draw.one_of(&[Pattern::Serpentine, Pattern::RoundAndRound]),
            ..Default::default()
        },
        machines: vec![machine],
        faults: FaultSpec::default(),
        weighing: WeighingSpec {
            weighed: Weighed::All,
            ..Default::default()
        },
        ..FieldSpec::default()
    }
}

/// What came out of a season.
#[derive(Default)]
struct Judged {
    cells: f64,
    square: f64,
    square_plain: f64,
    with_points: f64,
    held: f64,
    held_within: f64,
    far: f64,
    far_held: f64,
    mean_off: f64,
    field_off: f64,
    rise: f64,
    line: String,
}

fn main() {
    let arguments: Vec<f64> = std::env::args()
        .skip(1)
        .filter_map(|a| a.parse().ok())
        .collect();
    let number = |k: usize, usual: f64| arguments.get(k).copied().unwrap_or(usual);
    let (seasons, first, cell) = (
        number(0, 20.0) as u64,
        number(1, 1.0) as u64,
        number(2, 10.0),
    );
    let all: Vec<Judged> = (first..first + seasons)
        .into_par_iter()
        .filter_map(|seed| judge(seed, cell))
        .collect();
    let sum = |of: fn(&Judged) -> f64| all.iter().map(of).sum::<f64>();
    for j in &all {
        println!("{}", j.line);
    }
    let list = |of: &dyn Fn(&Judged) -> f64| all.iter().map(of).collect::<Vec<f64>>();
    let ratios = list(&|j| (j.square / j.square_plain).sqrt());
    let held = list(&|j| 100.0 * j.held / j.cells);
    println!(
        "{} of {seasons} seasons, {} cells: RMSE over that of plain means, median {:.2} ({:.2} to {:.2}); intervals hold {:.1} % of cells (seasons: 5th percentile {:.1}, median {:.1}), within the field {:.1} %, of cells without points {:.1} %",
        all.len(),
        sum(|j| j.cells),
        quantile(&ratios, 0.5),
        quantile(&ratios, 0.0),
        quantile(&ratios, 1.0),
        100.0 * sum(|j| j.held) / sum(|j| j.cells),
        quantile(&held, 0.05),
        quantile(&held, 0.5),
        100.0 * sum(|j| j.held_within) / sum(|j| j.cells),
        100.0 * sum(|j| j.far_held) / sum(|j| j.far),
    );
    let off = list(&|j| j.mean_off.abs());
    let field = list(&|j| j.field_off.abs());
    println!(
        "mean of the grid off the truth: median {:.2} %, worst {:.2} %; off the field's: median {:.2} %, worst {:.2} %; slope of truth on grid: median {:.2}",
        quantile(&off, 0.5),
        quantile(&off, 1.0),
        quantile(&field, 0.5),
        quantile(&field, 1.0),
        quantile(&list(&|j| j.rise), 0.5),
    );
}

fn judge(seed: u64, cell: f64) -> Option<Judged> {
    let spec = spec_of(seed);
    let (mut job, field) = job_of(&spec, |w| w, "");
    job.layers.push(Layer::Grid);
    job.grid_cell = cell;
    let season = simulate(&spec, seed).ok()?;
    let input = season.to_input();
    let run = run(&job, &field, season, input).ok()?;
    let grid = run.grid.as_ref().filter(|g| !g.is_empty())?;
    let truth = truth(grid, &run)?;
    let plain = plain(grid, &run);
    // The level of all cells together, which tickets and factors decide.
    let level = mean(grid, &truth)? / grid.mean_kg_ha()?;
    let mut j = Judged::default();
    let (mut xy, mut xx, n) = (0.0, 0.0, grid.len() as f64);
    let centre = grid.yld_kg_ha.iter().sum::<f64>() / n;
    for (k, &t) in truth.iter().enumerate() {
        let y = grid.yld_kg_ha[k];
        let held = t >= grid.yld_low[k] && t <= grid.yld_high[k];
        j.cells += 1.0;
        j.held += f64::from(u8::from(held));
        j.held_within += f64::from(u8::from((t - level * y).abs() <= 1.96 * grid.kriging_se[k]));
        if grid.points[k] == 0 {
            j.far += 1.0;
            j.far_held += f64::from(u8::from(held));
        } else {
            j.with_points += 1.0;
            j.square += (y - t).powi(2);
            j.square_plain += (plain[k] - t).powi(2);
        }
        xy += (y - centre) * t;
        xx += (y - centre) * y;
    }
    j.rise = xy / xx;
    j.mean_off = 100.0 * (1.0 / level - 1.0);
    let summary = run.summary.grid.as_ref()?;
    j.field_off = 100.0 * (summary.mean? / run.summary.yields.mean? - 1.0);
    let mean = mean(grid, &truth)?;
    let pct = |square: f64| 100.0 * (square / j.with_points).sqrt() / mean;
    j.line = format!(
        "{seed:>5} header {:>4} interval {} noise {:.2} gnss {:.2} cv {:.2} range {:>3.0} {:?}{}: {} cells of {} m, RMSE {:.2} % (plain {:.2}), held {:.1} % within {:.1}, {} without points {:.1}; mean {:+.2} field {:+.2} %; sill {:.1} range {:.0} error {:.1} shared {:.2} se {:.2}/{:.2}; slope {:.2}",
        spec.machines[0].header_width,
        spec.machines[0].log.interval,
        spec.machines[0].sensor.noise,
        spec.machines[0].gnss.error_sd,
        spec.surface.cv,
        spec.surface.range,
        spec.surface.smoothness,
        if spec.surface.headland_width > 0.0 {
            " headland"
        } else {
            ""
        },
        j.cells,
        grid.side,
        pct(j.square),
        pct(j.square_plain),
        100.0 * j.held / j.cells,
        100.0 * j.held_within / j.cells,
        j.far,
        100.0 * j.far_held / j.far,
        j.mean_off,
        j.field_off,
        summary.pattern_sd_pct,
        summary.range_m.unwrap_or(f64::NAN),
        summary.error_sd_pct,
        summary.error_shared,
        summary.se_within_pct.unwrap_or(f64::NAN),
        summary.se_pct.unwrap_or(f64::NAN),
        j.rise,
    );
    Some(j)
}

/// Mean over the field's ground.
fn mean(grid: &Grid, values: &[f64]) -> Option<f64> {
    let area: f64 = grid.ground_pct.iter().sum();
    let sum: f64 = grid.ground_pct.iter().zip(values).map(|(a, v)| a * v).sum();
    (area > 0.0).then(|| sum / area)
}

/// Mean true yield of the ground of each cell inside the boundary.
fn truth(grid: &Grid, run: &Run) -> Option<Vec<f64>> {
    let boundary = &run.season.boundary;
    let of_cell = |corners: &[[f64; 2]; 4]| -> Option<f64> {
        let at = |i: usize, j: usize| {
            let part = |k: usize| (k as f64 + 0.5) / PLACES as f64;
            let (s, t) = (part(i), part(j));
            std::array::from_fn(|c| {
                let south = corners[0][c] + s * (corners[1][c] - corners[0][c]);
                let north = corners[3][c] + s * (corners[2][c] - corners[3][c]);
                south + t * (north - south)
            })
        };
        let inside: Vec<[f64; 2]> = (0..PLACES * PLACES)
            .map(|k| at(k % PLACES, k / PLACES))
            .filter(|p: &[f64; 2]| boundary.contains(&Coord { x: p[0], y: p[1] }))
            .collect();
        let yields = run.season.true_yields(&inside).ok()?;
        Some(yields.iter().sum::<f64>() / yields.len() as f64)
    };
    grid.corners.iter().map(of_cell).collect()
}

/// Plain mean of the kept points in each cell, as anybody would take it first; NaN where there are none.
fn plain(grid: &Grid, run: &Run) -> Vec<f64> {
    let Some(zone) = grid.zone else {
        return vec![f64::NAN; grid.len()];
    };
    let mut sums = std::collections::BTreeMap::<(i64, i64), (f64, f64)>::new();
    let key = |east: f64, north: f64| {
        (
            (east / grid.side).floor() as i64,
            (north / grid.side).floor() as i64,
        )
    };
    for i in (0..run.map.lon.len()).filter(|&i| run.map.verdicts.is_kept(i)) {
        if let Some([east, north]) = zone.forward(run.map.lon[i], run.map.lat[i]) {
            let sum = sums.entry(key(east, north)).or_default();
            *sum = (sum.0 + run.map.yld_kg_ha[i], sum.1 + 1.0);
        }
    }
    (0..grid.len())
        .map(|k| {
            sums.get(&key(grid.east_m[k], grid.north_m[k]))
                .map_or(f64::NAN, |s| s.0 / s.1)
        })
        .collect()
}
