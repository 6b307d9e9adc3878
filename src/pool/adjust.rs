//! A crop's loads over the batch as the adjustment sees them.

use std::collections::BTreeMap;

use super::scale::Weighed;
use crate::calibrate::joint::{Links, LoadNode, OneFactor, Settlement, TicketNode, settle};
use crate::gather::ScaleEvidence;
use crate::loads::LoadEvidence;
use crate::read::TicketUse;

/// A machine that rested for so long starts another day, s (our choice: longer than a breakdown at noon, shorter than a
/// night).
const NIGHT: f64 = 5.0 * 3600.0;
/// Relative sd of a certified scale's net weight, the least that is taken for any. NIST Handbook 44, class III L
/// maintenance tolerance: one division per 500, about 0.2 %, taken as two standard deviations (value from memory; half of
/// it, the acceptance tolerance, is the ±0.1 % of the applied load that services of truck scales quote: common practice). How much more a scale's tickets scatter is estimated.
pub(super) const SCALE_SD: f64 = 0.001;
/// Relative sd of a ticket that no crop's adjustment tells of, because it weighed several crops at once (our choice: the
/// middle of what is taken for scales beforehand, with its uncertainty).
pub(super) const UNTOLD_SD: f64 = 0.005;
/// Common practice: grain more than four points of moisture apart is calibrated apart.
const MOISTURE_CLASS: f64 = 4.0;

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
    /// The same as nodes.
    pub ticket_nodes: Vec<TicketNode>,
    /// What came of it; `None` where there is nothing to adjust.
    pub settled: Option<Settlement>,
    /// Whether a load is linked to others by neighbouring ground.
    pub linked: Vec<bool>,
    /// How many tickets teach about each machine: used, and with a part of it.
    pub taught: Vec<usize>,
}

impl OfCrop<'_> {
    /// The first ticket of each load.
    pub fn ticket_of_loads(&self) -> Vec<Option<usize>> {
        let mut out = vec![None; self.nodes.len()];
        for (t, ticket) in self.ticket_nodes.iter().enumerate() {
            for &l in &ticket.parts {
                out[l].get_or_insert(t);
            }
        }
        out
    }

    /// One factor for a machine, where it predicts the machine's tickets better than the joint adjustment.
    pub fn one_factor(&self, machine: usize) -> Option<OneFactor> {
        let settled = self.settled.as_ref()?;
        settled.one_factor[machine].filter(OneFactor::wins)
    }

    /// By how much a load's log factor is another because its machine's one factor is taken; 0 where it is not. That one factor
    /// predicted tickets better does not say that the other is wrong, so intervals hold both.
    pub fn simpler_by(&self, load: usize) -> f64 {
        let one = self.one_factor(self.nodes[load].machine);
        one.zip(self.settled.as_ref())
            .map_or(0.0, |(one, s)| one.ln_factor - s.adjusted.factor[load])
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
            class: 0,
            day,
            before,
            logged: load(place).mass_kg,
            ln_flow: mean_ln_flow(load(place)),
        });
    }
    let column = |f: &dyn Fn(&LoadNode) -> usize| -> Vec<usize> { nodes.iter().map(f).collect() };
    let class = moisture_classes(
        &column(&|n| n.machine),
        &(places.iter().map(|p| load(p).moisture_pct)).collect::<Vec<_>>(),
        &(nodes.iter().map(|n| n.logged)).collect::<Vec<_>>(),
    );
    (nodes.iter_mut().zip(class)).for_each(|(node, c)| node.class = c);
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
    // Tickets that name no scale are taken to be of one.
    let mut scales: Vec<Option<&str>> = (tickets.iter())
        .map(|&w| weighed[w].ticket.scale.as_deref())
        .collect();
    scales.sort_unstable();
    scales.dedup();
    let ends = |w: usize| {
        let parts = || weighed[w].parts.iter().map(&load);
        let variance: f64 = parts().map(|l| l.edges_kg.powi(2)).sum();
        let logged: f64 = parts().map(|l| l.mass_kg).sum();
        if logged > 0.0 {
            variance.sqrt() / logged
        } else {
            0.0
        }
    };
    let of_ticket = |&w: &usize| TicketNode {
        parts: weighed[w].parts.iter().map(|p| node_of[p]).collect(),
        net: weighed[w].ticket.net_kg,
        sd: SCALE_SD,
        edges: ends(w),
        scale: scales
            .binary_search(&weighed[w].ticket.scale.as_deref())
            .unwrap_or_default(),
    };
    let ticket_nodes: Vec<TicketNode> = tickets.iter().map(of_ticket).collect();
    let usage: Vec<TicketUse> = tickets.iter().map(|&w| weighed[w].ticket.usage).collect();
    let settled = settle(&nodes, &links, &ticket_nodes, &usage);
    let mut taught = vec![0; machines.len()];
    for (t, ticket) in ticket_nodes.iter().enumerate() {
        let teaches = |s: &Settlement| s.adjusted.left_out[t].0.is_finite();
        if settled.as_ref().is_some_and(teaches) {
            let mut of: Vec<usize> = ticket.parts.iter().map(|&l| nodes[l].machine).collect();
            of.sort_unstable();
            of.dedup();
            of.into_iter().for_each(|m| taught[m] += 1);
        }
    }
    OfCrop {
        settled,
        taught,
        places,
        machines,
        nodes,
        tickets,
        ticket_nodes,
        linked,
    }
}

