//! A field made for tests: points of serpentine passes over ground whose yield is known.

use std::f64::consts::PI;

use fanmill::checks::{CheckInput, CheckParams, Checked, RampSeconds, apply};
use fanmill::crop::Crop;
use fanmill::faults::FaultKind;
use fanmill::passes::Activity;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

pub const WIDTH: f64 = 9.0;

/// How the field was cut and measured.
#[derive(Clone, Copy)]
pub struct Cutting {
    pub passes: usize,
    pub length: f64,
    pub interval: f64,
    pub speed: f64,
    pub noise: f64,
    /// Flow and ground are apart by so many seconds still.
    pub delay_error: f64,
}

impl Default for Cutting {
    fn default() -> Self {
        Self {
            passes: 40,
            length: 600.0,
            interval: 1.0,
            speed: 2.0,
            noise: 0.06,
            delay_error: 0.7,
        }
    }
}

pub fn maize() -> Crop {
    Crop {
        name: "maize".into(),
        reference_moisture: 15.5,
        bushel_kg: 25.4,
        highest_yield: 25_000.0,
        row_spacing: None,
        moisture_bounds: (5.0, 45.0),
        credit_dry: false,
    }
}

/// Smooth ground, 6–12 t/ha.
pub fn smooth(x: f64, y: f64) -> f64 {
    9000.0
        * (0.18 * (x / 47.0).sin() * (y / 60.0).cos()
            + 0.12 * ((x + y) / 110.0).sin()
            + 0.05 * (y / 23.0).sin())
        .exp()
}

/// Ground with variation at all lengths from 15 to 400 m, as yield has: shorter waves are lower.
pub fn rough(x: f64, y: f64) -> f64 {
    let wave = |k: usize| {
        let (length, angle) = (400.0 * 0.85_f64.powi(k as i32), 2.4 * k as f64);
        let along = x * angle.cos() + y * angle.sin();
        (length / 400.0).sqrt() * (2.0 * PI * along / length + 1.7 * k as f64).sin()
    };
    9000.0 * (0.09 * (0..21).map(wave).sum::<f64>()).exp()
}

/// Columns of a field; change what a test is about, then check.
pub struct Field {
    pub x: Vec<f64>,
    pub y: Vec<f64>,
    pub pass: Vec<Option<u32>>,
    pub direction: Vec<f64>,
    pub activity: Vec<Activity>,
    pub machine: Vec<u32>,
    pub since_entry: Vec<f64>,
    pub until_exit: Vec<f64>,
    pub interval: Vec<f64>,
    pub speed: Vec<f64>,
    pub header_width: Vec<f64>,
    pub cut_share: Vec<f64>,
    pub narrow: Vec<bool>,
    pub no_flow: Vec<bool>,
    pub yield_kg_ha: Vec<f64>,
    pub moisture: Vec<f64>,
    pub fault: Vec<Option<FaultKind>>,
    pub inside: Vec<bool>,
    pub ramps: Vec<RampSeconds>,
    pub crop: Crop,
}

impl Field {
    /// Cuts ground of this yield (kg/ha at x, y).
    pub fn cut(cutting: Cutting, seed: u64, ground: impl Fn(f64, f64) -> f64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let step = cutting.speed * cutting.interval;
        let per_pass = (cutting.length / step) as usize;
        let n = cutting.passes * per_pass;
        let mut f = Self {
            x: Vec::with_capacity(n),
            y: Vec::with_capacity(n),
            pass: (0..n).map(|i| Some((i / per_pass) as u32)).collect(),
            direction: (0..n).map(|i| PI * ((i / per_pass) % 2) as f64).collect(),
            activity: vec![Activity::Cutting; n],
            machine: vec![0; n],
            since_entry: (0..n)
                .map(|i| ((i % per_pass) as f64 + 0.5) * cutting.interval)
                .collect(),
            until_exit: (0..n)
                .map(|i| ((per_pass - i % per_pass) as f64 - 0.5) * cutting.interval)
                .collect(),
            interval: vec![cutting.interval; n],
            speed: Vec::with_capacity(n),
            header_width: vec![WIDTH; n],
            cut_share: vec![1.0; n],
            narrow: vec![false; n],
            no_flow: vec![false; n],
            yield_kg_ha: Vec::with_capacity(n),
            moisture: Vec::with_capacity(n),
            fault: vec![None; n],
            inside: vec![true; n],
            ramps: vec![RampSeconds {
                entry: 4.0,
                exit: 3.0,
            }],
            crop: maize(),
        };
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        for i in 0..n {
            let forward = (i / per_pass).is_multiple_of(2);
            let along = ((i % per_pass) as f64 + 0.5) * step;
            let x = if forward {
                along
            } else {
                cutting.length - along
            };
            let y = WIDTH * ((i / per_pass) as f64 + 0.5);
            let shift = cutting.delay_error * cutting.speed * if forward { 1.0 } else { -1.0 };
            f.x.push(x + 0.1 * normal());
            f.y.push(y + 0.1 * normal());
            f.speed.push(cutting.speed * (0.03 * normal()).exp());
            f.yield_kg_ha
                .push(ground(x + shift, y) * (cutting.noise * normal()).exp());
            f.moisture.push(18.0 + 1.0 * normal());
        }
        f
    }

    pub fn len(&self) -> usize {
        self.x.len()
    }

    pub fn input(&self) -> CheckInput<'_> {
        CheckInput {
            x: &self.x,
            y: &self.y,
            pass: &self.pass,
            direction: &self.direction,
            activity: &self.activity,
            machine: &self.machine,
            since_entry: &self.since_entry,
            until_exit: &self.until_exit,
            interval: &self.interval,
            speed: &self.speed,
            header_width: &self.header_width,
            cut_share: &self.cut_share,
            narrow: &self.narrow,
            no_flow: &self.no_flow,
            yield_kg_ha: &self.yield_kg_ha,
            moisture: &self.moisture,
            fault: &self.fault,
            inside: &self.inside,
            ramps: &self.ramps,
            crop: &self.crop,
        }
    }

    pub fn check(&self, params: CheckParams) -> Checked {
        apply(&self.input(), &params.check().expect("settings pass"))
            .expect("columns belong together")
    }

    /// Whether a row lies between the ramps of its pass.
    pub fn interior(&self, i: usize) -> bool {
        let ramp = self.ramps[self.machine[i] as usize];
        self.since_entry[i] >= ramp.entry && self.until_exit[i] >= ramp.exit
    }

    /// Rows between the ramps.
    pub fn interiors(&self) -> Vec<usize> {
        (0..self.len()).filter(|&i| self.interior(i)).collect()
    }
}
