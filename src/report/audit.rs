//! The audit of tickets as text: what to check first, then every machine with its tickets, then what to weigh next.
//!
//! Weights stand without thousands apart, so that they can be looked for in the file of tickets.

use super::CAUTION;
use super::numbers::{MISSING, counted};
use super::terminal::page::{Page, shortened};
use crate::audit::{AGREE, Audit, AuditRemark, MachineAudit, Subject, TicketAudit, UnweighedLoad};

/// Rows to look into that are written out; further ones are named.
const FIRST: usize = 12;
/// Tickets and loads of one kind that are named.
const NAMED: usize = 6;

const COLUMNS: usize = 13;
const HEADER: [&str; COLUMNS] = [
    "ticket",
    "load",
    "field",
    "logged kg",
    "weighed kg",
    "diff %",
    "factor",
    "left %",
    "flow kg/s",
    "moisture %",
    "min",
    "date",
    "remarks",
];
/// Field and day: said once where they are the same in all rows.
const SHARED: [usize; 2] = [2, 11];
/// Columns that are texts, flush left.
const TEXTS: [usize; 4] = [0, 1, 2, 12];

/// What the columns of the tables are.
const LEGEND: &str = "diff: logged over weighed, + where the monitor reads too much; factor: weighed over logged; left: \
                      what is left of diff with the factor of the machine's other tickets (common practice: within \
                      3); flow: a tenth of the grain passed below, a tenth above; moisture: logged → tested (offset, to \
                      be added to the log); min: time over which grain flowed. Worst first.";

/// The whole audit.
pub fn text(audit: &Audit) -> String {
    let mut page = Page::default();
    page.hanging("", &headline(audit), 0);
    first(&mut page, audit);
    let mut explained = false;
    for machine in &audit.machines {
        page.line("");
        one_machine(&mut page, machine);
        let own: Vec<&TicketAudit> = (audit.tickets.iter())
            .filter(|t| is_of(t, machine))
            .collect();
        explained |= !own.is_empty();
        table(&mut page, &own);
        without_ticket(&mut page, audit, machine);
    }
    let rest: Vec<&TicketAudit> = (audit.tickets.iter())
        .filter(|t| !audit.machines.iter().any(|m| is_of(t, m)))
        .collect();
    if !rest.is_empty() {
        page.line("");
        page.line("Tickets over several machines or crops, and tickets without logged grain");
        explained = true;
        table(&mut page, &rest);
    }
    if explained {
        page.line("");
        page.hanging("", LEGEND, 0);
    }
    next(&mut page, audit);
    failed(&mut page, audit);
    page.line("");
    page.line(CAUTION);
    page.finish()
}

/// Whether a ticket is of this machine in this crop alone.
fn is_of(ticket: &TicketAudit, machine: &MachineAudit) -> bool {
    ticket.machines.as_slice() == std::slice::from_ref(&machine.machine)
        && ticket.crops.as_slice() == std::slice::from_ref(&machine.crop)
}

fn headline(audit: &Audit) -> String {
    let judged: Vec<f64> = (audit.tickets.iter()).filter_map(|t| t.left_pct).collect();
    let within = (judged.iter())
        .filter(|left| left.abs() <= 100.0 * AGREE)
        .count();
    let mut text = format!(
        "{} held against the logs",
        counted(audit.tickets.len() as u64, "ticket", "tickets")
    );
    if !judged.is_empty() {
        text += &format!(
            "; {within} of {} agree within {:.0} % with what the machine's other tickets lead to expect",
            judged.len(),
            100.0 * AGREE
        );
    }
    let free = (audit.unweighed.iter()).filter(|u| u.load.is_some());
    let (loads, kg) = free.fold((0, 0.0), |(n, kg), u| (n + 1, kg + u.logged_kg));
    if loads > 0 {
        text += &format!(
            "; {} ({:.0} t) without a ticket",
            counted(loads, "logged load", "logged loads"),
            kg / 1000.0
        );
    }
    text + "."
}

