//! What there is to say of a ticket.

use super::join::{Batch, Group, Weighing};
use super::level::Level;
use super::slip::{MOST_CHANCE, Slip, SlipKind};
use super::{AuditCode, AuditRemark, LEAST_LOAD_KG, TicketAudit, is_beyond};
use crate::read::TicketUse;
use crate::stats::median;

/// A load is uneven beyond this factor from the machine's median (our choice; "alike in size" is common practice).
const UNEVEN: f64 = 2.0;
/// Testers are good for 0.7–0.8 point (NIST Handbook 44, from memory); an offset that differs by more than this from
/// the machine's usual one is no tester's doing, points (our choice).
const ODD_OFFSET: f64 = 2.0;

/// A ticket with its surroundings.
pub(super) struct Context<'a, 'b> {
    pub batch: &'a Batch<'b>,
    /// Its machine in its crop, where it is of one.
    pub group: Option<(&'a Group<'b>, &'a Level)>,
    /// Its index in the batch.
    pub w: usize,
    /// Its figures.
    pub audit: &'a TicketAudit,
}

/// Everything there is to say, worst first.
pub(super) fn remarks(c: &Context) -> Vec<AuditRemark> {
    let mut out: Vec<AuditRemark> = if c.weighing().comparable() {
        [
            contradicted(c),
            missing_load(c),
            off(c),
            odd_moisture(c),
            small(c),
            opening(c),
            uneven(c),
            not_used(c),
        ]
        .into_iter()
        .flatten()
        .collect()
    } else {
        nothing_logged(c).into_iter().collect()
    };
    out.sort_by_key(|r| r.code);
    out
}

impl<'a, 'b> Context<'a, 'b> {
    fn weighing(&self) -> &'a Weighing<'b> {
        &self.batch.weighings[self.w]
    }

    /// Trusted tickets of its machine, itself left out.
    fn others(&self) -> Vec<usize> {
        self.group.map_or_else(Vec::new, |(_, level)| {
            let trusted = level.trusted.iter().copied();
            trusted.filter(|&w| w != self.w).collect()
        })
    }

    fn is_outlier(&self) -> bool {
        self.group
            .is_some_and(|(_, level)| level.outliers.contains(&self.w))
    }
}

/// A ticket against what the others lead to expect of it.
fn difference(c: &Context) -> Option<String> {
    let expected = c.audit.expected_kg?;
    let weighed = c.audit.weighed_kg;
    let ratio = weighed / expected;
    let than = if (0.5..=1.5).contains(&ratio) {
        let side = if ratio > 1.0 { "more" } else { "less" };
        format!("{:.1} % {side} than", 100.0 * (ratio - 1.0).abs())
    } else {
        format!("{ratio:.2} times")
    };
    let others = match (c.group, c.others().len()) {
        (None, _) => "its machines' own tickets lead".to_owned(),
        (Some((g, _)), 1) => format!("the only other ticket of {} in {} leads", g.machine, g.crop),
        (Some((g, _)), n) => format!("the {n} other tickets of {} in {} lead", g.machine, g.crop),
    };
    Some(format!(
        "{weighed:.0} kg are {than} the {expected:.0} kg that {others} to expect"
    ))
}

fn contradicted(c: &Context) -> Option<AuditRemark> {
    c.group.filter(|_| c.is_outlier())?;
    let fact = difference(c)?;
    Some(match &c.audit.slip {
        Some(slip) => AuditRemark::new(
            code_of(slip.kind),
            format!("{fact}. {}", sentence(slip)),
            action_of(slip.kind),
        ),
        None => {
            let expected = c.audit.expected_kg?;
            let near = c.group?.1.tolerance().exp_m1();
            let fits = format!(
                "; within {:.1} % of that, from {:.0} to {:.0} kg, it would agree with them",
                100.0 * near,
                expected * (1.0 - near),
                expected * (1.0 + near)
            );
            let which = match &c.audit.weak_slip {
                _ if c.others().len() == 1 => {
                    "; of the two this one is farther from what was logged, but either may be wrong"
                        .to_owned()
                }
                Some(weak) => format!(
                    ". {}; weak, because such a slip would mend {:.0} % of weights so far off",
                    sentence(weak),
                    100.0 * weak.chance
                ),
                None => "; no simple slip of the pen explains it".to_owned(),
            };
            AuditRemark::new(
                AuditCode::DoubtfulTicket,
                format!("{fact}{fits}{which}"),
                "look at the paper: its weight, whose load it was, and whether all of it was this load's; correct the row, or set use = no on it (in a column `use`, to be added where the file has none)",
            )
        }
    })
}

fn code_of(kind: SlipKind) -> AuditCode {
    match kind {
        SlipKind::Swapped => AuditCode::SwappedTickets,
        SlipKind::OneLoad | SlipKind::TwoLoads | SlipKind::OtherLoad => AuditCode::SplitLoad,
        _ => AuditCode::MistypedTicket,
    }
}

fn action_of(kind: SlipKind) -> &'static str {
    match kind {
        SlipKind::Swapped => {
            "compare both papers with their loads, and exchange the weights or the loads"
        }
        SlipKind::OneLoad => {
            "look whether the other loads had papers of their own; leave on this row only what it weighed"
        }
        SlipKind::TwoLoads => {
            "ask whether both went over the scale together; then name both loads on the row, joined by ;"
        }
        SlipKind::OtherLoad => "look at the time on the paper, and correct the row's load",
        SlipKind::Gross => "look for the empty weight on the paper, and enter full less empty",
        _ => "compare the number with the paper, and correct the row if it is so",
    }
}

