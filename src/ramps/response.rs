//! A machine's response to crop that begins and ends: dead time, then first-order mixing in one or two like stages
//! (Arslan 2008, Sensors 8:952), fitted to the profiles of pass ends. What lies below the resolution of a band over
//! passes, the slow tail of the filling, follows from the shape.

use super::gather::PROFILE_S;

/// Time constants that are tried, s.
const TAUS_S: [f64; 16] = [
    0.4, 0.6, 0.8, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0,
];
/// Stages of mixing that are tried.
const STAGES: [u8; 2] = [1, 2];
/// Step of tables and of the starts that are tried, s.
const STEP_S: f64 = 0.5;
/// Where a response may begin, s from the pass's end (our choice: as far as delays can be off that nothing told).
const STARTS_S: (f64, f64) = (-20.0, 15.0);
/// What is known before a profile is seen (ours): total mixing of 3 s within a factor of 1.6 (published: dispersions of
/// 1–5 s, Arslan 2008; dyed grain peaks some 15 m after cutting and is through within 30 m, Colvin & Arslan 1999), and a mean response where the delay says it is, within 1.5 s, a generous error of a delay. Crop begins and
/// ends anywhere within the first and the last row of a pass, so half a row inside its ends on average. Their weight is
/// that of one second of profile, so a profile that tells overrules both.
const MIXING: (f64, f64) = (3.0, 0.5);
const CENTRE_SD_S: f64 = 1.5;
/// Length of a strip at the end of passes that yields otherwise, s, as it fades (our choice: headlands of 10–25 m at
/// 2 m/s).
const STRIP_S: f64 = 8.0;
/// Where emptying begins against what filling says, sd, where the response is known: s, and parts of a row within which
/// crop begins and ends; and the relative sd of its mixing (our choice).
const KNOWN_BEGIN_SD: (f64, f64) = (0.5, 0.5);
/// See [`KNOWN_BEGIN_SD`].
const KNOWN_MIXING_SD: f64 = 0.2;
/// Where emptying begins against what filling says of the same machine, sd, s (our choice, as for the delay).
const BEGIN_SD_S: f64 = 1.5;
/// Seconds of a profile that err together (our choice: crop changes over some ten metres).
const ERR_TOGETHER: f64 = 4.0;
/// What no model fits better than (our choice).
const MODEL_SD: f64 = 0.01;
/// Which quantile of the ramps that the data leave possible is taken. Our choice, beyond the middle: a ramp too long costs
/// points, one too short leaves a bias on the map.
const TAKEN: f64 = 0.75;
/// A response is settled within this share. Our choice: half of it, on average, is what remains in the points behind a
/// ramp, well below what the mean of pass ends is to be held to.
const SETTLED: f64 = 0.015;

/// One end's profile as a fit sees it: a value and its standard deviation per second from the pass's end.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    pub value: Vec<f64>,
    pub sd: Vec<f64>,
    /// The band that both come from.
    pub band: Vec<[f32; 3]>,
    /// Usual change of ground over [`PROFILE_S`] (sd, relative): much where nothing beside tells, little where it does.
    pub ground_sd: f64,
    /// How far a strip at the pass's end differs (sd, relative). It looks like a slow filling, so it is only let in where
    /// the response is known beforehand.
    pub strip_sd: f64,
}

/// A fitted response.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Response {
    /// Where it begins, s from the pass's end: inwards for filling, so negative where the delay's centre lies behind.
    pub begins: f64,
    /// Time constant of a stage, s.
    pub tau: f64,
    /// Stages, 1 or 2.
    pub stages: u8,
    /// Level that it comes to, and the ground's relative change from there over 30 s.
    pub level: (f64, f64),
}

/// Share of its end that a response has reached `t` seconds after its begin.
fn reached(t: f64, tau: f64, stages: u8) -> f64 {
    let x = t.max(0.0) / tau;
    match stages {
        1 => 1.0 - (-x).exp(),
        _ => 1.0 - (1.0 + x) * (-x).exp(),
    }
}

/// A response averaged as rows and the signal average it, tabled over time since its begin.
struct Table {
    from: f64,
    value: Vec<f64>,
}

impl Table {
    /// `sigma`: standard deviation of the averaging, s.
    fn new(tau: f64, stages: u8, sigma: f64) -> Self {
        /// Points of the averaging's normal weights, −2.5 to 2.5 deviations.
        const POINTS: i32 = 10;
        let from = -STARTS_S.1 - PROFILE_S as f64;
        let n = ((PROFILE_S as f64 - STARTS_S.0 - from) / STEP_S) as usize + 1;
        let weights: Vec<(f64, f64)> = (-POINTS..=POINTS)
            .map(|k| 2.5 * f64::from(k) / f64::from(POINTS))
            .map(|z| (z * sigma, (-0.5 * z * z).exp()))
            .collect();
        let sum: f64 = weights.iter().map(|w| w.1).sum();
        let at = |t: f64| -> f64 {
            let averaged = |&(by, w): &(f64, f64)| w * reached(t + by, tau, stages);
            weights.iter().map(averaged).sum::<f64>() / sum
        };
        Self {
            from,
            value: (0..n).map(|k| at(from + k as f64 * STEP_S)).collect(),
        }
    }

