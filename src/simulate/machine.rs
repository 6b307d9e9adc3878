//! One machine at work: it cuts what stands under its header, carries the grain to its sensors and fills its bin.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::driver::{Driver, Pose, Progress};
use super::machine_spec::{HeaderUp, MachineSpec};
use super::raster::{CELL, Crop};
use super::shape::{along, distance, dot, sub};
use super::spec::{DrivingSpec, Unloading};
use super::surface::Surface;
use super::transport::{Grain, STEP, Transport};

/// How long a machine runs on at the end of a day until it is empty, s.
const EMPTYING: f64 = 90.0;
/// How long a machine stands to be unloaded, s (our choice).
const UNLOADING: std::ops::Range<f64> = 70.0..130.0;
/// Share of its capacity at which a bin is emptied (our choice: no two loads are alike).
const FULL: std::ops::Range<f64> = 0.85..1.0;
/// Seconds from the start of one day to the start of the next.
const DAY: f64 = 86_400.0;
/// How much later than on the first day work may begin, s (our choice).
const LATE: std::ops::Range<f64> = 0.0..1200.0;

/// What happened in one interval of a machine's clock, whether or not the log was running.
#[derive(Debug, Clone)]
pub(super) struct Interval {
    /// Its end, s since the start of the season.
    pub end: f64,
    /// Day, from 0.
    pub day: u32,
    /// Load of the machine, from 0.
    pub load: u32,
    /// Pass at its end; `None` with the header up.
    pub pass: Option<u16>,
    /// Whether the log was running.
    pub logged: bool,
    /// Middle of the cutter bar at the end, m.
    pub header: [f64; 2],
    /// Direction of travel at the end.
    pub ahead: [f64; 2],
    /// Centre of the ground newly cut; without any, half-way.
    pub ground: [f64; 2],
    /// Distance driven, m.
    pub distance: f64,
    /// Ground newly cut, m².
    pub area: f64,
    /// Grain from it.
    pub cut: Grain,
    /// Grain that passed the flow sensor.
    pub sensed: Grain,
    /// Flow at the sensor at the end, kg/s.
    pub end_flow: f64,
    /// Grain that passed the moisture sensor.
    pub moist: Grain,
    /// Share of the route done.
    pub share_done: f64,
    /// Change of speed over the interval, m/s.
    pub speed_change: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Mode {
    /// At work from a step on.
    From(u64),
    /// Header up, running empty, for some more seconds.
    Emptying(f64),
    /// Nothing left to do.
    Done,
}

/// A machine in the field.
pub(super) struct Machine<'a> {
    spec: &'a MachineSpec,
    driving: &'a DrivingSpec,
    drying: f64,
    rng: ChaCha8Rng,
    driver: Driver<'a>,
    mode: Mode,
    day: u32,
    worked: f64,
    load: u32,
    bin: f64,
    full: f64,
    is_unloading: bool,
    /// Seconds since the header went up.
    lifted: f64,
    to_flow: Transport,
    to_moisture: Transport,
    steps: u64,
    steps_per_interval: u64,
    current: Interval,
    /// Σ place × area of what is newly cut in the interval.
    ground_sum: [f64; 2],
    /// Pose and speed at the start of the interval.
    interval_start: ([f64; 2], f64),
    /// Everything that happened, interval by interval.
    pub intervals: Vec<Interval>,
}

impl<'a> Machine<'a> {
    /// A machine that starts at a step of the season's clock. `drying`: points of moisture lost from day to day.
    pub(super) fn new(
        spec: &'a MachineSpec,
        driving: &'a DrivingSpec,
        drying: f64,
        driver: Driver<'a>,
        start: u64,
        mut rng: ChaCha8Rng,
    ) -> Self {
        let full = spec.bin * rng.random_range(FULL);
        Self {
            spec,
            driving,
            drying,
            rng,
            mode: if driver.is_done() {
                Mode::Done
            } else {
                Mode::From(start)
            },
            day: 0,
            worked: 0.0,
            load: 0,
            bin: 0.0,
            full,
            is_unloading: false,
            lifted: 0.0,
            to_flow: Transport::new(&spec.transport),
            to_moisture: Transport::new(&spec.moisture.transport),
            steps: 0,
            steps_per_interval: (spec.log.interval / STEP).round() as u64,
            current: fresh(),
            ground_sum: [0.0; 2],
            interval_start: (driver.pose.place, driver.speed),
            driver,
            intervals: Vec::new(),
        }
    }

    /// The step at which the machine has something to do next; `None` when it is done.
    pub(super) fn wakes(&self, now: u64) -> Option<u64> {
        match self.mode {
            Mode::From(step) => Some(step.max(now)),
            Mode::Emptying(_) => Some(now),
            Mode::Done => None,
        }
    }

    /// Grain left in the machine, kg.
    pub(super) fn inside(&self) -> f64 {
        self.to_flow.inside()
    }

    /// One step of the season's clock.
    pub(super) fn step(&mut self, now: u64, surface: &Surface, crop: &mut Crop) {
        let old = self.driver.pose;
        match self.mode {
            Mode::Done => return,
            Mode::From(start) if now < start => return,
            Mode::From(_) => match self.driver.step(surface) {
                Progress::Under => {}
                Progress::PassEnded => self.between_passes(),
                Progress::RouteEnded => self.mode = Mode::Emptying(EMPTYING),
            },
            Mode::Emptying(left) => {
                self.driver.rest();
                self.mode = Mode::Emptying(left - STEP);
            }
        }
        let pass = if matches!(self.mode, Mode::From(_)) {
            self.driver.pass()
        } else {
            None
        };
        self.current.pass = pass;
        self.current.distance += distance(old.place, self.driver.pose.place);
        self.lifted = if pass.is_some() {
            0.0
        } else {
            self.lifted + STEP
        };
        let cut = pass.map_or(Grain::default(), |pass| self.cut(old, pass, surface, crop));
        self.carry(cut);
        self.worked += STEP;
        self.steps += 1;
        if self.steps.is_multiple_of(self.steps_per_interval) {
            self.close_interval(now + 1);
            if matches!(self.mode, Mode::Emptying(left) if left <= 0.0) {
                self.end_day();
            }
        }
    }

