//! One field season from spec and seed: all machines on one clock, then their logs, then the scale.

use geo::{LineString, MultiPolygon, Polygon};
use proj::Proj;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use serde::Serialize;

use super::check::{Checked, SimulateError};
use super::driver::Driver;
use super::fault::put_in;
use super::machine::{Interval, Machine};
use super::raster::Crop;
use super::record::record;
use super::route::routes;
use super::rows::{Row, rows, unsound_where_flow_is_faulty};
use super::spec::{FieldSpec, NoFix};
use super::surface::Surface;
use super::transport::STEP;
use super::truth::{Truth, field_truth, load_truths, machine_truth};
use super::weigh::weigh;
use crate::geometry::{Frame, FrameError};
use crate::read::Ticket;

/// A log file of a simulated season: one machine on one day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct File {
    /// Path relative to the job file.
    pub path: String,
    /// Index into [`Simulated::machines`].
    pub machine: u32,
}

/// A simulated field season: what the user would have, and the truth.
#[derive(Debug, Clone)]
pub struct Simulated {
    /// What was simulated.
    pub spec: FieldSpec,
    /// Log files.
    pub files: Vec<File>,
    /// Machine names.
    pub machines: Vec<String>,
    /// Rows, file by file.
    pub rows: Vec<Row>,
    /// Boundary in longitude and latitude.
    pub boundary: MultiPolygon<f64>,
    /// Tickets of the scale.
    pub tickets: Vec<Ticket>,
    /// What is true.
    pub truth: Truth,
    surface: Surface,
}

/// Independent streams of random numbers, so that a change to one part leaves the others as they were.
#[derive(Debug, Clone, Copy)]
enum Stream {
    Surface = 1,
    Route,
    Driving,
    Bin,
    Sensors,
    Faults,
    Scale,
}

fn stream(seed: u64, stream: Stream, machine: usize) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(stream as u64 + 16 * machine as u64);
    rng
}

/// Simulates a field season. The same spec and seed give the same season.
///
/// # Errors
/// A parameter out of its range, or a projection that cannot be set up at the origin.
pub fn simulate(spec: &FieldSpec, seed: u64) -> Result<Simulated, SimulateError> {
    spec.check()?.simulate(seed)
}

impl Checked<'_> {
    /// Simulates a field season. The same spec and seed give the same season.
    ///
    /// # Errors
    /// A projection that cannot be set up at the origin.
    pub fn simulate(&self, seed: u64) -> Result<Simulated, SimulateError> {
        let spec = self.spec();
        let surface = Surface::new(
            &spec.surface,
            &spec.shape,
            &mut stream(seed, Stream::Surface, 0),
        );
        let mut crop = Crop::new(&spec.shape);
        let machines = harvest(spec, seed, &surface, &mut crop);
        let intervals: Vec<&[Interval]> = machines.iter().map(|m| m.intervals.as_slice()).collect();

        let mut files = Vec::new();
        let mut all_rows = Vec::new();
        let mut truths = Vec::new();
        let mut loads = Vec::new();
        for (m, machine) in spec.machines.iter().enumerate() {
            let truth = machine_truth(machine, intervals[m]);
            let mut rng = stream(seed, Stream::Sensors, m);
            let recorded = record(machine, intervals[m], &mut rng);
            let days = rows(
                spec,
                machine,
                m as u32,
                &truth.response,
                intervals[m],
                &recorded,
            );
            loads.extend(load_truths(spec, m, intervals[m], &days));
            let mut rng = stream(seed, Stream::Faults, m);
            for mut day in days {
                let Some(first) = day.first() else { continue };
                let path = format!(
                    "logs/{}/{}-{}.csv",
                    spec.key,
                    machine.name,
                    date(first.time)
                );
                put_in(&spec.faults, &mut day, &mut rng);
                unsound_where_flow_is_faulty(machine, &truth.response, &mut day);
                for (r, row) in day.iter_mut().enumerate() {
                    row.file = files.len() as u32;
                    row.row = r as u32 + 1;
                }
                files.push(File {
                    path,
                    machine: m as u32,
                });
                all_rows.append(&mut day);
            }
            truths.push(truth);
        }
        let boundary = place_on_earth(spec, &mut all_rows)?;
        let left = machines.iter().map(Machine::inside).sum();
        let field = field_truth(spec, &intervals, left, crop.standing_area());
        let (tickets, wrong_tickets) = weigh(spec, &mut loads, &mut stream(seed, Stream::Scale, 0));
        Ok(Simulated {
            spec: spec.clone(),
            files,
            machines: spec.machines.iter().map(|m| m.name.clone()).collect(),
            rows: all_rows,
            boundary,
            tickets,
            truth: Truth {
                field,
                machines: truths,
                loads,
                wrong_tickets,
            },
            surface,
        })
    }
}

