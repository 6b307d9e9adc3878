use std::collections::BTreeMap;

use super::adjust::{OfCrop, Place, UNTOLD_SD, adjust_crop, mean_ln_flow};
use super::flows::{KnownFlows, weighed_flows};
use super::remarks::{doubtful, of_fields, warn_of_odd};
use super::{course, dry_flow, flows};
use crate::calibrate::joint::Settlement;
use crate::calibrate::{LoadFactor, Weighing, close};
use crate::gather::ScaleEvidence;
use crate::loads::TicketRef;
use crate::moisture;
use crate::read::{Ticket, TicketUse};
use crate::summary::{FactorBasis, Remark};

/// Neighbouring ground decides a load's factor where it takes this part of the sd away (our choice: what anyone would
/// call a help).
const HELP: f64 = 0.15;

/// What is used for one load of one field.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct LoadDecision {
    /// True over logged mass (faults replaced).
    pub factor: f64,
    /// Relative sd of the factor.
    pub relative_sd: f64,
    /// Power of flow by which a reading inside the load departs from the load's factor; 0 where the sensor is not seen
    /// to bend.
    pub bend: f64,
    /// How well readings at other flows than the load's own are known.
    pub flows: KnownFlows,
    /// Where it comes from.
    pub basis: FactorBasis,
    /// The ticket, where one is used or was held out.
    pub ticket: Option<String>,
    /// This load's share of its used ticket, kg.
    pub weighed_kg: Option<f64>,
    /// Added to the logged moisture, points.
    pub moisture_offset: Option<f64>,
    /// The load's mean moisture, %: the ticket's, or the logged one with its machine's offset.
    pub moisture: Option<f64>,
    /// Weighed over expected mass of its ticket, where the machine's other tickets contradict it.
    pub doubt: Option<f64>,
    /// What to know about it.
    pub remarks: Vec<Remark>,
}

/// What round two says of one field.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ScaleDecision {
    /// Its loads, in the order of the evidence.
    pub loads: Vec<LoadDecision>,
    /// Tickets used in this field.
    pub tickets_used: u64,
    /// Leave-one-load-out error over the batch's tickets of this crop, %.
    pub leave_one_out_pct: Option<f64>,
    /// How the factors were found, for people.
    pub method: String,
    /// Relative sd of all the field's corrected grain: errors that loads share add up, their own average out.
    pub grain_sd: f64,
    /// Whether a ticket says anything of the level of this crop's machines.
    pub has_level: bool,
    /// Warnings of the field.
    pub warnings: Vec<Remark>,
}

/// A ticket with all its parts over the batch.
pub(super) struct Weighed<'a> {
    pub ticket: &'a Ticket,
    pub parts: Vec<Place>,
}

/// Pools round two. `fields`: crop name and evidence of each field; the result is in the same order.
pub fn scale(fields: &[(&str, &ScaleEvidence)]) -> Vec<ScaleDecision> {
    let weighed = join_tickets(fields);
    let mut of_crop: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (f, (crop, _)) in fields.iter().enumerate() {
        of_crop.entry(crop).or_default().push(f);
    }
    let crops: Vec<OfCrop> = (of_crop.values())
        .map(|of| adjust_crop(of, fields, &weighed))
        .collect();
    // Tickets over several crops are used unless the user forbids it.
    let mut used: Vec<bool> = (weighed.iter())
        .map(|w| w.ticket.usage != TicketUse::No)
        .collect();
    let mut doubt: Vec<Option<f64>> = vec![None; weighed.len()];
    let mut odd = doubt.clone();
    for crop in &crops {
        let Some(settled) = &crop.settled else {
            continue;
        };
        for (&w, u) in crop.tickets.iter().zip(&settled.used) {
            used[w] = *u;
        }
        for d in &settled.doubts {
            doubt[crop.tickets[d.ticket]] = Some(d.ratio);
        }
        for d in &settled.odd {
            odd[crop.tickets[d.ticket]] = Some(d.ratio);
        }
    }
    let offsets = machine_offsets(fields, &weighed, &used);
    let mut decisions = decide(fields, &weighed, &used, &doubt, &crops, &offsets);
    dry_flow::warn(
        fields,
        &weighed,
        &used,
        &of_machine(fields, &weighed),
        &mut decisions,
    );
    flows::warn(fields, &mut decisions);
    warn_of_odd(&weighed, &odd, &mut decisions);
    (crops.iter()).for_each(|crop| course::warn(crop, fields, &weighed, &mut decisions));
    decisions
}

