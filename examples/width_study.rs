//! How well cut widths are found: field seasons drawn at random from wide ranges, newly cut ground against the truth.
//!
//! `cargo run --release --example width_study -- [SEASONS] [FIRST_SEED] [all]` prints a table (all: and a line per season).
//! Ranges: headers of 4.5–12 m, receivers that wander by 0.02–1 m, overlaps of 0–30 % of the header, slanted fields whose
//! passes run into point rows, narrow last passes wherever the field's width leaves them, logs that call every row
//! working (ground is run over again between passes). Bars (our choice): area of the field and mean of yields within 1 %. A header
//! entered 10 % too narrow or too wide is noticed in at least 95 % of seasons, a right one is doubted in at most 2 %,
//! where passes overlap by less than 3 %.

mod study;

use fanmill::prepare::Prepared;
use fanmill::simulate::{
    Column, FieldSpec, MachineSpec, Pattern, Shape, Simulated, WorkStateLog, simulate,
};
use rayon::prelude::*;
use study::{Draw, job_of, quantile};

/// One season, measured.
struct Case {
    seed: u64,
    header: f64,
    gnss: f64,
    /// Planned overlap, share of the header.
    overlap: f64,
    point_rows: bool,
    always: bool,
    around: bool,
    /// Ground cut, found against true, %.
    area: f64,
    /// Mean yield of rows that are not narrow, by the widths found against the true ones, %.
    yields: f64,
    /// The same by the raster alone.
    raster: f64,
    /// The same over rows that truly cut 0.4 to 0.8 of the header; NaN where they are few.
    part: f64,
    /// Share of rows at work that are narrow, %.
    narrow: f64,
    /// With the header entered 10 % too narrow, right, 10 % too wide: whether it is doubted, and how far yields are off, %.
    entered: [(bool, f64); 3],
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let seasons: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(60);
    let first: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(1);
    let everything = arguments.next().is_some();
    let cases: Vec<Case> = (first..first + seasons)
        .into_par_iter()
        .filter_map(measure)
        .collect();
    for c in cases
        .iter()
        .filter(|c| everything || c.area.abs() > 1.0 || c.yields.abs() > 1.0)
    {
        println!(
            "seed {:3} area {:+5.2} % yields {:+5.2} % (raster {:+6.2}) part {:+5.2} % narrow {:4.1} % | header {:4.1} m gnss {:.2} m overlap {:2.0} % point rows {} always {} around {} | entered {:?}",
            c.seed,
            c.area,
            c.yields,
            c.raster,
            c.part,
            c.narrow,
            c.header,
            c.gnss,
            100.0 * c.overlap,
            c.point_rows,
            c.always,
            c.around,
            c.entered
        );
    }
    println!(
        "{:26} {:>4} {:>26} {:>26} {:>26} {:>26} {:>8}",
        "medians (95 %) inside 1 %",
        "n",
        "area off %",
        "yields off %",
        "by the raster off %",
        "0.4-0.8 of header off %",
        "narrow %"
    );
    type Pick = fn(&Case) -> bool;
    let rows: [(&str, Pick); 15] = [
        ("all", |_| true),
        ("receiver 0.02-0.1 m", |c| c.gnss < 0.1),
        ("receiver 0.1-0.3 m", |c| (0.1..0.3).contains(&c.gnss)),
        ("receiver 0.3-1 m", |c| c.gnss >= 0.3),
        ("overlap 0-5 %", |c| c.overlap < 0.05),
        ("overlap 5-15 %", |c| (0.05..0.15).contains(&c.overlap)),
        ("overlap 15-30 %", |c| c.overlap >= 0.15),
        ("header 4.5-6 m", |c| c.header < 6.0),
        ("header 6-9 m", |c| (6.0..9.0).contains(&c.header)),
        ("header 9-12 m", |c| c.header >= 9.0),
        ("point rows", |c| c.point_rows),
        ("no point rows", |c| !c.point_rows),
        ("always working", |c| c.always),
        ("round and round", |c| c.around),
        ("receiver up to 0.3 m", |c| c.gnss < 0.3),
    ];
    for (name, pick) in rows {
        row(name, cases.iter().filter(|c| pick(c)));
    }
    println!("\nheader entered against its width, passes that overlap by less than 3 % of it");
    for (k, name) in ["10 % too narrow", "right", "10 % too wide"]
        .iter()
        .enumerate()
    {
        let few: Vec<&Case> = cases.iter().filter(|c| c.overlap < 0.03).collect();
        let doubted = few.iter().filter(|c| c.entered[k].0).count();
        let off: Vec<f64> = few.iter().map(|c| c.entered[k].1).collect();
        println!(
            "{name:16} doubted in {doubted} of {} ({:.1} %), yields off {:+.1} % (median)",
            few.len(),
            100.0 * doubted as f64 / few.len().max(1) as f64,
            quantile(&off, 0.5)
        );
    }
}

