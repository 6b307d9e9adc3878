//! Every machine in every crop in a line, and what its tickets cannot tell.

use super::table::{Side, table};
use super::{machine_name, number, signed, span};
use crate::audit::{Audit, MachineAudit};
use crate::report::numbers::MISSING;
use crate::report::terminal::page::Page;

pub(super) fn machines(page: &mut Page, audit: &Audit) {
    if audit.machines.is_empty() {
        return;
    }
    page.line("");
    page.line("Machines");
    let rows: Vec<Vec<String>> = audit.machines.iter().map(row).collect();
    let columns = [
        ("", Side::Left),
        ("tickets", Side::Right),
        ("weighed %", Side::Right),
        ("factor", Side::Right),
        ("± %", Side::Right),
        ("load ± %", Side::Right),
        ("flows kg/s", Side::Right),
        ("moisture", Side::Right),
        ("days", Side::Right),
    ];
    table(page, &columns, &rows, 2);
    let contradicted = audit.machines.iter().any(|m| m.trusted < m.tickets);
    let together = audit.machines.iter().any(|m| m.stray_together);
    page.hanging(
        "  ",
        &format!(
            "{}weighed: of the logged grain; factor: weighed over logged, with ± as far as it is uncertain (95 %{}); load ±: what \
             a load without a ticket may usually be off by, and one in twenty by twice that; flows: from the lowest to the \
             highest middle flow of the loads weighed (within a load it varies more); moisture: tested less logged, points.",
            if contradicted {
                "tickets: those that the others do not contradict, of all; "
            } else {
                ""
            },
            if together {
                ", wider where loads stray together"
            } else {
                ""
            }
        ),
        2,
    );
    for m in audit.machines.iter().filter(|m| !m.days.is_empty()) {
        let days: Vec<String> = (m.days.iter())
            .map(|d| {
                format!(
                    "{:.3} on {} ({})",
                    d.factor,
                    d.date.strftime("%-d %b"),
                    d.tickets
                )
            })
            .collect();
        let start = format!("  {} by day (tickets): ", machine_name(m));
        page.hanging(&start, &days.join(", "), 4);
    }
}

fn row(m: &MachineAudit) -> Vec<String> {
    let tickets = if m.trusted < m.tickets {
        format!("{} of {}", m.trusted, m.tickets)
    } else {
        m.tickets.to_string()
    };
    let days = m.dates.map_or_else(
        || MISSING.to_owned(),
        |[from, to]| {
            let last = to.strftime("%-d %b").to_string();
            match from == to {
                true => last,
                false if (from.year(), from.month()) == (to.year(), to.month()) => {
                    format!("{}–{last}", from.day())
                }
                false => format!("{}–{last}", from.strftime("%-d %b")),
            }
        },
    );
    vec![
        machine_name(m),
        tickets,
        number(m.weighed_pct, 0),
        number(m.factor, 3),
        number(m.factor_ci95_pct, 1),
        number(m.leave_one_out_pct, 1),
        span(m.flow_kg_s),
        signed(m.moisture_offset_pct),
        days,
    ]
}

/// The same for several machines is said once.
pub(super) fn not_told(page: &mut Page, audit: &Audit) {
    let mut said: Vec<(&str, Vec<String>)> = Vec::new();
    for m in &audit.machines {
        match said.iter_mut().find(|(text, _)| *text == m.unknown) {
            Some((_, names)) => names.push(machine_name(m)),
            None => said.push((&m.unknown, vec![machine_name(m)])),
        }
    }
    if said.is_empty() {
        return;
    }
    page.line("");
    page.line("What these tickets cannot tell");
    for (text, names) in said {
        page.hanging("  - ", &format!("{}: {text}", names.join(", ")), 4);
    }
}