/// The tickets of each machine and crop, whose parts are all theirs.
fn of_machine<'a>(
    fields: &[(&'a str, &'a ScaleEvidence)],
    weighed: &[Weighed],
) -> BTreeMap<(&'a str, &'a str), Vec<usize>> {
    let mut out: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for (w, ticket) in weighed.iter().enumerate() {
        let mut keys = (ticket.parts.iter())
            .map(|&(f, l)| (fields[f].1.loads[l].machine.as_str(), fields[f].0));
        let Some(first) = keys.next() else { continue };
        if keys.all(|k| k == first) {
            out.entry(first).or_default().push(w);
        }
    }
    out
}

/// Every ticket of the batch once, with the loads of all fields that it weighed.
fn join_tickets<'a>(fields: &[(&str, &'a ScaleEvidence)]) -> Vec<Weighed<'a>> {
    let mut all: BTreeMap<TicketRef, Weighed<'a>> = BTreeMap::new();
    for (f, (_, evidence)) in fields.iter().enumerate() {
        for ticket in &evidence.tickets {
            all.entry(TicketRef::of(ticket)).or_insert_with(|| Weighed {
                ticket,
                parts: Vec::new(),
            });
        }
        for (l, load) in evidence.loads.iter().enumerate() {
            if let Some(w) = load.ticket.as_ref().and_then(|t| all.get_mut(t)) {
                w.parts.push((f, l));
            }
        }
    }
    all.into_values().filter(|w| !w.parts.is_empty()).collect()
}

/// Moisture offset of each machine and crop: mean over the mass that used tickets tested.
fn machine_offsets<'a>(
    fields: &[(&'a str, &'a ScaleEvidence)],
    weighed: &[Weighed],
    used: &[bool],
) -> BTreeMap<(&'a str, &'a str), f64> {
    let mut sums: BTreeMap<(&str, &str), (f64, f64)> = BTreeMap::new();
    for (w, u) in weighed.iter().zip(used) {
        let Some(tested) = w.ticket.moisture_pct.filter(|_| *u) else {
            continue;
        };
        let Some(logged) = mean_moisture(fields, &w.parts) else {
            continue;
        };
        let Ok(offset) = moisture::offset(tested, logged) else {
            continue;
        };
        for &(f, l) in &w.parts {
            let load = &fields[f].1.loads[l];
            let s = sums
                .entry((load.machine.as_str(), fields[f].0))
                .or_default();
            s.0 += offset * load.mass_kg;
            s.1 += load.mass_kg;
        }
    }
    sums.into_iter()
        .filter(|(_, s)| s.1 > 0.0)
        .map(|(k, s)| (k, s.0 / s.1))
        .collect()
}

/// Mean logged moisture over the parts of a ticket, weighted by mass.
pub(super) fn mean_moisture(
    fields: &[(&str, &ScaleEvidence)],
    parts: &[(usize, usize)],
) -> Option<f64> {
    let (mut wet, mut mass) = (0.0, 0.0);
    for &(f, l) in parts {
        let load = &fields[f].1.loads[l];
        if let Some(m) = load.moisture_pct {
            let with = load.mass_kg * load.moisture_share;
            wet += m * with;
            mass += with;
        }
    }
    (mass > 0.0).then(|| wet / mass)
}

