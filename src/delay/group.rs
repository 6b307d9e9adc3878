//! What a group of fields, whose logs were treated alike, says of its machine's delay.

use super::antenna::{self, AntennaOffset};
use super::minimum::{Minimum, Mixing, minimum};
use super::pool::{
    Decision, Fallback, FieldEvidence, SHORTEST_RAW_DELAY_S, by_ends, fills, valley,
};
use super::{Curves, EntryEvidence, Filling};
use crate::stats::student_975;
use crate::summary::{DelayBasis, Estimate};

/// Fields of one machine differ by at least this much, s (sd; our choice: belts, chains and throughput vary).
const LEAST_FIELD_SD_S: f64 = 0.15;
/// Beyond this half-width of its 95 % interval a delay is not promised, s (our choice: half a second is what maps need,
/// and of errors whose 95 % interval is as wide as this, five in six are within it).
const PROMISE_S: f64 = 0.7;
/// A valley that is real but wider than that still says more than nothing, up to this standard error, s (our choice).
const HINT_ERROR_S: f64 = 1.0;
/// Two estimates agree within this many standard errors of their difference.
const AGREE_SIGMAS: f64 = 2.0;
/// What a delay that passes and their ends tell together errs by at least, s: both lean on the same mixing (our choice).
const LEAST_ERROR_S: f64 = 0.15;
/// Degrees of freedom that the ends of passes bring (our choice: their error is known within a quarter).
const ENDS_DEGREES: f64 = 8.0;

/// What a group of fields says together.
pub(super) struct Group {
    fields: usize,
    joint: Option<Minimum>,
    field_variance: f64,
    /// Where its fields, cut at different speeds, tell another place of the antenna.
    pub antenna: Option<AntennaOffset>,
    /// The machine's response as the ends of its passes tell it.
    pub filling: Option<Filling>,
    /// The same where they fit no machine's well: for want of anything better.
    loose: Option<Filling>,
    fills: Option<bool>,
    /// Delay by the ends of passes, and its standard error, s.
    by_ends: Option<(f64, f64)>,
}

impl Group {
    /// `members`: the group's fields among all.
    pub fn new(
        fields: &[FieldEvidence],
        own: &[Option<Minimum>],
        fillings: &[Option<Filling>],
        members: &[usize],
        mixing: Mixing,
    ) -> Self {
        let curves: Vec<&Curves> = members.iter().map(|&f| &fields[f].evidence.grain).collect();
        let entry = EntryEvidence::join(members.iter().map(|&f| &fields[f].evidence.entry));
        let step = members
            .iter()
            .map(|&f| fields[f].evidence.interval)
            .fold(0.0, f64::max);
        let together = Filling::together(members.iter().filter_map(|&f| fillings[f].as_ref()));
        let (filling, loose) = (together.filter(|f| f.sound), together.filter(|f| !f.sound));
        let ends = by_ends(&entry, filling.as_ref(), step);
        let minima: Vec<Minimum> = members.iter().filter_map(|&f| own[f]).collect();
        let with_speed: Vec<(Minimum, f64)> = (members.iter())
            .filter_map(|&f| Some((own[f]?, fields[f].evidence.speed?)))
            .collect();
        Self {
            fields: members.len(),
            joint: valley(minimum(&curves, mixing), ends, step).filter(Minimum::identified),
            field_variance: field_variance(&minima),
            antenna: antenna::offset(&with_speed, LEAST_FIELD_SD_S.powi(2)),
            fills: fills(&entry, filling.as_ref()),
            filling,
            loose,
            by_ends: ends,
        }
    }

    /// Decides for a field: what it identifies itself, its valley whether or not it identifies it, and its filling.
    pub fn field(
        &self,
        own: Option<Minimum>,
        valley: Option<Minimum>,
        filling: Option<&Filling>,
    ) -> Decision {
        let loose = filling.filter(|f| !f.sound).or(self.loose.as_ref());
        let ends = filling.filter(|f| f.sound).or(self.filling.as_ref());
        let (value, error, degrees, basis) = match (own, self.joint) {
            (Some(own), Some(joint)) if self.fields > 1 => {
                let prior = joint.own_variance() + self.field_variance;
                let data = own.own_variance();
                let weight = prior / (prior + data);
                let value = weight * own.delay + (1.0 - weight) * joint.delay;
                // What the machine's mixing is uncertain by is one error, however many fields share it.
                let shared = weight * own.mixing_error + (1.0 - weight) * joint.mixing_error;
                let error = (prior * data / (prior + data)).sqrt().hypot(shared);
                let basis = if weight > 0.5 {
                    DelayBasis::Field
                } else {
                    DelayBasis::Machine
                };
                (value, error, own.degrees + joint.degrees, basis)
            }
            (Some(own), _) => (
                own.delay,
                own.standard_error,
                own.degrees,
                DelayBasis::Field,
            ),
            (None, Some(joint)) => {
                let error = (joint.standard_error.powi(2) + self.field_variance).sqrt();
                let basis = if self.fields > 1 {
                    DelayBasis::Machine
                } else {
                    DelayBasis::Field
                };
                (joint.delay, error, joint.degrees, basis)
            }
            (None, None) => return self.refuse(valley, ends.or(loose)),
        };
        let (value, error, degrees) = with_ends(value, error, degrees, ends);
        let half = student_975(degrees.max(2.0)) * error;
        let refused = half > PROMISE_S;
        let delay = Estimate {
            value,
            ci95_low: Some(value - half),
            ci95_high: Some(value + half),
            basis: if refused { DelayBasis::Default } else { basis },
        };
        let already_shifted = value < SHORTEST_RAW_DELAY_S && self.fills != Some(true);
        Decision {
            delay,
            moisture_delay: None,
            already_shifted,
            refused,
            fallback: refused.then_some(Fallback::Passes),
            disagreement: None,
            own,
            filling: None,
            mixing_s: 0.0,
            antenna: None,
        }
    }