    /// At the end of a pass: empty the bin, or call it a day.
    fn between_passes(&mut self) {
        if self.driving.unloading == Unloading::Standing && self.bin > 0.75 * self.full {
            self.unload();
        }
        if self.worked > 3600.0 * self.driving.hours_per_day {
            self.mode = Mode::Emptying(EMPTYING);
        }
    }

    fn unload(&mut self) {
        let seconds = self.rng.random_range(UNLOADING);
        self.driver.stand(seconds);
        self.is_unloading = true;
    }

    fn end_day(&mut self) {
        if self.driver.is_done() {
            self.mode = Mode::Done;
            return;
        }
        self.day += 1;
        self.worked = 0.0;
        self.driver.stand(0.0);
        self.next_load();
        let late: f64 = self.rng.random_range(LATE);
        self.mode = Mode::From(((f64::from(self.day) * DAY + late.round()) / STEP).round() as u64);
    }

    fn next_load(&mut self) {
        self.load += 1;
        self.bin = 0.0;
        self.full = self.spec.bin * self.rng.random_range(FULL);
        self.is_unloading = false;
    }

    /// What the header newly cuts between two poses. Each narrow strip of it is measured along the track.
    fn cut(&mut self, old: Pose, pass: u16, surface: &Surface, crop: &mut Crop) -> Grain {
        let new = self.driver.pose;
        let width = self.spec.header_width;
        let strips = (width / CELL).round().max(1.0);
        let strip = width / strips;
        let (r0, r1) = (old.right(), new.right());
        let mut grain = Grain::default();
        for j in 0..strips as usize {
            let across = (j as f64 + 0.5) * strip - 0.5 * width;
            let (a, b) = (along(old.place, r0, across), along(new.place, r1, across));
            let length = dot(sub(b, a), new.ahead);
            let middle = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
            if length > 0.0 && crop.stands(middle, pass) {
                let area = length * strip;
                let mass = surface.wet(middle) / 10_000.0 * area;
                grain.mass += mass;
                self.current.area += area;
                self.ground_sum = along(self.ground_sum, middle, area);
            }
        }
        // Moisture changes little over the width of a header.
        let moisture = surface.moisture(new.place) - self.drying * f64::from(self.day);
        grain.water = grain.mass * moisture / 100.0;
        let half = 0.5 * width;
        // From a cell behind, so that no cell is left between one step and the next.
        let back = along(old.place, old.ahead, -CELL);
        let corners = [
            along(back, r0, -half),
            along(back, r0, half),
            along(new.place, r1, half),
            along(new.place, r1, -half),
        ];
        crop.cut(corners, pass);
        self.current.cut.add(grain, 1.0);
        grain
    }

    /// A step of the grain on its way.
    fn carry(&mut self, cut: Grain) {
        let sensed = self.to_flow.step(cut);
        let moist = self.to_moisture.step(cut);
        self.current.sensed.add(sensed, 1.0);
        self.current.moist.add(moist, 1.0);
        self.current.end_flow = sensed.mass / STEP;
        self.bin += sensed.mass;
    }

    fn close_interval(&mut self, now: u64) {
        let mut done = std::mem::replace(&mut self.current, fresh());
        let (start, start_speed) = self.interval_start;
        let end = self.driver.pose.place;
        done.end = now as f64 * STEP;
        done.day = self.day;
        done.load = self.load;
        done.header = end;
        done.ahead = self.driver.pose.ahead;
        done.ground = if done.area > 0.0 {
            self.ground_sum.map(|x| x / done.area)
        } else {
            [0.5 * (start[0] + end[0]), 0.5 * (start[1] + end[1])]
        };
        done.share_done = self.driver.share_done();
        done.speed_change = self.driver.speed - start_speed;
        done.logged = match self.spec.log.header_up {
            HeaderUp::Rows => true,
            HeaderUp::Pause { after } => self.lifted <= after,
        };
        self.intervals.push(done);
        self.ground_sum = [0.0; 2];
        self.interval_start = (end, self.driver.speed);
        self.empty_bin();
    }

    /// Ends the load where the bin is emptied; loads change between rows.
    fn empty_bin(&mut self) {
        match self.driving.unloading {
            Unloading::OnTheGo if self.bin >= self.full => self.next_load(),
            Unloading::Standing if self.is_unloading && !self.driver.is_standing() => {
                self.next_load()
            }
            Unloading::Standing if !self.is_unloading && self.bin >= self.spec.bin => self.unload(),
            _ => {}
        }
    }
}

/// An interval in which nothing has happened yet.
fn fresh() -> Interval {
    Interval {
        end: 0.0,
        day: 0,
        load: 0,
        pass: None,
        logged: false,
        header: [0.0; 2],
        ahead: [0.0, 1.0],
        ground: [0.0; 2],
        distance: 0.0,
        area: 0.0,
        cut: Grain::default(),
        sensed: Grain::default(),
        end_flow: 0.0,
        moist: Grain::default(),
        share_done: 0.0,
        speed_change: 0.0,
    }
}