/// The slip as a sentence, with how much it is worth.
fn sentence(slip: &Slip) -> String {
    let mut text = slip.text.clone();
    if let Some(first) = text.get(..1) {
        let upper = first.to_uppercase();
        text.replace_range(..1, &upper);
    }
    let left = if slip.kind == SlipKind::Gross {
        String::new()
    } else {
        format!(", to within {:.1} %", slip.off_expected_pct.abs())
    };
    let worth = if slip.chance > MOST_CHANCE && slip.kind != SlipKind::Gross {
        String::new() // said by whoever calls it weak
    } else if slip.chance > 0.1 {
        format!(
            "; by luck such a slip would fit one in {:.0} differences of about this size",
            (1.0 / slip.chance).max(2.0)
        )
    } else {
        String::new()
    };
    format!("{}{left}{worth}", text)
}

fn missing_load(c: &Context) -> Option<AuditRemark> {
    let weighing = c.weighing();
    let logged = |name: &String| {
        let of = |at: &super::join::At| c.batch.load(*at).evidence.load.as_ref();
        weighing.parts.iter().any(|at| of(at) == Some(name))
    };
    let missing: Vec<&str> = (weighing.ticket.loads.iter())
        .filter(|name| !logged(name))
        .map(String::as_str)
        .collect();
    (!missing.is_empty()).then(|| {
        AuditRemark::new(
            AuditCode::UnknownLoad,
            format!(
                "it also names {}, which no log of the job has: the weight covers more grain than was logged for it",
                missing.join(", ")
            ),
            AuditCode::UnknownLoad.usual_action(),
        )
    })
}

fn nothing_logged(c: &Context) -> Option<AuditRemark> {
    let weighing = c.weighing();
    let ticket = weighing.ticket;
    let windowed = ticket.start.is_some() || ticket.end.is_some();
    let clock = (weighing.fields.iter()).any(|&f| c.batch.fields[f].has_clock);
    Some(match (weighing.parts.is_empty(), windowed) {
        (true, true) if !clock => AuditRemark::new(
            AuditCode::NoClock,
            "it has a time window, but the log's rows have no date and time to hold it against",
            "name the load on the ticket, if the log has loads; otherwise the machine's clock must be in the export",
        ),
        (true, true) => AuditRemark::new(
            AuditCode::NoLoggedGrain,
            "no row of the log falls into its time window",
            "check day, hour and time zone of start and end, and the machine's name",
        ),
        (true, false) if !ticket.loads.is_empty() => AuditRemark::new(
            AuditCode::UnknownLoad,
            format!(
                "it names load {}, which no log of the job has",
                ticket.loads.join(", ")
            ),
            AuditCode::UnknownLoad.usual_action(),
        ),
        (true, false) => AuditRemark::new(
            AuditCode::NoLoggedGrain,
            "it names neither load nor time, and the log has no grain outside loads for it",
            "name its load",
        ),
        (false, _) if !(weighing.logged_kg > 0.0) => AuditRemark::new(
            AuditCode::NoLoggedGrain,
            format!(
                "it weighed {:.0} kg, but the log has no grain of that load",
                ticket.net_kg
            ),
            "check the load's name; if it is right, the sensor or the log was off",
        ),
        (false, _) => AuditRemark::new(
            AuditCode::BadTicket,
            "its weight is nought",
            AuditCode::BadTicket.usual_action(),
        ),
    })
}

