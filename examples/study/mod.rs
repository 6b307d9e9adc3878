//! What the studies share: seasons drawn at random, the library's pipeline over them, and truth beside the map.

#![allow(dead_code)] // each study uses a part

use fanmill::apply::apply;
use fanmill::gather;
use fanmill::grid::Grid;
use fanmill::job::{FieldSeason, Job};
use fanmill::map::YieldMap;
use fanmill::pool::{self, MachineDecision};
use fanmill::prepare::Prepared;
use fanmill::read::FieldInput;
use fanmill::simulate::{FieldSpec, Simulated};
use fanmill::summary::Summary;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Numbers drawn at random.
pub struct Draw(ChaCha8Rng);

impl Draw {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    /// Evenly between two values.
    pub fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * (self.0.next_u64() as f64 / u64::MAX as f64)
    }

    /// One of some, all alike.
    pub fn one_of<T: Copy>(&mut self, of: &[T]) -> T {
        let at = (self.between(0.0, of.len() as f64) as usize).min(of.len() - 1);
        of[at]
    }

    pub fn chance(&mut self, share: f64) -> bool {
        self.between(0.0, 1.0) < share
    }
}

/// A job for the machines of a simulated field. `header`: the header width as the user enters it, m; `more`: further
/// settings of every machine.
pub fn job_of(spec: &FieldSpec, header: impl Fn(f64) -> f64, more: &str) -> (Job, FieldSeason) {
    let machines: String = spec
        .machines
        .iter()
        .map(|m| {
            format!(
                "[[machine]]\nname = \"{}\"\nheader_width = \"{} m\"\nantenna_behind_cutter_bar = \"{} m\"\n{more}\n",
                m.name,
                header(m.header_width),
                m.gnss.antenna_behind
            )
        })
        .collect();
    let text = format!(
        "[job]\nname = \"study\"\nresults = \"results\"\n{machines}[[field]]\nclient = \"c\"\nfarm = \"f\"\nname = \"study\"\nseason = 2025\ncrop = \"{}\"\nlogs = [\"*.csv\"]\n",
        spec.crop
    );
    let job = fanmill::job::parse(&text, "study.toml", std::path::Path::new("."))
        .expect("the study's job is sound");
    let field = job.fields[0].clone();
    (job, field)
}

/// A field season that went through the library.
pub struct Run {
    pub season: Simulated,
    pub prepared: Prepared,
    pub evidence: Vec<gather::MachineEvidence>,
    pub machines: Vec<MachineDecision>,
    pub map: YieldMap,
    pub grid: Option<Grid>,
    pub summary: Summary,
}

/// Runs the whole pipeline over a season alone.
pub fn run(
    job: &Job,
    field: &FieldSeason,
    season: Simulated,
    input: FieldInput,
) -> Result<Run, Box<dyn std::error::Error>> {
    run_with(job, field, season, input, |_, _| ())
}

/// The same, with what was pooled changed before it is applied.
pub fn run_with(
    job: &Job,
    field: &FieldSeason,
    season: Simulated,
    input: FieldInput,
    change: impl Fn(&Simulated, &mut [MachineDecision]),
) -> Result<Run, Box<dyn std::error::Error>> {
    let prepared = Prepared::new(job, field, input)?;
    let evidence = gather::machines(&prepared);
    let mut machines = pool::machines(job, &[("c", &evidence)]).remove(0);
    change(&season, &mut machines);
    let settled: Vec<gather::Settled> = machines.iter().map(gather::Settled::from).collect();
    let scale = pool::scale(&[("c", &gather::scale(&prepared, &settled))]).remove(0);
    let fanmill::apply::Applied {
        map, grid, summary, ..
    } = apply(job, &prepared, &machines, &scale)?;
    Ok(Run {
        season,
        prepared,
        evidence,
        machines,
        map,
        grid,
        summary,
    })
}

/// Corrected against true yield over some ground: Σ yield × true area on both sides.
#[derive(Debug, Clone, Copy, Default)]
pub struct Against {
    pub found: f64,
    pub truth: f64,
    pub area: f64,
    pub points: usize,
}

impl Against {
    pub fn add(&mut self, found: f64, truth: f64, area: f64) {
        if found.is_finite() && truth.is_finite() && area > 0.0 {
            self.found += found * area;
            self.truth += truth * area;
            self.area += area;
            self.points += 1;
        }
    }

    pub fn join(&mut self, other: &Self) {
        self.found += other.found;
        self.truth += other.truth;
        self.area += other.area;
        self.points += other.points;
    }

    /// How far the found mean is off, %.
    pub fn off_pct(&self) -> f64 {
        100.0 * (self.found / self.truth - 1.0)
    }
}

/// A quantile of some values, by rank.
pub fn quantile(values: &[f64], q: f64) -> f64 {
    let mut v: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    v.sort_by(f64::total_cmp);
    if v.is_empty() {
        return f64::NAN;
    }
    v[((v.len() - 1) as f64 * q).round() as usize]
}

/// Rows of a simulated season in runs of one machine, each run in the order of time.
pub fn tracks(season: &Simulated) -> Vec<Vec<usize>> {
    let mut tracks = vec![Vec::new(); season.machines.len()];
    for (i, row) in season.rows.iter().enumerate() {
        tracks[row.machine as usize].push(i);
    }
    tracks
}

/// How far a place is inside the outline of a field, m.
pub fn inside_by(prepared: &Prepared, x: f64, y: f64) -> f64 {
    let Some(boundary) = &prepared.boundary else {
        return f64::NAN;
    };
    let rings = boundary
        .shape()
        .iter()
        .flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()));
    rings
        .flat_map(|ring| ring.lines())
        .map(|line| {
            let (dx, dy) = (line.end.x - line.start.x, line.end.y - line.start.y);
            let t = (((x - line.start.x) * dx + (y - line.start.y) * dy)
                / (dx * dx + dy * dy).max(1e-12))
            .clamp(0.0, 1.0);
            (x - line.start.x - t * dx).hypot(y - line.start.y - t * dy)
        })
        .fold(f64::INFINITY, f64::min)
}