    fn at(&self, t: f64) -> f64 {
        let k = ((t - self.from) / STEP_S).round().max(0.0) as usize;
        self.value[k.min(self.value.len() - 1)]
    }
}

/// A kind of response and what of its shape does not depend on where it begins.
struct Kind {
    tau: f64,
    stages: u8,
    table: Table,
    /// Seconds after its begin until which the mean of a row lacks more than settled ones do.
    fills: f64,
    /// Seconds after its begin until which the mean of a row has reached no more than that.
    starts: f64,
}

impl Kind {
    fn new(tau: f64, stages: u8, step: f64) -> Self {
        /// Parts of a row either side, of which the mean is taken.
        const PARTS: i32 = 8;
        // A row logs a mean over its interval, and moving it by a delay that is no whole number of rows takes the mean of
        // two: weights fall from the row's middle to a row before and behind it.
        let mean_of_row = |t: f64| {
            let (mut sum, mut weights) = (0.0, 0.0);
            for k in -PARTS..=PARTS {
                let away = f64::from(k) / f64::from(PARTS);
                let weight = 1.0 - away.abs();
                sum += weight * reached(t + away * step, tau, stages);
                weights += weight;
            }
            sum / weights
        };
        let first = |from: f64, is: &dyn Fn(f64) -> bool| {
            let mut t = from;
            while !is(t) && t < from + 100.0 {
                t += 0.1;
            }
            t
        };
        // A signal has a standard deviation of a row, and each row one of its own.
        let sigma = step * (1.0f64 + 1.0 / 12.0).sqrt();
        Self {
            tau,
            stages,
            table: Table::new(tau, stages, sigma),
            fills: first(0.0, &|t| 1.0 - mean_of_row(t) <= SETTLED),
            starts: first(-step, &|t| mean_of_row(t) > SETTLED),
        }
    }
}

/// What a profile says: the likeliest response, the ramp that is taken and its 95 % interval, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fit {
    pub response: Response,
    pub ramp: f64,
    /// As likely too long as too short.
    pub middle: f64,
    pub interval: [f64; 2],
}

/// What is known of a response before its profile is seen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known {
    /// Total mixing, s, and its relative standard deviation.
    pub mixing: f64,
    /// See [`Known::mixing`].
    pub mixing_sd: f64,
    /// Where its centre lies behind the pass's start once the delay is undone, s, and its standard deviation.
    pub centre: f64,
    /// See [`Known::centre`].
    pub centre_sd: f64,
}

/// Fits responses to profiles that were averaged alike.
pub(super) struct Fitter {
    kinds: Vec<Kind>,
    known: Option<Known>,
    step: f64,
    /// First second that is fitted: before it the ground's own averaging is steep.
    first: usize,
}

impl Fitter {
    /// `step`: usual time from row to row, s. `known`: what else tells of the response; without, it is what is usual.
    pub(super) fn new(step: f64, known: Option<Known>) -> Self {
        let kinds = STAGES.iter().flat_map(|&stages| {
            let of = move |tau| Kind::new(tau, stages, step);
            TAUS_S.into_iter().map(of)
        });
        Self {
            kinds: kinds.collect(),
            known,
            step,
            first: (1.0 + 1.5 * step) as usize,
        }
    }

    /// The filling that a profile shows; `None` where it tells of too few seconds.
    pub(super) fn entry(&self, seen: &Seen) -> Option<Fit> {
        let known = self.known.unwrap_or(Known {
            mixing: MIXING.0,
            mixing_sd: MIXING.1,
            centre: 0.5 * self.step,
            centre_sd: CENTRE_SD_S,
        });
        let prior = |begins: f64, kind: &Kind| {
            let mixing = kind.tau * f64::from(kind.stages);
            let Known {
                mixing: usual,
                mixing_sd,
                centre,
                centre_sd,
            } = known;
            ((mixing / usual).ln() / mixing_sd).powi(2)
                + ((begins + mixing - centre) / centre_sd).powi(2)
        };
        self.fit(
            seen,
            prior,
            |kind, begins, s| kind.table.at(s - begins),
            |kind, begins| begins + kind.fills,
        )
    }

    /// The emptying that a profile shows, seconds counted back from the pass's end, near what filling leads to expect.
    /// It begins `-begins` before the end.
    pub(super) fn exit(&self, seen: &Seen, filling: &Response) -> Option<Fit> {
        let (mixing_sd, begin_sd) = match self.known {
            Some(known) => (
                known.mixing_sd.max(KNOWN_MIXING_SD),
                KNOWN_BEGIN_SD.0 + KNOWN_BEGIN_SD.1 * self.step,
            ),
            None => (MIXING.1, BEGIN_SD_S),
        };
        let prior = |begins: f64, kind: &Kind| {
            if kind.stages != filling.stages {
                return f64::INFINITY;
            }
            ((kind.tau / filling.tau).ln() / mixing_sd).powi(2)
                + ((begins - filling.begins + self.step) / begin_sd).powi(2)
        };
        self.fit(
            seen,
            prior,
            |kind, begins, s| 1.0 - kind.table.at(-begins - s),
            |kind, begins| -begins - kind.starts,
        )
    }

