//! What to check first, and how much a field can be trusted: remarks in the order in which they put its figures in doubt.

use crate::evidence::Evidence;
use crate::report::numbers::rounded;
use crate::summary::{Remark, Summary};

/// How far a remark puts a field's figures in doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Level {
    /// Totals or the whole pattern may be wrong.
    Grave,
    /// A figure rests on something that may not hold.
    Serious,
    /// Good to know; it changes little.
    Note,
}

impl Level {
    /// The word that stands with it, since colour alone says nothing to some readers.
    pub fn word(self) -> &'static str {
        match self {
            Level::Grave => "check before use",
            Level::Serious => "check",
            Level::Note => "note",
        }
    }

    /// Its class in the style sheet.
    pub fn class(self) -> &'static str {
        match self {
            Level::Grave => "grave",
            Level::Serious => "serious",
            Level::Note => "note",
        }
    }
}

/// Levels, titles and ways out by code. A code that is not listed is serious and speaks for itself.
const KNOWN: &[(&str, Level, &str, &str)] = &[
    (
        "doubtful-ticket",
        Level::Grave,
        "A scale ticket contradicts the others",
        "Look for the paper ticket: is the weight right, and was it this load?",
    ),
    (
        "odd-ticket",
        Level::Serious,
        "A scale ticket is far from what the others lead to expect",
        "Look at the paper; use = no on its row would hold it out.",
    ),
    (
        "level-step",
        Level::Note,
        "A machine's factor changed in the season",
        "Ask what was done to the machine then. Do not carry one factor over the whole season.",
    ),
    (
        "drift",
        Level::Note,
        "A machine's factor rises or falls with time",
        "Keep a ticket for early, middle and late loads.",
    ),
    (
        "no-grid",
        Level::Serious,
        "There is no grid",
        "Look at what is set aside, and why: it takes some passes side by side.",
    ),
    (
        "grid-coarser",
        Level::Note,
        "The grid's squares are wider than asked for",
        "Nothing, or ask for a wider grid_cell.",
    ),
    (
        "grid-gaps",
        Level::Note,
        "The grid has gaps",
        "Look at what is set aside there.",
    ),
    (
        "no-scale",
        Level::Grave,
        "No scale ticket weighs this grain",
        "Use the pattern of the map, not its level. One weighed load would fix the level.",
    ),
    (
        "bad-log",
        Level::Grave,
        "A log cannot be read",
        "Its grain and ground are missing from the map: mend or replace the file.",
    ),
    (
        "two-tickets",
        Level::Serious,
        "Two tickets claim one load",
        "Neither is used until one is corrected, or given use = no.",
    ),
    (
        "already-shifted",
        Level::Serious,
        "The log had its delay removed before",
        "Find out what the display does before export, and give no fixed delay for this log.",
    ),
    (
        "moisture-already-corrected",
        Level::Serious,
        "The log's mass seems to be at reference moisture already",
        "Find out what the display does before export.",
    ),
    (
        "delay-refused",
        Level::Serious,
        "The transport delay is known only roughly",
        "Give the machine's delay if you know it, or add more fields of the same machine and crop.",
    ),
    (
        "delay-disagrees",
        Level::Serious,
        "Two ways of finding the delay disagree",
        "Look on the map for combs: neighbouring passes that are shifted against each other.",
    ),
    (
        "many-set-aside",
        Level::Serious,
        "Much of the work was set aside",
        "Check limits, header width and units before you trust the map.",
    ),
    (
        "header-width",
        Level::Serious,
        "The header width does not fit the spacing of the passes",
        "Measure the header: yields per area depend on it, totals do not.",
    ),
    (
        "no-moisture",
        Level::Serious,
        "The grain's moisture is not known",
        "Give a moisture in the job or on the tickets.",
    ),
    (
        "unreadable-rows",
        Level::Serious,
        "Some rows of the log cannot be read",
        "Their grain is missing; correct them if they are many.",
    ),
    (
        "bad-ticket",
        Level::Serious,
        "A ticket cannot be read",
        "Correct its row.",
    ),
    (
        "unknown-load",
        Level::Serious,
        "A ticket names a load that the logs do not have",
        "Correct the load's name on the ticket.",
    ),
    (
        "unknown-field",
        Level::Serious,
        "A ticket names a field that does not list its file",
        "Correct the field's name on the ticket.",
    ),
    (
        "outside-weighed-flows",
        Level::Note,
        "Grain passed the sensor at flows that no ticket weighed",
        "Weigh a load at such a flow; until then the map is less sure there.",
    ),
    (
        "no-logged-grain",
        Level::Serious,
        "A weighed load has no logged grain",
        "Check the load's name.",
    ),
    (
        "section-rows",
        Level::Note,
        "The log has a row for each section of the header",
        "They are gathered into one a moment. See that the width it gives is your header's.",
    ),
    (
        "other-fields",
        Level::Note,
        "The log goes over other fields as well",
        "Nothing: their rows are theirs.",
    ),
    (
        "shared-log",
        Level::Grave,
        "Several fields list one log, and nothing says which rows are whose",
        "Give the fields boundaries, or name the log's column with the field.",
    ),
    (
        "other-crop",
        Level::Serious,
        "The log names another crop than the job",
        "Check the field's crop: moisture and limits depend on it.",
    ),
    (
        "no-unit",
        Level::Serious,
        "A column's unit is not known",
        "Name the unit in the job, or the column is not read.",
    ),
    (
        "absent-column",
        Level::Serious,
        "A column that the job names is not in a file",
        "Correct the name in the job.",
    ),
    (
        "two-columns",
        Level::Serious,
        "Two columns of a log could be the same thing",
        "Name the right one in the job.",
    ),
    (
        "ramp-default",
        Level::Note,
        "How long the machine fills and empties is assumed",
        "Nothing, or more fields of the machine.",
    ),
    (
        "clock-steps-back",
        Level::Note,
        "The log's clock steps back",
        "Nothing, if the rows are few.",
    ),
    (
        "bad-position",
        Level::Note,
        "Some rows have no usable position",
        "Nothing, if they are few.",
    ),
    (
        "cut-short",
        Level::Serious,
        "A file breaks off before its end",
        "Export it anew: what is missing is missing on the map.",
    ),
    (
        "yield-without-ground",
        Level::Serious,
        "Some yields have no ground to stand on",
        "Give the header width, or check speed and distance.",
    ),
    (
        "antenna-offset",
        Level::Note,
        "The antenna may stand elsewhere",
        "Measure its distance to the cutter bar and give it in the job.",
    ),
    (
        "latency",
        Level::Note,
        "The log names a delay of its own",
        "Nothing, if the delay found makes sense.",
    ),
    (
        "ignore-times",
        Level::Note,
        "The log names times to ignore",
        "Nothing, if the map makes sense.",
    ),
    (
        "element-offset",
        Level::Note,
        "The log says where the machine's parts are",
        "Nothing, if they are right.",
    ),
    (
        "late-property",
        Level::Note,
        "A property first appears late in a file",
        "Nothing, or name it in the job.",
    ),
    (
        "yield-hold",
        Level::Note,
        "The log holds values over several rows",
        "Nothing, if the map makes sense.",
    ),
    (
        "position-left-out",
        Level::Note,
        "A format leaves out points without a position",
        "Use another format where they matter.",
    ),
    (
        "text-cut",
        Level::Note,
        "A shapefile cuts a long name",
        "Use another format where the whole name matters.",
    ),
    (
        "number-left-out",
        Level::Note,
        "A shapefile has no room for a number",
        "Look at the column: the number is hardly real.",
    ),
];