/// Moisture classes of loads, numbered over all machines: a machine's loads in the order of moisture are parted at their
/// widest gap, and each part again, until none spans more than four points (our choice; how far the gap lies from any round
/// number does not matter). Loads of unknown moisture are in their machine's largest class.
fn moisture_classes(machine: &[usize], moisture: &[Option<f64>], mass: &[f64]) -> Vec<usize> {
    let mut class = vec![0; machine.len()];
    let mut first = 0;
    let machines = machine.iter().map(|m| m + 1).max().unwrap_or(0);
    for m in 0..machines {
        let own = || (0..machine.len()).filter(|&k| machine[k] == m);
        let mut known: Vec<(f64, usize)> = own().filter_map(|k| Some((moisture[k]?, k))).collect();
        known.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut parts = vec![known.as_slice()];
        while let Some(wide) = parts.iter().position(|p| match p {
            [first, .., last] => last.0 - first.0 > MOISTURE_CLASS,
            _ => false,
        }) {
            let part = parts[wide];
            let gap = |k: &usize| part[k + 1].0 - part[*k].0;
            let at = (0..part.len() - 1).max_by(|a, b| gap(a).total_cmp(&gap(b)));
            let (low, high) = part.split_at(at.unwrap_or_default() + 1);
            parts.splice(wide..=wide, [low, high]);
        }
        let grain = |p: &&[(f64, usize)]| p.iter().map(|k| mass[k.1]).sum::<f64>();
        let largest = (0..parts.len())
            .max_by(|&a, &b| grain(&parts[a]).total_cmp(&grain(&parts[b])))
            .unwrap_or_default();
        own().for_each(|k| class[k] = first + largest);
        for (c, part) in parts.iter().enumerate() {
            part.iter().for_each(|k| class[k.1] = first + c);
        }
        first += parts.len();
    }
    class
}

/// Mean log flow of a load, weighted by mass; NaN where none was logged.
pub(super) fn mean_ln_flow(load: &LoadEvidence) -> f64 {
    let (sum, mass) = (load.flows.iter()).fold((0.0, 0.0), |(s, m), [flow, mass]| {
        (s + mass * flow.ln(), m + mass)
    });
    sum / mass
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wet_and_dry_grain_are_parted_at_the_widest_gap() {
        let m = |v: &[f64]| v.iter().map(|x| Some(*x)).collect::<Vec<_>>();
        // 15 to 19 is four points: one class. A wet part beyond is another.
        let class = |v: &[f64]| moisture_classes(&vec![0; v.len()], &m(v), &vec![1.0; v.len()]);
        assert_eq!(class(&[15.0, 19.0, 16.0]), [0, 0, 0]);
        assert_eq!(class(&[15.0, 24.0, 16.0, 23.5]), [0, 1, 0, 1]);
        assert_eq!(class(&[15.0, 17.9, 20.0, 20.1]), [0, 1, 1, 1]);
        assert_eq!(class(&[]), [0usize; 0]);
        // Two machines have classes of their own; unknown moisture goes with most of the grain.
        let two = moisture_classes(
            &[0, 0, 0, 1, 1],
            &[Some(14.0), Some(25.0), None, Some(14.0), Some(14.2)],
            &[1.0, 3.0, 1.0, 1.0, 1.0],
        );
        assert_eq!(two, [0, 1, 1, 2, 2]);
    }
}
