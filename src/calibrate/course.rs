//! How a machine's factors run in time: they stay, they step once, or they slide.

use crate::stats::student_two_sided;

/// Common practice: loads agree within ± 3 % once the machine's factor is applied.
pub const AGREE: f64 = 0.03;
/// A slide or a step at no particular time is believed where chance makes one less often than this (our choice: it
/// sends somebody to ask the driver).
const ALPHA: f64 = 0.001;
/// Two-sided [`ALPHA`] of a normal variable (tables).
const ALPHA_NORMAL: f64 = 3.29;
/// A step from one day to another is believed sooner: things are done to machines between days (our choice).
const ALPHA_DAYS: f64 = 0.01;
/// Fewest tickets on either side of a step, and from one day to another (our choice: one wrong ticket is no step).
const FEWEST_SIDE: usize = 3;
const FEWEST_SIDE_DAYS: usize = 2;
/// Places of the step that fit worse than the best by less than this in twice the log likelihood could be it as well
/// (95 % quantile of chi-squared with one degree of freedom, from tables; for a place it is a rough guide only).
const NEARLY: f64 = 3.84;

/// A ticket in its place in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timed {
    /// Its index in the batch.
    pub w: usize,
    /// When the first of its loads began, Unix s.
    pub start: f64,
    /// That day, by any number.
    pub day: Option<i64>,
    /// Log of its factor.
    pub log_factor: f64,
    /// Whether it is grain of the first rounds.
    pub opening: bool,
}

/// How the factors of a machine's tickets, in order of time, run.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Course {
    /// One level, as far as can be seen.
    #[default]
    Steady,
    /// From one level to another with time: means of the first and last third, logs.
    Slide {
        /// Of the first third.
        early: f64,
        /// Of the last.
        late: f64,
    },
    /// One level, then another.
    Step(Step),
}

/// A step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// First ticket after it.
    pub at: usize,
    /// First and last place that could be it as well.
    pub nearly: (usize, usize),
    /// Mean log factor before and after.
    pub levels: [f64; 2],
    /// Whether it was looked for from day to day only.
    pub between_days: bool,
    /// Whether a slide fits about as well.
    pub or_slide: bool,
}

/// The course of tickets that are in order of time.
pub fn course(timed: &[Timed]) -> Course {
    let values: Vec<f64> = timed.iter().map(|t| t.log_factor).collect();
    let slide = slide(&values);
    let Some(mut step) = step(&values).or_else(|| step_between_days(timed, &values)) else {
        return slide.map_or(Course::Steady, |(early, late)| Course::Slide {
            early,
            late,
        });
    };
    if let Some((early, late)) = slide {
        // Bayesian information criterion (Schwarz 1978, Ann. Stat. 6:461): a step has its place as a third parameter.
        let n = values.len() as f64;
        let worth = |squares: f64, parameters: f64| n * (squares / n).ln() + parameters * n.ln();
        let better = worth(around_line(&values), 2.0) - worth(around_sides(&values, step.at), 3.0);
        if better < 0.0 {
            return Course::Slide { early, late };
        }
        step.or_slide = better < 2.0; // "not worth more than a bare mention" (Kass & Raftery 1995, JASA 90:773)
    }
    Course::Step(step)
}

/// Whether the step is there still where some tickets are left out.
pub fn remains(timed: &[Timed], step: &Step, keep: impl Fn(&Timed) -> bool) -> bool {
    let side = |part: &[Timed]| -> Vec<f64> {
        part.iter()
            .filter(|t| keep(t))
            .map(|t| t.log_factor)
            .collect()
    };
    let (before, after) = timed.split_at(step.at);
    let (mut values, after) = (side(before), side(after));
    let at = values.len();
    values.extend(after);
    // One place only, the one that is asked about.
    at >= 2 && values.len() >= at + 2 && is_step(&values, at, ALPHA_DAYS)
}

/// The likeliest step anywhere, where there is one.
fn step(values: &[f64]) -> Option<Step> {
    let last = values.len().checked_sub(FEWEST_SIDE)?;
    let places: Vec<usize> = (FEWEST_SIDE..=last).collect();
    best_of(values, &places, ALPHA, false)
}

fn step_between_days(timed: &[Timed], values: &[f64]) -> Option<Step> {
    let places: Vec<usize> = (FEWEST_SIDE_DAYS..(timed.len() + 1).saturating_sub(FEWEST_SIDE_DAYS))
        .filter(|&k| {
            let days = timed[k - 1].day.zip(timed[k].day);
            days.is_some_and(|(a, b)| a != b)
        })
        .collect();
    best_of(values, &places, ALPHA_DAYS, true)
}

