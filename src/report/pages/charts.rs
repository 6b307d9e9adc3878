//! What the charts of a page are drawn from.

use serde::Serialize;

use crate::evidence::{BeforeAfter, Evidence, Histogram, MachineGrounds};
use crate::summary::{FactorBasis, LedgerItem, LoadSummary, MachineSummary, Summary};

/// Everything that is drawn beside the maps.
#[derive(Debug, Serialize)]
pub(super) struct Charts<'a> {
    unit: &'a str,
    steps: Vec<Step>,
    loads: Vec<Load<'a>>,
    machines: Vec<Machine<'a>>,
    yields: Option<&'a BeforeAfter>,
    moisture: Option<&'a Histogram>,
    cut_share: Option<&'a Histogram>,
}

impl<'a> Charts<'a> {
    pub fn of(s: &'a Summary, evidence: &'a Evidence) -> Self {
        Self {
            unit: &s.yields.unit,
            steps: steps(s),
            loads: loads(s, evidence),
            machines: (s.machines.iter().zip(&evidence.machines))
                .map(|(summary, grounds)| Machine { summary, grounds })
                .collect(),
            yields: evidence.yields.as_ref(),
            moisture: evidence.moisture.as_ref(),
            cut_share: evidence.cut_share.as_ref(),
        }
    }
}

/// One step from the logged to the kept grain, t.
#[derive(Debug, PartialEq, Serialize)]
pub(super) struct Step {
    pub label: String,
    pub from: f64,
    pub to: f64,
    /// Whether it is a sum and no change.
    pub total: bool,
}

/// Reasons that weigh less than this share of the grain are one step together (our choice: less is not to be seen).
const SMALL: f64 = 0.0005;

/// From the logged grain over what is no grain and what the scale changes to the corrected grain, and from there over
/// what was set aside to the kept points. Each step begins where the one before ends.
pub(super) fn steps(s: &Summary) -> Vec<Step> {
    let t = |kg: f64| kg / 1000.0;
    let (logged, corrected) = (t(s.grain.logged_kg), t(s.grain.corrected_kg));
    let mut out = vec![total("logged", logged)];
    let mut at = logged;
    let mut change = |out: &mut Vec<Step>, label: &str, by: f64| {
        out.push(Step {
            label: label.to_owned(),
            from: at,
            to: at + by,
            total: false,
        });
        at += by;
    };
    let faults = -t(s.grain.fault_kg);
    if faults.abs() > 0.0005 {
        change(&mut out, "no grain", faults);
    }
    let unlogged = t(s.grain.unlogged_kg);
    if unlogged > 0.0005 {
        change(&mut out, "not logged", unlogged);
    }
    change(&mut out, "scale", corrected - logged - faults - unlogged);
    out.push(total("corrected", corrected));
    let kept = |i: &&LedgerItem| i.item == "kept";
    let mut aside: Vec<&LedgerItem> = s.ledger.iter().filter(|i| !kept(i)).collect();
    aside.sort_by(|a, b| b.kg.total_cmp(&a.kg).then(a.item.cmp(&b.item)));
    let limit = SMALL * s.grain.corrected_kg;
    for item in aside.iter().filter(|i| i.kg.abs() >= limit) {
        change(&mut out, &item.item, -t(item.kg));
    }
    let rest: f64 = aside
        .iter()
        .filter(|i| i.kg.abs() < limit)
        .map(|i| t(i.kg))
        .sum();
    if rest > 0.0 {
        change(&mut out, "other reasons", -rest);
    }
    if let Some(item) = s.ledger.iter().find(kept) {
        out.push(total("kept", t(item.kg)));
    }
    out
}

fn total(label: &str, to: f64) -> Step {
    Step {
        label: label.to_owned(),
        from: 0.0,
        to,
        total: true,
    }
}

/// A load's logged mass against the scale's, %.
#[derive(Debug, Serialize)]
struct Load<'a> {
    label: &'a str,
    ticket: Option<&'a str>,
    /// Logged over weighed mass, less one.
    before: Option<f64>,
    /// The same once the machine's weighed loads have one factor: what is left for its own ticket.
    after: Option<f64>,
    /// Interval of an unweighed load's factor about its value.
    low: Option<f64>,
    high: Option<f64>,
    doubtful: bool,
}

fn loads<'a>(s: &'a Summary, evidence: &Evidence) -> Vec<Load<'a>> {
    s.loads
        .iter()
        .zip(&evidence.loads)
        .filter_map(|(l, grounds)| {
            let label = l.load.as_deref()?;
            let off = off_scale(l, grounds.doubt);
            let one_factor = grounds.machine_factor;
            let unweighed = l.basis != FactorBasis::Ticket;
            let about = |end: Option<f64>| Some(100.0 * (end? / l.factor? - 1.0));
            Some(Load {
                label,
                ticket: l.ticket.as_deref(),
                before: off.map(|r| 100.0 * (r - 1.0)),
                after: off.zip(one_factor).map(|(r, f)| 100.0 * (r * f - 1.0)),
                low: unweighed.then(|| about(l.ci95_low)).flatten(),
                high: unweighed.then(|| about(l.ci95_high)).flatten(),
                doubtful: grounds.doubt.is_some(),
            })
        })
        .collect()
}

/// Logged over weighed mass of a load, by its ticket whether it is used or held out.
pub(super) fn off_scale(l: &LoadSummary, doubt: Option<f64>) -> Option<f64> {
    let weighed = match (l.weighed_kg, doubt) {
        (Some(kg), _) => kg,
        (None, Some(ratio)) => l.corrected_kg * ratio,
        (None, None) => return None,
    };
    (weighed > 0.0 && l.logged_kg > 0.0).then(|| l.logged_kg / weighed)
}

#[derive(Debug, Serialize)]
struct Machine<'a> {
    summary: &'a MachineSummary,
    grounds: &'a MachineGrounds,
}
