//! A machine's factor from its tickets, and what it predicts of each from the others.

use super::AGREE;
use super::join::{Batch, Group};
use super::outliers::{OutlierTest, outliers};
use crate::calibrate::course::{Course, Step, Timed, course, straying_together};
use crate::stats::student_975;

/// Usual sd of a machine's load factors: average errors of loads are published from about 1 % at best to 2–5 %.
pub(super) const USUAL_SD: f64 = 0.03;
/// What the usual sd counts for, degrees of freedom (our choice: as much as three tickets).
pub(super) const USUAL_DEGREES: f64 = 2.0;
/// Chance to send someone after a good ticket, per machine (our choice: looking at a ticket costs a minute, a wrong one
/// that stays costs a map).
const ALPHA: f64 = 0.05;
/// A weight that is explained comes at least this near (our choice: half of the best load errors published).
const LEAST_TOLERANCE: f64 = 0.01;

/// What tickets that stray together are worth at least, independent ones (our choice: with eight or more, an interval from
/// two would say more of Student's t than of them).
const LEAST_WORTH: f64 = 3.0;

/// What a machine's tickets say together.
#[derive(Default)]
pub(super) struct Level {
    /// Index of each weighing of the group that is trusted, in the batch.
    pub trusted: Vec<usize>,
    /// Weighings that the others contradict.
    pub outliers: Vec<usize>,
    /// Σ weighed and Σ logged of the trusted, kg.
    sums: (f64, f64),
    /// Trusted log factors, in the order of `trusted`.
    logs: Vec<f64>,
    /// The trusted that have a time, in its order.
    pub timed: Vec<Timed>,
    /// How their factors run.
    pub course: Course,
}

/// A level with what it is good for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Interval {
    /// Half of the 95 % interval, as a log ratio.
    pub half: f64,
    /// Whether loads stray together, so that they count for fewer than they are.
    pub together: bool,
}

impl Level {
    pub fn of(batch: &Batch, group: &Group) -> Self {
        let usable: Vec<usize> = (group.weighings.iter().copied())
            .filter(|&w| batch.weighings[w].usable())
            .collect();
        let logs: Vec<f64> = (usable.iter())
            .map(|&w| batch.weighings[w].factor().ln())
            .collect();
        let test = OutlierTest {
            alpha: ALPHA,
            prior_sd: USUAL_SD,
            prior_degrees: USUAL_DEGREES,
            least: (1.0 + AGREE).ln(),
            most: usable.len() / 2,
        };
        let own: Vec<f64> = (usable.iter())
            .map(|&w| batch.weighings[w].edges())
            .collect();
        let out = outliers(&logs, &own, &test);
        let mut level = Level {
            outliers: out.iter().map(|&k| usable[k]).collect(),
            ..Level::default()
        };
        for (k, &w) in usable.iter().enumerate() {
            if !out.contains(&k) {
                level.trusted.push(w);
                level.logs.push(logs[k]);
                level.sums.0 += batch.weighings[w].ticket.net_kg;
                level.sums.1 += batch.weighings[w].logged_kg;
            }
        }
        level.timed = (level.trusted.iter().zip(&level.logs))
            .filter_map(|(&w, &log_factor)| {
                let parts = &batch.weighings[w].parts;
                Some(Timed {
                    w,
                    start: batch.start(parts)?,
                    day: batch
                        .date(parts)
                        .map(|d| i64::from(d.year()) * 366 + i64::from(d.day_of_year())),
                    log_factor,
                    opening: batch.opening_share(parts).is_some(),
                })
            })
            .collect();
        (level.timed).sort_by(|a, b| a.start.total_cmp(&b.start).then(a.w.cmp(&b.w)));
        level.course = course(&level.timed);
        level
    }

    /// The step in its factors, if there is one.
    pub fn step(&self) -> Option<&Step> {
        match &self.course {
            Course::Step(step) => Some(step),
            _ => None,
        }
    }

    /// On which side of the step a ticket is: 0 before, 1 after; `None` without step or time.
    pub fn side(&self, w: usize) -> Option<usize> {
        let at = self.timed.iter().position(|t| t.w == w)?;
        self.step().map(|step| usize::from(at >= step.at))
    }

    /// The tickets on one side of the step.
    pub fn on_side(&self, side: usize) -> &[Timed] {
        let (before, after) = self.timed.split_at(self.step().map_or(0, |s| s.at));
        if side == 0 { before } else { after }
    }