fn first(page: &mut Page, audit: &Audit) {
    let all = audit.worst_first();
    page.line("");
    if all.is_empty() {
        page.line(if audit.tickets.is_empty() {
            "No ticket to check."
        } else {
            "Nothing to check: good."
        });
        return;
    }
    page.line("Check first");
    let (rows, others): (Vec<_>, Vec<_>) =
        (all.into_iter()).partition(|(_, remark)| remark.code.is_about_a_row());
    let mut n = 0;
    for one in rows.iter().take(FIRST) {
        n += 1;
        entry(page, n, one);
    }
    if rows.len() > FIRST {
        let more = rows[FIRST..]
            .iter()
            .map(|(s, r)| format!("{} ({})", name(s), r.code.name()));
        page.hanging("     and: ", &more.collect::<Vec<_>>().join(", "), 10);
    }
    // What is common is said once, for the worst of its kind.
    for alike in others.chunk_by(|a, b| a.1.code == b.1.code) {
        n += 1;
        entry(page, n, &alike[0]);
        let names: Vec<String> = alike[1..]
            .iter()
            .take(NAMED)
            .map(|(s, _)| name(s))
            .collect();
        if !names.is_empty() {
            let more = match alike.len() - 1 - names.len() {
                0 => String::new(),
                k => format!(" and {k} more"),
            };
            page.hanging("     so too: ", &format!("{}{more}", names.join(", ")), 13);
        }
    }
}

fn entry(page: &mut Page, n: usize, (subject, remark): &(Subject, &AuditRemark)) {
    page.hanging(
        &format!("{n:>3}. "),
        &format!("{}: {}", about(subject), remark.code.name()),
        5,
    );
    page.hanging("     why: ", &remark.text, 10);
    page.hanging("     do:  ", &remark.action, 10);
}

fn name(subject: &Subject) -> String {
    match subject {
        Subject::Ticket(t) => t.ticket.clone(),
        Subject::Machine(m) => format!("{} in {}", m.machine, m.crop),
        Subject::Input(i) => i.field.clone(),
    }
}

fn about(subject: &Subject) -> String {
    match subject {
        Subject::Ticket(t) => {
            let loads = match t.loads.as_slice() {
                [] => String::new(),
                loads => format!(", load {}", loads.join(" + ")),
            };
            let fields = match t.fields.as_slice() {
                [] => String::new(),
                fields => format!(" of {}", fields.join(" + ")),
            };
            format!(
                "ticket {} ({}, row {}){loads}{fields}",
                t.ticket, t.file, t.row
            )
        }
        Subject::Machine(_) | Subject::Input(_) => name(subject),
    }
}

fn one_machine(page: &mut Page, m: &MachineAudit) {
    page.line(&format!("{} in {}", m.machine, m.crop));
    let mut tickets = counted(m.tickets, "ticket", "tickets");
    match m.tickets - m.trusted {
        0 => {}
        n => tickets += &format!(" (the others contradict {n}; the figures are without)"),
    }
    tickets += &format!(
        ", {} % of the {:.0} t logged",
        number(m.weighed_pct, 0),
        m.logged_kg / 1000.0
    );
    if let Some([first, last]) = m.dates {
        tickets += &format!(
            ", {}",
            if first == last {
                first.to_string()
            } else {
                format!("{first} to {last}")
            }
        );
    }
    page.entry("tickets", &tickets);
    if let Some(factor) = m.factor {
        let mut text = format!("{factor:.3}");
        if let Some(ci) = m.factor_ci95_pct {
            text += &format!(" ± {ci:.1} %");
        }
        if let Some(spread) = m.spread_pct {
            text += &format!("; single loads scatter by {spread:.1} % (one sd)");
        }
        if let Some(error) = m.leave_one_out_pct {
            text += &format!("; leave-one-out error {error:.1} %");
        }
        page.entry("factor", &text);
    }
    let mut grain = Vec::new();
    if let Some([low, high]) = m.flow_kg_s {
        grain.push(format!("flow {} kg/s", span(low, high)));
    }
    if let Some([low, high]) = m.moisture_pct {
        grain.push(format!("moisture {} %", span(low, high)));
    }
    if let Some(offset) = m.moisture_offset_pct {
        grain.push(format!("moisture offset {offset:+.1}"));
    }
    if !grain.is_empty() {
        page.entry("weighed", &grain.join("; "));
    }
    page.entry("can tell", &m.known);
    page.entry("cannot tell", &m.unknown);
    for AuditRemark { code, text, action } in &m.remarks {
        page.entry(
            "remark",
            &format!("{}: {text}. To do: {action}", code.name()),
        );
    }
}

