//! From the evidence of a machine's fields to one delay per field.
//!
//! Logs that a display has shifted already are told from raw ones and pooled apart. Within a group the curves are
//! summed; how much the fields truly differ is estimated from their own minima (DerSimonian & Laird 1986, Control.
//! Clin. Trials 7:177), and each field's delay is the weighted mean of its own and the group's. A field whose data
//! say nothing takes the group's; a group that says nothing is refused.

use rayon::prelude::*;

use super::antenna::AntennaOffset;
use super::group::Group;
use super::minimum::{Minimum, Mixing, minimum};
use super::{Curves, EntryEvidence, Evidence, Filling};
use crate::summary::{DelayBasis, Estimate};

/// Standard error of a delay that the rise of flow at pass entries tells, s, and what each second from row to row adds.
/// On simulated fields such readings err by 0.6 s (rms) at 1 Hz and 1.5–2 s at 5 s, by up to twice that without a work
/// state; they lean late where field edges are poor (our choice, on the safe side of these).
const ENTRY_ERROR_S: (f64, f64) = (0.5, 0.3);
/// Standard error up to which the ends of passes are believed to tell a delay, s (our choice: beyond it they say no more
/// than a default would).
const TOLD_S: f64 = 1.0;
/// A minimum below this is no transport delay: grain takes longer than that through any combine, s.
pub(super) const SHORTEST_RAW_DELAY_S: f64 = 3.5;
/// Groups of fields are parted where their own delays lie farther apart than this, s.
const GROUP_GAP_S: f64 = 2.5;
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
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Disagreement {
    /// Delay by the rise of flow at pass entry, s; 0 where flow is there from the start.
    pub by_entries: f64,
    /// Delay by opposed passes, s.
    pub delay: f64,
}

/// What stands in for a delay that is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Fallback {
    /// What opposed passes hint at, wider than is promised.
    Passes,
    /// How flow rises at pass entries.
    Entries,
    /// Nothing: no delay.
    None,
}

/// What is used for one field.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
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
    /// The machine's response as the ends of its passes tell it.
    pub filling: Option<Filling>,
    /// Constant of the first-order mixing under which passes were compared, s.
    pub mixing_s: f64,
    /// Where the machine's fields, cut at different speeds, tell an antenna that stands elsewhere than the job says. The
    /// delay is not changed by it.
    pub antenna: Option<AntennaOffset>,
}

/// Decides the delay of every field of one machine and crop; the result is in the order given.
pub fn decide(fields: &[FieldEvidence]) -> Vec<Decision> {
    let ends: Vec<Option<Filling>> = (fields.par_iter().map(|f| f.evidence))
        .map(|e| Filling::fit(&e.ends, e.interval))
        .collect();
    let fillings: Vec<Option<Filling>> = ends.iter().map(|f| f.filter(|f| f.sound)).collect();
    let mixing = mixing(fields, &fillings);
    let valleys: Vec<Option<Minimum>> = fields
        .iter()
        .zip(&fillings)
        .map(|(f, filling)| {
            let step = f.evidence.interval;
            let ends = by_ends(&f.evidence.entry, filling.as_ref(), step);
            valley(minimum(&[&f.evidence.grain], mixing), ends, step)
        })
        .collect();
    let own: Vec<Option<Minimum>> = valleys
        .iter()
        .map(|v| v.filter(Minimum::identified))
        .collect();
    let groups = group(fields, &own, &fillings);
    let moisture = moisture_delays(fields);
    let mut out: Vec<Option<Decision>> = vec![None; fields.len()];
    for members in &groups {
        let pool = Group::new(fields, &own, &ends, members, mixing);
        for &f in members {
            let mut decision = match fields[f].fixed {
                Some(value) => fixed(value, own[f]),
                None => pool.field(own[f], valleys[f], ends[f].as_ref()),
            };
            decision.disagreement =
                disagreement(fields[f].evidence, fillings[f].as_ref(), &decision);
            decision.filling = pool.filling;
            decision.mixing_s = mixing.seconds;
            decision.moisture_delay = fields[f].fixed_moisture.or(moisture[f]);
            decision.antenna = pool.antenna;
            out[f] = Some(decision);
        }
    }
    out.into_iter().flatten().collect()
}

/// A minimum that stands out, and not far from what the ends of passes say (delay and standard error, s).
///
/// A machine that is seen to fill has the delay that its filling shows, or about; a valley elsewhere is chance.
pub(super) fn valley(
    minimum: Option<Minimum>,
    ends: Option<(f64, f64)>,
    step: f64,
) -> Option<Minimum> {
    minimum.filter(|m| {
        let apart = ends.map_or(0.0, |e| (e.0 - m.delay).abs());
        m.stands_out() && apart <= 2.0 * agree(step)
    })
}

fn own_minimum(curve: &Curves, mixing: Mixing) -> Option<Minimum> {
    minimum(&[curve], mixing).filter(Minimum::identified)
}

/// Delay by the ends of passes and its standard error, s: from how the machine fills and empties, else from the rise at
/// entries of a machine that is seen to fill.
pub(super) fn by_ends(
    entry: &EntryEvidence,
    filling: Option<&Filling>,
    step: f64,
) -> Option<(f64, f64)> {
    if let Some(f) = filling.filter(|f| f.error < TOLD_S) {
        return Some((f.delay, f.error));
    }
    let delay = entry.delay(step).filter(|_| entry.fills() == Some(true))?;
    Some((delay, ENTRY_ERROR_S.0 + ENTRY_ERROR_S.1 * step))
}

