//! From the evidence of a machine's fields to one delay per field.
//!
//! Logs that a display has shifted already are told from raw ones and pooled apart. Within a group the curves are
//! summed; how much the fields truly differ is estimated from their own minima (DerSimonian & Laird 1986, Control.
//! Clin. Trials 7:177), and each field's delay is the weighted mean of its own and the group's. A field whose data
//! say nothing takes the group's; a group that says nothing is refused.

use super::antenna::{self, AntennaOffset};
use super::minimum::{Minimum, Mixing, minimum};
use super::{Curves, EntryEvidence, Evidence};
use crate::stats::student_975;
use crate::summary::{DelayBasis, Estimate};

/// Standard error of a delay that the rise of flow at pass entries tells, s, and what each second from row to row adds.
/// On simulated fields such readings err by 0.6 s (rms) at 1 Hz and 1.5–2 s at 5 s, by up to twice that without a work
/// state; they lean late where field edges are poor (our choice, on the safe side of these).
const ENTRY_ERROR_S: (f64, f64) = (0.5, 0.3);
/// Fields of one machine differ by at least this much, s (sd; our choice: belts, chains and throughput vary).
const LEAST_FIELD_SD_S: f64 = 0.15;
/// A minimum below this is no transport delay: grain takes longer than that through any combine, s.
const SHORTEST_RAW_DELAY_S: f64 = 3.5;
/// Groups of fields are parted where their own delays lie farther apart than this, s.
const GROUP_GAP_S: f64 = 2.5;
/// Beyond this half-width of its 95 % interval a delay is not promised, s (our choice: among fields that are let pass,
/// 95 % are then within half a second, though the widest of them alone would not be; on simulated seasons a bar of 0.7 s
/// refuses a tenth more fields, and from 0.9 s on fewer than 95 % are).
const PROMISE_S: f64 = 0.8;
/// A valley that is real but wider than that still says more than nothing, up to this standard error, s (our choice).
const HINT_ERROR_S: f64 = 1.0;
/// The two estimators agree within this, s, and half of the time from row to row (our choice: about twice the error
/// of the entries).
const AGREE_S: f64 = 2.5;

/// One field's evidence on the machine at hand, with what the job fixed.
#[derive(Debug, Clone, Copy)]
pub struct FieldEvidence<'a> {
    /// The evidence.
    pub evidence: &'a Evidence,
    /// Delay fixed by the user, s.
    pub fixed: Option<f64>,
    /// Moisture delay fixed by the user, s.
    pub fixed_moisture: Option<f64>,
}

/// The second estimator against the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disagreement {
    /// Delay by the rise of flow at pass entry, s; 0 where flow is there from the start.
    pub by_entries: f64,
    /// Delay by opposed passes, s.
    pub delay: f64,
}

/// What stands in for a delay that is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fallback {
    /// What opposed passes hint at, wider than is promised.
    Passes,
    /// How flow rises at pass entries.
    Entries,
    /// Nothing: no delay.
    None,
}

/// What is used for one field.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// Transport delay.
    pub delay: Estimate,
    /// Moisture's own delay, s, where identified or fixed.
    pub moisture_delay: Option<f64>,
    /// The log had been shifted before (the delay is what was left, or nothing).
    pub already_shifted: bool,
    /// No data identified the delay to within half a second: its value is a stated fallback.
    pub refused: bool,
    /// What that fallback is.
    pub fallback: Option<Fallback>,
    /// Where entries and opposed passes say different things.
    pub disagreement: Option<Disagreement>,
    /// The field's own minimum, as evidence for the report.
    pub own: Option<Minimum>,
    /// Where the machine's fields, cut at different speeds, tell an antenna that stands elsewhere than the job says. The
    /// delay is not changed by it.
    pub antenna: Option<AntennaOffset>,
}

/// Decides the delay of every field of one machine and crop; the result is in the order given.
pub fn decide(fields: &[FieldEvidence]) -> Vec<Decision> {
    let mixing = mixing(fields);
    let valleys: Vec<Option<Minimum>> = fields
        .iter()
        .map(|f| {
            let step = f.evidence.interval;
            let entries = by_entries(&f.evidence.entry, step);
            valley(minimum(&[&f.evidence.grain], mixing), entries, step)
        })
        .collect();
    let own: Vec<Option<Minimum>> = valleys
        .iter()
        .map(|v| v.filter(Minimum::identified))
        .collect();
    let groups = group(fields, &own);
    let moisture = moisture_delays(fields);
    let mut out: Vec<Option<Decision>> = vec![None; fields.len()];
    for members in &groups {
        let pool = Pool::new(fields, &own, members, mixing);
        for &f in members {
            let mut decision = match fields[f].fixed {
                Some(value) => fixed(value, own[f]),
                None => pool.field(own[f], valleys[f]),
            };
            decision.disagreement = disagreement(fields[f].evidence, &decision);
            decision.moisture_delay = fields[f].fixed_moisture.or(moisture[f]);
            decision.antenna = pool.antenna;
            out[f] = Some(decision);
        }
    }
    out.into_iter().flatten().collect()
}

