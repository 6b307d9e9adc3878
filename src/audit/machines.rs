//! Every machine in every crop: what its tickets say together, and what they cannot say.

use std::collections::BTreeSet;

use jiff::civil::Date;
use serde::Serialize;

use super::change::change;
use super::join::{At, Batch, Group};
use super::level::Level;
use super::{AuditCode, AuditRemark, FEWEST_LOADS, FLOW_SPREAD, MOISTURE_CLASS};
use crate::moisture;
use crate::units::POUND_KG;

/// Monitors that were calibrated badly err by ± 10 % (extension literature); beyond this something else is wrong (our
/// choice).
const UNLIKELY: f64 = 1.25;
/// A unit explains a level that is within this of it, as a factor (± 10 %, as above).
const UNIT_FITS: f64 = 1.1;
/// Tickets farther apart than this do not stand for one setting of the machine, days (our choice; "near in time" is
/// common practice).
const DAYS: i32 = 3;
/// Moisture testers are good for 0.7–0.8 point (NIST Handbook 44, from memory).
const TESTER_POINTS: f64 = 0.8;

/// A machine in a crop.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MachineAudit {
    /// Machine.
    pub machine: String,
    /// Crop.
    pub crop: String,
    /// Tickets of this machine and crop alone that have logged grain and may be used.
    pub tickets: u64,
    /// Those of them that the others do not contradict; the figures are theirs.
    pub trusted: u64,
    /// Loads that were logged.
    pub loads: u64,
    /// Logged wet mass, faults replaced, kg.
    pub logged_kg: f64,
    /// Share of it that some ticket weighed, %.
    pub weighed_pct: Option<f64>,
    /// Weighed over logged mass.
    pub factor: Option<f64>,
    /// Half of the factor's 95 % interval, %; null with fewer than two tickets. Wide enough for both levels where the
    /// factors step.
    pub factor_ci95_pct: Option<f64>,
    /// Whether loads near each other in time stray together; the interval is the wider for it.
    pub stray_together: bool,
    /// Its factor on each day that has tickets, where there are several.
    pub days: Vec<DayLevel>,
    /// Scatter of single loads' factors, one standard deviation, %.
    pub spread_pct: Option<f64>,
    /// Root mean square error of each ticket predicted from the others, %.
    pub leave_one_out_pct: Option<f64>,
    /// Lowest and highest median flow of the loads weighed, kg/s.
    pub flow_kg_s: Option<[f64; 2]>,
    /// Lowest and highest moisture of the loads weighed, tested or else logged, %.
    pub moisture_pct: Option<[f64; 2]>,
    /// Tested less logged moisture, weighted by grain, points: what to add to the log.
    pub moisture_offset_pct: Option<f64>,
    /// First and last day of the loads weighed.
    pub dates: Option<[Date; 2]>,
    /// What these tickets can tell.
    pub known: String,
    /// What they cannot.
    pub unknown: String,
    /// What to know, worst first.
    pub remarks: Vec<AuditRemark>,
}

/// A machine's factor on a day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DayLevel {
    /// The day on which loads began.
    pub date: Date,
    /// Tickets.
    pub tickets: u64,
    /// Weighed over logged mass.
    pub factor: f64,
}

/// Worst first: by code of the worst remark, then by logged grain.
pub(super) fn audit(batch: &Batch, groups: &[(Group, Level)]) -> Vec<MachineAudit> {
    let mut out: Vec<MachineAudit> = groups.iter().map(|(g, l)| one(batch, g, l)).collect();
    out.sort_by(|a, b| {
        let code = |m: &MachineAudit| (m.remarks.is_empty(), m.remarks.first().map(|r| r.code));
        code(a)
            .cmp(&code(b))
            .then(b.logged_kg.total_cmp(&a.logged_kg))
            .then_with(|| (&a.machine, &a.crop).cmp(&(&b.machine, &b.crop)))
    });
    out
}