/// One thing to check.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Check {
    pub level: Level,
    pub title: String,
    pub text: String,
    pub action: String,
    /// What would change, where it can be told.
    pub what_if: String,
}

/// What there is to check in a field, worst first. Part of it was never a remark: grain that no ticket weighed.
pub(super) fn checks(s: &Summary, evidence: Option<&Evidence>) -> Vec<Check> {
    let mut found: Vec<Check> = s.warnings.iter().map(|w| check(w, s, evidence)).collect();
    found.extend(unweighed(s));
    // Remarks of loads that are no warnings of the field.
    for remark in s.loads.iter().flat_map(|l| &l.remarks) {
        if !s.warnings.contains(remark) {
            found.push(check(remark, s, evidence));
        }
    }
    found.sort_by_key(|c| c.level); // stable: equals stay in their order
    found
}

fn check(remark: &Remark, s: &Summary, evidence: Option<&Evidence>) -> Check {
    let known = KNOWN.iter().find(|k| k.0 == remark.code);
    let what_if = match remark.code.as_str() {
        "doubtful-ticket" => super::what_if::of(remark, s, evidence),
        _ => None,
    };
    Check {
        level: known.map_or(Level::Serious, |k| k.1),
        title: known.map_or_else(|| in_words(&remark.code), |k| k.2.to_owned()),
        text: sentence(&remark.text),
        action: known.map_or("", |k| k.3).to_owned(),
        what_if: what_if.unwrap_or_default(),
    }
}