impl Simulated {
    /// True yield at the reference moisture of places given by longitude and latitude, kg/ha, cut or not.
    ///
    /// # Errors
    /// Where the local frame has no origin on Earth.
    pub fn true_yields(&self, places: &[[f64; 2]]) -> Result<Vec<f64>, FrameError> {
        let frame = Frame::centred(self.spec.origin[0], self.spec.origin[1])?;
        let (lon, lat): (Vec<f64>, Vec<f64>) = places.iter().map(|p| (p[0], p[1])).unzip();
        let (x, y) = frame.forward(&lon, &lat);
        let dry = 100.0 - self.spec.reference_moisture;
        let at = |(x, y): (f64, f64)| {
            self.surface.wet([x, y]) * (100.0 - self.surface.moisture([x, y])) / dry
        };
        Ok(x.into_iter().zip(y).map(at).collect())
    }
}

/// All machines at work on one clock.
fn harvest<'a>(
    spec: &'a FieldSpec,
    seed: u64,
    surface: &Surface,
    crop: &mut Crop,
) -> Vec<Machine<'a>> {
    let mut machines: Vec<Machine> = routes(spec, &mut stream(seed, Stream::Route, 0))
        .into_iter()
        .zip(&spec.machines)
        .enumerate()
        .map(|(m, (route, machine))| {
            // Each machine starts some minutes after the one before.
            let start = (m as f64 * 300.0 / STEP) as u64;
            let rng = stream(seed, Stream::Driving, m);
            let driver = Driver::new(
                &spec.driving,
                machine.speed,
                spec.surface.mean_yield,
                route,
                rng,
            );
            let rng = stream(seed, Stream::Bin, m);
            Machine::new(
                machine,
                &spec.driving,
                spec.surface.drying_per_day,
                driver,
                start,
                rng,
            )
        })
        .collect();
    let mut now = 0;
    while let Some(next) = machines.iter().filter_map(|m| m.wakes(now)).min() {
        now = next;
        for machine in &mut machines {
            machine.step(now, surface, crop);
        }
        now += 1;
    }
    machines
}

/// Calendar date of a Unix time, for file names.
fn date(time: f64) -> String {
    jiff::Timestamp::from_second(time as i64)
        .map_or_else(|_| "day".into(), |t| t.strftime("%Y-%m-%d").to_string())
}

/// Turns local places of rows and boundary into longitude and latitude (transverse Mercator about the origin).
fn place_on_earth(spec: &FieldSpec, rows: &mut [Row]) -> Result<MultiPolygon<f64>, SimulateError> {
    let [lon, lat] = spec.origin;
    let frame = format!(
        "+proj=tmerc +lat_0={lat} +lon_0={lon} +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m +no_defs"
    );
    let frame = Proj::new(&frame).map_err(|source| SimulateError::Frame {
        lon,
        lat,
        source: source.into(),
    })?;
    let to_degrees = |places: &mut Vec<(f64, f64)>| -> Result<(), SimulateError> {
        frame
            .project_array(places, true)
            .map_err(|source| SimulateError::Frame {
                lon,
                lat,
                source: source.into(),
            })?;
        for p in places {
            *p = (p.0.to_degrees(), p.1.to_degrees());
        }
        Ok(())
    };
    let mut places: Vec<(f64, f64)> = rows
        .iter()
        .flat_map(|r| [r.place, r.truth.ground])
        .map(|p| (p[0], p[1]))
        .collect();
    to_degrees(&mut places)?;
    for (row, p) in rows.iter_mut().zip(places.chunks_exact(2)) {
        let per = 10f64.powi(spec.machines[row.machine as usize].gnss.decimals as i32);
        let logged = |x: f64| match row.no_fix {
            None => (x * per).round() / per,
            Some(NoFix::Empty) => f64::NAN,
            Some(NoFix::Zero) => 0.0,
        };
        (row.lon_deg, row.lat_deg) = (logged(p[0].0), logged(p[0].1));
        (row.truth.lon_deg, row.truth.lat_deg) = p[1];
    }
    let mut rings = Vec::new();
    for ring in &spec.shape.rings {
        let mut places: Vec<(f64, f64)> = ring
            .iter()
            .chain(ring.first())
            .map(|p| (p[0], p[1]))
            .collect();
        to_degrees(&mut places)?;
        rings.push(LineString::from(places));
    }
    let outline = rings.remove(0);
    Ok(MultiPolygon::new(vec![Polygon::new(outline, rings)]))
}
