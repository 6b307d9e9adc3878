//! Every ticket against what was logged for it, and against the machine's other tickets.

use std::collections::BTreeMap;

use jiff::civil::DateTime;
use serde::Serialize;

use super::exchange::{Exchange, exchanges};
use super::join::{At, Batch, Group, Weighing};
use super::level::Level;
use super::run::{InRun, in_run};
use super::slip::{Case, Named, Slip, explain};
use super::wording::{Context, remarks};
use super::{AuditRemark, net_tolerance_kg, off_pct};
use crate::loads::TicketRef;
use crate::moisture;

/// A ticket with what was logged for it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TicketAudit {
    /// Its number.
    pub ticket: String,
    /// The file it stands in.
    pub file: String,
    /// Its data row there, from 1: what messages call row.
    pub row: u32,
    /// The same as a spreadsheet counts, with the header; empty lines, which are no rows, are not counted.
    pub line: u32,
    /// The scale, as the user names it.
    pub scale: Option<String>,
    /// The loads that it names, or that it weighed where it has a time window.
    pub loads: Vec<String>,
    /// Fields of those loads.
    pub fields: Vec<String>,
    /// Machines of those loads.
    pub machines: Vec<String>,
    /// Crops of those loads.
    pub crops: Vec<String>,
    /// Logged wet mass, faults replaced, kg.
    pub logged_kg: f64,
    /// Weighed wet mass, kg.
    pub weighed_kg: f64,
    /// What a certified scale may be off by at most in such a net weight, kg.
    pub scale_tolerance_kg: f64,
    /// Weighed over logged mass.
    pub factor: Option<f64>,
    /// What the machine's other tickets lead to expect, kg.
    pub expected_kg: Option<f64>,
    /// Weighed against expected, %: + where the ticket is heavier.
    pub off_expected_pct: Option<f64>,
    /// The same against the tickets on its own side of a step in the machine's factors alone; null where there is none.
    pub off_own_side_pct: Option<f64>,
    /// 10th, 50th and 90th percentile of flow, kg/s.
    pub flow_kg_s: Option<[f64; 3]>,
    /// Flow-weighted logged moisture, %.
    pub moisture_logged_pct: Option<f64>,
    /// Moisture by the scale's tester, %.
    pub moisture_tested_pct: Option<f64>,
    /// Tested less logged moisture, points: what to add to the log.
    pub moisture_offset_pct: Option<f64>,
    /// Time over which its grain passed the sensor, min.
    pub minutes: f64,
    /// When the first of its loads began, in the job's time zone.
    pub begins: Option<DateTime>,
    /// The slip that would explain its weight, where the other tickets contradict it.
    pub slip: Option<Slip>,
    /// Where none does: a slip that would fit, and is weak.
    pub weak_slip: Option<Slip>,
    /// Another ticket with which it would fit better exchanged.
    pub exchange: Option<Exchange>,
    /// What a run of the job does with it.
    pub in_run: InRun,
    /// What to know about it, worst first.
    pub remarks: Vec<AuditRemark>,
}

/// Worst first: what is wrong with a row by its code, then by how far it is off.
pub(super) fn audit(batch: &Batch, groups: &[(Group, Level)]) -> Vec<TicketAudit> {
    let in_run = in_run(batch);
    let exchanges: BTreeMap<usize, Exchange> = (groups.iter())
        .flat_map(|(_, level)| exchanges(batch, level))
        .collect();
    let mut out: Vec<TicketAudit> = (0..batch.weighings.len())
        .map(|w| one(batch, groups, w, in_run[&w], exchanges.get(&w)))
        .collect();
    let off = |t: &TicketAudit| t.off_expected_pct.map_or(-1.0, f64::abs);
    out.sort_by(|a, b| {
        let code = |t: &TicketAudit| {
            let first = t.remarks.first().map(|r| r.code);
            first.filter(|c| c.is_about_a_row())
        };
        (code(a).is_none(), code(a))
            .cmp(&(code(b).is_none(), code(b)))
            .then(off(b).total_cmp(&off(a)))
            .then_with(|| (&a.file, a.row).cmp(&(&b.file, b.row)))
    });
    out
}

