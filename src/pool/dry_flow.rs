//! Whether a machine's logs hold grain that was brought to a reference moisture, by its tickets over the batch.

use std::collections::BTreeMap;

use super::scale::{ScaleDecision, Weighed, mean_moisture};
use crate::gather::ScaleEvidence;
use crate::moisture::FollowsMoisture;
use crate::summary::Remark;

/// Warns every field of a machine whose weighed over logged mass follows the moisture of the grain.
///
/// `of_machine`: the tickets of each machine and crop, as indices into `weighed`; `used`: whether each is used.
pub(super) fn warn(
    fields: &[(&str, &ScaleEvidence)],
    weighed: &[Weighed],
    used: &[bool],
    of_machine: &BTreeMap<(&str, &str), Vec<usize>>,
    decisions: &mut [ScaleDecision],
) {
    for ((machine, crop), tickets) in of_machine {
        let loads: Vec<(f64, f64)> = tickets
            .iter()
            .filter(|&&w| used[w])
            .filter_map(|&w| {
                let ticket = &weighed[w];
                let logged: f64 = (ticket.parts.iter())
                    .map(|&(f, l)| fields[f].1.loads[l].mass_kg)
                    .sum();
                let moisture =
                    mean_moisture(fields, &ticket.parts).or(ticket.ticket.moisture_pct)?;
                Some((ticket.ticket.net_kg / logged, moisture))
            })
            .collect();
        let Some(follows) = FollowsMoisture::of(&loads).filter(FollowsMoisture::is_dry_flow) else {
            continue;
        };
        for ((name, evidence), decision) in fields.iter().zip(decisions.iter_mut()) {
            if name == crop && evidence.loads.iter().any(|l| l.machine == *machine) {
                decision
                    .warnings
                    .push(remark(machine, &follows, loads.len()));
            }
        }
    }
}

fn remark(machine: &str, follows: &FollowsMoisture, loads: usize) -> Remark {
    Remark::new(
        "moisture-already-corrected",
        format!(
            "machine {machine}: over {loads} weighed loads, weighed over logged mass follows the grain's moisture as if the log held grain brought to one moisture (slope {:.2}, 95 % interval {:.2} to {:.2}; 1 would be that, 0 wet grain); its moisture is about to be corrected twice. Export the wet flow if the display can",
            follows.slope, follows.low, follows.high
        ),
    )
}
