//! A crop's loads over the batch as the adjustment sees them.

use std::collections::BTreeMap;

use super::scale::Weighed;
use crate::calibrate::joint::{Links, LoadNode, Settlement, TicketNode, settle};
use crate::gather::ScaleEvidence;
use crate::loads::LoadEvidence;
use crate::read::TicketUse;

/// A machine that rested for so long starts another day, s (our choice: longer than a breakdown at noon, shorter than a
/// night).
const NIGHT: f64 = 5.0 * 3600.0;
/// Relative sd of a certified scale's net weight. NIST Handbook 44, class III L maintenance tolerance: one division
/// per 500, about 0.2 %, taken as two standard deviations (value from memory, see the handbook).
pub(super) const SCALE_SD: f64 = 0.001;

/// Place of a load: field, and load in it.
pub(super) type Place = (usize, usize);

/// What the adjustment says of one crop.
pub(super) struct OfCrop<'a> {
    /// The loads, in the order of the nodes.
    pub places: Vec<Place>,
    /// Machine names.
    pub machines: Vec<&'a str>,
    /// The loads as nodes.
    pub nodes: Vec<LoadNode>,
    /// Indices of its tickets in the batch.
    pub tickets: Vec<usize>,
    /// What came of it; `None` where there is nothing to adjust.
    pub settled: Option<Settlement>,
    /// Whether a load is linked to others by neighbouring ground.
    pub linked: Vec<bool>,
}

impl OfCrop<'_> {
    /// Tickets that teach about a machine: used, and with a part of it.
    pub fn taught(&self, machine: usize, weighed: &[Weighed]) -> usize {
        let Some(settled) = &self.settled else {
            return 0;
        };
        let node = |p: &Place| self.places.iter().position(|q| q == p);
        (self.tickets.iter().enumerate())
            .filter(|(t, _)| settled.adjusted.left_out[*t].0.is_finite())
            .filter(|(_, w)| {
                let mut parts = weighed[**w].parts.iter().filter_map(node);
                parts.any(|l| self.nodes[l].machine == machine)
            })
            .count()
    }

    /// Whether any ticket teaches.
    pub fn has_level(&self) -> bool {
        let taught = |s: &Settlement| s.adjusted.left_out.iter().any(|e| e.0.is_finite());
        self.settled.as_ref().is_some_and(taught)
    }
}

/// Adjusts a crop. `fields`: indices of its fields.
pub(super) fn adjust_crop<'a>(
    of_crop: &[usize],
    fields: &[(&str, &'a ScaleEvidence)],
    weighed: &[Weighed],
) -> OfCrop<'a> {
    let load = |p: &Place| -> &'a LoadEvidence { &fields[p.0].1.loads[p.1] };
    let mut places: Vec<Place> = (of_crop.iter())
        .flat_map(|&f| (0..fields[f].1.loads.len()).map(move |l| (f, l)))
        .collect();
    // A machine's loads in the order of time; those without a clock keep the order of the fields and stand first.
    let start = |p: &Place| load(p).span.map_or(f64::NEG_INFINITY, |s| s[0]);
    places.sort_by(|a, b| {
        (load(a).machine.cmp(&load(b).machine))
            .then(start(a).total_cmp(&start(b)))
            .then(a.cmp(b))
    });
    let mut machines: Vec<&str> = places.iter().map(|p| load(p).machine.as_str()).collect();
    machines.dedup();
    let mut nodes: Vec<LoadNode> = Vec::with_capacity(places.len());
    let mut day = 0;
    for (k, place) in places.iter().enumerate() {
        let machine = machines.iter().position(|m| *m == load(place).machine);
        let machine = machine.unwrap_or_default();
        let before = k.checked_sub(1).filter(|&b| nodes[b].machine == machine);
        let goes_on = before.is_some_and(|b| match (load(&places[b]).span, load(place).span) {
            (Some(a), Some(b)) => b[0] - a[1] < NIGHT,
            _ => places[b].0 == place.0,
        });
        if k > 0 && !goes_on {
            day += 1;
        }
        nodes.push(LoadNode {
            machine,
            day,
            before,
            logged: load(place).mass_kg,
            ln_flow: mean_ln_flow(load(place)),
        });
    }
    let node_of: BTreeMap<Place, usize> = places.iter().enumerate().map(|(k, p)| (*p, k)).collect();
    let links: Vec<(Vec<usize>, &Links)> = (of_crop.iter())
        .filter_map(|&f| {
            let links = fields[f].1.links.as_ref()?;
            let group: Option<Vec<usize>> = (links.loads.iter())
                .map(|&l| node_of.get(&(f, l as usize)).copied())
                .collect();
            Some((group?, links))
        })
        .collect();
    let mut linked = vec![false; nodes.len()];
    (links.iter().flat_map(|(group, _)| group)).for_each(|&l| linked[l] = true);
    let tickets: Vec<usize> = (0..weighed.len())
        .filter(|&w| weighed[w].parts.iter().all(|p| node_of.contains_key(p)))
        .collect();
    let of_ticket = |&w: &usize| TicketNode {
        parts: weighed[w].parts.iter().map(|p| node_of[p]).collect(),
        net: weighed[w].ticket.net_kg,
        sd: SCALE_SD,
    };
    let ticket_nodes: Vec<TicketNode> = tickets.iter().map(of_ticket).collect();
    let usage: Vec<TicketUse> = tickets.iter().map(|&w| weighed[w].ticket.usage).collect();
    OfCrop {
        settled: settle(&nodes, &links, &ticket_nodes, &usage),
        places,
        machines,
        nodes,
        tickets,
        linked,
    }
}

/// Mean log flow of a load, weighted by mass; NaN where none was logged.
fn mean_ln_flow(load: &LoadEvidence) -> f64 {
    let (sum, mass) = (load.flows.iter()).fold((0.0, 0.0), |(s, m), [flow, mass]| {
        (s + mass * flow.ln(), m + mass)
    });
    sum / mass
}