fn decide(
    fields: &[(&str, &ScaleEvidence)],
    weighed: &[Weighed],
    used: &[bool],
    doubt: &[Option<f64>],
    crops: &[OfCrop],
    offsets: &BTreeMap<(&str, &str), f64>,
) -> Vec<ScaleDecision> {
    // All loads of the batch in one list, so that tickets over several fields close as a whole.
    let expected = expect(fields, weighed, crops);
    let mut ticket_of: BTreeMap<Place, usize> = BTreeMap::new();
    for (w, ticket) in weighed.iter().enumerate() {
        ticket_of.extend(ticket.parts.iter().map(|&p| (p, w)));
    }
    let weighings: Vec<Weighing> = (expected.iter())
        .map(|e| Weighing {
            logged: fields[e.place.0].1.loads[e.place.1].mass_kg,
            expected_factor: e.factor,
            spread: e.sd,
            ticket: ticket_of.get(&e.place).copied().filter(|&w| used[w]),
        })
        .collect();
    let mut nets: Vec<(f64, f64)> = (weighed.iter())
        .map(|w| (w.ticket.net_kg, UNTOLD_SD))
        .collect();
    for crop in crops {
        let Some(settled) = &crop.settled else {
            continue;
        };
        for (t, &w) in crop.tickets.iter().enumerate() {
            let risk = settled.risk_of_ticket(t, &crop.ticket_nodes[t]);
            nets[w].1 = settled.adjusted.ticket_sd[t].hypot(risk.sqrt());
        }
    }
    let closed = close(&weighings, &nets);
    // A ticket that is held out is so far off what its loads come to.
    let mut come_to = vec![0.0; weighed.len()];
    for (e, factor) in expected.iter().zip(&closed) {
        if let Some(&w) = ticket_of.get(&e.place) {
            come_to[w] += fields[e.place.0].1.loads[e.place.1].mass_kg * factor.factor;
        }
    }
    let off = |w: usize| match doubt[w] {
        Some(_) if !used[w] => Some(weighed[w].ticket.net_kg / come_to[w]),
        other => other,
    };
    let mut out: Vec<ScaleDecision> = (fields.iter())
        .map(|_| ScaleDecision {
            loads: Vec::new(),
            tickets_used: 0,
            leave_one_out_pct: None,
            method: "none".to_owned(),
            grain_sd: f64::NAN,
            has_level: false,
            warnings: Vec::new(),
        })
        .collect();
    for ((expected, factor), weighing) in expected.iter().zip(&closed).zip(&weighings) {
        let (f, l) = expected.place;
        let load = &fields[f].1.loads[l];
        let ticket = ticket_of
            .get(&expected.place)
            .map(|&w| (&weighed[w], used[w], off(w)));
        let mut decision = LoadDecision {
            factor: factor.factor,
            relative_sd: factor.relative_sd,
            bend: expected.bend,
            flows: expected.flows,
            basis: if factor.weighed {
                FactorBasis::Ticket
            } else {
                expected.basis
            },
            ticket: ticket.as_ref().map(|t| t.0.ticket.id.clone()),
            weighed_kg: factor.weighed.then_some(factor.factor * load.mass_kg),
            moisture_offset: None,
            moisture: None,
            doubt: ticket.as_ref().and_then(|t| t.2),
            remarks: Vec::new(),
        };
        let own = ticket.as_ref().filter(|t| t.1).and_then(|t| {
            let tested = t.0.ticket.moisture_pct?;
            Some((tested, mean_moisture(fields, &t.0.parts)))
        });
        let of_machine = offsets.get(&(load.machine.as_str(), fields[f].0)).copied();
        decision.moisture_offset = match own {
            Some((tested, Some(logged))) => moisture::offset(tested, logged).ok(),
            Some((_, None)) => None,
            None => load.moisture_pct.and(of_machine),
        };
        decision.moisture = match (own, load.moisture_pct) {
            (_, Some(logged)) => Some(logged + decision.moisture_offset.unwrap_or_default()),
            (Some((tested, _)), None) => Some(tested),
            (None, None) => None,
        };
        if let Some((w, is_used, Some(ratio))) = ticket {
            let remark = doubtful(w.ticket, ratio, is_used);
            out[f].warnings.push(remark.clone());
            decision.remarks.push(remark);
        }
        if weighing.ticket.is_some() && !factor.weighed {
            decision.remarks.push(Remark::new(
                "no-logged-grain",
                "a ticket weighed this load, but the log has no grain of it: its factor cannot be told",
            ));
        }
        out[f].loads.push(decision);
    }
    for (w, ticket) in weighed.iter().enumerate().filter(|(w, _)| used[*w]) {
        let mut in_fields: Vec<usize> = ticket.parts.iter().map(|p| p.0).collect();
        in_fields.dedup();
        let _ = w;
        in_fields.into_iter().for_each(|f| out[f].tickets_used += 1);
    }
    for crop in crops {
        of_fields(fields, crop, &closed_of(&expected, &closed), &mut out);
    }
    out
}

/// What is expected of a load before its own ticket is obeyed.
struct Expected {
    place: Place,
    factor: f64,
    sd: f64,
    bend: f64,
    flows: KnownFlows,
    basis: FactorBasis,
}

