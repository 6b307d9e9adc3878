//! One machine at work: it follows its route, cuts what stands under its header, and carries the grain to its sensors.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::raster::{CELL, Crop};
use super::route::{Stretch, Track};
use super::shape::{along, dot, sub};
use super::spec::{DrivingSpec, HeaderUp, MachineSpec, Unloading};
use super::surface::Surface;
use super::transport::{Grain, STEP, Transport};

/// Memory of the slow wander of speed, s (our choice).
const SPEED_MEMORY: f64 = 30.0;
/// Memory of the steering error, m of travel (our choice).
const STEERING_MEMORY: f64 = 40.0;
/// Usual and hardest change of speed, m/s² (our choice).
const EASY_ACCELERATION: f64 = 0.6;
const HARD_ACCELERATION: f64 = 2.0;
/// How long a machine runs on at the end of a day until it is empty, s.
const EMPTYING: f64 = 90.0;
/// Seconds from the start of one day to the start of the next.
const DAY: f64 = 86_400.0;

/// What happened in one interval of a machine's clock, whether or not the log was running.
#[derive(Debug, Clone)]
pub(super) struct Interval {
    /// Its end, s since the start of the season.
    pub end: f64,
    /// Day, from 0.
    pub day: u32,
    /// Load of the machine, from 0.
    pub load: u32,
    /// Pass; `None` with the header up.
    pub pass: Option<u16>,
    /// Whether the log was running.
    pub logged: bool,
    /// Middle of the cutter bar at the end, m.
    pub header: [f64; 2],
    /// Direction of travel at the end.
    pub ahead: [f64; 2],
    /// Centre of the ground newly cut; without any, where the header was half-way.
    pub ground: [f64; 2],
    /// Distance driven, m.
    pub distance: f64,
    /// Distance driven with the header down, m.
    pub down: f64,
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
    pub progress: f64,
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

#[derive(Debug, Clone, Copy)]
struct Pose {
    place: [f64; 2],
    ahead: [f64; 2],
}

impl Pose {
    fn right(&self) -> [f64; 2] {
        [self.ahead[1], -self.ahead[0]]
    }
}

/// A machine in the field.
pub(super) struct Machine<'a> {
    spec: &'a MachineSpec,
    driving: &'a DrivingSpec,
    usual_yield: f64,
    drying: f64,
    rng: ChaCha8Rng,
    route: Vec<(Track, Option<u16>)>,
    /// Length of the route before each stretch, and in the end all of it, m.
    before: Vec<f64>,
    stretch: usize,
    at: f64,
    pose: Pose,
    speed: f64,
    wander: f64,
    steering: f64,
    hurry: f64,
    hurry_left: f64,
    standing: f64,
    unloads: bool,
    mode: Mode,
    day: u32,
    worked: f64,
    load: u32,
    bin: f64,
    full: f64,
    lifted: f64,
    to_flow: Transport,
    to_moisture: Transport,
    current: Interval,
    speed_before: f64,
    ground_sum: [f64; 2],
    interval_steps: u64,
    steps: u64,
    /// Everything that happened, interval by interval.
    pub intervals: Vec<Interval>,
}

