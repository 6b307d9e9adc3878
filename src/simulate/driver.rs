//! How a machine moves along its route: speed and its changes, steering, stops.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::route::Stretch;
use super::shape::along;
use super::spec::DrivingSpec;
use super::surface::Surface;
use super::track::Track;
use super::transport::STEP;

/// Memory of the slow wander of speed, s (our choice).
const SPEED_MEMORY: f64 = 30.0;
/// Memory of the steering error, m of travel (our choice).
const STEERING_MEMORY: f64 = 40.0;
/// Usual and hardest change of speed, m/s² (our choice); braking is twice as hard.
const EASY_ACCELERATION: f64 = 0.6;
const HARD_ACCELERATION: f64 = 2.0;
/// Length of a stop inside a pass, s (our choice).
const STOP: std::ops::Range<f64> = 4.0..45.0;
/// Speed after an abrupt change, as a share of the usual one, and how long it lasts, s (our choice).
const ABRUPT_SHARE: std::ops::Range<f64> = 0.45..1.25;
const ABRUPT_TIME: std::ops::Range<f64> = 4.0..25.0;

/// Where the middle of the cutter bar is and where it goes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pose {
    pub place: [f64; 2],
    pub ahead: [f64; 2],
}

impl Pose {
    /// Unit vector to the right.
    pub(super) fn right(&self) -> [f64; 2] {
        [self.ahead[1], -self.ahead[0]]
    }
}

/// What happened to the route in a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Progress {
    /// The machine is on the same stretch, or on a pass after a turn.
    Under,
    /// A pass has ended.
    PassEnded,
    /// The route has ended.
    RouteEnded,
}

/// The driver of one machine.
pub(super) struct Driver<'a> {
    driving: &'a DrivingSpec,
    usual_speed: f64,
    usual_yield: f64,
    rng: ChaCha8Rng,
    route: Vec<(Track, Option<u16>)>,
    /// Length of the route before each stretch, and in the end all of it, m.
    before: Vec<f64>,
    stretch: usize,
    at: f64,
    pub pose: Pose,
    pub speed: f64,
    wander: f64,
    steering: f64,
    abrupt_share: f64,
    abrupt_left: f64,
    standing: f64,
}

impl<'a> Driver<'a> {
    pub(super) fn new(
        driving: &'a DrivingSpec,
        usual_speed: f64,
        usual_yield: f64,
        route: Vec<Stretch>,
        rng: ChaCha8Rng,
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
            |(track, _)| Pose {
                place: track.place(0.0),
                ahead: track.ahead(0.0),
            },
        );
        Self {
            driving,
            usual_speed,
            usual_yield,
            rng,
            route,
            before,
            stretch: 0,
            at: 0.0,
            pose,
            speed: driving.turn_speed,
            wander: 0.0,
            steering: 0.0,
            abrupt_share: 1.0,
            abrupt_left: 0.0,
            standing: 0.0,
        }
    }

    /// Whether the route is empty or done.
    pub(super) fn is_done(&self) -> bool {
        self.stretch == self.route.len()
    }

    /// The pass that the machine is on.
    pub(super) fn pass(&self) -> Option<u16> {
        self.route.get(self.stretch).and_then(|(_, pass)| *pass)
    }

    /// Share of the route done.
    pub(super) fn share_done(&self) -> f64 {
        (self.before[self.stretch] + self.at) / self.before[self.before.len() - 1].max(1.0)
    }

    /// Stops for some time.
    pub(super) fn stand(&mut self, seconds: f64) {
        self.standing = seconds;
    }

    /// Whether the machine stops or stands.
    pub(super) fn is_standing(&self) -> bool {
        self.standing > 0.0
    }

    /// A step at the end of a day: the machine stops and stays.
    pub(super) fn rest(&mut self) {
        self.speed = (self.speed - 2.0 * EASY_ACCELERATION * STEP).max(0.0);
    }

    /// A step along the route.
    pub(super) fn step(&mut self, surface: &Surface) -> Progress {
        let (target, acceleration) = self.target_speed(surface);
        let change = (target - self.speed).clamp(-2.0 * acceleration * STEP, acceleration * STEP);
        self.speed = (self.speed + change).max(0.0);
        if self.speed == 0.0 {
            self.standing -= STEP;
            return Progress::Under;
        }
        self.advance(self.speed * STEP)
    }

    /// The speed the driver wants and how hard he goes for it, m/s and m/s².
    fn target_speed(&mut self, surface: &Surface) -> (f64, f64) {
        self.wander = next(self.wander, STEP / SPEED_MEMORY, &mut self.rng);
        if self.is_standing() {
            return (0.0, EASY_ACCELERATION);
        }
        if self.pass().is_none() {
            return (self.driving.turn_speed, EASY_ACCELERATION);
        }
        let happens =
            |per_hour: f64, rng: &mut ChaCha8Rng| rng.random::<f64>() < per_hour * STEP / 3600.0;
        if happens(self.driving.stops_per_hour, &mut self.rng) {
            self.standing = self.rng.random_range(STOP);
        }
        if happens(self.driving.abrupt_per_hour, &mut self.rng) {
            self.abrupt_share = self.rng.random_range(ABRUPT_SHARE);
            self.abrupt_left = self.rng.random_range(ABRUPT_TIME);
        }
        self.abrupt_left -= STEP;
        let (share, acceleration) = if self.abrupt_left > 0.0 {
            (self.abrupt_share, HARD_ACCELERATION)
        } else {
            (1.0, EASY_ACCELERATION)
        };
        let hold = if self.driving.flow_hold > 0.0 {
            let here = surface.wet(self.pose.place).max(1.0);
            (self.usual_yield / here)
                .powf(self.driving.flow_hold)
                .clamp(0.6, 1.4)
        } else {
            1.0
        };
        (
            self.usual_speed * (self.driving.speed_wander * self.wander).exp() * share * hold,
            acceleration,
        )
    }

    fn advance(&mut self, travel: f64) -> Progress {
        self.at += travel;
        let mut progress = Progress::Under;
        while self.at > self.route[self.stretch].0.length() {
            self.at -= self.route[self.stretch].0.length();
            if self.route[self.stretch].1.is_some() {
                progress = Progress::PassEnded;
                self.abrupt_left = 0.0;
            }
            self.stretch += 1;
            if self.is_done() {
                self.at = 0.0;
                return Progress::RouteEnded;
            }
        }
        self.steering = next(self.steering, travel / STEERING_MEMORY, &mut self.rng);
        let track = &self.route[self.stretch].0;
        self.pose.ahead = track.ahead(self.at);
        let error = self.driving.steering_sd * self.steering;
        self.pose.place = along(track.place(self.at), self.pose.right(), error);
        progress
    }
}

/// The next value of a process of variance 1 whose correlation falls as e^(−elapsed), elapsed in its memories.
fn next(value: f64, elapsed: f64, rng: &mut ChaCha8Rng) -> f64 {
    let keep = (-elapsed).exp();
    keep * value + (1.0 - keep * keep).sqrt() * rng.sample::<f64, _>(StandardNormal)
}