/// A table as wide as its texts are. A field or day that all rows share is said once, above.
fn table(page: &mut Page, tickets: &[&TicketAudit]) {
    let rows: Vec<[String; COLUMNS]> = tickets.iter().map(|t| row(t)).collect();
    let Some(first) = rows.first() else { return };
    let shared = |c: usize| rows.len() > 1 && rows.iter().all(|r| r[c] == first[c]);
    let said: Vec<&str> = (SHARED.iter())
        .filter(|&&c| shared(c) && !first[c].is_empty())
        .map(|&c| first[c].as_str())
        .collect();
    if !said.is_empty() {
        page.entry("all", &said.join(", "));
    }
    let shown: Vec<usize> = (0..COLUMNS)
        .filter(|&c| !SHARED.contains(&c) || !shared(c))
        .collect();
    let header = HEADER.map(str::to_owned);
    let width = |c: usize| {
        let cells = rows.iter().chain([&header]);
        cells.map(|r| r[c].chars().count()).max().unwrap_or(0)
    };
    for row in [&header].into_iter().chain(&rows) {
        let cells: Vec<String> = (shown.iter())
            .map(|&c| {
                let (cell, width) = (&row[c], width(c));
                if TEXTS.contains(&c) {
                    format!("{cell:<width$}")
                } else {
                    format!("{cell:>width$}")
                }
            })
            .collect();
        page.line(format!("  {}", cells.join("  ")).trim_end());
    }
}

fn row(t: &TicketAudit) -> [String; COLUMNS] {
    let codes: Vec<&str> = t.remarks.iter().map(|r| r.code.name()).collect();
    let offset = t
        .moisture_offset_pct
        .map_or_else(String::new, |o| format!(" ({o:+.1})"));
    [
        shortened(&t.ticket),
        shortened(&t.loads.join(" + ")),
        shortened(&t.fields.join(" + ")),
        number(Some(t.logged_kg), 0),
        number(Some(t.weighed_kg), 0),
        signed(t.difference_pct),
        number(t.factor, 3),
        signed(t.left_pct),
        t.flow_kg_s.map_or_else(
            || MISSING.to_owned(),
            |f| format!("{:.1}–{:.1}", f[0], f[2]),
        ),
        format!(
            "{} → {}{offset}",
            number(t.moisture_logged_pct, 1),
            number(t.moisture_tested_pct, 1)
        ),
        number(Some(t.minutes), 0),
        t.date.map_or_else(|| MISSING.to_owned(), |d| d.to_string()),
        codes.join(", "),
    ]
}

fn without_ticket(page: &mut Page, audit: &Audit, machine: &MachineAudit) {
    let free: Vec<&UnweighedLoad> = (audit.unweighed.iter())
        .filter(|u| u.machine == machine.machine && u.crop == machine.crop)
        .collect();
    let mut fields: Vec<&str> = free.iter().map(|u| u.field.as_str()).collect();
    fields.sort_unstable();
    fields.dedup();
    for field in fields {
        let here = || free.iter().filter(|u| u.field == field);
        let kg: f64 = here().map(|u| u.logged_kg).sum();
        let mut names: Vec<&str> = here()
            .map(|u| u.load.as_deref().unwrap_or("outside every load"))
            .collect();
        names.sort_unstable();
        let more = names.len().saturating_sub(NAMED);
        names.truncate(NAMED);
        let mut text = format!("{field}, {:.1} t logged: {}", kg / 1000.0, names.join(", "));
        if more > 0 {
            text += &format!(" and {more} more");
        }
        page.entry("no ticket", &text);
    }
}

fn next(page: &mut Page, audit: &Audit) {
    if audit.next.is_empty() {
        return;
    }
    page.line("");
    page.line("Worth weighing next time, most needed first");
    for (k, next) in audit.next.iter().enumerate() {
        page.hanging(&format!("{:>3}. ", k + 1), &next.text, 5);
    }
}

fn failed(page: &mut Page, audit: &Audit) {
    if audit.failed.is_empty() {
        return;
    }
    page.line("");
    let n = audit.failed.len() as u64;
    page.line(&format!(
        "{} could not be read, and {} not in the audit:",
        counted(n, "field", "fields"),
        if n == 1 { "is" } else { "are" }
    ));
    for f in &audit.failed {
        page.hanging("  ", &format!("{}: {}", f.field, f.error), 4);
    }
}

fn number(value: Option<f64>, decimals: usize) -> String {
    value
        .filter(|v| v.is_finite())
        .map_or_else(|| MISSING.to_owned(), |v| format!("{v:.decimals$}"))
}

/// `9.0 to 14.0`, or one number where the two read alike.
fn span(low: f64, high: f64) -> String {
    let [low, high] = [low, high].map(|v| format!("{v:.1}"));
    if low == high {
        low
    } else {
        format!("{low} to {high}")
    }
}

fn signed(value: Option<f64>) -> String {
    // Adding nought makes −0 a plain 0.
    value.filter(|v| v.is_finite()).map_or_else(
        || MISSING.to_owned(),
        |v| format!("{:+.1}", (10.0 * v).round() / 10.0 + 0.0),
    )
}