impl<'a> Machine<'a> {
    pub(super) fn new(
        spec: &'a MachineSpec,
        driving: &'a DrivingSpec,
        (usual_yield, drying): (f64, f64),
        route: Vec<Stretch>,
        start: u64,
        mut rng: ChaCha8Rng,
    ) -> Self {
        let route: Vec<(Track, Option<u16>)> = route
            .into_iter()
            .map(|s| (Track::new(s.line), s.pass))
            .collect();
        let mut before = vec![0.0];
        for (track, _) in &route {
            before.push(before[before.len() - 1] + track.length());
        }
        let pose = route.first().map_or(
            Pose {
                place: [0.0; 2],
                ahead: [0.0, 1.0],
            },
            |(t, _)| Pose {
                place: t.place(0.0),
                ahead: t.ahead(0.0),
            },
        );
        let full = spec.bin * rng.random_range(0.85..1.0);
        Self {
            spec,
            driving,
            usual_yield,
            drying,
            mode: if route.is_empty() {
                Mode::Done
            } else {
                Mode::From(start)
            },
            route,
            before,
            stretch: 0,
            at: 0.0,
            pose,
            speed: driving.turn_speed,
            wander: 0.0,
            steering: 0.0,
            hurry: 1.0,
            hurry_left: 0.0,
            standing: 0.0,
            unloads: false,
            day: 0,
            worked: 0.0,
            load: 0,
            bin: 0.0,
            full,
            lifted: 0.0,
            to_flow: Transport::new(&spec.transport),
            to_moisture: Transport::new(&spec.moisture.transport),
            current: fresh(pose),
            speed_before: 0.0,
            ground_sum: [0.0; 2],
            interval_steps: (spec.log.interval / STEP).round() as u64,
            steps: 0,
            intervals: Vec::new(),
            rng,
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

    /// One step of the clock.
    pub(super) fn step(&mut self, now: u64, surface: &Surface, crop: &mut Crop) {
        match self.mode {
            Mode::Done => return,
            Mode::From(start) if now < start => return,
            _ => {}
        }
        let (old, pass) = (self.pose, self.drive(surface));
        let travelled = dot(sub(self.pose.place, old.place), old.ahead)
            .hypot(dot(sub(self.pose.place, old.place), old.right()));
        self.current.distance += travelled;
        let mut grain = Grain::default();
        if let Some(pass) = pass {
            self.current.down += travelled;
            grain = self.cut(old, pass, surface, crop);
        }
        let out = self.to_flow.step(grain);
        let moist = self.to_moisture.step(grain);
        self.current.sensed.add(out, 1.0);
        self.current.moist.add(moist, 1.0);
        self.current.end_flow = out.mass / STEP;
        self.current.pass = pass;
        self.bin += out.mass;
        self.lifted = if pass.is_some() {
            0.0
        } else {
            self.lifted + STEP
        };
        self.worked += STEP;
        self.steps += 1;
        if self.steps.is_multiple_of(self.interval_steps) {
            self.close_interval(now + 1);
        }
        if let Mode::Emptying(left) = self.mode {
            self.mode = Mode::Emptying(left - STEP);
            if left <= STEP && self.steps.is_multiple_of(self.interval_steps) {
                self.end_day();
            }
        }
    }

    /// Moves on by a step; the pass that the header is down for.
    fn drive(&mut self, surface: &Surface) -> Option<u16> {
        let pass = self.pass();
        let (target, acceleration) = self.target_speed(surface, pass);
        let change = (target - self.speed).clamp(-2.0 * acceleration * STEP, acceleration * STEP);
        self.speed = (self.speed + change).max(0.0);
        if self.standing > 0.0 && self.speed == 0.0 {
            self.standing -= STEP;
        }
        if self.speed > 0.0 && self.is_at_work() {
            self.advance(self.speed * STEP);
        }
        self.pass()
    }

    fn is_at_work(&self) -> bool {
        matches!(self.mode, Mode::From(_))
    }

    fn pass(&self) -> Option<u16> {
        if self.is_at_work() {
            self.route[self.stretch].1
        } else {
            None
        }
    }

    /// The speed the driver wants and how hard he goes for it, m/s and m/s².
    fn target_speed(&mut self, surface: &Surface, pass: Option<u16>) -> (f64, f64) {
        let keep = (-STEP / SPEED_MEMORY).exp();
        let fresh: f64 = self.rng.sample(StandardNormal);
        self.wander = keep * self.wander + (1.0 - keep * keep).sqrt() * fresh;
        if self.standing > 0.0 || matches!(self.mode, Mode::Emptying(_)) {
            return (0.0, EASY_ACCELERATION);
        }
        if pass.is_none() {
            return (self.driving.turn_speed, EASY_ACCELERATION);
        }
        let per_step = STEP / 3600.0;
        if self.rng.random::<f64>() < self.driving.stops_per_hour * per_step {
            self.standing = self.rng.random_range(4.0..45.0);
        }
        if self.rng.random::<f64>() < self.driving.abrupt_per_hour * per_step {
            self.hurry = self.rng.random_range(0.45..1.25);
            self.hurry_left = self.rng.random_range(4.0..25.0);
        }
        self.hurry_left -= STEP;
        let abrupt = if self.hurry_left > 0.0 {
            self.hurry
        } else {
            1.0
        };
        let hold = if self.driving.flow_hold > 0.0 {
            let here = surface.wet(self.pose.place).max(1.0);
            (self.usual_yield / here)
                .powf(self.driving.flow_hold)
                .clamp(0.6, 1.4)
        } else {
            1.0
        };
        let target =
            self.spec.speed * (self.driving.speed_wander * self.wander).exp() * abrupt * hold;
        let hard = self.hurry_left > 0.0;
        (
            target,
            if hard {
                HARD_ACCELERATION
            } else {
                EASY_ACCELERATION
            },
        )
    }

    fn advance(&mut self, travel: f64) {
        self.at += travel;
        while self.at > self.route[self.stretch].0.length() {
            self.at -= self.route[self.stretch].0.length();
            let was_pass = self.route[self.stretch].1.is_some();
            self.stretch += 1;
            if self.stretch == self.route.len() {
                self.stretch -= 1;
                self.at = self.route[self.stretch].0.length();
                self.mode = Mode::Emptying(EMPTYING);
                break;
            }
            if was_pass {
                self.between_passes();
            }
        }
        let keep = (-travel / STEERING_MEMORY).exp();
        let fresh: f64 = self.rng.sample(StandardNormal);
        self.steering =
            keep * self.steering + (1.0 - keep * keep).sqrt() * self.driving.steering_sd * fresh;
        let track = &self.route[self.stretch].0;
        let ahead = track.ahead(self.at);
        self.pose = Pose {
            place: along(track.place(self.at), [ahead[1], -ahead[0]], self.steering),
            ahead,
        };
    }

    /// At the end of a pass: empty the bin, or call it a day.
    fn between_passes(&mut self) {
        self.hurry_left = 0.0;
        if self.driving.unloading == Unloading::Standing && self.bin > 0.75 * self.full {
            self.standing = self.rng.random_range(70.0..130.0);
            self.unloads = true;
        }
        if self.worked > 3600.0 * self.driving.hours_per_day {
            self.mode = Mode::Emptying(EMPTYING);
        }
    }

    fn end_day(&mut self) {
        let last = self.stretch + 1 == self.route.len();
        if last {
            self.mode = Mode::Done;
            return;
        }
        self.day += 1;
        self.next_load();
        self.worked = 0.0;
        let late: f64 = self.rng.random_range(0.0..1200.0);
        let start = (f64::from(self.day) * DAY + late.round()) / STEP;
        self.mode = Mode::From(start.round() as u64);
    }

    fn next_load(&mut self) {
        self.load += 1;
        self.bin = 0.0;
        self.full = self.spec.bin * self.rng.random_range(0.85..1.0);
        self.unloads = false;
    }

    /// What the header newly cuts between two poses. Each narrow strip of it is measured along the track.
    fn cut(&mut self, old: Pose, pass: u16, surface: &Surface, crop: &mut Crop) -> Grain {
        let width = self.spec.header_width;
        let strips = (width / CELL).round().max(1.0);
        let strip = width / strips;
        let (r0, r1) = (old.right(), self.pose.right());
        let mut grain = Grain::default();
        for j in 0..strips as usize {
            let across = (j as f64 + 0.5) * strip - 0.5 * width;
            let (a, b) = (
                along(old.place, r0, across),
                along(self.pose.place, r1, across),
            );
            let length = dot(sub(b, a), self.pose.ahead);
            let middle = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
            if length > 0.0 && crop.stands(middle, pass) {
                let area = length * strip;
                let mass = surface.wet(middle) / 10_000.0 * area;
                let moisture = surface.moisture(middle) - self.drying * f64::from(self.day);
                grain.add(
                    Grain {
                        mass,
                        water: mass * moisture / 100.0,
                    },
                    1.0,
                );
                self.current.area += area;
                self.ground_sum = along(self.ground_sum, middle, area);
            }
        }
        let half = 0.5 * width;
        let back = along(old.place, old.ahead, -CELL);
        crop.cut(
            [
                along(back, r0, -half),
                along(back, r0, half),
                along(self.pose.place, r1, half),
                along(self.pose.place, r1, -half),
            ],
            pass,
        );
        self.current.cut.add(grain, 1.0);
        grain
    }

    fn close_interval(&mut self, now: u64) {
        let next = fresh(self.pose);
        let mut done = std::mem::replace(&mut self.current, next);
        let start = done.header;
        done.ground = if done.area > 0.0 {
            self.ground_sum.map(|x| x / done.area)
        } else {
            [
                0.5 * (start[0] + self.pose.place[0]),
                0.5 * (start[1] + self.pose.place[1]),
            ]
        };
        self.ground_sum = [0.0; 2];
        done.end = now as f64 * STEP;
        done.day = self.day;
        done.load = self.load;
        done.header = self.pose.place;
        done.ahead = self.pose.ahead;
        done.progress =
            (self.before[self.stretch] + self.at) / self.before[self.before.len() - 1].max(1.0);
        done.speed_change = self.speed - self.speed_before;
        self.speed_before = self.speed;
        done.logged = match self.spec.log.header_up {
            HeaderUp::Rows => true,
            HeaderUp::Pause { after } => done.down > 0.0 || self.lifted <= after,
        };
        self.intervals.push(done);
        self.empty_bin();
    }

    /// Ends the load where the bin is emptied. Loads change between rows.
    fn empty_bin(&mut self) {
        match self.driving.unloading {
            Unloading::OnTheGo if self.bin >= self.full => self.next_load(),
            Unloading::Standing if self.unloads && self.standing <= 0.0 => self.next_load(),
            Unloading::Standing if !self.unloads && self.bin >= self.spec.bin => {
                self.standing = self.rng.random_range(70.0..130.0);
                self.unloads = true;
            }
            _ => {}
        }
    }
}

/// An interval in which nothing has happened yet; `header` holds where it starts.
fn fresh(pose: Pose) -> Interval {
    Interval {
        end: 0.0,
        day: 0,
        load: 0,
        pass: None,
        logged: false,
        header: pose.place,
        ahead: pose.ahead,
        ground: pose.place,
        distance: 0.0,
        down: 0.0,
        area: 0.0,
        cut: Grain::default(),
        sensed: Grain::default(),
        end_flow: 0.0,
        moist: Grain::default(),
        progress: 0.0,
        speed_change: 0.0,
    }
}