/// The best of some places, if it is significant among all of them (Bonferroni) and beyond 3 %.
fn best_of(values: &[f64], places: &[usize], alpha: f64, between_days: bool) -> Option<Step> {
    let squares = |&k: &usize| around_sides(values, k);
    let at = *(places.iter()).min_by(|a, b| squares(a).total_cmp(&squares(b)))?;
    let least = squares(&at);
    let could_be = |k: &&usize| values.len() as f64 * (squares(k) / least).ln() < NEARLY;
    let nearly: Vec<usize> = places.iter().filter(could_be).copied().collect();
    is_step(values, at, alpha / places.len() as f64).then(|| Step {
        at,
        nearly: (
            nearly.first().map_or(at, |&k| k.min(at)),
            nearly.last().map_or(at, |&k| k.max(at)),
        ),
        levels: [mean(&values[..at]), mean(&values[at..])],
        between_days,
        or_slide: false,
    })
}

/// Whether the two sides of a place differ by more than 3 % and than chance does (Student's t, two-sided).
fn is_step(values: &[f64], at: usize, alpha: f64) -> bool {
    let (a, b) = (at as f64, (values.len() - at) as f64);
    let off = (mean(&values[at..]) - mean(&values[..at])).abs();
    let degrees = a + b - 2.0;
    if !(degrees > 0.0 && off > (1.0 + AGREE).ln()) {
        return false;
    }
    let sd = (around_sides(values, at) / degrees).sqrt();
    let t = off / (sd * (1.0 / a + 1.0 / b).sqrt());
    student_two_sided(t, degrees) < alpha
}

