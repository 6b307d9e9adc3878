use std::collections::BTreeMap;

use super::dry_flow;
use crate::calibrate::{LoadFactor, MachineFactor, TicketFit, Weighing, close, machine_factor};
use crate::gather::ScaleEvidence;
use crate::loads::TicketRef;
use crate::moisture;
use crate::read::{Ticket, TicketUse};
use crate::summary::{FactorBasis, Remark};

/// Relative sd of a certified scale's net weight. NIST Handbook 44, class III L maintenance tolerance: one division
/// per 500, about 0.2 %, taken as two standard deviations (value from memory, see the handbook).
const SCALE_SD: f64 = 0.001;
/// Relative sd of loads where no ticket says anything: ± 10 % for a poorly calibrated monitor (extension literature).
const UNWEIGHED_SD: f64 = 0.05;

/// What is used for one load of one field.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadDecision {
    /// True over logged mass (faults replaced).
    pub factor: f64,
    /// Relative sd of the factor.
    pub relative_sd: f64,
    /// The part of it that all loads of the machine share, relative sd.
    pub shared_sd: f64,
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
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleDecision {
    /// Its loads, in the order of the evidence.
    pub loads: Vec<LoadDecision>,
    /// Tickets used in this field.
    pub tickets_used: u64,
    /// Leave-one-load-out error over the batch's tickets of these machines, %.
    pub leave_one_out_pct: Option<f64>,
    /// Warnings of the field.
    pub warnings: Vec<Remark>,
}

/// A ticket with all its parts over the batch.
pub(super) struct Weighed<'a> {
    pub ticket: &'a Ticket,
    pub parts: Vec<(usize, usize)>,
}

