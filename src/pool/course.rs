//! Machines whose factors change within the season, said in every field that they cut.

use super::adjust::OfCrop;
use super::scale::{ScaleDecision, Weighed};
use crate::calibrate::course::{Course, Timed, course};
use crate::gather::ScaleEvidence;
use crate::loads::LoadEvidence;
use crate::summary::Remark;

/// Warns of every machine of a crop whose tickets, in the order of time, step or slide.
pub(super) fn warn(
    crop: &OfCrop,
    fields: &[(&str, &ScaleEvidence)],
    weighed: &[Weighed],
    decisions: &mut [ScaleDecision],
) {
    let Some(settled) = &crop.settled else { return };
    for (m, machine) in crop.machines.iter().enumerate() {
        let mut timed: Vec<Timed> = (crop.ticket_nodes.iter().enumerate())
            .filter(|(t, node)| {
                let own = node.parts.iter().all(|&l| crop.nodes[l].machine == m);
                own && settled.adjusted.left_out[*t].0.is_finite()
            })
            .filter_map(|(t, node)| {
                let logged: f64 = node.parts.iter().map(|&l| crop.nodes[l].logged).sum();
                let first = *(node.parts.iter()).min_by(|a, b| {
                    let start = |l: usize| of(crop, fields, l).span.map_or(f64::INFINITY, |s| s[0]);
                    start(**a).total_cmp(&start(**b))
                })?;
                Some(Timed {
                    w: t,
                    start: of(crop, fields, first).span?[0],
                    day: i64::try_from(crop.nodes[first].day).ok(),
                    log_factor: (node.net / logged).ln(),
                    opening: false,
                })
            })
            .collect();
        timed.sort_by(|a, b| a.start.total_cmp(&b.start).then(a.w.cmp(&b.w)));
        let name = |k: usize| {
            let ticket = weighed[crop.tickets[timed[k].w]].ticket;
            match ticket.loads.as_slice() {
                [] => format!("ticket {}", ticket.id),
                loads => format!("load {}", loads.join(" + ")),
            }
        };
        let remark = match course(&timed) {
            Course::Steady => continue,
            Course::Slide { early, late } => Remark::new(
                "drift",
                format!(
                    "machine {machine}: its factors {} with time, from {:.3} in the first third of its {} tickets to {:.3} in the last; each load has the factor of its own time as far as tickets tell it",
                    if late > early { "rise" } else { "fall" },
                    early.exp(),
                    timed.len(),
                    late.exp()
                ),
            ),
            Course::Step(step) => Remark::new(
                "level-step",
                format!(
                    "machine {machine}: its factor {} once, from {:.3} over {} tickets up to {} to {:.3} over {} tickets from {} on: calibration, cleaning, a part or a setting? Loads that were not weighed have the factor of their time as far as tickets tell it; do not carry one factor over the season",
                    if step.levels[1] > step.levels[0] {
                        "rises"
                    } else {
                        "falls"
                    },
                    step.levels[0].exp(),
                    step.at,
                    name(step.at - 1),
                    step.levels[1].exp(),
                    timed.len() - step.at,
                    name(step.at)
                ),
            ),
        };
        let mut cut: Vec<usize> = (crop.places.iter().zip(&crop.nodes))
            .filter(|(_, node)| node.machine == m && node.logged > 0.0)
            .map(|(place, _)| place.0)
            .collect();
        cut.sort_unstable();
        cut.dedup();
        (cut.into_iter()).for_each(|f| decisions[f].warnings.push(remark.clone()));
    }
}

fn of<'a>(crop: &OfCrop, fields: &[(&str, &'a ScaleEvidence)], node: usize) -> &'a LoadEvidence {
    let (f, l) = crop.places[node];
    &fields[f].1.loads[l]
}