/// Whether a log is raw: its machine fills after passes begin. `None` where the ends of passes do not tell.
pub(super) fn fills(entry: &EntryEvidence, filling: Option<&Filling>) -> Option<bool> {
    let beyond = |f: &Filling| (f.delay - SHORTEST_RAW_DELAY_S) / f.error;
    match filling.map(beyond) {
        Some(by) if by > 2.0 => Some(true),
        Some(by) if by < -2.0 => Some(false),
        _ => entry.fills(),
    }
}

fn agree(step: f64) -> f64 {
    AGREE_S + 0.5 * step
}

/// The machine's mixing, from the ends of its passes; else from the entries of its raw logs, since a shifted one hides
/// the rise.
fn mixing(fields: &[FieldEvidence], fillings: &[Option<Filling>]) -> Mixing {
    if let Some(filling) = Filling::together(fillings.iter().flatten()) {
        return filling.mixing();
    }
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
        filling: None,
        mixing_s: 0.0,
        antenna: None,
    }
}

/// Parts the fields into groups whose logs were treated alike: by gaps between their own delays; fields without one
/// join the group that fills, or does not fill, as they do.
fn group(
    fields: &[FieldEvidence],
    own: &[Option<Minimum>],
    fillings: &[Option<Filling>],
) -> Vec<Vec<usize>> {
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
    let together = |members: &[usize]| {
        let entry = EntryEvidence::join(members.iter().map(|&f| &fields[f].evidence.entry));
        let filling = Filling::together(members.iter().filter_map(|&f| fillings[f].as_ref()));
        fills(&entry, filling.as_ref())
    };
    let fills = |f: usize| together(&[f]);
    let joined: Vec<Option<bool>> = groups.iter().map(|g| together(g)).collect();
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

fn disagreement(
    evidence: &Evidence,
    filling: Option<&Filling>,
    decision: &Decision,
) -> Option<Disagreement> {
    let entry = &evidence.entry;
    let by_entries = by_ends(entry, filling, evidence.interval)
        .map(|e| e.0)
        .or(entry.delay(evidence.interval))
        .or(entry.half_time().filter(|&h| h == 0.0))?;
    let delay = decision.delay.value;
    // Where a log was shifted too far, its entries may show nothing, or as much less than nothing.
    let apart = by_entries.max(0.0) - delay.max(0.0);
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
    use super::super::curve::{Block, CANDIDATES, Curve, MIXING_S, candidate};
    use super::*;

    /// Evidence of eight blocks whose valleys lie `tilt` seconds apart about `delay`.
    fn evidence(delay: f64, tilt: f64) -> Evidence {
        let block = |b: u32| Block {
            disagreement: (0..CANDIDATES)
                .map(|c| {
                    let e = candidate(c) - delay - tilt * (f64::from(b) - 3.5);
                    (1.0 - 0.7 * (-e * e / 50.0).exp()) as f32
                })
                .collect(),
            spread: vec![1.0; CANDIDATES],
        };
        let blocks: Vec<Block> = (0..8).map(block).collect();
        let curve = Curve {
            along: blocks.clone(),
            across: blocks,
            pairs: 100,
            fit_half_width: 2.0,
        };
        Evidence {
            grain: vec![curve; MIXING_S.len()],
            ..Evidence::default()
        }
    }

    fn decided(evidence: &[Evidence]) -> Vec<Decision> {
        let fields: Vec<FieldEvidence> = evidence
            .iter()
            .map(|evidence| FieldEvidence {
                evidence,
                fixed: None,
                fixed_moisture: None,
            })
            .collect();
        decide(&fields)
    }

    #[test]
    fn a_valley_too_wide_to_promise_is_refused_and_stands_in_all_the_same() {
        let narrow = &decided(&[evidence(12.0, 0.1)])[0];
        assert!(!narrow.refused && narrow.fallback.is_none());
        assert_eq!(narrow.delay.basis, DelayBasis::Field);
        // Eight blocks 0.5 s apart: standard error 0.43 s, half of the interval 1.0 s.
        let wide = &decided(&[evidence(12.0, 0.5)])[0];
        assert!(
            wide.refused && (wide.delay.value - 12.0).abs() < 0.1,
            "{wide:?}"
        );
        assert_eq!(wide.fallback, Some(Fallback::Passes));
        assert_eq!(wide.delay.basis, DelayBasis::Default);
        let half = wide.delay.ci95_high.unwrap() - wide.delay.value;
        assert!((half - 2.365 * 1.2247 / 8f64.sqrt()).abs() < 0.15, "{half}");
    }

    #[test]
    fn a_field_that_tells_nothing_takes_its_machines_delay() {
        let fields = [
            evidence(12.0, 0.1),
            evidence(12.1, 0.1),
            Evidence::default(),
        ];
        let decisions = decided(&fields);
        let third = &decisions[2];
        assert!(!third.refused && third.own.is_none());
        assert_eq!(third.delay.basis, DelayBasis::Machine);
        assert!((third.delay.value - 12.05).abs() < 0.1, "{third:?}");
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
