//! Tickets: a scale's records of loads.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;

use super::error::{ReadError, ReadErrorKind};
use super::find::InputFile;
use super::source::{Batch, open_table};
use super::text::shown;
use super::ticket_row::{Layout, Row};
use super::{Ticket, TicketUse};
use crate::job::{FieldSeason, Job};
use crate::log::Log;
use crate::place::Place;
use crate::summary::Remark;

/// The tickets that may concern a field, and what is wrong with others. A bad row is left out and costs itself alone.
pub(super) fn read(
    job: &Job,
    field: &FieldSeason,
    log: &Log,
    zone: &TimeZone,
) -> Result<(Vec<Ticket>, Vec<Remark>), ReadError> {
    let (mut tickets, mut warnings) = (Vec::new(), Vec::new());
    let mut seen: Vec<&String> = Vec::new();
    for written in &field.tickets {
        if seen.contains(&written) {
            continue;
        }
        seen.push(written);
        let file = InputFile::new(&job.base, written);
        let sharing: Vec<&FieldSeason> = job
            .fields
            .iter()
            .filter(|f| f.tickets.contains(written))
            .collect();
        read_file(&file, field, &sharing, zone, &mut tickets, &mut warnings)?;
    }
    leave_out_rivals(&mut tickets, &mut warnings);
    tickets.retain(|(ticket, own)| {
        let unknown = if *own {
            unknown_load(ticket, log)
        } else {
            None
        };
        warnings.extend(unknown.iter().cloned());
        unknown.is_none()
    });
    Ok((
        tickets.into_iter().map(|(ticket, _)| ticket).collect(),
        warnings,
    ))
}

/// Reads one file. Each ticket goes with whether all of its loads must be in this field's log.
fn read_file(
    file: &InputFile,
    field: &FieldSeason,
    sharing: &[&FieldSeason],
    zone: &TimeZone,
    tickets: &mut Vec<(Ticket, bool)>,
    warnings: &mut Vec<Remark>,
) -> Result<(), ReadError> {
    let mut table = open_table(file, "tickets")?;
    let decimal_comma = table.decimal_comma;
    let headers = std::mem::take(&mut table.headers);
    let headers = headers.into_iter().map(|h| h.name).collect();
    let layout = Layout::new(headers, field.crop.bushel_kg, decimal_comma, &file.shown)?;
    let mut batch = Batch::default();
    let mut rows = 0;
    loop {
        table.rows.next_batch(&mut batch)?;
        if batch.records().is_empty() {
            break;
        }
        for record in batch.records() {
            rows += 1;
            let row = Row {
                record: &record.cells,
                layout: &layout,
                place: Place::file(&file.shown).row(rows),
                zone,
            };
            if let Some(wanted) = row.text(layout.field) {
                if !sharing.iter().any(|f| is_meant(&wanted, f)) {
                    let known: Vec<&str> = sharing.iter().map(|f| f.name.as_str()).collect();
                    let expected = format!("a field that lists this file: {}", known.join(", "));
                    warnings.push(
                        row.fault(layout.field, &expected, &shown(wanted.as_bytes()))
                            .remark("unknown-field"),
                    );
                    continue;
                }
                if !is_meant(&wanted, field) {
                    continue;
                }
            }
            let meant = match row.text(layout.field) {
                Some(wanted) => sharing.iter().filter(|f| is_meant(&wanted, f)).count(),
                None => sharing.len(),
            };
            match row.ticket() {
                Ok(ticket) => tickets.push((ticket, meant == 1)),
                Err(fault) => warnings.push(fault.remark("bad-ticket")),
            }
        }
    }
    if rows == 0 {
        return Err(ReadError::new(
            ReadErrorKind::Empty,
            Place::file(&file.shown),
            "tickets under the header",
            "none",
        )
        .hinted("fill it in, or take it off the field's `tickets`"));
    }
    Ok(())
}

/// Whether a ticket's field is this one: by its name, or by client/farm/name.
fn is_meant(wanted: &str, field: &FieldSeason) -> bool {
    wanted == field.name || wanted == format!("{}/{}/{}", field.client, field.farm, field.name)
}

/// Two tickets for one load cannot both be its weight: neither is used, and both rows are named.
fn leave_out_rivals(tickets: &mut Vec<(Ticket, bool)>, warnings: &mut Vec<Remark>) {
    // By load; `None`: tickets that have a time window alone.
    let mut claims: BTreeMap<Option<&str>, Vec<usize>> = BTreeMap::new();
    for (k, (ticket, _)) in tickets.iter().enumerate() {
        if ticket.usage == TicketUse::No {
            continue;
        }
        for load in &ticket.loads {
            claims.entry(Some(load)).or_default().push(k);
        }
        if ticket.loads.is_empty() {
            claims.entry(None).or_default().push(k);
        }
    }
    let mut out = vec![false; tickets.len()];
    for (load, rivals) in &claims {
        for (n, &a) in rivals.iter().enumerate() {
            for &b in &rivals[n + 1..] {
                let (first, second) = (&tickets[a].0, &tickets[b].0);
                if overlap(first, second) {
                    (out[a], out[b]) = (true, true);
                    warnings.push(two_tickets(first, second, *load));
                }
            }
        }
    }
    let mut out = out.into_iter();
    tickets.retain(|_| out.next() != Some(true));
}

fn two_tickets(first: &Ticket, second: &Ticket, load: Option<&str>) -> Remark {
    let (what, mend) = match load {
        Some(load) => (format!("load \"{load}\""), "the load"),
        None => ("one time".to_owned(), "the start or end"),
    };
    let text = format!(
        "{} and {}: expected one ticket for {what}, found two, {} and {}; both are left out: correct {mend} of one, or \
         set use = no on it",
        first.place, second.place, first.id, second.id
    );
    Remark::new("two-tickets", text)
}

/// Whether two tickets of one load can mean the same grain: no two machines and no two times keep them apart.
fn overlap(a: &Ticket, b: &Ticket) -> bool {
    let machines = a.machine.is_none() || b.machine.is_none() || a.machine == b.machine;
    let before = |x: &Ticket, y: &Ticket| matches!((x.end, y.start), (Some(end), Some(start)) if end <= start);
    machines && !before(a, b) && !before(b, a)
}

/// A warning where a load of a ticket is not in the log.
fn unknown_load(ticket: &Ticket, log: &Log) -> Option<Remark> {
    let unknown = ticket.loads.iter().find(|load| !log.loads.contains(load))?;
    let there = match log.loads.len() {
        0 => "no loads at all".to_owned(),
        1..=8 => format!("the loads {}", log.loads.join(", ")),
        n => format!(
            "{n} other loads, from {} to {}",
            log.loads[0],
            log.loads[n - 1]
        ),
    };
    let text = format!(
        "{}: expected a load of the field's logs, found \"{unknown}\"; the logs have {there}. Ticket {} is left out \
         until the load's name is put right",
        ticket.place, ticket.id
    );
    Some(Remark::new("unknown-load", text))
}