fn one(
    batch: &Batch,
    groups: &[(Group, Level)],
    w: usize,
    in_run: InRun,
    exchange: Option<&Exchange>,
) -> TicketAudit {
    let weighing = &batch.weighings[w];
    let (ticket, parts) = (weighing.ticket, weighing.parts.as_slice());
    let group = groups.iter().find(|(g, _)| g.weighings.contains(&w));
    let expected = match group {
        Some((_, level)) => level
            .factor_without(batch, w)
            .map(|k| k * weighing.logged_kg),
        None => jointly_expected(batch, groups, parts),
    };
    let expected = expected.filter(|_| weighing.comparable());
    let logged_moisture = batch.logged_moisture(parts);
    let offset = ticket
        .moisture_pct
        .zip(logged_moisture)
        .and_then(|(tested, logged)| moisture::offset(tested, logged).ok());
    let explained = group
        .filter(|(_, level)| level.outliers.contains(&w))
        .zip(expected)
        .map(|((g, level), kg)| explain(&case(batch, g, level, w, kg)))
        .unwrap_or_default();
    let off = |kg: f64| off_pct(ticket.net_kg, kg);
    let own_side = group
        .and_then(|(_, level)| level.factor_of_side_without(batch, w))
        .map(|k| off(k * weighing.logged_kg));
    let place = TicketRef::of(ticket);
    let keys = batch.keys(weighing);
    let mut audit = TicketAudit {
        ticket: ticket.id.clone(),
        file: place.file,
        row: place.row,
        line: place.row + 1,
        scale: ticket.scale.clone(),
        loads: load_names(batch, weighing),
        fields: distinct(parts.iter().map(|p| batch.fields[p.0].field.as_str())),
        machines: distinct(keys.iter().map(|k| k.0)),
        crops: distinct(keys.iter().map(|k| k.1)),
        logged_kg: weighing.logged_kg,
        weighed_kg: ticket.net_kg,
        scale_tolerance_kg: net_tolerance_kg(ticket.net_kg),
        factor: weighing.comparable().then(|| weighing.factor()),
        expected_kg: expected,
        off_expected_pct: expected.map(off),
        off_own_side_pct: own_side,
        flow_kg_s: batch.flow(parts),
        moisture_logged_pct: logged_moisture,
        moisture_tested_pct: ticket.moisture_pct,
        moisture_offset_pct: offset,
        minutes: parts
            .iter()
            .map(|&at| batch.load(at).evidence.seconds)
            .sum::<f64>()
            / 60.0,
        begins: batch.begins(parts),
        slip: explained.slip,
        weak_slip: explained.weak,
        exchange: exchange.cloned(),
        in_run,
        remarks: Vec::new(),
    };
    audit.remarks = remarks(&Context {
        batch,
        group: group.map(|(g, level)| (g, level)),
        w,
        audit: &audit,
    });
    audit
}

/// What the machines' factors lead to expect of a ticket over several, kg.
fn jointly_expected(batch: &Batch, groups: &[(Group, Level)], parts: &[At]) -> Option<f64> {
    if parts.is_empty() {
        return None;
    }
    parts
        .iter()
        .map(|at| {
            let (_, level) = groups.iter().find(|(g, _)| g.loads.contains(at))?;
            Some(level.factor()? * batch.load(*at).evidence.mass_kg)
        })
        .sum()
}

fn distinct<'a>(names: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for name in names {
        if !out.iter().any(|n| n == name) {
            out.push(name.to_owned());
        }
    }
    out
}

fn load_names(batch: &Batch, weighing: &Weighing) -> Vec<String> {
    if !weighing.ticket.loads.is_empty() {
        return weighing.ticket.loads.clone();
    }
    let names = (weighing.parts.iter()).filter_map(|&at| batch.load(at).evidence.load.as_deref());
    distinct(names)
}

/// What could explain the weight of a ticket that the machine's others contradict.
fn case(batch: &Batch, group: &Group, level: &Level, w: usize, expected: f64) -> Case {
    let weighing = &batch.weighings[w];
    let factor = expected / weighing.logged_kg;
    let tolerance = level.tolerance();
    let others: Vec<&Weighing> = (level.outliers.iter())
        .filter(|&&o| o != w)
        .map(|&o| &batch.weighings[o])
        .collect();
    let name_of = |at: At| -> Option<Named> {
        let e = &batch.load(at).evidence;
        Some((e.load.clone()?, factor * e.mass_kg))
    };
    let parts: Vec<Named> = weighing
        .parts
        .iter()
        .filter_map(|&at| name_of(at))
        .collect();
    // Loads of the machine in the same field, in the order of work.
    let field = weighing.parts.first().map(|p| p.0);
    let mut there: Vec<At> = (group.loads.iter().copied())
        .filter(|at| Some(at.0) == field && batch.load(*at).evidence.load.is_some())
        .collect();
    there.sort_by(|&a, &b| {
        let start = |at| batch.load(at).start.unwrap_or(f64::INFINITY);
        start(a).total_cmp(&start(b)).then(a.cmp(&b))
    });
    let free = |at: At| {
        let e = &batch.load(at).evidence;
        (e.ticket.is_none() && e.mass_kg > 0.0).then(|| name_of(at))?
    };
    let own: Vec<usize> = (0..there.len())
        .filter(|&k| weighing.parts.contains(&there[k]))
        .collect();
    let neighbours = (there.iter().enumerate())
        .filter(|(k, _)| own.iter().any(|o| o.abs_diff(*k) == 1))
        .filter_map(|(_, &at)| free(at))
        .collect();
    let fits = |kg: f64, expected: f64| (kg / expected).ln().abs() <= tolerance;
    Case {
        weighed: weighing.ticket.net_kg,
        expected,
        tolerance,
        swaps: (others.iter())
            .filter(|o| fits(weighing.ticket.net_kg, factor * o.logged_kg))
            .map(|o| (o.ticket.id.clone(), o.ticket.net_kg))
            .collect(),
        parts: if parts.len() > 1 { parts } else { Vec::new() },
        neighbours,
        strangers: there.iter().filter_map(|&at| free(at)).collect(),
        too_heavy: (others.iter())
            .map(|o| o.ticket.net_kg - factor * o.logged_kg)
            .collect(),
    }
}
