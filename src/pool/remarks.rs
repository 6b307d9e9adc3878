//! What is said of a field's scale as a whole, and of a ticket that the others contradict.

use std::collections::BTreeMap;

use super::adjust::{OfCrop, Place, SCALE_SD};
use super::scale::{LoadDecision, ScaleDecision, Weighed};
use crate::calibrate::LoadFactor;
use crate::calibrate::joint::{Settlement, Widest};
use crate::gather::ScaleEvidence;
use crate::read::Ticket;
use crate::summary::{FactorBasis, Remark};

/// What is to be said of a crop's fields as wholes.
pub(super) fn of_fields(
    fields: &[(&str, &ScaleEvidence)],
    crop: &OfCrop,
    closed: &BTreeMap<Place, LoadFactor>,
    out: &mut [ScaleDecision],
) {
    let Some(settled) = &crop.settled else { return };
    let mut of_field: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (k, place) in crop.places.iter().enumerate() {
        of_field.entry(place.0).or_default().push(k);
    }
    let widest = settled.adjusted.widest();
    let ticket_of = crop.ticket_of_loads();
    for (f, nodes) in of_field {
        let corrected = |k: usize| crop.nodes[k].logged * closed[&crop.places[k]].factor;
        let total: f64 = nodes.iter().map(|&k| corrected(k)).sum();
        let share = |k: usize| corrected(k) / total;
        let decision = &mut out[f];
        decision.grain_sd = if total > 0.0 {
            widest.as_ref().map_or(f64::NAN, |widest| {
                grain_variance(crop, settled, (widest, &ticket_of), closed, &nodes, &share).sqrt()
            })
        } else {
            0.0
        };
        decision.has_level = crop.has_level();
        decision.method = method(crop, settled, closed, &nodes, &decision.loads);
        decision.leave_one_out_pct = settled.leave_one_out.map(|e| 100.0 * e);
        if !settled.links_hold && nodes.iter().any(|&k| crop.linked[k]) {
            decision.warnings.push(Remark::new(
                "neighbours-contradicted",
                "tickets do not bear out what neighbouring ground says of the loads: their machine's factor is taken (a real step in yield along a pass, or a wrong load id?)",
            ));
        }
        let mut machines: Vec<usize> = nodes.iter().map(|&k| crop.nodes[k].machine).collect();
        machines.sort_unstable();
        machines.dedup();
        let is_open = nodes.iter().any(|&k| !closed[&crop.places[k]].weighed);
        for m in machines {
            if is_open && crop.taught[m] == 1 {
                decision.warnings.push(Remark::new(
                    "single-ticket",
                    format!(
                        "machine {}: one ticket alone carries the scale to its other {} loads; nothing can tell whether that ticket is right, or how much the sensor wanders from load to load",
                        crop.machines[m], fields[f].0
                    ),
                ));
            }
        }
    }
}

/// How a field's factors were found, and why so.
fn method(
    crop: &OfCrop,
    settled: &Settlement,
    closed: &BTreeMap<Place, LoadFactor>,
    nodes: &[usize],
    loads: &[LoadDecision],
) -> String {
    let basis = |b: FactorBasis| loads.iter().any(|l| l.basis == b);
    let open: Vec<usize> = (nodes.iter().copied())
        .filter(|&k| !closed[&crop.places[k]].weighed && crop.nodes[k].logged > 0.0)
        .collect();
    if open.is_empty() {
        return "every load by its own ticket".to_owned();
    }
    if !basis(FactorBasis::Ticket)
        && !basis(FactorBasis::Machine)
        && !basis(FactorBasis::Neighbours)
    {
        return "none".to_owned();
    }
    let mut machines: Vec<usize> = open.iter().map(|&k| crop.nodes[k].machine).collect();
    machines.sort_unstable();
    machines.dedup();
    let told: Vec<String> = (machines.iter())
        .map(|&m| {
            let judged = settled.one_factor[m];
            let how = match judged {
                Some(one) if one.wins() => "one factor",
                _ => "joint adjustment",
            };
            let why = judged.map_or_else(
                || "too few tickets to compare it with one factor".to_owned(),
                |one| {
                    let errors = [one.error, one.joint_error].map(|e| 100.0 * e);
                    format!(
                        "tickets left out in turn are missed by {:.2} % with one factor, by {:.2} % with the joint adjustment",
                        errors[0], errors[1]
                    )
                },
            );
            if machines.len() > 1 {
                format!("{}: {how} ({why})", crop.machines[m])
            } else {
                format!("{how} ({why})")
            }
        })
        .collect();
    let by_tickets = basis(FactorBasis::Ticket);
    told.join("; ")
        + if by_tickets {
            "; closed on tickets"
        } else {
            ""
        }
}

