//! What would change if a doubtful ticket were right after all (or, where it is obeyed, wrong).

use crate::evidence::Evidence;
use crate::report::numbers::{optional, rounded, yield_decimals};
use crate::summary::{FactorBasis, LoadSummary, Remark, Summary};

/// A load under the ticket.
struct Under<'a> {
    load: &'a LoadSummary,
    /// Weighed over expected mass.
    ratio: f64,
    /// Mass at reference moisture over wet mass.
    reference_share: f64,
}

/// The words for it; `None` where no load of this field carries the remark, or where too little is known.
/// Without `evidence` (the season's page has none) only a ticket that is held out can be told.
pub(super) fn of(remark: &Remark, s: &Summary, evidence: Option<&Evidence>) -> Option<String> {
    let parts = under(remark, s, evidence);
    let first = parts.first()?;
    let held_out = first.load.weighed_kg.is_none();
    let change = if held_out {
        first.ratio
    } else {
        1.0 / first.ratio
    };
    let before: f64 = parts.iter().map(|p| p.load.corrected_kg).sum();
    let more_kg = before * (change - 1.0);
    let more_reference: f64 = parts
        .iter()
        .map(|p| p.load.corrected_kg * (change - 1.0) * p.reference_share)
        .sum();
    let follow = if held_out {
        Following::of(s, &parts)
    } else {
        None
    };
    let follow_kg = follow.as_ref().map_or(0.0, |f| f.kg);
    let names: Vec<&str> = parts
        .iter()
        .filter_map(|p| p.load.load.as_deref())
        .collect();
    let ticket = first.load.ticket.as_deref().unwrap_or_default();
    let t = |kg: f64| rounded(kg / 1000.0, 1);
    let total = s.grain.corrected_kg;
    let mut text = format!(
        "If ticket {ticket} were {}, load {} would hold {} t instead of {} t",
        if held_out { "right" } else { "wrong" },
        names.join(", "),
        t(before + more_kg),
        t(before),
    );
    if let Some(follow) = &follow {
        text += &follow.words();
    }
    text += &format!(
        ". The field would hold {}{} t instead of {} t ({} %)",
        if follow.is_some() { "about " } else { "" },
        t(total + more_kg + follow_kg),
        t(total),
        signed(100.0 * (more_kg + follow_kg) / total),
    );
    let y = &s.yields;
    if let (Some(mean), true) = (y.mean, s.grain.reference_kg > 0.0) {
        let decimals = yield_decimals(&y.unit);
        let share = s.grain.reference_kg / total;
        let new = mean * (1.0 + (more_reference + follow_kg * share) / s.grain.reference_kg);
        let inside = y.ci95_low.is_some_and(|l| l <= new) && y.ci95_high.is_some_and(|h| new <= h);
        text += &format!(
            ", its mean yield would be {} instead of {} {}, {} the 95 % interval ({} to {})",
            rounded(new, decimals),
            rounded(mean, decimals),
            y.unit,
            if inside { "inside" } else { "outside" },
            optional(y.ci95_low, decimals),
            optional(y.ci95_high, decimals),
        );
    }
    text += &format!(
        ". On the map the ground of that load would read {} %; weighed loads stay as they are.",
        signed(100.0 * (change - 1.0))
    );
    Some(text)
}

fn under<'a>(remark: &Remark, s: &'a Summary, evidence: Option<&Evidence>) -> Vec<Under<'a>> {
    let share = if s.grain.corrected_kg > 0.0 {
        s.grain.reference_kg / s.grain.corrected_kg
    } else {
        1.0
    };
    s.loads
        .iter()
        .enumerate()
        .filter(|(_, l)| l.remarks.contains(remark))
        .filter_map(|(k, load)| {
            let grounds = evidence.and_then(|e| e.loads.get(k));
            let held_out = load.held_out_kg.map(|kg| kg / load.corrected_kg);
            let ratio = grounds.and_then(|g| g.doubt).or(held_out)?;
            (ratio > 0.0 && ratio.is_finite()).then_some(Under {
                load,
                ratio,
                reference_share: grounds.and_then(|g| g.reference_share).unwrap_or(share),
            })
        })
        .collect()
}

/// What the ticket would do to the machine's loads that were never weighed.
struct Following {
    /// Loads that rest on the machine's tickets.
    by_machine: usize,
    /// Loads that rest on the ground beside them.
    by_ground: usize,
    /// How far the first would follow at most, because tickets of other fields dilute it.
    by: f64,
    /// What that is together, kg.
    kg: f64,
}

impl Following {
    fn of(s: &Summary, own: &[Under]) -> Option<Self> {
        let first = own.first()?;
        let is_own = |l: &LoadSummary| own.iter().any(|o| std::ptr::eq(o.load, l));
        let machine: Vec<&LoadSummary> = (s.loads.iter())
            .filter(|l| l.machine == first.load.machine)
            .collect();
        let on = |basis: FactorBasis| -> Vec<&LoadSummary> {
            let of_basis = machine.iter().filter(|l| l.basis == basis && !is_own(l));
            of_basis.copied().collect()
        };
        let (by_machine, by_ground) = (on(FactorBasis::Machine), on(FactorBasis::Neighbours));
        if by_machine.is_empty() && by_ground.is_empty() {
            return None;
        }
        let known: f64 = (machine.iter().filter(|l| l.weighed_kg.is_some()))
            .map(|l| l.logged_kg)
            .sum();
        let doubtful: f64 = own.iter().map(|o| o.load.logged_kg).sum();
        let by = (first.ratio - 1.0) * doubtful / (known + doubtful);
        let kg: f64 = (by_machine.iter().chain(&by_ground))
            .map(|l| l.corrected_kg * by)
            .sum();
        Some(Self {
            by_machine: by_machine.len(),
            by_ground: by_ground.len(),
            by,
            kg,
        })
    }

    fn words(&self) -> String {
        let ground = match (self.by_machine, self.by_ground) {
            (_, 0) => "",
            (0, _) => "; those whose ground borders on it by more",
            _ => "; those that rest on ground bordering on it by more",
        };
        format!(
            ", and the machine's other {} loads without a ticket would follow by about {} %, {} t together{ground}",
            self.by_machine + self.by_ground,
            signed(100.0 * self.by),
            rounded(self.kg / 1000.0, 1),
        )
    }
}

fn signed(value: f64) -> String {
    let text = rounded(value, 1);
    if value > 0.0 {
        format!("+{text}")
    } else {
        text
    }
}