/// Means of the first and the last third, where all go one way beyond 3 % and beyond chance.
fn slide(values: &[f64]) -> Option<(f64, f64)> {
    let third = values.len() / 3;
    if third == 0 || !(trend(values).abs() > ALPHA_NORMAL) {
        return None;
    }
    let (early, late) = (
        mean(&values[..third]),
        mean(&values[values.len() - third..]),
    );
    ((late - early).abs() > (1.0 + AGREE).ln()).then_some((early, late))
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn around(values: &[f64]) -> f64 {
    let mean = mean(values);
    values.iter().map(|v| (v - mean).powi(2)).sum()
}

/// Sum of squares about the means of both sides of a place.
fn around_sides(values: &[f64], at: usize) -> f64 {
    around(&values[..at]) + around(&values[at..])
}

/// Sum of squares about a straight line over the order.
fn around_line(values: &[f64]) -> f64 {
    let (middle, level) = (0.5 * (values.len() as f64 - 1.0), mean(values));
    let (mut xy, mut xx) = (0.0, 0.0);
    for (k, v) in values.iter().enumerate() {
        let x = k as f64 - middle;
        xy += x * (v - level);
        xx += x * x;
    }
    (around(values) - xy * xy / xx).max(0.0)
}

/// Correlation of values with the ones before them, where chance makes one as large less often than once in twenty
/// (Anderson 1942, Ann. Math. Stat. 13:1: mean −1/n, variance 1/n), made good for the mean that is taken from the same
/// values (Marriott & Pope 1954, Biometrika 41:390). `None` where values do not stray together or are fewer than eight.
pub fn straying_together(timed: &[Timed]) -> Option<f64> {
    let values: Vec<f64> = timed.iter().map(|t| t.log_factor).collect();
    let n = values.len() as f64;
    if values.len() < 8 {
        return None;
    }
    let level = mean(&values);
    let products: f64 = (values.windows(2))
        .map(|p| (p[0] - level) * (p[1] - level))
        .sum();
    let r = products / around(&values);
    (r > 1.645 / n.sqrt() - 1.0 / n).then(|| ((n * r + 1.0) / (n - 4.0)).clamp(0.0, 0.8))
}

/// Mann-Kendall statistic with its normal approximation (Mann 1945, Econometrica 13:245; Kendall 1975).
fn trend(values: &[f64]) -> f64 {
    let mut s = 0i64;
    for (i, a) in values.iter().enumerate() {
        for b in &values[i + 1..] {
            s += match b.total_cmp(a) {
                std::cmp::Ordering::Greater => 1,
                std::cmp::Ordering::Less => -1,
                std::cmp::Ordering::Equal => 0,
            };
        }
    }
    let n = values.len() as f64;
    let variance = n * (n - 1.0) * (2.0 * n + 5.0) / 18.0;
    if s == 0 {
        0.0
    } else {
        (s - s.signum()) as f64 / variance.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tickets an hour apart, `per_day` of them a day.
    fn timed(values: &[f64], per_day: usize) -> Vec<Timed> {
        (values.iter().enumerate())
            .map(|(k, &log_factor)| Timed {
                w: k,
                start: 3600.0 * k as f64,
                day: Some((k / per_day) as i64),
                log_factor,
                opening: k == 0,
            })
            .collect()
    }

    /// Nought, ± 1 % in turn.
    fn wobble(k: usize) -> f64 {
        [0.0, 0.01, -0.01, 0.005, -0.005][k % 5]
    }

    #[test]
    fn a_trend_is_counted_pair_by_pair() {
        // Ten rising values: S = 45, variance 10·9·25/18 = 125, z = 44/√125.
        let rising: Vec<f64> = (0..10).map(f64::from).collect();
        assert!((trend(&rising) - 44.0 / 125f64.sqrt()).abs() < 1e-12);
        let falling: Vec<f64> = rising.iter().rev().copied().collect();
        assert_eq!(trend(&falling), -trend(&rising));
        // 2, 1, 3: one pair falls, two rise; S = 1, and the continuity correction leaves nothing.
        assert_eq!(trend(&[2.0, 1.0, 3.0]), 0.0);
        assert_eq!(
            (trend(&[]), trend(&[1.0]), trend(&[1.0; 5])),
            (0.0, 0.0, 0.0)
        );
    }

    #[test]
    fn a_step_is_told_from_a_slide() {
        let stepped: Vec<f64> = (0..20)
            .map(|k| wobble(k) - if k >= 12 { 0.05 } else { 0.0 })
            .collect();
        let Course::Step(step) = course(&timed(&stepped, 100)) else {
            panic!("no step");
        };
        assert_eq!(
            (step.at, step.or_slide, step.between_days),
            (12, false, false)
        );
        assert!((step.levels[1] - step.levels[0] + 0.05).abs() < 0.005);
        assert!(step.nearly.0 <= 12 && step.nearly.1 >= 12);
        let sliding: Vec<f64> = (0..20).map(|k| wobble(k) - 0.005 * k as f64).collect();
        assert!(
            matches!(course(&timed(&sliding, 100)), Course::Slide { early, late } if late < early)
        );
        let steady: Vec<f64> = (0..20).map(wobble).collect();
        assert_eq!(course(&timed(&steady, 100)), Course::Steady);
    }

    /// Student's t by hand: 0.00 0.01 | −0.05 −0.04 −0.06. Means 0.005 and −0.05, squares 0.00005 + 0.0002, three degrees
    /// of freedom: sd 0.00913, t = 0.055 / (0.00913 √(1/2 + 1/3)) = 6.60. Tables: 5.841 at p = 0.01, 12.92 at 0.001.
    #[test]
    fn a_step_from_one_day_to_another_is_believed_sooner() {
        let values = [0.0, 0.01, -0.05, -0.04, -0.06];
        assert!(is_step(&values, 2, 0.01) && !is_step(&values, 2, 0.001));
        let Course::Step(step) = course(&timed(&values, 2)[..5]) else {
            panic!("no step");
        };
        assert!(step.between_days && step.at == 2);
        assert_eq!(course(&timed(&values, 100)), Course::Steady);
    }

    #[test]
    fn nothing_is_steady() {
        for values in [&[][..], &[0.1], &[0.1; 7], &[0.0, 0.2]] {
            assert_eq!(course(&timed(values, 1)), Course::Steady, "{values:?}");
            assert_eq!(straying_together(&timed(values, 1)), None);
        }
    }

    #[test]
    fn what_strays_together_is_seen() {
        // Four up, four down: r = (6 − 1) / 8 = 0.625 against 1.645 / √8 − 1/8 = 0.457; (8 · 0.625 + 1) / 4 is above 0.8.
        let blocks = [0.1, 0.1, 0.1, 0.1, -0.1, -0.1, -0.1, -0.1];
        assert_eq!(straying_together(&timed(&blocks, 100)), Some(0.8));
        let in_turn = [0.1, -0.1, 0.1, -0.1, 0.1, -0.1, 0.1, -0.1];
        assert_eq!(straying_together(&timed(&in_turn, 100)), None);
    }
}