/// Variance of the log of a field's corrected grain. Closing a ticket moves its loads from what is expected of them by
/// δ = what was weighed − expected, whose variance is R − pCp' where the ticket took part in the expectation (R: the scale's,
/// C: the expectation's, p: the parts' shares in the ticket); the error of the grain aΔu + cδ has aCa' + c²(R − pCp'), since
/// δ is the residual of what is expected. `widest`: the adjustment's equations; `of_load`: the ticket of each load.
fn grain_variance(
    crop: &OfCrop,
    settled: &Settlement,
    (widest, of_load): (&Widest, &[Option<usize>]),
    closed: &BTreeMap<Place, LoadFactor>,
    nodes: &[usize],
    share: &dyn Fn(usize) -> f64,
) -> f64 {
    let adjusted = &settled.adjusted;
    let (mut all, mut taught, mut own) = (Vec::new(), Vec::new(), 0.0);
    let mut closes: BTreeMap<usize, f64> = BTreeMap::new();
    let ticket_of = |k: usize| of_load[k].filter(|_| closed[&crop.places[k]].weighed);
    for &k in nodes {
        match ticket_of(k) {
            Some(t) => *closes.entry(t).or_default() += share(k),
            None if closed[&crop.places[k]].weighed => {
                own += (share(k) * closed[&crop.places[k]].relative_sd).powi(2);
                continue;
            }
            None => {}
        }
        all.push((k, share(k)));
    }
    // What a load's ends leave goes to the load beside it: where all are weighed it is in the sum.
    let all_weighed = nodes.iter().all(|&k| ticket_of(k).is_some());
    let sd = if all_weighed {
        &adjusted.scale_sd
    } else {
        &adjusted.ticket_sd
    };
    for (&t, &c) in &closes {
        own += (c * sd[t]).powi(2);
        let node = &crop.ticket_nodes[t];
        let grain = |k: usize| crop.nodes[k].logged * adjusted.factor[k].exp();
        let whole: f64 = node.parts.iter().map(|&k| grain(k)).sum();
        let p = node.parts.iter().map(|&k| (k, c * grain(k) / whole));
        if adjusted.left_out[t].0.is_finite() {
            taught.extend(p);
        } else {
            // It closes its loads without having taught: they are as good as it is.
            let parts: Vec<usize> = node.parts.clone();
            all.retain(|a| !parts.contains(&a.0));
        }
    }
    // Tickets that may be wrong and are obeyed, or right and held out, move their own loads and those that are not weighed.
    for risk in &settled.risks {
        let moved = |k: &usize| match ticket_of(*k) {
            Some(t) if t != risk.ticket => 0.0,
            _ => share(*k) * risk.shift[*k],
        };
        own += risk.probability * nodes.iter().map(moved).sum::<f64>().powi(2);
    }
    let simpler = (nodes.iter())
        .filter(|k| ticket_of(**k).is_none())
        .map(|&k| share(k) * crop.simpler_by(k));
    own += simpler.sum::<f64>().powi(2);
    let of = |shares: &[(usize, f64)]| adjusted.variance(widest, shares);
    let variance = (of(&all) + own - of(&taught)).max(own);
    // What a certified scale may be off by, it is off by for all its tickets: that does not average out.
    let of_scales = if crop.has_level() {
        SCALE_SD * SCALE_SD
    } else {
        0.0
    };
    variance + of_scales
}

/// Says which tickets are obeyed though the others make them look odd. `odd`: weighed over expected mass, by ticket.
pub(super) fn warn_of_odd(
    weighed: &[Weighed],
    odd: &[Option<f64>],
    decisions: &mut [ScaleDecision],
) {
    for (w, ratio) in weighed.iter().zip(odd) {
        let Some(ratio) = ratio else { continue };
        let remark = Remark::new(
            "odd-ticket",
            format!(
                "ticket {} ({}): {}; that may be chance, so it is obeyed, and intervals are the wider for it; look at the paper, and correct its row or write use = no or use = yes in it",
                w.ticket.id,
                w.ticket.place,
                than_expected(*ratio)
            ),
        );
        let mut said = None;
        for &(f, l) in &w.parts {
            decisions[f].loads[l].remarks.push(remark.clone());
            if said != Some(f) {
                decisions[f].warnings.push(remark.clone());
                said = Some(f);
            }
        }
    }
}

/// `12.0 % more than the other tickets lead to expect`.
fn than_expected(ratio: f64) -> String {
    let percent = 100.0 * (ratio - 1.0);
    let side = if percent > 0.0 { "more" } else { "less" };
    format!(
        "{:.1} % {side} than the other tickets lead to expect",
        percent.abs()
    )
}

/// A ticket that the others contradict. `ratio`: its weight over what they lead to expect.
pub(super) fn doubtful(ticket: &Ticket, ratio: f64, used: bool) -> Remark {
    let what = if used {
        "it is used all the same, because its row says use = yes"
    } else {
        "it is held out, and the load takes the factor that neighbouring ground or the machine's other tickets give it; check the weight, or write use = yes in its row to use it all the same"
    };
    Remark::new(
        "doubtful-ticket",
        format!(
            "ticket {} ({}): {}; {what}",
            ticket.id,
            ticket.place,
            than_expected(ratio)
        ),
    )
}