/// A bend is seen where zero is outside its 95 % interval.
const SEEN: f64 = 1.96;

/// Every load of the batch, field by field.
fn expect(
    fields: &[(&str, &ScaleEvidence)],
    weighed: &[Weighed],
    crops: &[OfCrop],
) -> Vec<Expected> {
    let mut out = Vec::new();
    for crop in crops {
        let has_level = crop.has_level();
        let taught: Vec<bool> = (0..crop.machines.len())
            .map(|m| crop.taught[m] > 0)
            .collect();
        let helps = |s: &Settlement, k: usize| {
            crop.linked[k] && s.adjusted.sd[k] < (1.0 - HELP) * s.sd_without_links[k]
        };
        let may_be_tied = has_level || crop.machines.len() > 1;
        let tied: Vec<bool> = (0..crop.machines.len())
            .map(|m| {
                let mut own = (0..crop.nodes.len()).filter(|&k| crop.nodes[k].machine == m);
                may_be_tied && own.any(|k| crop.settled.as_ref().is_some_and(|s| helps(s, k)))
            })
            .collect();
        let classes = crop.nodes.iter().map(|n| n.class + 1).max().unwrap_or(0);
        let ranges: Vec<Option<[f64; 2]>> = (0..classes)
            .map(|c| weighed_flows(crop, fields, weighed, c))
            .collect();
        let level = if has_level {
            1.0
        } else {
            level_as_logged(crop, &tied)
        };
        for (k, &place) in crop.places.iter().enumerate() {
            let Some(s) = &crop.settled else { continue };
            let (u, sd) = (s.adjusted.factor[k], s.adjusted.sd[k]);
            let machine = crop.nodes[k].machine;
            let basis = match (helps(s, k), taught[machine]) {
                (true, true) if s.links_hold => FactorBasis::Neighbours,
                (_, true) => FactorBasis::Machine,
                // A machine that was never weighed is told by where it meets others.
                (_, false) if tied[machine] => FactorBasis::Neighbours,
                (_, false) => FactorBasis::None,
            };
            // One machine of unknown level: what it logged stands.
            let stands = basis == FactorBasis::None;
            let (bend, bend_sd) = s.adjusted.bend[crop.nodes[k].class];
            let simple = crop.one_factor(machine);
            let basis = match simple {
                Some(_) => FactorBasis::Machine,
                None => basis,
            };
            let is_bent = !stands && bend.abs() > SEEN * bend_sd;
            out.push(Expected {
                place,
                flows: KnownFlows {
                    mean_ln: mean_ln_flow(&fields[place.0].1.loads[place.1]),
                    // A bend that is not followed may be there.
                    bend_sd: if is_bent {
                        bend_sd
                    } else {
                        bend_sd.hypot(bend)
                    },
                    weighed: ranges[crop.nodes[k].class],
                },
                factor: match simple {
                    _ if stands => 1.0,
                    Some(one) => one.ln_factor.exp(),
                    None => level * u.exp(),
                },
                sd: sd.hypot(s.risk_of_load(k).sqrt()).hypot(crop.simpler_by(k)),
                bend: if is_bent { bend } else { 0.0 },
                basis,
            });
        }
    }
    out.sort_by_key(|e| e.place);
    debug_assert_eq!(
        out.len(),
        fields.iter().map(|f| f.1.loads.len()).sum::<usize>()
    );
    out
}

/// What brings the grain of machines that are tied to each other, but to no scale, back to the sum that they logged: their
/// differences are told, their level is not.
fn level_as_logged(crop: &OfCrop, tied: &[bool]) -> f64 {
    let Some(s) = &crop.settled else { return 1.0 };
    let own = (crop.nodes.iter().zip(&s.adjusted.factor)).filter(|(n, _)| tied[n.machine]);
    let (logged, sum) = own.fold((0.0, 0.0), |(a, b), (n, u)| {
        (a + n.logged, b + n.logged * u.exp())
    });
    if sum > 0.0 { logged / sum } else { 1.0 }
}

fn closed_of(expected: &[Expected], closed: &[LoadFactor]) -> BTreeMap<Place, LoadFactor> {
    expected
        .iter()
        .map(|e| e.place)
        .zip(closed.iter().copied())
        .collect()
}