fn one(batch: &Batch, group: &Group, level: &Level) -> MachineAudit {
    let tickets = (group.weighings.iter())
        .filter(|&&w| batch.weighings[w].usable())
        .count();
    let masses = || {
        (group.loads.iter())
            .map(|&at| &batch.load(at).evidence)
            .filter(|e| e.mass_kg > 0.0)
    };
    let logged: f64 = masses().map(|e| e.mass_kg).sum();
    let weighed: f64 = masses()
        .filter(|e| e.ticket.is_some())
        .map(|e| e.mass_kg)
        .sum();
    let n = level.trusted.len();
    let weighed_loads: Vec<At> = (level.trusted.iter())
        .flat_map(|&w| batch.weighings[w].parts.iter().copied())
        .collect();
    let flows = range(
        weighed_loads
            .iter()
            .filter_map(|&at| Some(batch.load(at).evidence.flow_kg_s?[1])),
    );
    let days = || weighed_loads.iter().filter_map(|&at| batch.load(at).date());
    let (spread, interval) = (level.spread(), level.interval());
    let mut audit = MachineAudit {
        machine: group.machine.to_owned(),
        crop: group.crop.to_owned(),
        tickets: tickets as u64,
        trusted: n as u64,
        loads: masses().filter(|e| e.load.is_some()).count() as u64,
        logged_kg: logged,
        weighed_pct: (logged > 0.0).then(|| 100.0 * weighed / logged),
        factor: level.factor(),
        factor_ci95_pct: interval.map(|i| 100.0 * i.half.exp_m1()),
        stray_together: interval.is_some_and(|i| i.together),
        days: day_levels(batch, level),
        spread_pct: spread.map(|sd| 100.0 * sd),
        leave_one_out_pct: level.leave_one_out(batch).map(|e| 100.0 * e),
        flow_kg_s: flows,
        moisture_pct: range((level.trusted.iter()).filter_map(|&w| moisture_of(batch, w))),
        moisture_offset_pct: offset(batch, level),
        dates: days().min().zip(days().max()).map(|(a, b)| [a, b]),
        known: String::new(),
        unknown: String::new(),
        remarks: Vec::new(),
    };
    (audit.known, audit.unknown) = (known(&audit), unknown(&audit));
    audit.remarks = [
        unlikely_level(&audit),
        no_scale(&audit),
        few_loads(&audit),
        mixed_moisture(batch, level, &audit),
        one_flow(&audit),
        change(batch, level),
        days_apart(batch, level, &audit),
        moisture_offset(&audit),
    ]
    .into_iter()
    .flatten()
    .collect();
    audit.remarks.sort_by_key(|r| r.code);
    audit
}

fn day_levels(batch: &Batch, level: &Level) -> Vec<DayLevel> {
    let date = |w: usize| batch.date(&batch.weighings[w].parts);
    let days: BTreeSet<Date> = level.trusted.iter().filter_map(|&w| date(w)).collect();
    if days.len() < 2 {
        return Vec::new();
    }
    let on = |day: Date| {
        let tickets = (level.trusted.iter()).filter(|&&w| date(w) == Some(day));
        Some(DayLevel {
            date: day,
            tickets: tickets.count() as u64,
            factor: factor_of(batch, level, |w| date(w) == Some(day))?,
        })
    };
    days.into_iter().filter_map(on).collect()
}

/// Lowest and highest.
pub(super) fn range(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    values.filter(|v| v.is_finite()).fold(None, |range, v| {
        Some(range.map_or([v, v], |[low, high]: [f64; 2]| [low.min(v), high.max(v)]))
    })
}

/// Moisture of a ticket's grain: tested, or else logged.
fn moisture_of(batch: &Batch, w: usize) -> Option<f64> {
    let weighing = &batch.weighings[w];
    (weighing.ticket.moisture_pct).or_else(|| batch.logged_moisture(&weighing.parts))
}

