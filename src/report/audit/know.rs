//! What is good to know, and on no paper.

use super::name;
use crate::audit::{Audit, AuditRemark, Heading, Subject};
use crate::report::terminal::page::Page;

pub(super) fn know(page: &mut Page, audit: &Audit) {
    let all: Vec<_> = (audit.worst_first().into_iter())
        .filter(|(_, r)| r.code.heading() == Heading::Know)
        .collect();
    if all.is_empty() && audit.overall.is_empty() {
        return;
    }
    page.line("");
    page.line("Good to know, on no paper");
    for machine in &audit.overall {
        page.hanging("  - ", &machine.text, 4);
    }
    for alike in all.chunk_by(|a, b| a.1.code == b.1.code) {
        match alike[0].0 {
            Subject::Ticket(_) => of_tickets(page, alike),
            _ => of_machines(page, alike),
        }
    }
}

fn item(page: &mut Page, remark: &AuditRemark, text: &str) {
    let text = format!("{}: {text}. To do: {}", remark.code.name(), remark.action);
    page.hanging("  - ", &text, 4);
}

/// Each in its own words; what is to be done is said once where it is the same.
fn of_machines(page: &mut Page, alike: &[(Subject, &AuditRemark)]) {
    for (k, (subject, remark)) in alike.iter().enumerate() {
        let text = format!("{}: {}", name(subject), remark.text);
        let before = k.checked_sub(1).map(|b| &alike[b].1.action);
        if before == Some(&remark.action) {
            let text = format!("{}: {text}. To do: the same", remark.code.name());
            page.hanging("  - ", &text, 4);
        } else {
            item(page, remark, &text);
        }
    }
}

/// What is common is said once, for the worst of its kind.
fn of_tickets(page: &mut Page, alike: &[(Subject, &AuditRemark)]) {
    let (first, remark) = &alike[0];
    let others: Vec<String> = alike[1..].iter().map(|(s, _)| name(s)).collect();
    let so_too = if others.is_empty() {
        String::new()
    } else {
        format!(". So too: {}", others.join(", "))
    };
    item(
        page,
        remark,
        &format!("{}: {}{so_too}", name(first), remark.text),
    );
}
