//! Loads and tickets made by hand, in memory.

// Each test file uses a part of it.

use fanmill::audit::{Audit, AuditCode, AuditField, AuditLoad, SlipKind, TicketAudit, audit};
use fanmill::loads::{LoadEvidence, TicketRef};
use fanmill::place::Place;
use fanmill::read::{Ticket, TicketUse};

/// Seconds of 2025-10-03T08:00:00Z.
pub const MORNING: f64 = 1_759_478_400.0;

/// A load of C1, an hour after the one before it. `flow`: its median, kg/s.
pub fn load(k: usize, mass_kg: f64, flow: f64) -> AuditLoad {
    let mut load = AuditLoad {
        evidence: LoadEvidence {
            machine: "C1".into(),
            load: Some(format!("L{}", k + 1)),
            ticket: None,
            logged_kg: mass_kg,
            mass_kg,
            unlogged_kg: 0.0,
            moisture_pct: Some(18.0),
            moisture_share: 1.0,
            flow_kg_s: Some([0.8 * flow, flow, 1.2 * flow]),
            seconds: mass_kg / flow,
            rows: (mass_kg / flow) as u64,
            span: None,
            edges_kg: 0.0,
            flows: vec![[flow, mass_kg]],
        },
        start: None,
        begins: None,
        crossing_share: Some(0.02),
        earlier_share: Some(0.1 * k as f64),
    };
    at(&mut load, MORNING + 3600.0 * k as f64);
    load
}

/// Moves a load in time.
pub fn at(load: &mut AuditLoad, start: f64) {
    let stamp = jiff::Timestamp::from_second(start as i64).unwrap();
    load.start = Some(start);
    load.begins = Some(jiff::tz::TimeZone::UTC.to_datetime(stamp));
}

/// A ticket that names a load.
pub fn ticket(k: usize, loads: &[&str], net_kg: f64) -> Ticket {
    Ticket {
        id: format!("T{}", k + 1),
        place: Place::file("tickets.csv").row(k as u32 + 1),
        loads: loads.iter().map(|l| (*l).to_owned()).collect(),
        net_kg,
        moisture_pct: Some(18.2),
        field: None,
        machine: None,
        start: None,
        end: None,
        scale: None,
        usage: TicketUse::Auto,
    }
}

/// A field of loads and tickets; every load goes with the ticket that names it.
pub fn field(name: &str, mut loads: Vec<AuditLoad>, tickets: Vec<Ticket>) -> AuditField {
    for load in &mut loads {
        load.evidence.ticket = tickets
            .iter()
            .find(|t| {
                t.loads
                    .iter()
                    .any(|l| Some(l) == load.evidence.load.as_ref())
            })
            .map(TicketRef::of);
    }
    AuditField {
        field: name.into(),
        crop: "maize".into(),
        loads,
        tickets,
        has_clock: true,
        reading: Vec::new(),
        links: None,
    }
}

/// Logged masses (kg), flows (kg/s) and factors of a set that nobody could find fault with: six loads of 6 to 9 t at
/// differing flows, factors within ± 1.5 % of 0.95.
pub const GOOD: [(f64, f64, f64); 6] = [
    (7421.0, 9.0, 1.004),
    (8013.0, 12.5, 0.991),
    (6544.0, 10.0, 1.012),
    (8874.0, 14.0, 0.988),
    (7105.0, 11.0, 0.999),
    (7767.0, 13.0, 1.006),
];

/// The good set with `change` done to its loads and tickets.
pub fn good(change: impl FnOnce(&mut Vec<AuditLoad>, &mut Vec<Ticket>)) -> AuditField {
    let mut loads = Vec::new();
    let mut tickets = Vec::new();
    for (k, (mass, flow, off)) in GOOD.into_iter().enumerate() {
        loads.push(load(k, mass, flow));
        let name = format!("L{}", k + 1);
        tickets.push(ticket(k, &[&name], (mass * 0.95 * off).round()));
    }
    change(&mut loads, &mut tickets);
    field("Brook field", loads, tickets)
}

/// The audit of the good set with a change.
pub fn changed(change: impl FnOnce(&mut Vec<AuditLoad>, &mut Vec<Ticket>)) -> Audit {
    audit(&[good(change)])
}

/// One ticket of an audit.
pub fn of<'a>(audit: &'a Audit, ticket: &str) -> &'a TicketAudit {
    audit.tickets.iter().find(|t| t.ticket == ticket).unwrap()
}

/// Codes of everything that an audit remarks on, worst first, without repeats.
pub fn codes(audit: &Audit) -> Vec<AuditCode> {
    let mut codes: Vec<AuditCode> = (audit.worst_first().into_iter())
        .map(|(_, r)| r.code)
        .collect();
    codes.dedup();
    codes
}

/// The slip that explains a ticket.
pub fn slip(audit: &Audit, ticket: &str) -> Option<SlipKind> {
    of(audit, ticket).slip.as_ref().map(|s| s.kind)
}
