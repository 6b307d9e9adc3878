//! One field season, on less than a screen.

use super::page::{BOLD, GRAVE, Page, Paint, WARNING};
use super::{change, rank, share, title};
use crate::report::numbers::{count, counted, interval, optional, rounded, yield_decimals};
use crate::summary::{DelayBasis, FactorBasis, GridSummary, MachineSummary, Remark, Summary};

/// Reasons that are named; the others are summed.
const REASONS: usize = 4;

/// One field season, on less than a screen.
pub fn field(s: &Summary, paint: Paint) -> String {
    let mut text = Page::new(paint);
    let heading = title(&s.client, &s.farm, &s.field, s.season, &s.crop);
    text.styled(&heading, &[(0..heading.chars().count(), BOLD)]);
    text.entry("points", &points(s));
    for machine in &s.machines {
        text.entry(&machine.name, &delays(machine));
    }
    text.entry("area", &area(s));
    text.entry("yield", &yields(s));
    text.entry("grain", &grain(s));
    text.entry("loads", &loads(s));
    if !matches!(s.calibration.method.as_str(), "" | "none") {
        text.entry("method", &s.calibration.method);
    }
    text.entry("quality", &quality(s));
    if let Some(grid) = &s.grid {
        text.entry("grid", &cells(grid));
    }
    let mut label = "warnings";
    for warning in worst_first(&s.warnings) {
        let style = if rank(&warning.code) == 0 {
            GRAVE
        } else {
            WARNING
        };
        let stressed = warning.code.chars().count();
        let warning = format!("{}: {}", warning.code, warning.text);
        text.warning(label, &warning, stressed, style);
        label = "";
    }
    text.finish()
}

fn points(s: &Summary) -> String {
    let aside: u64 = s.points.set_aside.values().sum();
    let mut reasons: Vec<(&str, u64)> = s
        .points
        .set_aside
        .iter()
        .map(|(r, &n)| (r.as_str(), n))
        .collect();
    reasons.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    let mut named: Vec<String> = reasons
        .iter()
        .take(REASONS)
        .map(|(r, n)| format!("{r} {}", count(*n)))
        .collect();
    let others = &reasons[reasons.len().min(REASONS)..];
    if !others.is_empty() {
        named.push(format!(
            "other reasons {}",
            count(others.iter().map(|r| r.1).sum())
        ));
    }
    let mut text = format!(
        "{} of {} kept ({} %); {} set aside",
        count(s.points.kept),
        counted(s.points.rows, "row", "rows"),
        share(s.points.kept, s.points.rows),
        count(aside)
    );
    if !named.is_empty() {
        text += &format!(": {}", named.join(", "));
    }
    if s.points.unreadable > 0 {
        text += &format!("; {} unreadable", count(s.points.unreadable));
    }
    text
}

fn delays(machine: &MachineSummary) -> String {
    let delay = &machine.delay_s;
    let basis = match delay.basis {
        DelayBasis::Field => "from this field",
        DelayBasis::Machine => "from the machine's fields together",
        DelayBasis::Default => "a best guess, because passes do not tell it closely",
        DelayBasis::Fixed => "fixed in the job",
    };
    let mut parts = vec![format!(
        "delay {} s{}, {basis}",
        rounded(delay.value, 1),
        interval(delay.ci95_low, delay.ci95_high, 1)
    )];
    parts.extend(
        machine
            .moisture_delay_s
            .map(|d| format!("moisture delay {} s", rounded(d, 1))),
    );
    parts.extend(
        machine
            .entry_ramp_s
            .map(|t| format!("fills in {} s", rounded(t, 0))),
    );
    parts.extend(
        machine
            .exit_ramp_s
            .map(|t| format!("empties in {} s", rounded(t, 0))),
    );
    parts.join("; ")
}

fn area(s: &Summary) -> String {
    format!(
        "{} ha cut once; {} ha as logged",
        rounded(s.area_ha, 2),
        rounded(s.logged.area_ha, 2)
    )
}