    fn fit(
        &self,
        seen: &Seen,
        prior: impl Fn(f64, &Kind) -> f64,
        shape: impl Fn(&Kind, f64, f64) -> f64,
        ramp: impl Fn(&Kind, f64) -> f64,
    ) -> Option<Fit> {
        let told = |s: &usize| seen.value[*s].is_finite() && seen.sd[*s].is_finite();
        let seconds: Vec<usize> = (self.first..PROFILE_S).filter(told).collect();
        if seconds.len() < 10 {
            return None;
        }
        let strip_sd = self.known.map_or(0.0, |_| seen.strip_sd);
        let starts = ((STARTS_S.1 - STARTS_S.0) / STEP_S) as usize + 1;
        let mut best: Option<(f64, Response)> = None;
        let mut ramps: Vec<(f64, f64)> = Vec::new();
        for kind in &self.kinds {
            for k in 0..starts {
                let begins = STARTS_S.0 + k as f64 * STEP_S;
                let known = prior(begins, kind);
                if known > best.map_or(f64::INFINITY, |b| b.0) + 30.0 {
                    continue; // e^-15 of the likeliest
                }
                let of = |s: usize| shape(kind, begins, s as f64 + 0.5);
                let Some((level, misfit)) = level(seen, &seconds, strip_sd, of) else {
                    continue;
                };
                let cost = known + misfit / ERR_TOGETHER;
                ramps.push((ramp(kind, begins).clamp(0.0, PROFILE_S as f64), cost));
                if best.is_none_or(|b| cost < b.0) {
                    let response = Response {
                        begins,
                        tau: kind.tau,
                        stages: kind.stages,
                        level,
                    };
                    best = Some((cost, response));
                }
            }
        }
        let (least, response) = best?;
        // Costs are squares of standard normal deviations, so candidates are as likely as e^(−cost/2).
        for r in &mut ramps {
            r.1 = (-0.5 * (r.1 - least)).exp();
        }
        ramps.sort_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = ramps.iter().map(|r| r.1).sum();
        let quantile = |q: f64| {
            let mut sum = 0.0;
            let at = ramps.iter().find(|r| {
                sum += r.1;
                sum >= q * total
            });
            at.map(|r| (10.0 * r.0).round() / 10.0)
        };
        Some(Fit {
            response,
            ramp: quantile(TAKEN)?,
            middle: quantile(0.5)?,
            interval: [quantile(0.025)?, quantile(0.975)?],
        })
    }
}

impl Response {
    /// What a profile of filling is at a second from the pass's start, in a log of short rows.
    pub fn filling(&self, s: f64) -> f64 {
        self.level.0 * reached(s - self.begins, self.tau, self.stages)
    }

    /// What a profile of emptying is at a second before the pass's end.
    pub fn emptying(&self, s: f64) -> f64 {
        self.level.0 * (1.0 - reached(-self.begins - s, self.tau, self.stages))
    }
}

/// Level and the ground's change that suit a shape best (weighted least squares, the change held small as it usually
/// is), and the misfit left. `strip_sd`: how far a strip at the pass's end differs; 0 where it is taken to be alike.
fn level(
    seen: &Seen,
    seconds: &[usize],
    strip_sd: f64,
    shape: impl Fn(usize) -> f64,
) -> Option<((f64, f64), f64)> {
    let (mut aa, mut ab, mut bb, mut ay, mut by, mut yy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut ac, mut bc, mut cc, mut cy) = (0.0, 0.0, 0.0, 0.0);
    for &s in seconds {
        let w = 1.0 / (seen.sd[s].powi(2) + MODEL_SD.powi(2));
        let (f, y) = (shape(s), seen.value[s]);
        let g = f * (s as f64 / 30.0 - 0.8);
        let h = f * (-((s as f64 + 0.5) / STRIP_S).powi(2)).exp();
        aa += w * f * f;
        ab += w * f * g;
        bb += w * g * g;
        ac += w * f * h;
        bc += w * g * h;
        cc += w * h * h;
        ay += w * f * y;
        by += w * g * y;
        cy += w * h * y;
        yy += w * y * y;
    }
    bb += ERR_TOGETHER / seen.ground_sd.powi(2);
    // The strip is eliminated first; without one it takes nothing.
    let k = match strip_sd > 0.0 {
        true => 1.0 / (cc + ERR_TOGETHER / strip_sd.powi(2)),
        false => 0.0,
    };
    (aa, ab, bb) = (aa - k * ac * ac, ab - k * ac * bc, bb - k * bc * bc);
    (ay, by, yy) = (ay - k * ac * cy, by - k * bc * cy, yy - k * cy * cy);
    let det = aa * bb - ab * ab;
    if !(det > 1e-9 * aa * bb) {
        return None;
    }
    let (a, b) = ((ay * bb - by * ab) / det, (by * aa - ay * ab) / det);
    (a > 0.0).then(|| ((a, b), (yy - a * ay - b * by).max(0.0)))
}