/// `some-code`: `Some code`.
fn in_words(code: &str) -> String {
    let mut words = code.replace('-', " ");
    if let Some(first) = words.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    words
}

/// The text with a capital in front and a stop at its end. A path or a quoted name in front stays as it is.
pub(super) fn sentence(text: &str) -> String {
    let mut out = text.trim_end().to_owned();
    let word = out.split_whitespace().next().unwrap_or_default();
    let plain = word.chars().all(|c| c.is_ascii_lowercase() || c == ':');
    if let Some(first) = out.get_mut(0..1).filter(|_| plain) {
        first.make_ascii_uppercase();
    }
    if !out.ends_with(['.', '!', '?', '…']) && !out.is_empty() {
        out.push('.');
    }
    out
}

/// Grain whose load was never weighed, where some was. Our choice: more than half of it is serious.
fn unweighed(s: &Summary) -> Option<Check> {
    let share = unweighed_share(s)?;
    if !(share > 0.005) || s.calibration.tickets_used == 0 {
        return None;
    }
    let error = match s.calibration.leave_one_out_pct {
        Some(e) => format!(
            " A ticket that is left out is missed by {} % (root mean square), and so may each of these loads be.",
            rounded(e, 1)
        ),
        None => String::new(),
    };
    Some(Check {
        level: if share > 0.5 {
            Level::Serious
        } else {
            Level::Note
        },
        title: format!(
            "{} % of the grain was not weighed",
            rounded(100.0 * share, 0)
        ),
        text: format!(
            "{} of {} t stand on no ticket that is used; those loads take their factor from neighbouring ground or the machine's other tickets.{error}",
            rounded((s.grain.corrected_kg - s.grain.weighed_kg) / 1000.0, 1),
            rounded(s.grain.corrected_kg / 1000.0, 1),
        ),
        action: String::new(),
        what_if: String::new(),
    })
}

/// Share of the corrected grain that no used ticket weighed, 0–1.
pub(super) fn unweighed_share(s: &Summary) -> Option<f64> {
    (s.grain.corrected_kg > 0.0)
        .then(|| (1.0 - s.grain.weighed_kg / s.grain.corrected_kg).clamp(0.0, 1.0))
}

/// Half the mean's interval as a share of the mean.
pub(super) fn half_interval(s: &Summary) -> Option<f64> {
    let (low, high, mean) = (s.yields.ci95_low?, s.yields.ci95_high?, s.yields.mean?);
    (mean > 0.0).then(|| 0.5 * (high - low) / mean)
}

/// How little a field is to be trusted, for ordering: what puts it in doubt, then how wide its mean's interval is, in
/// hundredths of a per cent. Our choice: a remark that may move totals outweighs any interval.
pub(super) fn doubt(checks: &[Check], s: &Summary) -> (usize, usize, u64) {
    let count = |level| checks.iter().filter(|c| c.level == level).count();
    let wide = half_interval(s).map_or(u64::MAX, |h| (1e4 * h).round() as u64);
    (count(Level::Grave), count(Level::Serious), wide)
}

/// The worst level of a field's checks that is more than a note.
pub(super) fn worst(checks: &[Check]) -> Option<Level> {
    checks
        .iter()
        .map(|c| c.level)
        .min()
        .filter(|l| *l != Level::Note)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_that_is_not_known_speaks_for_itself() {
        assert_eq!(in_words("some-new-code"), "Some new code");
        assert_eq!(in_words(""), "");
        assert_eq!(in_words("überlast"), "überlast");
        assert_eq!(sentence("ticket 9: more"), "Ticket 9: more.");
        assert_eq!(sentence("logs/a.csv: odd."), "logs/a.csv: odd.");
        assert_eq!(sentence(""), "");
    }

    #[test]
    fn every_code_stands_once() {
        let mut codes: Vec<&str> = KNOWN.iter().map(|k| k.0).collect();
        codes.sort_unstable();
        let n = codes.len();
        codes.dedup();
        assert_eq!(codes.len(), n);
    }
}
