//! The audit of tickets as text: what to look up, what to know, every machine in a line, what to weigh next season.
//!
//! Weights stand without thousands apart, so that they can be looked for in the file of tickets.

mod check;
mod know;
mod machines;
mod table;

use super::CAUTION;
use super::numbers::{MISSING, counted};
use super::terminal::page::Page;
use crate::audit::{AGREE, Audit, MachineAudit, Subject, TicketAudit, is_beyond};
use table::{Side, table};

/// Which tickets are listed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Listed {
    /// Those to look up.
    ToCheck,
    /// Every one, by machine, after all else.
    All,
}

/// The whole audit.
pub fn text(audit: &Audit, listed: Listed) -> String {
    let mut page = Page::default();
    page.hanging("", &headline(audit), 0);
    check::check(&mut page, audit);
    know::know(&mut page, audit);
    machines::machines(&mut page, audit);
    machines::not_told(&mut page, audit);
    without_ticket(&mut page, audit);
    next(&mut page, audit);
    if listed == Listed::All {
        all_tickets(&mut page, audit);
    }
    failed(&mut page, audit);
    page.line("");
    page.line(CAUTION);
    page.finish()
}

fn headline(audit: &Audit) -> String {
    let judged: Vec<f64> = (audit.tickets.iter())
        .filter_map(|t| t.off_expected_pct)
        .collect();
    let within = judged.iter().filter(|off| !is_beyond(**off)).count();
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

/// Loads without a ticket, by field and machine: all by name, because a paper may turn up.
fn without_ticket(page: &mut Page, audit: &Audit) {
    if audit.unweighed.is_empty() {
        return;
    }
    page.line("");
    page.line("Loads without a ticket (add a row for any whose paper turns up)");
    let key = |u: &crate::audit::UnweighedLoad| (u.field.clone(), u.machine.clone());
    let mut keys: Vec<_> = audit.unweighed.iter().map(key).collect();
    keys.sort_unstable();
    keys.dedup();
    for (field, machine) in keys {
        let here = || (audit.unweighed.iter()).filter(|u| u.field == field && u.machine == machine);
        let kg: f64 = here().map(|u| u.logged_kg).sum();
        let mut names: Vec<&str> = here()
            .map(|u| u.load.as_deref().unwrap_or("outside every load"))
            .collect();
        names.sort_unstable();
        let start = format!("  {machine} in {field}, {:.1} t logged:", kg / 1000.0);
        page.hanging(&format!("{start} "), &names.join(", "), 4);
    }
}

fn next(page: &mut Page, audit: &Audit) {
    if audit.next.is_empty() {
        return;
    }
    page.line("");
    page.hanging(
        "",
        "For next season: what to weigh. First stands what puts most grain in doubt (grain that \
         rests on it, times how far such grain is usually off)",
        0,
    );
    for (k, next) in audit.next.iter().enumerate() {
        let text = format!("{} (up to {} t off)", next.text, tonnes(next.may_be_off_kg));
        page.hanging(&format!("{:>3}. ", k + 1), &text, 5);
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

/// Every ticket, by machine.
fn all_tickets(page: &mut Page, audit: &Audit) {
    let is_of = |t: &TicketAudit, m: &MachineAudit| {
        t.machines.as_slice() == std::slice::from_ref(&m.machine)
            && t.crops.as_slice() == std::slice::from_ref(&m.crop)
    };
    for machine in &audit.machines {
        let own: Vec<&TicketAudit> = (audit.tickets.iter())
            .filter(|t| is_of(t, machine))
            .collect();
        of_one(
            page,
            &format!("{} in {}", machine.machine, machine.crop),
            &own,
        );
    }
    let rest: Vec<&TicketAudit> = (audit.tickets.iter())
        .filter(|t| !audit.machines.iter().any(|m| is_of(t, m)))
        .collect();
    of_one(page, "several machines or crops, or no logged grain", &rest);
    page.line("");
    page.hanging(
        "",
        "logged: kg, after faults are replaced; off %: weighed against expected, + where the ticket is heavier; kg/s: middle \
         flow of the load; moist: tested less logged moisture, points.",
        0,
    );
}

fn of_one(page: &mut Page, whose: &str, tickets: &[&TicketAudit]) {
    if tickets.is_empty() {
        return;
    }
    page.line("");
    page.line(&format!("Every ticket of {whose}, farthest off first"));
    let one_file = one_file(tickets);
    let rows: Vec<Vec<String>> = (tickets.iter())
        .map(|t| {
            vec![
                t.ticket.clone(),
                line(t, one_file),
                t.loads.join(" + "),
                began(t),
                number(Some(t.logged_kg), 0),
                number(Some(t.weighed_kg), 0),
                number(t.expected_kg, 0),
                signed(t.off_expected_pct),
                number(t.flow_kg_s.map(|f| f[1]), 1),
                signed(t.moisture_offset_pct),
            ]
        })
        .collect();
    let columns = [
        ("ticket", Side::Left),
        ("line", Side::Right),
        ("load", Side::Left),
        ("began", Side::Right),
        ("logged", Side::Right),
        ("weighed", Side::Right),
        ("expected", Side::Right),
        ("off %", Side::Right),
        ("kg/s", Side::Right),
        ("moist", Side::Right),
    ];
    table(page, &columns, &rows, 2);
}

/// Whether all tickets stand in one file.
fn one_file(tickets: &[&TicketAudit]) -> bool {
    tickets.windows(2).all(|p| p[0].file == p[1].file)
}

/// The line of a ticket's row, with its file where there are several.
fn line(t: &TicketAudit, one_file: bool) -> String {
    if one_file {
        t.line.to_string()
    } else {
        format!("{} {}", t.file, t.line)
    }
}

/// When a ticket's first load began, as a person writes it.
fn began(t: &TicketAudit) -> String {
    t.begins.map_or_else(
        || MISSING.to_owned(),
        |b| b.strftime("%-d %b %H:%M").to_string(),
    )
}

/// `ticket T3`, `C1 in maize`, or a field.
fn name(subject: &Subject) -> String {
    match subject {
        Subject::Ticket(t) => t.ticket.clone(),
        Subject::Machine(m) => machine_name(m),
        Subject::Input(i) => i.field.clone(),
    }
}

fn machine_name(m: &MachineAudit) -> String {
    format!("{} in {}", m.machine, m.crop)
}

fn number(value: Option<f64>, decimals: usize) -> String {
    value
        .filter(|v| v.is_finite())
        .map_or_else(|| MISSING.to_owned(), |v| format!("{v:.decimals$}"))
}

/// Tonnes, with a decimal where there are few.
fn tonnes(kg: f64) -> String {
    let t = kg / 1000.0;
    if t < 9.95 {
        format!("{t:.1}")
    } else {
        format!("{t:.0}")
    }
}

/// `9.0–14.0`, or one number where the two read alike.
fn span(range: Option<[f64; 2]>) -> String {
    let Some([low, high]) = range else {
        return MISSING.to_owned();
    };
    let [low, high] = [low, high].map(|v| format!("{v:.1}"));
    if low == high {
        low
    } else {
        format!("{low}–{high}")
    }
}

fn signed(value: Option<f64>) -> String {
    // Adding nought makes −0 a plain 0.
    value.filter(|v| v.is_finite()).map_or_else(
        || MISSING.to_owned(),
        |v| format!("{:+.1}", (10.0 * v).round() / 10.0 + 0.0),
    )
}
