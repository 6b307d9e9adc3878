//! What is said of a field's scale as a whole, and of a ticket that the others contradict.

use std::collections::BTreeMap;

use super::adjust::{OfCrop, Place};
use super::scale::{ScaleDecision, Weighed};
use crate::calibrate::LoadFactor;
use crate::gather::ScaleEvidence;
use crate::read::Ticket;
use crate::summary::{FactorBasis, Remark};

/// What is to be said of a crop's fields as wholes.
pub(super) fn of_fields(
    fields: &[(&str, &ScaleEvidence)],
    weighed: &[Weighed],
    crop: &OfCrop,
    closed: &BTreeMap<Place, LoadFactor>,
    out: &mut [ScaleDecision],
) {
    let Some(settled) = &crop.settled else { return };
    let mut of_field: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (k, place) in crop.places.iter().enumerate() {
        of_field.entry(place.0).or_default().push(k);
    }
    for (f, nodes) in of_field {
        let corrected = |k: usize| crop.nodes[k].logged * closed[&crop.places[k]].factor;
        let total: f64 = nodes.iter().map(|&k| corrected(k)).sum();
        let (mut open, mut own) = (Vec::new(), 0.0);
        for &k in &nodes {
            let (share, factor) = (corrected(k) / total, closed[&crop.places[k]]);
            if factor.weighed {
                own += (share * factor.relative_sd).powi(2);
            } else {
                open.push((k, share));
            }
        }
        let shared = if open.is_empty() || !(total > 0.0) {
            0.0
        } else {
            settled.adjusted.variance(&open).unwrap_or(f64::NAN)
        };
        let decision = &mut out[f];
        decision.grain_sd = (shared + own).sqrt();
        decision.has_level = crop.has_level();
        let basis = |b: FactorBasis| decision.loads.iter().any(|l| l.basis == b);
        let by_tickets = basis(FactorBasis::Ticket) || basis(FactorBasis::Machine);
        decision.method = match (by_tickets, basis(FactorBasis::Neighbours)) {
            (true, true) => "joint adjustment, closed on tickets",
            (true, false) => "machine factor, closed on tickets",
            (false, true) => "joint adjustment",
            (false, false) => "none",
        }
        .to_owned();
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
            if is_open && crop.taught(m, weighed) == 1 {
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

/// A ticket that the others contradict. `ratio`: its weight over what they lead to expect.
pub(super) fn doubtful(ticket: &Ticket, ratio: f64, used: bool) -> Remark {
    let percent = 100.0 * (ratio - 1.0);
    let side = if percent > 0.0 { "more" } else { "less" };
    let what = if used {
        "it is used all the same, because its row says use = yes"
    } else {
        "it is held out, and the load takes the factor that neighbouring ground or the machine's other tickets give it; check the weight, or write use = yes in its row to use it all the same"
    };
    Remark::new(
        "doubtful-ticket",
        format!(
            "ticket {} ({}): {:.1} % {side} than the other tickets lead to expect; {what}",
            ticket.id,
            ticket.place,
            percent.abs()
        ),
    )
}