    /// Whether one of two tickets comes next after the other in time.
    pub fn follow(&self, a: usize, b: usize) -> bool {
        (self.timed.windows(2)).any(|p| [p[0].w, p[1].w] == [a, b] || [p[0].w, p[1].w] == [b, a])
    }

    /// The factor of a ticket's own side of the step, without the ticket.
    pub fn factor_of_side_without(&self, batch: &Batch, w: usize) -> Option<f64> {
        let side = self.side(w)?;
        let rest = self.on_side(side).iter().filter(|t| t.w != w);
        let (weighed, logged) = rest
            .map(|t| &batch.weighings[t.w])
            .fold((0.0, 0.0), |(a, b), o| {
                (a + o.ticket.net_kg, b + o.logged_kg)
            });
        (logged > 0.0).then(|| weighed / logged)
    }

    /// How well the factor is known.
    pub fn interval(&self) -> Option<Interval> {
        if self.step().is_some() {
            // There is no one level: the interval holds both.
            let level = self.factor()?.ln();
            let ends = [0, 1].map(|side| {
                let logs: Vec<f64> = (self.on_side(side).iter()).map(|t| t.log_factor).collect();
                let (mean, half) = (logs.iter().sum::<f64>() / logs.len() as f64, half(&logs)?);
                Some((mean - level).abs() + half)
            });
            let [Some(before), Some(after)] = ends else {
                return None;
            };
            return Some(Interval {
                half: before.max(after),
                together: true,
            });
        }
        let Some(r) = straying_together(&self.timed) else {
            return half(&self.logs).map(|half| Interval {
                half,
                together: false,
            });
        };
        // n values of a first-order series are worth n(1 − r)/(1 + r) independent ones (Bayley & Hammersley 1946, J. R.
        // Stat. Soc. Suppl. 8:184, to first order), and scatter about their own mean by less than they do about the true one.
        let n = self.logs.len() as f64;
        let worth = (n * (1.0 - r) / (1.0 + r)).max(LEAST_WORTH);
        let sd = sd(&self.logs)? * ((n - 1.0) / n * worth / (worth - 1.0)).sqrt();
        Some(Interval {
            half: student_975(worth - 1.0) * sd / worth.sqrt(),
            together: true,
        })
    }

    /// True over logged mass: a ratio of sums, because a scale weighs sums.
    pub fn factor(&self) -> Option<f64> {
        (self.sums.1 > 0.0).then(|| self.sums.0 / self.sums.1)
    }

    /// The factor without one weighing, which may be among the trusted or not.
    pub fn factor_without(&self, batch: &Batch, w: usize) -> Option<f64> {
        if !self.trusted.contains(&w) {
            return self.factor();
        }
        let own = &batch.weighings[w];
        let rest = (self.sums.0 - own.ticket.net_kg, self.sums.1 - own.logged_kg);
        (self.trusted.len() > 1).then(|| rest.0 / rest.1)
    }

    /// sd of log factors of single loads; `None` with fewer than two.
    pub fn spread(&self) -> Option<f64> {
        sd(&self.logs)
    }

    /// How near an explained weight must come to what the others lead to expect of it, as a log ratio: within the 95 %
    /// interval of a prediction, never beyond 3 %.
    pub fn tolerance(&self) -> f64 {
        let n = self.logs.len();
        match sd(&self.logs) {
            Some(sd) if n >= 3 => {
                let t = student_975((n - 1) as f64);
                (t * sd * (1.0 + 1.0 / n as f64).sqrt()).clamp(LEAST_TOLERANCE, AGREE)
            }
            _ => AGREE,
        }
    }

    /// Root mean square relative error of each trusted ticket predicted from the others.
    pub fn leave_one_out(&self, batch: &Batch) -> Option<f64> {
        let errors: Vec<f64> = (self.trusted.iter())
            .filter_map(|&w| {
                let own = &batch.weighings[w];
                Some(self.factor_without(batch, w)? / own.factor() - 1.0)
            })
            .collect();
        let squares: f64 = errors.iter().map(|e| e * e).sum();
        (!errors.is_empty()).then(|| (squares / errors.len() as f64).sqrt())
    }
}

/// Half of the 95 % interval of the mean of independent values.
pub(super) fn half(values: &[f64]) -> Option<f64> {
    let n = values.len() as f64;
    Some(student_975(n - 1.0) * sd(values)? / n.sqrt())
}

fn sd(values: &[f64]) -> Option<f64> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    (values.len() >= 2).then(|| (squares / (n - 1.0)).sqrt())
}
