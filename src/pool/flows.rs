//! At which flows a machine's grain was weighed, and how well its sensor's curve is known: beyond those flows a map rests on
//! the curve's shape alone.

use super::adjust::OfCrop;
use super::scale::{ScaleDecision, Weighed};
use crate::gather::ScaleEvidence;
use crate::loads::LoadEvidence;
use crate::summary::Remark;

/// Grain at the ends of the weighed flows that does not count, share by mass at either end (our choice: a few rows of a
/// pass entry are not flows that were weighed).
const TAIL: f64 = 0.01;
/// Half of a step of the loads' flow bins, ratio: what a bin's mean stands for.
const HALF_STEP: f64 = 1.06;
/// Share of a load's grain at flows that were never weighed from which it is remarked (our choice).
const OF_LOAD: f64 = 0.2;
/// The same of a field's grain (our choice).
const OF_FIELD: f64 = 0.05;

/// What is known of a load's sensor by flow.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct KnownFlows {
    /// Mean log flow of the load, weighted by mass (kg/s): where its factor holds. NaN without flow.
    pub mean_ln: f64,
    /// Sd of the power of flow by which a reading departs from the load's factor.
    pub bend_sd: f64,
    /// Flows between which grain of its machine and moisture class was weighed, kg/s; `None` where none was.
    pub weighed: Option<[f64; 2]>,
}

impl KnownFlows {
    /// Sd of the log of a reading at some flow (kg/s) about its load's factor: the curve's, and beyond the weighed flows as
    /// much again as a bad sensor bends there, because nothing says that the curve goes on.
    pub fn sd(&self, flow: f64) -> f64 {
        let off = flow.ln() - self.mean_ln;
        if !off.is_finite() {
            return 0.0;
        }
        let beyond = self.weighed.map_or(0.0, |w| self::beyond(flow, w));
        (self.bend_sd * off).hypot(UNKNOWN_BEND * beyond)
    }
}

/// Sd of the bend of a sensor of which nothing is known (see the adjustment's prior).
const UNKNOWN_BEND: f64 = 0.1;

/// How far a flow lies outside the weighed ones, log ratio.
fn beyond(flow: f64, [low, high]: [f64; 2]) -> f64 {
    (low / flow).ln().max((flow / high).ln()).max(0.0)
}

/// Flows between which used tickets weighed grain of a class, kg/s.
pub(super) fn weighed_flows(
    crop: &OfCrop,
    fields: &[(&str, &ScaleEvidence)],
    weighed: &[Weighed],
    class: usize,
) -> Option<[f64; 2]> {
    let settled = crop.settled.as_ref()?;
    let is_weighed = |place| {
        (crop.tickets.iter().zip(&settled.used))
            .any(|(&w, used)| *used && weighed[w].parts.contains(place))
    };
    let mut bins: Vec<[f64; 2]> = (crop.places.iter().zip(&crop.nodes))
        .filter(|(place, node)| node.class == class && is_weighed(place))
        .flat_map(|((f, l), _)| fields[*f].1.loads[*l].flows.iter().copied())
        .collect();
    bins.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let total: f64 = bins.iter().map(|b| b[1]).sum();
    let reaches = |share: f64| {
        let mut run = 0.0;
        let at = bins.iter().find(|b| {
            run += b[1];
            run >= share * total
        });
        at.map(|b| b[0])
    };
    Some([reaches(TAIL)? / HALF_STEP, reaches(1.0 - TAIL)? * HALF_STEP])
}

/// Grain of a load at flows outside the weighed ones, kg.
fn outside(load: &LoadEvidence, known: &KnownFlows) -> f64 {
    known.weighed.map_or(0.0, |w| {
        let bins = load.flows.iter().filter(|b| beyond(b[0], w) > 0.0);
        bins.map(|b| b[1]).sum()
    })
}

/// Remarks on loads and fields much of whose grain passed at flows that were never weighed.
pub(super) fn warn(fields: &[(&str, &ScaleEvidence)], out: &mut [ScaleDecision]) {
    for ((_, evidence), decision) in fields.iter().zip(out) {
        let (mut beyond, mut all) = (0.0, 0.0);
        let mut ranges: Vec<(&str, [f64; 2])> = Vec::new();
        for (load, d) in evidence.loads.iter().zip(&mut decision.loads) {
            let (own, total): (f64, f64) = (
                outside(load, &d.flows),
                load.flows.iter().map(|b| b[1]).sum(),
            );
            beyond += own;
            all += total;
            let Some(w) = d.flows.weighed.filter(|_| own > OF_LOAD * total) else {
                continue;
            };
            ranges.push((&load.machine, w));
            d.remarks.push(of_load(own / total, w));
        }
        if beyond > OF_FIELD * all {
            decision.warnings.push(of_field(beyond / all, &mut ranges));
        }
    }
}