/// Pools round two. `fields`: crop name and evidence of each field; the result is in the same order.
pub fn scale(fields: &[(&str, &ScaleEvidence)]) -> Vec<ScaleDecision> {
    let weighed = join_tickets(fields);
    let load = |&(f, l): &(usize, usize)| &fields[f].1.loads[l];
    // Machines: the tickets whose parts are all theirs.
    let mut of_machine: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for (w, ticket) in weighed.iter().enumerate() {
        let Some(&(f, l)) = ticket.parts.first() else {
            continue;
        };
        let (crop, machine) = (fields[f].0, fields[f].1.loads[l].machine.as_str());
        if ticket
            .parts
            .iter()
            .all(|p| fields[p.0].0 == crop && load(p).machine == machine)
        {
            of_machine.entry((machine, crop)).or_default().push(w);
        }
    }
    let mut factors: BTreeMap<(&str, &str), MachineFactor> = BTreeMap::new();
    // Tickets over several machines are used unless the user forbids it.
    let mut used: Vec<bool> = weighed
        .iter()
        .map(|w| w.ticket.usage != TicketUse::No)
        .collect();
    let mut doubt: Vec<Option<f64>> = vec![None; weighed.len()];
    for (key, tickets) in &of_machine {
        let fits: Vec<TicketFit> = tickets
            .iter()
            .map(|&w| TicketFit {
                weighed: weighed[w].ticket.net_kg,
                logged: weighed[w].parts.iter().map(|p| load(p).mass_kg).sum(),
                usage: weighed[w].ticket.usage,
            })
            .collect();
        let Some(factor) = machine_factor(&fits) else {
            continue;
        };
        for (k, &w) in tickets.iter().enumerate() {
            used[w] = factor.used[k];
        }
        for d in &factor.doubts {
            doubt[tickets[d.ticket]] = Some(d.ratio);
        }
        factors.insert(*key, factor);
    }
    let offsets = machine_offsets(fields, &weighed, &used);
    let mut decisions = decide(fields, &weighed, &used, &doubt, &factors, &offsets);
    dry_flow::warn(fields, &weighed, &used, &of_machine, &mut decisions);
    decisions
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
    factors: &BTreeMap<(&str, &str), MachineFactor>,
    offsets: &BTreeMap<(&str, &str), f64>,
) -> Vec<ScaleDecision> {
    // All loads of the batch in one list, so that tickets over several fields close as a whole.
    let places: Vec<(usize, usize)> = fields
        .iter()
        .enumerate()
        .flat_map(|(f, e)| (0..e.1.loads.len()).map(move |l| (f, l)))
        .collect();
    let mut ticket_of: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for (w, ticket) in weighed.iter().enumerate() {
        ticket_of.extend(ticket.parts.iter().map(|&p| (p, w)));
    }
    let factor_of = |&(f, l): &(usize, usize)| {
        factors.get(&(fields[f].1.loads[l].machine.as_str(), fields[f].0))
    };
    let weighings: Vec<Weighing> = places
        .iter()
        .map(|place| {
            let known = factor_of(place);
            Weighing {
                logged: fields[place.0].1.loads[place.1].mass_kg,
                machine_factor: known.map_or(1.0, |m| m.factor),
                spread: known.map_or(UNWEIGHED_SD, |m| {
                    m.spread * (1.0 + 1.0 / m.tickets as f64).sqrt()
                }),
                ticket: ticket_of.get(place).copied().filter(|&w| used[w]),
            }
        })
        .collect();
    let nets: Vec<(f64, f64)> = weighed
        .iter()
        .map(|w| (w.ticket.net_kg, SCALE_SD))
        .collect();
    let closed = close(&weighings, &nets);
    let mut out: Vec<ScaleDecision> = fields
        .iter()
        .map(|_| ScaleDecision {
            loads: Vec::new(),
            tickets_used: 0,
            leave_one_out_pct: None,
            warnings: Vec::new(),
        })
        .collect();
    for ((place, factor), weighing) in places.iter().zip(&closed).zip(&weighings) {
        let (f, l) = *place;
        let load = &fields[f].1.loads[l];
        let ticket = ticket_of
            .get(place)
            .map(|&w| (&weighed[w], used[w], doubt[w]));
        let basis = match (factor.weighed, factor_of(place)) {
            (true, _) => FactorBasis::Ticket,
            (false, Some(_)) => FactorBasis::Machine,
            (false, None) => FactorBasis::None,
        };
        let mut decision = LoadDecision {
            factor: factor.factor,
            relative_sd: factor.relative_sd,
            shared_sd: shared_sd(factor, factor_of(place)),
            basis,
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
    for (f, (crop, evidence)) in fields.iter().enumerate() {
        let mut names: Vec<&str> = evidence.loads.iter().map(|l| l.machine.as_str()).collect();
        names.dedup();
        let errors: Vec<(f64, f64)> = names
            .iter()
            .filter_map(|m| factors.get(&(*m, *crop)))
            .filter_map(|m| {
                m.leave_one_out
                    .map(|e| (e * e * m.tickets as f64, m.tickets as f64))
            })
            .collect();
        let tickets: f64 = errors.iter().map(|e| e.1).sum();
        out[f].leave_one_out_pct = (tickets > 0.0)
            .then(|| 100.0 * (errors.iter().map(|e| e.0).sum::<f64>() / tickets).sqrt());
    }
    out
}

/// The error that a load shares with the machine's others: that of the machine's factor. Weighed loads share none.
fn shared_sd(factor: &LoadFactor, machine: Option<&MachineFactor>) -> f64 {
    match machine {
        _ if factor.weighed => 0.0,
        Some(m) => m.spread / (m.tickets as f64).sqrt(),
        None => UNWEIGHED_SD,
    }
}

fn doubtful(ticket: &Ticket, ratio: f64, used: bool) -> Remark {
    let percent = 100.0 * (ratio - 1.0);
    let side = if percent > 0.0 { "more" } else { "less" };
    let what = if used {
        "it is used all the same, because its row says use = yes"
    } else {
        "it is held out, and the load takes its machine's factor; check the weight, or write use = yes in its row to obey it"
    };
    Remark::new(
        "doubtful-ticket",
        format!(
            "ticket {} ({}): {:.1} % {side} than the machine's other tickets lead to expect; {what}",
            ticket.id,
            ticket.place,
            percent.abs()
        ),
    )
}