fn row<'a>(name: &str, cases: impl Iterator<Item = &'a Case>) {
    let cases: Vec<&Case> = cases.collect();
    let spread = |of: &dyn Fn(&Case) -> f64| {
        let v: Vec<f64> = cases
            .iter()
            .map(|c| of(c))
            .filter(|v| v.is_finite())
            .collect();
        let size: Vec<f64> = v.iter().map(|v| v.abs()).collect();
        let within = size.iter().filter(|v| **v <= 1.0).count();
        format!(
            "{:+5.2} ({:5.2}) {:3.0} %",
            quantile(&v, 0.5),
            quantile(&size, 0.95),
            100.0 * within as f64 / v.len().max(1) as f64
        )
    };
    let narrow: Vec<f64> = cases.iter().map(|c| c.narrow).collect();
    println!(
        "{name:26} {:4} {:>26} {:>26} {:>26} {:>26} {:8.1}",
        cases.len(),
        spread(&|c| c.area),
        spread(&|c| c.yields),
        spread(&|c| c.raster),
        spread(&|c| c.part),
        quantile(&narrow, 0.5)
    );
}

fn draw(seed: u64) -> (FieldSpec, bool) {
    let mut d = Draw::new(seed);
    let point_rows = d.chance(0.4);
    let shape = if point_rows {
        Shape::trapezoid(
            d.between(200.0, 400.0),
            d.between(80.0, 180.0),
            d.between(250.0, 450.0),
        )
    } else {
        Shape::rectangle(d.between(150.0, 350.0), d.between(200.0, 500.0))
    };
    let mut machine = MachineSpec {
        header_width: d.between(4.5, 12.0),
        speed: d.between(1.2, 2.4),
        ..MachineSpec::default()
    };
    machine.gnss.error_sd = 10f64.powf(d.between(0.02f64.log10(), 0.0));
    machine.gnss.noise = machine.gnss.error_sd * d.between(0.0, 0.3);
    machine.log.interval = d.one_of(&[1.0, 1.0, 2.0, 3.0]);
    machine.log.columns.retain(|c| *c != Column::Width);
    if d.chance(0.25) {
        machine.log.work_state = WorkStateLog::Always;
    }
    let mut spec = FieldSpec {
        shape,
        machines: vec![machine],
        ..FieldSpec::default()
    };
    let header = spec.machines[0].header_width;
    spec.driving.heading = if point_rows {
        0.0
    } else {
        d.between(0.0, 180.0)
    };
    spec.driving.headland_rounds = d.one_of(&[1, 2]);
    spec.driving.overlap = header
        * if d.chance(0.4) {
            d.between(0.0, 0.03)
        } else {
            d.between(0.0, 0.3)
        };
    spec.driving.steering_sd = d.between(0.03, 0.2);
    if d.chance(0.2) {
        spec.driving.pattern = Pattern::RoundAndRound;
        spec.driving.heading = d.one_of(&[0.0, 90.0]);
    }
    (spec, point_rows)
}

fn prepare(spec: &FieldSpec, season: &Simulated, factor: f64) -> Option<Prepared> {
    let (job, field) = job_of(spec, |w| factor * w, "");
    Prepared::new(&job, &field, season.to_input()).ok()
}

/// Mean yield by some areas against that by the true ones over some rows, %.
fn off(season: &Simulated, area: impl Fn(usize) -> f64, takes_part: impl Fn(usize) -> bool) -> f64 {
    let (mut found, mut truth, mut n) = (0.0, 0.0, 0);
    for (i, row) in season.rows.iter().enumerate() {
        let own = row.truth.area_m2;
        if own > 0.0 && row.truth.fault.is_none() && takes_part(i) && area(i) > 0.0 {
            found += own * own / area(i);
            truth += own;
            n += 1;
        }
    }
    if n < 30 {
        f64::NAN
    } else {
        100.0 * (found / truth - 1.0)
    }
}

fn measure(seed: u64) -> Option<Case> {
    let (spec, point_rows) = draw(seed);
    let season = simulate(&spec, seed)
        .map_err(|e| println!("seed {seed}: {e}"))
        .ok()?;
    let right = prepare(&spec, &season, 1.0)?;
    let machine = &spec.machines[0];
    let width = &right.width;
    let sound = |i: usize| !width.narrow[i] && right.passes.pass_of[i].is_some();
    let swath =
        |i: usize| right.passes.ground[i].map_or(f64::NAN, |g| g.length() * machine.header_width);
    let at_work = |i: &usize| right.passes.pass_of[*i].is_some();
    let entered = [0.9, 1.0, 1.1].map(|factor| {
        prepare(&spec, &season, factor).map_or((false, f64::NAN), |p| {
            let area = |i: usize| p.width.new_area[i];
            (
                p.width.spacing.header_width_check.is_some(),
                off(&season, area, sound),
            )
        })
    });
    let rows = season.rows.len();
    let truth = season.truth.field.cut_area_m2;
    Some(Case {
        seed,
        header: machine.header_width,
        gnss: machine.gnss.error_sd,
        overlap: spec.driving.overlap / machine.header_width,
        point_rows,
        always: machine.log.work_state == WorkStateLog::Always,
        around: spec.driving.pattern == Pattern::RoundAndRound,
        area: 100.0 * (width.cut_area_m2 / truth - 1.0),
        yields: off(&season, |i| width.new_area[i], sound),
        raster: off(&season, |i| width.raster_share[i] * swath(i), sound),
        part: off(
            &season,
            |i| width.new_area[i],
            |i| sound(i) && (0.4..0.8).contains(&season.rows[i].truth.cut_share),
        ),
        narrow: 100.0
            * (0..rows)
                .filter(|&i| width.narrow[i] && at_work(&i))
                .count() as f64
            / (0..rows).filter(at_work).count() as f64,
        entered,
    })
}
