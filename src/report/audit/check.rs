//! What can be looked up: on the papers, in the files, with the driver's notes.

use super::table::{Side, table};
use super::{began, counted, line, name, number, one_file, signed};
use crate::audit::{Audit, AuditCode, AuditRemark, Heading, InRun, Subject, TicketAudit};
use crate::report::terminal::page::Page;

/// Rows to look into that are written out; further ones are named.
const FIRST: usize = 12;

pub(super) fn check(page: &mut Page, audit: &Audit) {
    let all: Vec<_> = (audit.worst_first().into_iter())
        .filter(|(_, r)| r.code.heading() == Heading::Check)
        .collect();
    page.line("");
    if all.is_empty() {
        page.line(if audit.tickets.is_empty() {
            "No ticket to check."
        } else {
            "Nothing to look up: good."
        });
        return;
    }
    page.line(
        "Look up first, worst first (line: as a spreadsheet shows it; run: what fanmill run will do)",
    );
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
    for alike in others.chunk_by(|a, b| a.1.code == b.1.code) {
        n += 1;
        match tickets_of(alike) {
            Some(tickets) if alike[0].1.code == AuditCode::OffAfterCorrection => {
                off(page, n, &tickets, &alike[0].1.action);
            }
            _ => {
                entry(page, n, &alike[0]);
                let names: Vec<String> = alike[1..].iter().map(|(s, _)| name(s)).collect();
                if !names.is_empty() {
                    page.hanging("     so too: ", &names.join(", "), 13);
                }
            }
        }
    }
}

fn tickets_of<'a>(remarks: &[(Subject<'a>, &AuditRemark)]) -> Option<Vec<&'a TicketAudit>> {
    (remarks.iter())
        .map(|(s, _)| match s {
            Subject::Ticket(t) => Some(*t),
            _ => None,
        })
        .collect()
}

fn entry(page: &mut Page, n: usize, (subject, remark): &(Subject, &AuditRemark)) {
    page.hanging(
        &format!("{n:>3}. "),
        &format!("{}: {}", about(subject), remark.code.name()),
        5,
    );
    page.hanging("     why: ", &remark.text, 10);
    page.hanging("     do:  ", &remark.action, 10);
    if let Subject::Ticket(t) = subject {
        page.hanging("     run: ", in_run(t.in_run), 10);
    }
}

/// What `run` does with a ticket.
fn in_run(what: InRun) -> &'static str {
    match what {
        InRun::Obeyed => {
            "obeys it: the doubt is not strong enough to hold it out; use = no on its row would"
        }
        InRun::HeldOut => {
            "holds it out, and its load gets its factor from others; use = yes on its row would obey it"
        }
        InRun::Forced => "obeys it, because its row says use = yes; otherwise it would be held out",
        InRun::NotUsed => "leaves it out, because its row says use = no",
        InRun::Nothing => "cannot use it: no logged grain goes with it",
    }
}

fn about(subject: &Subject) -> String {
    let Subject::Ticket(t) = subject else {
        return name(subject);
    };
    let loads = match t.loads.as_slice() {
        [] => String::new(),
        loads => format!(", load {}", loads.join(" + ")),
    };
    let fields = match t.fields.as_slice() {
        [] => String::new(),
        fields => format!(" of {}", fields.join(" + ")),
    };
    let began = t
        .begins
        .map_or_else(String::new, |_| format!(", {}", began(t)));
    format!(
        "ticket {} ({}, line {}){loads}{fields}{began}",
        t.ticket, t.file, t.line
    )
}

/// Tickets beyond 3 % that the others do not contradict, one a line.
fn off(page: &mut Page, n: usize, tickets: &[&TicketAudit], action: &str) {
    let mut tickets = tickets.to_vec();
    let size = |t: &TicketAudit| t.off_expected_pct.map_or(0.0, f64::abs);
    tickets.sort_by(|a, b| {
        (size(b).total_cmp(&size(a))).then_with(|| (&a.file, a.row).cmp(&(&b.file, b.row)))
    });
    let one_file = one_file(&tickets);
    let file = match tickets.first() {
        Some(t) if one_file => format!(" (lines of {})", t.file),
        _ => String::new(),
    };
    page.hanging(
        &format!("{n:>3}. "),
        &format!(
            "{}{file}: {}",
            counted(tickets.len() as u64, "ticket", "tickets"),
            AuditCode::OffAfterCorrection.name()
        ),
        5,
    );
    page.hanging(
        "     why: ",
        "farther than 3 % from what the machine's other tickets lead to expect, where loads scatter too much by \
         themselves to blame the paper: ticket or sensor",
        10,
    );
    page.hanging("     do:  ", action, 10);
    let marked = |t: &TicketAudit| t.in_run != InRun::Obeyed;
    page.hanging(
        "     run: ",
        if tickets.iter().any(|t| marked(t)) {
            "obeys those that are not marked"
        } else {
            "obeys them"
        },
        10,
    );
    let rows: Vec<Vec<String>> = (tickets.iter())
        .map(|t| {
            let marks = [
                match t.in_run {
                    InRun::HeldOut => "held out",
                    InRun::Forced => "use = yes",
                    _ => "",
                },
                t.exchange.as_ref().map_or("", |_| "exchange"),
            ];
            let marks: Vec<&str> = marks.into_iter().filter(|m| !m.is_empty()).collect();
            vec![
                t.ticket.clone(),
                line(t, one_file),
                t.loads.join(" + "),
                began(t),
                number(Some(t.weighed_kg), 0),
                number(t.expected_kg, 0),
                signed(t.off_expected_pct),
                marks.join(", "),
            ]
        })
        .collect();
    let columns = [
        ("ticket", Side::Left),
        ("line", Side::Right),
        ("load", Side::Left),
        ("began", Side::Right),
        ("weighed kg", Side::Right),
        ("expected kg", Side::Right),
        ("off %", Side::Right),
        ("", Side::Left),
    ];
    table(page, &columns, &rows, 5);
    page.line("     off %: + where the ticket is heavier than expected");
    notes(page, &tickets);
}

/// What the marks mean.
fn notes(page: &mut Page, tickets: &[&TicketAudit]) {
    let mut said: Vec<&str> = Vec::new();
    for t in tickets {
        let Some(e) = &t.exchange else { continue };
        if said.contains(&t.ticket.as_str()) {
            continue;
        }
        said.push(&e.with);
        page.hanging("     exchange: ", &e.text(&t.ticket), 15);
    }
}