fn of_load(share: f64, [low, high]: [f64; 2]) -> Remark {
    Remark::new(
        "outside-weighed-flows",
        format!(
            "{:.0} % of its grain passed the sensor at flows that no ticket weighed ({low:.1} to {high:.1} kg/s were): there the sensor's curve is extrapolated, and yld_low and yld_high are wider",
            100.0 * share
        ),
    )
}

fn of_field(share: f64, ranges: &mut Vec<(&str, [f64; 2])>) -> Remark {
    ranges.sort_by(|a, b| a.0.cmp(b.0).then(a.1[0].total_cmp(&b.1[0])));
    ranges.dedup();
    let named: Vec<String> = (ranges.iter())
        .map(|(machine, [low, high])| format!("machine {machine}: {low:.1} to {high:.1} kg/s"))
        .collect();
    let were = if named.is_empty() {
        String::new()
    } else {
        format!(" ({})", named.join("; "))
    };
    Remark::new(
        "outside-weighed-flows",
        format!(
            "{:.0} % of the grain passed the sensor at flows outside the weighed ones{were}: its yields rest on the sensor's curve going on, and their intervals are wider. Weigh a load at such a flow",
            100.0 * share
        ),
    )
}

/// What a load's decision says of flows before anything is known.
impl Default for KnownFlows {
    fn default() -> Self {
        Self {
            mean_ln: f64::NAN,
            bend_sd: UNKNOWN_BEND,
            weighed: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::loads::TicketRef;
    use crate::place::Place;
    use crate::pool::scale;
    use crate::read::{Ticket, TicketUse};

    fn load(name: &str, flow: f64, ticket: Option<TicketRef>) -> LoadEvidence {
        LoadEvidence {
            machine: "C1".into(),
            load: Some(name.into()),
            ticket,
            logged_kg: 8_000.0,
            mass_kg: 8_000.0,
            unlogged_kg: 0.0,
            moisture_pct: None,
            moisture_share: 0.0,
            flow_kg_s: Some([0.8 * flow, flow, 1.2 * flow]),
            seconds: 8_000.0 / flow,
            span: None,
            flows: vec![
                [0.8 * flow, 2_000.0],
                [flow, 4_000.0],
                [1.2 * flow, 2_000.0],
            ],
            rows: 700,
        }
    }

    /// Codes of the remarks on the last load and of the field's warnings, where it passed at some flow, unweighed.
    fn said(flow: f64) -> [bool; 2] {
        let tickets: Vec<Ticket> = (0..5)
            .map(|k| Ticket {
                id: format!("T{k}"),
                place: Place::file("tickets.csv").row(k + 1),
                loads: vec![format!("L{k}")],
                net_kg: 7_900.0 + 20.0 * f64::from(k),
                moisture_pct: None,
                field: None,
                machine: None,
                start: None,
                end: None,
                scale: None,
                usage: TicketUse::Auto,
            })
            .collect();
        let mut loads: Vec<LoadEvidence> = (tickets.iter().enumerate())
            .map(|(k, t)| load(&t.loads[0], 9.0 + k as f64, Some(TicketRef::of(t))))
            .collect();
        loads.push(load("L9", flow, None));
        let evidence = ScaleEvidence {
            loads,
            tickets,
            links: None,
        };
        let decided = scale(&[("maize", &evidence)]).remove(0);
        let has = |remarks: &[Remark]| remarks.iter().any(|r| r.code == "outside-weighed-flows");
        [has(&decided.loads[5].remarks), has(&decided.warnings)]
    }

    #[test]
    fn grain_at_flows_that_no_ticket_weighed_is_remarked() {
        // Weighed: 7.2 to 15.6 kg/s. A load at 11 kg/s is among them, one at 4 is not, one at 17 in part.
        assert_eq!(said(11.0), [false, false]);
        assert_eq!(said(4.0), [true, true]);
        assert_eq!(said(17.0), [true, true]);
    }

    #[test]
    fn beyond_the_weighed_flows_a_reading_is_less_sure() {
        let known = KnownFlows {
            mean_ln: 10f64.ln(),
            bend_sd: 0.03,
            weighed: Some([8.0, 14.0]),
        };
        assert_eq!(known.sd(10.0), 0.0);
        // Inside: the curve alone. ln 1.2 = 0.1823.
        assert!((known.sd(12.0) - 0.03 * 1.2f64.ln()).abs() < 1e-12);
        // Half of the least weighed flow: ln 2.5 from the load's mean, ln 2 beyond.
        let expected = (0.03 * 2.5f64.ln()).hypot(0.1 * 2f64.ln());
        assert!((known.sd(4.0) - expected).abs() < 1e-12);
        assert!(known.sd(28.0) > known.sd(20.0));
        // No flow, or no load to compare with: nothing is added.
        assert_eq!((known.sd(0.0), known.sd(f64::NAN)), (0.0, 0.0));
        assert_eq!(KnownFlows::default().sd(5.0), 0.0);
    }
}