/// A minimum that stands out, joined with what the entries say.
///
/// A machine that is seen to fill has the delay that its filling shows, or about; a valley elsewhere is chance.
fn valley(minimum: Option<Minimum>, entries: Option<(f64, f64)>, step: f64) -> Option<Minimum> {
    let minimum = minimum?;
    let apart = entries.map_or(0.0, |e| (e.0 - minimum.delay).abs());
    Some(minimum.joined(entries, agree(step)))
        .filter(|m| m.stands_out() && apart <= 2.0 * agree(step))
}

fn own_minimum(curve: &Curves, mixing: Mixing) -> Option<Minimum> {
    minimum(&[curve], mixing).filter(Minimum::identified)
}

/// Delay by the entries and its standard error, s, of a machine that is seen to fill.
fn by_entries(entry: &EntryEvidence, step: f64) -> Option<(f64, f64)> {
    let delay = entry.delay(step).filter(|_| entry.fills() == Some(true))?;
    Some((delay, ENTRY_ERROR_S.0 + ENTRY_ERROR_S.1 * step))
}

fn agree(step: f64) -> f64 {
    AGREE_S + 0.5 * step
}

/// The machine's mixing, from the entries of its fields; of raw logs, since a shifted one hides the rise.
pub(super) fn mixing(fields: &[FieldEvidence]) -> Mixing {
    let filling: Vec<&EntryEvidence> = fields
        .iter()
        .map(|f| &f.evidence.entry)
        .filter(|e| e.fills() == Some(true))
        .collect();
    let entry = EntryEvidence::join(filling);
    let step = fields
        .iter()
        .map(|f| f.evidence.interval)
        .fold(0.0, f64::max);
    entry.mixing(step).unwrap_or(Mixing::UNKNOWN)
}

fn fixed(value: f64, own: Option<Minimum>) -> Decision {
    let delay = Estimate {
        value,
        ci95_low: None,
        ci95_high: None,
        basis: DelayBasis::Fixed,
    };
    // A user who fixes a delay that the data say is there no more is about to correct twice.
    let already_shifted =
        own.is_some_and(|m| m.delay < SHORTEST_RAW_DELAY_S && value > m.delay + 2.0);
    Decision {
        delay,
        moisture_delay: None,
        already_shifted,
        refused: false,
        fallback: None,
        disagreement: None,
        own,
        antenna: None,
    }
}

/// Parts the fields into groups whose logs were treated alike: by gaps between their own delays; fields without one
/// join the group that fills, or does not fill, as they do.
fn group(fields: &[FieldEvidence], own: &[Option<Minimum>]) -> Vec<Vec<usize>> {
    let mut known: Vec<(f64, usize)> = own
        .iter()
        .enumerate()
        .filter_map(|(f, m)| m.map(|m| (m.delay, f)))
        .collect();
    known.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (k, &(delay, f)) in known.iter().enumerate() {
        match groups.last_mut() {
            Some(g) if delay - known[k - 1].0 <= GROUP_GAP_S => g.push(f),
            _ => groups.push(vec![f]),
        }
    }
    let fills = |f: usize| fields[f].evidence.entry.fills();
    let joined: Vec<Option<bool>> = groups
        .iter()
        .map(|g| EntryEvidence::join(g.iter().map(|&f| &fields[f].evidence.entry)).fills())
        .collect();
    let sizes: Vec<usize> = groups.iter().map(Vec::len).collect();
    let mut orphans: Vec<(Option<bool>, Vec<usize>)> = Vec::new();
    for f in (0..fields.len()).filter(|&f| own[f].is_none()) {
        let fits = |g: usize| match (fills(f), joined[g]) {
            (Some(a), Some(b)) => a == b,
            _ => groups.len() == 1,
        };
        let home = (0..sizes.len())
            .filter(|&g| fits(g))
            .max_by_key(|&g| (sizes[g], usize::MAX - g));
        match home {
            Some(g) => groups[g].push(f),
            None => match orphans.iter_mut().find(|o| o.0 == fills(f)) {
                Some(o) => o.1.push(f),
                None => orphans.push((fills(f), vec![f])),
            },
        }
    }
    groups.extend(orphans.into_iter().map(|o| o.1));
    groups
}