fn offset(batch: &Batch, level: &Level) -> Option<f64> {
    let (mut sum, mut mass) = (0.0, 0.0);
    for &w in &level.trusted {
        let weighing = &batch.weighings[w];
        let pair = (weighing.ticket.moisture_pct).zip(batch.logged_moisture(&weighing.parts));
        if let Some(Ok(offset)) = pair.map(|(tested, logged)| moisture::offset(tested, logged)) {
            sum += offset * weighing.logged_kg;
            mass += weighing.logged_kg;
        }
    }
    (mass > 0.0).then(|| sum / mass)
}

/// Whether the flows of the loads weighed are far enough apart to show an error that depends on flow.
fn flows_differ(m: &MachineAudit) -> bool {
    m.flow_kg_s
        .is_some_and(|[low, high]| high >= FLOW_SPREAD * low)
}

fn known(m: &MachineAudit) -> String {
    match (m.trusted, m.factor_ci95_pct) {
        (0, _) => "the pattern of its maps; their total is the sensor's".to_owned(),
        (1, _) | (_, None) => "the level, as that one load has it".to_owned(),
        (_, Some(ci)) => format!("the level, to ± {ci:.1} %"),
    }
}

fn unknown(m: &MachineAudit) -> String {
    let flow = "whether the error depends on flow: the loads weighed were cut at flows less than 1.5 times apart, and a wrong curve can close on every load and still bend the map";
    let few = "which ticket is wrong where they disagree, and whether the error depends on flow: fewer than four can be relied on";
    match m.trusted {
        0 => "how much its grain weighed: ± 10 % is usual for a monitor without tickets, and more happens",
        n if n < FEWEST_LOADS as u64 => few,
        _ if flows_differ(m) => "an error that all tickets share, such as the scale's own",
        _ => flow,
    }
    .to_owned()
}

fn unlikely_level(m: &MachineAudit) -> Option<AuditRemark> {
    let factor = m.factor?;
    if (1.0 / UNLIKELY..=UNLIKELY).contains(&factor) {
        return None;
    }
    let unit = [
        (
            1.0 / POUND_KG,
            "pounds under a heading of kilograms, or kilograms logged as pounds",
        ),
        (
            POUND_KG,
            "kilograms under a heading of pounds, or pounds logged as kilograms",
        ),
        (1000.0, "kilograms under a heading of tonnes"),
        (0.001, "tonnes under a heading of kilograms"),
    ]
    .into_iter()
    .find(|(k, _)| (1.0 / UNIT_FITS..=UNIT_FITS).contains(&(factor / k)))
    .map_or_else(String::new, |(_, what)| {
        format!("; {what} would explain it")
    });
    let fact = if m.trusted == 1 {
        format!("its only ticket weighs {factor:.2} times what was logged")
    } else {
        format!(
            "its {} tickets weigh {factor:.2} times what was logged",
            m.trusted
        )
    };
    Some(AuditRemark::new(
        AuditCode::UnlikelyLevel,
        format!(
            "{fact}, farther off than monitors err even uncalibrated (± 10 %, extension literature){unit}"
        ),
        "check the units of the tickets' weights and of the log's flow, and that each ticket names all its loads",
    ))
}

fn no_scale(m: &MachineAudit) -> Option<AuditRemark> {
    (m.tickets == 0).then(|| {
        AuditRemark::new(
            AuditCode::NoScale,
            format!(
                "{:.1} t were logged in {} and no ticket is of this machine and crop alone",
                m.logged_kg / 1000.0,
                counted(m.loads, "load", "loads")
            ),
            "look for its tickets; next time weigh four loads",
        )
    })
}

fn few_loads(m: &MachineAudit) -> Option<AuditRemark> {
    let few = m.trusted > 0 && (m.trusted as usize) < FEWEST_LOADS;
    few.then(|| {
        AuditRemark::new(
            AuditCode::FewLoads,
            format!(
                "{} can be relied on, and common practice asks for {FEWEST_LOADS} to 8: a wrong one hardly shows among so few",
                counted(m.trusted, "ticket", "tickets")
            ),
            format!("weigh {} more", FEWEST_LOADS - m.trusted as usize),
        )
    })
}

