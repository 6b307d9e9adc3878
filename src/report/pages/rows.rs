//! Rows of the tables on a field's page.

use super::advice::sentence;
use super::charts::off_scale;
use super::words;
use crate::evidence::{Evidence, Part};
use crate::report::numbers::{count, interval, optional, rounded, yield_decimals};
use crate::summary::{LedgerItem, Summary};

/// A line of the ledger.
pub(super) struct LedgerRow {
    pub item: String,
    pub words: String,
    pub points: String,
    pub tonnes: String,
    pub share: String,
    pub weighed: String,
    /// Whether it is a reason whose points can be shown.
    pub shown: bool,
}

/// A part of the field.
pub(super) struct PartRow {
    pub name: &'static str,
    pub area: String,
    pub tonnes: String,
    pub share: String,
    pub mean: String,
    pub aside: String,
}

/// A load.
pub(super) struct LoadRow {
    pub load: String,
    pub ticket: String,
    pub logged: String,
    pub weighed: String,
    pub corrected: String,
    pub off: String,
    pub factor: String,
    pub basis: &'static str,
    pub remark: String,
    pub class: &'static str,
    /// Left out on paper, where there are many.
    pub screen_only: bool,
}

/// Loads that are printed at most.
const LOADS_ON_PAPER: usize = 12;

/// Where all corrected grain is: most first, then the sum.
pub(super) fn ledger(s: &Summary) -> Vec<LedgerRow> {
    let total = s.grain.corrected_kg;
    let mut items: Vec<_> = s.ledger.iter().collect();
    items.sort_by(|a, b| b.kg.total_cmp(&a.kg).then(a.item.cmp(&b.item)));
    let row = |item: &str, points: u64, kg: f64, weighed: f64| LedgerRow {
        item: item.to_owned(),
        words: words::item(item).to_owned(),
        points: count(points),
        tonnes: rounded(kg / 1000.0, 2),
        share: rounded(100.0 * kg / total, 2),
        weighed: rounded(weighed / 1000.0, 2),
        shown: !matches!(item, "kept" | "unplaced" | "bad-fix" | "position-jump") && points > 0,
    };
    let mut rows: Vec<LedgerRow> = items
        .iter()
        .map(|i| row(&i.item, i.points, i.kg, i.weighed_kg))
        .collect();
    let sum = |of: fn(&LedgerItem) -> f64| s.ledger.iter().map(of).sum::<f64>();
    rows.push(LedgerRow {
        words: "together: all corrected grain".to_owned(),
        shown: false,
        ..row(
            "",
            s.ledger.iter().map(|i| i.points).sum(),
            sum(|i| i.kg),
            sum(|i| i.weighed_kg),
        )
    });
    rows
}

/// Headland, interior, and what is on neither.
pub(super) fn parts(s: &Summary, evidence: &Evidence) -> Vec<PartRow> {
    let Some(parts) = &evidence.parts else {
        return Vec::new();
    };
    let decimals = yield_decimals(&s.yields.unit);
    let row = |name, p: &Part| PartRow {
        name,
        area: rounded(p.area_ha, 2),
        tonnes: rounded(p.kg / 1000.0, 1),
        share: rounded(100.0 * p.kg / s.grain.corrected_kg, 1),
        mean: optional(p.mean, decimals),
        aside: rounded(p.set_aside_kg / 1000.0, 1),
    };
    let (h, i) = (&parts.headland, &parts.interior);
    let mut rows = vec![row("Headland", h), row("Interior", i)];
    let rest = s.grain.corrected_kg - h.kg - i.kg;
    if rest.abs() >= 50.0 {
        rows.push(PartRow {
            area: String::new(),
            mean: String::new(),
            ..row(
                "Not placed, or outside the boundary",
                &Part {
                    kg: rest,
                    set_aside_kg: rest,
                    ..Part::default()
                },
            )
        });
    }
    rows
}

/// What the headland is, and how it yields.
pub(super) fn parts_caption(evidence: &Evidence) -> String {
    let Some(parts) = &evidence.parts else {
        return "Without a boundary, headland and interior cannot be told apart.".to_owned();
    };
    let depth = rounded(parts.depth_m, 0);
    let how = if parts.from_passes {
        format!(
            "Headland: the strip of {depth} m along the whole boundary, at whose inner edge most passes end."
        )
    } else {
        format!(
            "Headland: the strip of {depth} m (two headers) along the whole boundary; the passes do not agree on where it ends."
        )
    };
    let compare = match (parts.headland.mean, parts.interior.mean) {
        (Some(h), Some(i)) if i > 0.0 => {
            let percent = 100.0 * (h / i - 1.0);
            let side = if percent < 0.0 { "less" } else { "more" };
            match rounded(percent.abs(), 0).as_str() {
                "0" => " It yields as much as the interior.".to_owned(),
                by => format!(" It yields {by} % {side} than the interior."),
            }
        }
        _ => String::new(),
    };
    format!(
        "{how}{compare} Yields compare kept points, whose grain is known to be theirs; tonnes count all grain, also what arrived while the machine filled and emptied, so tonnes over hectares differ a little."
    )
}

/// Every load; on paper those with a remark first.
pub(super) fn loads(s: &Summary, evidence: &Evidence) -> Vec<LoadRow> {
    let t = |kg: f64| rounded(kg / 1000.0, 2);
    let mut rows: Vec<(bool, LoadRow)> = s
        .loads
        .iter()
        .zip(&evidence.loads)
        .map(|(l, grounds)| {
            let off = off_scale(l, grounds.doubt);
            let mut remark: Vec<String> = l.remarks.iter().map(|r| sentence(&r.text)).collect();
            if let (Some(off), Some(factor), Some(_)) = (off, l.factor, l.held_out_kg) {
                remark.push(format!(
                    "The log stands {} % off this ticket; by the factor taken it would stand {} % off a right one.",
                    rounded(100.0 * (off - 1.0), 1),
                    rounded(100.0 * (1.0 / factor - 1.0), 1)
                ));
            }
            let weighed = match (l.weighed_kg, l.held_out_kg) {
                (Some(kg), _) => t(kg),
                (None, Some(kg)) => format!("{}, held out", t(kg)),
                (None, None) => String::from("–"),
            };
            let row = LoadRow {
                load: l
                    .load
                    .clone()
                    .unwrap_or_else(|| "outside every load".to_owned()),
                ticket: l.ticket.clone().unwrap_or_else(|| "–".to_owned()),
                logged: t(l.logged_kg),
                weighed,
                corrected: t(l.corrected_kg),
                off: off.map_or_else(|| "–".to_owned(), |r| rounded(100.0 * (r - 1.0), 1)),
                factor: format!(
                    "{}{}",
                    optional(l.factor, 3),
                    interval(l.ci95_low, l.ci95_high, 3)
                ),
                basis: words::factor_basis(l.basis),
                remark: remark.join(" "),
                class: if grounds.doubt.is_some() { "grave" } else { "" },
                screen_only: false,
            };
            (!l.remarks.is_empty(), row)
        })
        .collect();
    // On paper: those with a remark first, then the others as they come.
    let mut room = LOADS_ON_PAPER.saturating_sub(rows.iter().filter(|r| r.0).count());
    for (remarked, row) in &mut rows {
        if !*remarked {
            row.screen_only = room == 0;
            room = room.saturating_sub(1);
        }
    }
    rows.into_iter().map(|r| r.1).collect()
}
