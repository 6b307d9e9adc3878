//! The job file as text.

use std::fmt::Write as _;

use super::fields::DraftField;
use super::{Found, FoundLog};
use crate::crop::Crop;
use crate::inspect::{commented, quoted};
use crate::job::LogColumn;
use crate::read::Question;

/// The job file for what was found. `this_year`: stands where nothing tells the year of harvest. It always parses
/// where there is a field; where nothing indispensable is missing it runs.
pub fn job_text(found: &Found, fields: &[DraftField], name: &str, this_year: i32) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "# Written by fanmill new. Lines with QUESTION are what the files do not say: answer them, then"
    );
    let _ = writeln!(out, "#   fanmill loads job.toml    (the scale tickets)");
    let _ = writeln!(out, "#   fanmill run job.toml      (the maps)\n");
    let _ = writeln!(out, "[job]\nname = {}\n", quoted(name));
    log_section(found, &mut out);
    machines(found, &mut out);
    crops(fields, &mut out);
    for field in fields {
        self::field(found, field, this_year, &mut out);
    }
    leftovers(found, fields, &mut out);
    out
}

/// What the logs leave open.
fn log_section(found: &Found, out: &mut String) {
    let mut asked: Vec<String> = Vec::new();
    for log in &found.logs {
        for q in &log.survey.questions {
            let question = Question {
                index: 0,
                text: q.text.clone(),
                lines: q.answers.clone(),
                indispensable: q.indispensable,
            };
            let text = commented(&q.header, &question);
            if !asked.contains(&text) {
                asked.push(text);
            }
        }
    }
    if asked.is_empty() {
        return;
    }
    let _ = writeln!(out, "[log]");
    for text in asked {
        out.push_str(&text);
    }
    out.push('\n');
}

/// A section for each machine, and what its header's width must be where no row says it.
fn machines(found: &Found, out: &mut String) {
    let mut names: Vec<String> = Vec::new();
    for log in &found.logs {
        for machine in &log.survey.machines {
            let name = machine.name.clone().unwrap_or_else(|| UNNAMED.to_owned());
            if !names.contains(&name) {
                names.push(name);
            }
        }
    }
    for name in &names {
        let of: Vec<&FoundLog> = found
            .logs
            .iter()
            .filter(|l| {
                l.survey
                    .machines
                    .iter()
                    .any(|m| m.name.as_deref().unwrap_or(UNNAMED) == name)
            })
            .collect();
        let _ = writeln!(out, "[[machine]]\nname = {}", quoted(name));
        if name == UNNAMED {
            let _ = writeln!(out, "# The logs name no machine; any name will do.");
        }
        if of.iter().all(|l| has_width(l)) {
            let _ = writeln!(out, "# The logs hold the width of its header.");
        } else {
            let spacing = of.iter().filter_map(|l| l.survey.pass_spacing_m).next();
            let hint = spacing.map_or_else(
                || "header_width = \"9 m\"".to_owned(),
                |m| format!("passes lie {m:.1} m ({:.0} ft) apart, so about: header_width = \"{m:.1} m\"", m / 0.3048),
            );
            let _ = writeln!(out, "# QUESTION: how wide is its header? Needed. {hint}");
        }
        out.push('\n');
    }
}

/// The name of machines that logs do not name.
const UNNAMED: &str = "combine";

fn has_width(log: &FoundLog) -> bool {
    let width = LogColumn::Width.name();
    log.survey
        .columns
        .iter()
        .any(|c| c.column.as_deref() == Some(width) && c.unit.is_some())
}