    /// Neighbouring passes do not tell: what they hint at, with the ends of passes, else what those tell alone, is the
    /// default; else none.
    fn refuse(&self, valley: Option<Minimum>, ends: Option<&Filling>) -> Decision {
        let hint = valley.filter(|v| v.standard_error < HINT_ERROR_S);
        let own = ends.filter(|f| f.error < HINT_ERROR_S);
        let by_ends = own.map(|f| (f.delay, f.error)).or(self.by_ends);
        // Where nothing but the ends tells, their error is also that of a habit.
        let lifted = own.map_or(0.0, |f| f.lifted);
        let by_ends_alone = |error: f64| 1.96 * error.hypot(lifted);
        let (value, half, fallback) = match (hint, by_ends) {
            (Some(v), Some((delay, error)))
                if error < v.standard_error && !agree(v.delay, v.standard_error, delay, error) =>
            {
                (delay, Some(by_ends_alone(error)), Fallback::Entries)
            }
            (Some(v), _) => {
                let (value, error, degrees) = with_ends(v.delay, v.standard_error, v.degrees, own);
                let half = student_975(degrees.max(2.0)) * error;
                (value, Some(half), Fallback::Passes)
            }
            (None, Some((delay, error))) => (delay, Some(by_ends_alone(error)), Fallback::Entries),
            (None, None) => (0.0, None, Fallback::None),
        };
        let delay = Estimate {
            value,
            ci95_low: half.map(|h| value - h),
            ci95_high: half.map(|h| value + h),
            basis: DelayBasis::Default,
        };
        Decision {
            delay,
            moisture_delay: None,
            already_shifted: self.fills == Some(false)
                || (hint.is_some() && value < SHORTEST_RAW_DELAY_S && self.fills != Some(true)),
            refused: true,
            fallback: Some(fallback),
            disagreement: None,
            own: None,
            filling: None,
            mixing_s: 0.0,
            antenna: None,
        }
    }
}

/// Variance between fields (DerSimonian–Laird), never below our least.
fn field_variance(minima: &[Minimum]) -> f64 {
    let least = LEAST_FIELD_SD_S.powi(2);
    if minima.len() < 2 {
        return least;
    }
    let weights: Vec<f64> = minima
        .iter()
        .map(|m| 1.0 / (m.standard_error.powi(2) + 1e-4))
        .collect();
    let total: f64 = weights.iter().sum();
    let mean = weights
        .iter()
        .zip(minima)
        .map(|(w, m)| w * m.delay)
        .sum::<f64>()
        / total;
    let q: f64 = weights
        .iter()
        .zip(minima)
        .map(|(w, m)| w * (m.delay - mean).powi(2))
        .sum();
    let scale = total - weights.iter().map(|w| w * w).sum::<f64>() / total;
    ((q - (minima.len() - 1) as f64) / scale).max(least)
}

fn agree(a: f64, error_a: f64, b: f64, error_b: f64) -> bool {
    (a - b).abs() <= AGREE_SIGMAS * error_a.hypot(error_b)
}

/// A delay that passes tell and its standard error, joined with what their ends tell, where the two agree.
fn with_ends(value: f64, error: f64, degrees: f64, ends: Option<&Filling>) -> (f64, f64, f64) {
    match ends {
        Some(f) if agree(value, error, f.delay, f.error) => {
            let (passes, ends) = (1.0 / error.powi(2), 1.0 / f.error.powi(2));
            let total = passes + ends;
            (
                (passes * value + ends * f.delay) / total,
                (1.0 / total).sqrt().max(LEAST_ERROR_S.min(error)),
                degrees + ENDS_DEGREES,
            )
        }
        _ => (value, error, degrees),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_that_differ_no_more_than_their_errors_share_one_delay() {
        let m = |delay, standard_error| Minimum {
            delay,
            standard_error,
            mixing_error: 0.0,
            degrees: 15.0,
            unshared: 0.3,
            separation: 9.0,
        };
        assert_eq!(field_variance(&[m(12.0, 0.2)]), LEAST_FIELD_SD_S.powi(2));
        assert_eq!(
            field_variance(&[m(12.0, 0.2), m(12.1, 0.2), m(11.9, 0.2)]),
            LEAST_FIELD_SD_S.powi(2)
        );
        assert!(field_variance(&[m(10.0, 0.1), m(14.0, 0.1)]) > 7.0);
    }
}