/// What a group of fields says together.
struct Pool {
    fields: usize,
    joint: Option<Minimum>,
    field_variance: f64,
    antenna: Option<AntennaOffset>,
    fills: Option<bool>,
    /// Delay by the rise of flow at entries, and its standard error, s.
    by_entries: Option<(f64, f64)>,
}

impl Pool {
    fn new(
        fields: &[FieldEvidence],
        own: &[Option<Minimum>],
        members: &[usize],
        mixing: Mixing,
    ) -> Self {
        let curves: Vec<&Curves> = members.iter().map(|&f| &fields[f].evidence.grain).collect();
        let entry = EntryEvidence::join(members.iter().map(|&f| &fields[f].evidence.entry));
        let step = members
            .iter()
            .map(|&f| fields[f].evidence.interval)
            .fold(0.0, f64::max);
        let entries = by_entries(&entry, step);
        let minima: Vec<Minimum> = members.iter().filter_map(|&f| own[f]).collect();
        let with_speed: Vec<(Minimum, f64)> = (members.iter())
            .filter_map(|&f| Some((own[f]?, fields[f].evidence.speed?)))
            .collect();
        Self {
            fields: members.len(),
            joint: valley(minimum(&curves, mixing), entries, step).filter(Minimum::identified),
            field_variance: field_variance(&minima),
            antenna: antenna::offset(&with_speed, LEAST_FIELD_SD_S.powi(2)),
            fills: entry.fills(),
            by_entries: entries,
        }
    }

    fn field(&self, own: Option<Minimum>, valley: Option<Minimum>) -> Decision {
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
            (None, None) => return self.refuse(valley),
        };
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
            antenna: None,
        }
    }

    /// Neighbouring passes do not tell: what they hint at, else a default for a machine that is seen to fill, as its
    /// entries have it; else none.
    fn refuse(&self, valley: Option<Minimum>) -> Decision {
        let hint = valley.filter(|v| v.standard_error < HINT_ERROR_S);
        let (value, half, fallback) = match (hint, self.by_entries) {
            (Some(v), _) => (v.delay, Some(v.half_width()), Fallback::Passes),
            (None, Some((delay, error))) => (delay, Some(1.96 * error), Fallback::Entries),
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

fn disagreement(evidence: &Evidence, decision: &Decision) -> Option<Disagreement> {
    let entry = &evidence.entry;
    let by_entries = entry
        .delay(evidence.interval)
        .or(entry.half_time().filter(|&h| h == 0.0))?;
    let delay = decision.delay.value;
    // A shifted log's entries cannot show less than nothing.
    let apart = by_entries - delay.max(0.0);
    let limit = agree(evidence.interval);
    (!decision.refused && apart.abs() > limit).then_some(Disagreement { by_entries, delay })
}

/// Moisture's own delay per field: its own minimum, or the machine's, where identified.
fn moisture_delays(fields: &[FieldEvidence]) -> Vec<Option<f64>> {
    let curves: Vec<&Curves> = fields.iter().map(|f| &f.evidence.moisture).collect();
    let none = Mixing {
        seconds: 0.0,
        standard_error: 0.0,
    };
    let joint = minimum(&curves, none).filter(Minimum::identified);
    fields
        .iter()
        .map(|f| {
            own_minimum(&f.evidence.moisture, none)
                .or(joint)
                .map(|m| m.delay)
        })
        .collect()
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
            supported: false,
        };
        assert_eq!(field_variance(&[m(12.0, 0.2)]), LEAST_FIELD_SD_S.powi(2));
        assert_eq!(
            field_variance(&[m(12.0, 0.2), m(12.1, 0.2), m(11.9, 0.2)]),
            LEAST_FIELD_SD_S.powi(2)
        );
        assert!(field_variance(&[m(10.0, 0.1), m(14.0, 0.1)]) > 7.0);
    }

    #[test]
    fn nothing_known_is_refused_and_not_shifted() {
        let e = Evidence::default();
        let d = decide(&[FieldEvidence {
            evidence: &e,
            fixed: None,
            fixed_moisture: None,
        }]);
        assert!(d[0].refused);
        assert_eq!(
            (d[0].delay.value, d[0].delay.basis),
            (0.0, DelayBasis::Default)
        );
        let d = decide(&[FieldEvidence {
            evidence: &e,
            fixed: Some(9.0),
            fixed_moisture: None,
        }]);
        assert_eq!(
            (d[0].delay.value, d[0].delay.basis),
            (9.0, DelayBasis::Fixed)
        );
    }
}