/// `1 ticket`, `2 tickets`.
fn counted(n: u64, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

fn mixed_moisture(batch: &Batch, level: &Level, m: &MachineAudit) -> Option<AuditRemark> {
    let [dry, wet] = m.moisture_pct?;
    if !(wet - dry > MOISTURE_CLASS) {
        return None;
    }
    let middle = 0.5 * (dry + wet);
    let is_wet = |w: usize| moisture_of(batch, w).map(|moisture| moisture >= middle);
    let factors = [false, true].map(|wet| factor_of(batch, level, |w| is_wet(w) == Some(wet)));
    let [Some(of_dry), Some(of_wet)] = factors else {
        return None;
    };
    Some(AuditRemark::new(
        AuditCode::MixedMoisture,
        format!(
            "wet and dry grain together, {dry:.1} to {wet:.1} %: the drier loads have a factor of {of_dry:.3}, the wetter ones {of_wet:.3}, and sensors and elevators treat them unlike"
        ),
        "have some tickets of each, and judge loads only beside their like",
    ))
}

fn factor_of(batch: &Batch, level: &Level, of: impl Fn(usize) -> bool) -> Option<f64> {
    let (weighed, logged) = (level.trusted.iter())
        .filter(|&&w| of(w))
        .map(|&w| &batch.weighings[w])
        .fold((0.0, 0.0), |(a, b), w| {
            (a + w.ticket.net_kg, b + w.logged_kg)
        });
    (logged > 0.0).then(|| weighed / logged)
}

fn one_flow(m: &MachineAudit) -> Option<AuditRemark> {
    let [low, high] = m.flow_kg_s?;
    (m.trusted >= 2 && !flows_differ(m)).then(|| {
        AuditRemark::new(
            AuditCode::OneFlow,
            format!(
                "the loads weighed were cut at middle flows of {low:.1} to {high:.1} kg/s, less than {FLOW_SPREAD} times apart: an error that depends on flow cannot be seen"
            ),
            format!(
                "next season weigh a load at about {} kg/s (slower, or thinner crop)",
                target_flow(low)
            ),
        )
    })
}

/// A flow that is clearly another than the lowest weighed, rounded as one can drive to it, kg/s.
pub(super) fn target_flow(low: f64) -> String {
    let target = low / FLOW_SPREAD;
    if target < 5.0 {
        format!("{target:.1}")
    } else {
        format!("{target:.0}")
    }
}

fn days_apart(batch: &Batch, level: &Level, m: &MachineAudit) -> Option<AuditRemark> {
    let [first, last] = m.dates?;
    let days = first.until(last).map_or(0, |span| span.get_days());
    if days <= DAYS {
        return None;
    }
    let on = |day: Date| {
        factor_of(batch, level, |w| {
            batch.date(&batch.weighings[w].parts) == Some(day)
        })
        .map_or_else(String::new, |k| format!("; factor {k:.3} on {day}"))
    };
    Some(AuditRemark::new(
        AuditCode::DaysApart,
        format!(
            "its tickets are {days} days apart{}{}: crop, moisture and wear changed meanwhile",
            on(first),
            on(last)
        ),
        "weigh a load on each day of harvest, or after each change of field or weather",
    ))
}

fn moisture_offset(m: &MachineAudit) -> Option<AuditRemark> {
    let offset = m.moisture_offset_pct?;
    (offset.abs() > TESTER_POINTS).then(|| {
        AuditRemark::new(
            AuditCode::MoistureOffset,
            format!(
                "the tester found {:.1} points {} than was logged: an offset of {offset:+.1}",
                offset.abs(),
                if offset > 0.0 { "more" } else { "less" }
            ),
            format!("maps are made with it; for the next season set {offset:+.1} in the monitor"),
        )
    })
}
