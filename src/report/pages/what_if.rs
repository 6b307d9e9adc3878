//! What would change if a doubtful ticket were right after all (or, where it is obeyed, wrong).

use crate::evidence::{Evidence, LoadGrounds};
use crate::report::numbers::{optional, rounded, yield_decimals};
use crate::summary::{FactorBasis, LoadSummary, Remark, Summary};

/// The words for it; `None` where no load of this field carries the remark.
pub(super) fn of(remark: &Remark, s: &Summary, evidence: &Evidence) -> Option<String> {
    let parts: Vec<(&LoadSummary, &LoadGrounds, f64)> = s
        .loads
        .iter()
        .zip(&evidence.loads)
        .filter(|(l, _)| l.remarks.contains(remark))
        .filter_map(|(l, g)| Some((l, g, g.doubt.filter(|r| *r > 0.0)?)))
        .collect();
    let (first, _, ratio) = *parts.first()?;
    let held_out = first.weighed_kg.is_none();
    let change = if held_out { ratio } else { 1.0 / ratio };
    let before: f64 = parts.iter().map(|p| p.0.corrected_kg).sum();
    let more_kg = before * (change - 1.0);
    let more_reference: f64 = parts
        .iter()
        .map(|(l, g, _)| l.corrected_kg * (change - 1.0) * g.reference_share.unwrap_or(1.0))
        .sum();
    let names: Vec<&str> = parts.iter().filter_map(|p| p.0.load.as_deref()).collect();
    let ticket = first.ticket.as_deref().unwrap_or_default();
    let t = |kg: f64| rounded(kg / 1000.0, 1);
    let total = s.grain.corrected_kg;
    let mut text = format!(
        "If ticket {ticket} were {}, load {} would hold {} t instead of {} t, and the field {} t instead of {} t ({} %).",
        if held_out { "right" } else { "wrong" },
        names.join(", "),
        t(before + more_kg),
        t(before),
        t(total + more_kg),
        t(total),
        signed(100.0 * more_kg / total),
    );
    let y = &s.yields;
    if let (Some(mean), true) = (y.mean, s.grain.reference_kg > 0.0) {
        let decimals = yield_decimals(&y.unit);
        let new = mean * (1.0 + more_reference / s.grain.reference_kg);
        let inside = y.ci95_low.is_some_and(|l| l <= new) && y.ci95_high.is_some_and(|h| new <= h);
        text += &format!(
            " The mean yield would be {} instead of {} {}, {} the interval above ({} to {}).",
            rounded(new, decimals),
            rounded(mean, decimals),
            y.unit,
            if inside { "still inside" } else { "outside" },
            optional(y.ci95_low, decimals),
            optional(y.ci95_high, decimals),
        );
    }
    text += &format!(
        " The ground of that load alone would read {} % on the map; weighed loads stay as they are.",
        signed(100.0 * (change - 1.0))
    );
    if held_out {
        text += &others(
            s,
            first,
            &parts.iter().map(|p| p.0).collect::<Vec<_>>(),
            ratio,
        );
    }
    Some(text)
}

/// What it would do to the machine's unweighed loads: at most this, because tickets of other fields dilute it.
fn others(s: &Summary, first: &LoadSummary, own: &[&LoadSummary], ratio: f64) -> String {
    let of_machine = || s.loads.iter().filter(|l| l.machine == first.machine);
    let unweighed: Vec<&LoadSummary> = of_machine()
        .filter(|l| l.basis == FactorBasis::Machine && !own.iter().any(|o| std::ptr::eq(*o, *l)))
        .collect();
    if unweighed.is_empty() {
        return String::new();
    }
    let logged =
        |loads: &mut dyn Iterator<Item = &LoadSummary>| -> f64 { loads.map(|l| l.logged_kg).sum() };
    let known = logged(&mut of_machine().filter(|l| l.weighed_kg.is_some()));
    let doubtful = logged(&mut own.iter().copied());
    let by = (ratio - 1.0) * doubtful / (known + doubtful);
    let kg: f64 = unweighed.iter().map(|l| l.corrected_kg).sum();
    format!(
        " The machine's {} unweighed loads would follow by at most {} % (together {} t), since the ticket would then \
         count towards the machine's factor.",
        unweighed.len(),
        signed(100.0 * by),
        rounded(kg * by / 1000.0, 1),
    )
}

fn signed(value: f64) -> String {
    let text = rounded(value, 1);
    if value > 0.0 {
        format!("+{text}")
    } else {
        text
    }
}