fn yields(s: &Summary) -> String {
    let (y, decimals) = (&s.yields, yield_decimals(&s.yields.unit));
    let mut text = format!(
        "{} logged → {} {} corrected{} at {} % moisture",
        optional(s.logged.mean, decimals),
        optional(y.mean, decimals),
        y.unit,
        interval(y.ci95_low, y.ci95_high, decimals),
        rounded(s.grain.reference_moisture_pct, 1),
    );
    if let (Some(low), Some(high)) = (y.p10, y.p90) {
        let [low, high] = [low, high].map(|v| rounded(v, decimals));
        text += &format!("; a tenth of the ground below {low}, a tenth above {high}");
    }
    text
}

fn grain(s: &Summary) -> String {
    let kg = |value| rounded(value, 0);
    let mut text = format!(
        "{} kg logged → {} kg corrected, as moist as it was cut",
        kg(s.grain.logged_kg),
        kg(s.grain.corrected_kg)
    );
    if s.grain.fault_kg.abs() >= 0.5 {
        text += &format!(" ({} kg logged was no grain)", kg(s.grain.fault_kg));
    }
    if s.calibration.tickets_used == 0 {
        text += "; no ticket used: the total is the sensor's word";
    } else {
        text += &format!(
            "; {} kg weighed on {}",
            kg(s.grain.weighed_kg),
            counted(s.calibration.tickets_used, "ticket", "tickets")
        );
        if let Some(closure) = s.quality.closure_pct {
            text += &format!(", closure {} %", rounded(closure, 2));
        }
    }
    if let Some(error) = s.calibration.leave_one_out_pct {
        text += &format!("; leave-one-out error {} %", rounded(error, 1));
    }
    text
}

fn loads(s: &Summary) -> String {
    let on = |basis| {
        s.loads
            .iter()
            .filter(|l| l.load.is_some() && l.basis == basis)
            .count() as u64
    };
    let mut parts: Vec<String> = [
        (FactorBasis::Ticket, "by ticket"),
        (FactorBasis::Neighbours, "by neighbouring ground"),
        (FactorBasis::Machine, "by the machine's other tickets"),
        (FactorBasis::None, "as logged"),
    ]
    .into_iter()
    .map(|(basis, words)| (on(basis), words))
    .filter(|(n, _)| *n > 0)
    .map(|(n, words)| format!("{} {words}", count(n)))
    .collect();
    let outside: f64 = s
        .loads
        .iter()
        .filter(|l| l.load.is_none())
        .map(|l| l.corrected_kg)
        .sum();
    if outside >= 0.5 {
        parts.push(format!("{} kg outside every load", rounded(outside, 0)));
    }
    if parts.is_empty() {
        "none".to_owned()
    } else {
        parts.join(", ")
    }
}

fn cells(grid: &GridSummary) -> String {
    let mut text = format!(
        "{} cells of {} m",
        count(grid.cells),
        rounded(grid.cell_m, 1)
    );
    if let Some(error) = grid.se_pct {
        text += &format!(
            ", half of them known to ± {} % or better (standard error)",
            rounded(error, 1)
        );
    }
    text
}

fn quality(s: &Summary) -> String {
    let (before, after) = (&s.quality.before, &s.quality.after);
    let part = |what: &str, before: Option<f64>, after: Option<f64>, decimals, unit: &str| {
        before
            .or(after)
            .map(|_| format!("{what} {}{unit}", change(before, after, decimals)))
    };
    let passes = (before.opposite_pass_pct, after.opposite_pass_pct);
    let held_out = (before.held_out_pct, after.held_out_pct);
    let nugget = (before.nugget_to_sill, after.nugget_to_sill);
    let parts = [
        part(
            "opposed neighbouring passes differ by",
            passes.0,
            passes.1,
            1,
            " %",
        ),
        part(
            "error of a point from other passes",
            held_out.0,
            held_out.1,
            1,
            " %",
        ),
        part("nugget to sill", nugget.0, nugget.1, 2, ""),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if parts.is_empty() {
        "not measured".to_owned()
    } else {
        parts.join("; ")
    }
}

fn worst_first(warnings: &[Remark]) -> Vec<&Remark> {
    let mut sorted: Vec<&Remark> = warnings.iter().collect();
    sorted.sort_by_key(|w| rank(&w.code)); // stable: equals stay in their order
    sorted
}