/// Sections of crops that the table does not have, and of fields whose crop nobody has named.
fn crops(fields: &[DraftField], out: &mut String) {
    let mut done: Vec<&str> = Vec::new();
    for field in fields {
        let name = field.crop.as_deref().unwrap_or(Crop::UNNAMED);
        if Crop::built_in(name).is_some() || done.contains(&name) {
            continue;
        }
        done.push(name);
        if field.crop.is_none() {
            let known: Vec<&str> = Crop::names().collect();
            let _ = writeln!(
                out,
                "# QUESTION: which crop is it? Write its name at the fields ({}) and take this section out.",
                known.join(", ")
            );
        } else {
            let _ = writeln!(
                out,
                "# QUESTION: the logs say {}, which is not in fanmill's table: check these two.",
                quoted(name)
            );
        }
        let any = Crop::any();
        let _ = writeln!(
            out,
            "[crop.{}]\nreference_moisture = \"{} %\"\nbushel_weight = \"60 lb\"\n",
            quoted(name),
            any.reference_moisture
        );
    }
}

fn field(found: &Found, field: &DraftField, this_year: i32, out: &mut String) {
    let _ = writeln!(out, "[[field]]");
    let _ = writeln!(out, "client = \"Client\"   # QUESTION: whose field is it?");
    let _ = writeln!(out, "farm = \"Farm\"");
    let _ = writeln!(out, "name = {}", quoted(&field.name));
    match field.season {
        Some(year) => {
            let _ = writeln!(out, "season = {year}");
        }
        None => {
            let _ = writeln!(
                out,
                "season = {this_year}   # QUESTION: the year of harvest? The logs do not say."
            );
        }
    }
    let _ = writeln!(
        out,
        "crop = {}",
        quoted(field.crop.as_deref().unwrap_or(Crop::UNNAMED))
    );
    let _ = writeln!(out, "logs = [");
    let mut listed: Vec<&str> = Vec::new();
    for (k, share) in &field.logs {
        let log = &found.logs[*k];
        if listed.contains(&log.path.as_str()) {
            continue; // another log of the same file
        }
        listed.push(&log.path);
        let inside = if share.is_finite() {
            format!(", {:.0} % of them inside the boundary", 100.0 * share)
        } else {
            String::new()
        };
        let _ = writeln!(
            out,
            "    {},   # {} rows{inside}",
            quoted(&log.path),
            log.survey.rows
        );
    }
    let _ = writeln!(out, "]");
    match field.boundary {
        Some(b) => {
            let _ = writeln!(out, "boundary = {}", quoted(&found.boundaries[b].path));
        }
        None => {
            let _ = writeln!(
                out,
                "# No boundary holds it: everything that was cut counts."
            );
        }
    }
    if field.tickets.is_empty() {
        let _ = writeln!(
            out,
            "# No tickets: without a scale the level of the map is the sensor's own."
        );
    } else {
        let files: Vec<String> = field
            .tickets
            .iter()
            .map(|(t, _)| quoted(&found.tickets[*t].path))
            .collect();
        let matched: usize = field.tickets.iter().map(|(_, n)| n).sum();
        let _ = writeln!(
            out,
            "tickets = [{}]   # {matched} load(s) of its logs",
            files.join(", ")
        );
    }
    out.push('\n');
}

/// What was found and not used.
fn leftovers(found: &Found, fields: &[DraftField], out: &mut String) {
    let mut lines: Vec<String> = Vec::new();
    for (b, boundary) in found.boundaries.iter().enumerate() {
        if !fields.iter().any(|f| f.boundary == Some(b)) {
            lines.push(format!("{}: a boundary without a log", boundary.path));
        }
    }
    for (t, tickets) in found.tickets.iter().enumerate() {
        if !fields
            .iter()
            .any(|f| f.tickets.iter().any(|(k, _)| *k == t))
        {
            lines.push(format!("{}: tickets whose loads no log has", tickets.path));
        }
    }
    for (path, why) in &found.unusable {
        lines.push(format!(
            "{path}: {}",
            why.split_whitespace().collect::<Vec<_>>().join(" ")
        ));
    }
    for path in &found.others {
        lines.push(format!("{path}: neither a log nor tickets nor a boundary"));
    }
    if !lines.is_empty() {
        let _ = writeln!(out, "# Not used:");
        for line in lines {
            let _ = writeln!(out, "#   {}", line.replace(|c: char| c.is_control(), " "));
        }
    }
}
