//! What there is to say of a machine whose factors step or slide.

use super::join::Batch;
use super::level::{Level, half};
use super::{AuditCode, AuditRemark};
use crate::calibrate::course::{Course, Step, Timed, remains};

/// A remark where the factors of a machine's trusted tickets change with time.
pub(super) fn change(batch: &Batch, level: &Level) -> Option<AuditRemark> {
    match level.course {
        Course::Steady => None,
        Course::Slide { early, late } => Some(AuditRemark::new(
            AuditCode::Drift,
            format!(
                "its factors {} with time, from {:.3} in the first third of its tickets to {:.3} in the last, little by little",
                if late > early { "rise" } else { "fall" },
                early.exp(),
                late.exp()
            ),
            "keep a ticket for early, middle and late loads; look for what builds up or wears (dirt on the sensor, moisture through the day); tickets that are off with it need not be wrong",
        )),
        Course::Step(step) => Some(stepped(batch, level, &step)),
    }
}

fn stepped(batch: &Batch, level: &Level, step: &Step) -> AuditRemark {
    let timed = &level.timed;
    let (last, first) = (&timed[step.at - 1], &timed[step.at]);
    let name = |t: &Timed| {
        let weighing = &batch.weighings[t.w];
        let loads = weighing.ticket.loads.join(" + ");
        let when = batch.begins(&weighing.parts);
        let when = when.map_or_else(String::new, |b| b.strftime(", %-d %b %H:%M").to_string());
        if loads.is_empty() {
            format!("ticket {}{when}", weighing.ticket.id)
        } else {
            format!("load {loads} (ticket {}{when})", weighing.ticket.id)
        }
    };
    let side = |side: usize| {
        let logs: Vec<f64> = (level.on_side(side).iter()).map(|t| t.log_factor).collect();
        let half = half(&logs).map_or_else(String::new, |h| format!(" ± {:.1} %", 100.0 * h));
        format!(
            "{:.3}{half} over {} tickets",
            step.levels[side].exp(),
            logs.len()
        )
    };
    let mut text = format!(
        "its factors {} once: {} up to {}, {} from {} on",
        if step.levels[1] > step.levels[0] {
            "rise"
        } else {
            "fall"
        },
        side(0),
        name(last),
        side(1),
        name(first)
    );
    if step.nearly != (step.at, step.at) {
        let id = |k: usize| &batch.weighings[timed[k].w].ticket.id;
        text += &format!(
            "; it may as well be anywhere between {} and {}",
            id(step.nearly.0 - 1),
            id(step.nearly.1)
        );
    }
    if step.or_slide {
        text += "; a slow slide would fit about as well";
    }
    if timed.iter().any(|t| t.opening) {
        text += if remains(timed, step, |t| !t.opening) {
            "; tickets of loads that did not open the field show it too"
        } else {
            "; but for the loads that opened the field it could be chance"
        };
    }
    let scales = [0, 1].map(|side| one_scale(batch, level.on_side(side)));
    if let [Some(before), Some(after)] = scales
        && before != after
    {
        text += &format!("; the scale changes there too, from {before} to {after}");
    }
    AuditRemark::new(
        AuditCode::LevelStep,
        text,
        "ask what was done to the machine then (calibration, cleaning, a part or a setting), and whether crop and scale stayed the same; tickets that are off with it need not be wrong",
    )
}

/// The scale of some tickets, where it is one and named.
fn one_scale<'a>(batch: &Batch<'a>, timed: &[Timed]) -> Option<&'a str> {
    let mut scales = (timed.iter()).map(|t| batch.weighings[t.w].ticket.scale.as_deref());
    let first = scales.next()??;
    scales.all(|s| s == Some(first)).then_some(first)
}