fn off(c: &Context) -> Option<AuditRemark> {
    let off = c.audit.off_expected_pct?;
    let scale = 100.0 * c.audit.scale_tolerance_kg / c.audit.weighed_kg;
    // Two sds of what the ends of its loads leave, as a tolerance is two.
    let beyond = is_beyond(off) && off.abs() > scale.hypot(200.0 * c.weighing().edges());
    // Where the machine's factors step, only those of its own side say what is expected of it; the step is said of the machine.
    let agrees = (c.audit.off_own_side_pct).is_some_and(|side| !is_beyond(side));
    let vouched = agrees && c.audit.exchange.is_none();
    if c.is_outlier() || !beyond || vouched || c.weighing().ticket.usage == TicketUse::No {
        return None;
    }
    let fact = difference(c)?;
    let spread = c.group.and_then(|(_, level)| level.spread());
    let usual = match (spread, c.others().len()) {
        (_, 0) => "; the ticket covers several machines, so either may be off".to_owned(),
        (_, 1) => "; there are two tickets, so either may be off".to_owned(),
        (Some(sd), _) => format!(
            "; loads of this machine are off by about {:.1} % by themselves, so it may be the sensor as well as the ticket",
            100.0 * sd
        ),
        (None, _) => String::new(),
    };
    let side = (c.audit.off_own_side_pct.filter(|side| !is_beyond(*side))).map_or_else(
        String::new,
        |side| format!("; by the tickets on its own side of the machine's step it is {side:+.1} % off, so the paper is probably right"),
    );
    let exchange = (c.audit.exchange.as_ref())
        .map_or_else(String::new, |e| format!(". {}", e.text(&c.audit.ticket)));
    Some(AuditRemark::new(
        AuditCode::OffAfterCorrection,
        format!("{fact}{usual}{side}{exchange}"),
        "compare the number with the paper; if it stands, ask what was different in that load (flow, moisture, speed, a plugged sensor)",
    ))
}

fn odd_moisture(c: &Context) -> Option<AuditRemark> {
    let own = c.audit.moisture_offset_pct?;
    let offsets: Vec<f64> = (c.others().into_iter())
        .filter_map(|w| {
            let other = &c.batch.weighings[w];
            Some(other.ticket.moisture_pct? - c.batch.logged_moisture(&other.parts)?)
        })
        .collect();
    let usual = median(&offsets).filter(|_| offsets.len() >= 2)?;
    ((own - usual).abs() > ODD_OFFSET).then(|| {
        AuditRemark::new(
            AuditCode::OddMoisture,
            format!(
                "tested {:.1} %, logged {:.1} %: an offset of {own:+.1} points, where the machine's other tickets have {usual:+.1}",
                c.audit.moisture_tested_pct.unwrap_or(f64::NAN),
                c.audit.moisture_logged_pct.unwrap_or(f64::NAN)
            ),
            "compare the moisture with the paper; a sample from one corner of the wagon does the same",
        )
    })
}

fn small(c: &Context) -> Option<AuditRemark> {
    let weighed = c.audit.weighed_kg;
    (weighed < LEAST_LOAD_KG && !c.is_outlier()).then(|| {
        AuditRemark::new(
            AuditCode::SmallLoad,
            format!(
                "{weighed:.0} kg is less than {LEAST_LOAD_KG:.0} kg (3000 lb): two weighings of a vehicle on a certified scale may be off by {:.0} kg together, {:.1} % of it, and grain left in tank or auger counts for more",
                c.audit.scale_tolerance_kg,
                100.0 * c.audit.scale_tolerance_kg / weighed
            ),
            "nothing, if there are others: it counts by its weight; next time weigh such a rest together with the load before it",
        )
    })
}

fn opening(c: &Context) -> Option<AuditRemark> {
    let share = c.batch.opening_share(&c.weighing().parts)?;
    Some(AuditRemark::new(
        AuditCode::OpeningLoad,
        format!(
            "{:.0} % of its grain was cut across the field's main direction, while the field was opened: stops, turns and part widths make a sensor read unlike the rest of the field",
            100.0 * share
        ),
        "nothing, if there are others; next time weigh loads from full passes",
    ))
}

fn uneven(c: &Context) -> Option<AuditRemark> {
    let each = |w: usize| {
        let weighing = &c.batch.weighings[w];
        weighing.ticket.net_kg / weighing.parts.len() as f64
    };
    let others: Vec<f64> = c.others().into_iter().map(each).collect();
    let usual = median(&others).filter(|_| others.len() >= 2)?;
    let ratio = each(c.w) / usual;
    let uneven = !(1.0 / UNEVEN..=UNEVEN).contains(&ratio);
    (uneven && !c.is_outlier() && c.audit.weighed_kg >= LEAST_LOAD_KG).then(|| {
        AuditRemark::new(
            AuditCode::UnevenLoad,
            format!(
                "a load of {:.0} kg among loads of about {usual:.0} kg: an error of starting and emptying weighs differently in it",
                each(c.w)
            ),
            "nothing, if there are others; weigh loads alike in size",
        )
    })
}

fn not_used(c: &Context) -> Option<AuditRemark> {
    (c.weighing().ticket.usage == TicketUse::No).then(|| {
        AuditRemark::new(
            AuditCode::NotUsed,
            "its row says use = no: it has no say in any map",
            "nothing, if that is meant",
        )
    })
}
