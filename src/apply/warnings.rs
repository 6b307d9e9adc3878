//! What the user must know about a field, gathered from all stages.

use super::ground::Ground;
use crate::checks::Checked;
use crate::delay::{Decision, Disagreement, Fallback};
use crate::job::Job;
use crate::loads::Told;
use crate::moisture;
use crate::pool::{MachineDecision, ScaleDecision};
use crate::prepare::Prepared;
use crate::summary::{DelayBasis, Remark, Summary};

/// Wider apart than this, the header's width as entered is doubted.
const WIDTH_APART: f64 = 0.05;

pub(super) fn collect(
    job: &Job,
    field: &Prepared,
    machines: &[MachineDecision],
    scale: &ScaleDecision,
    ground: &Ground,
    checked: &Checked,
    summary: &Summary,
) -> Vec<Remark> {
    let mut out = scale.warnings.clone();
    for machine in machines {
        out.extend(delay(machine));
    }
    out.extend(header_width(field));
    out.extend(checked.remarks.iter().cloned());
    out.extend(no_scale(scale, summary));
    out.extend(no_moisture(field, summary));
    out.extend(constant_moisture(job, field));
    out.extend(ramps(machines));
    out.extend(unlogged(field, ground));
    if field.timeline.restored > 0 {
        out.push(Remark::new(
            "order-restored",
            format!(
                "the rows of {} log(s) do not stand in the order of their clock; they were put into it",
                field.timeline.restored
            ),
        ));
    }
    if field.timeline.contradicted > 0 {
        out.push(Remark::new(
            "order-unknown",
            format!(
                "the clock of {} log(s) contradicts the order of the rows, and in the clock's order the machine would not drive a shorter way: the order of the rows is taken",
                field.timeline.contradicted
            ),
        ));
    }
    if field.timeline.backward_steps > 0 {
        out.push(Remark::new(
            "clock-steps-back",
            format!(
                "time steps back or stands still at {} rows; their order in the log is taken, and their interval",
                field.timeline.backward_steps
            ),
        ));
    }
    out.extend(field.input.warnings.iter().cloned());
    out.dedup();
    out
}

fn delay(m: &MachineDecision) -> Vec<Remark> {
    let mut out = Vec::new();
    let d = &m.delay.delay;
    let name = &m.machine;
    if m.delay.already_shifted {
        let what = match (m.delay.refused, d.basis) {
            (true, _) if d.value == 0.0 => "nothing is moved".to_owned(),
            (true, _) => format!(
                "about {:.1} s seems to be left over, and is undone",
                d.value
            ),
            (_, DelayBasis::Fixed) => format!(
                "yet the job fixes its delay at {:.1} s: it is about to be corrected twice",
                d.value
            ),
            _ => format!("{:.1} s is what was left over, and is undone", d.value),
        };
        out.push(Remark::new(
            "already-shifted",
            format!("machine {name}: this log looks as if its transport delay had been removed before it was written; {what}"),
        ));
    }
    if m.delay.refused {
        out.push(refused(name, &m.delay));
    }
    if let Some(a) = m.delay.antenna {
        out.push(Remark::new(
            "antenna-offset",
            format!(
                "machine {name}: over {} fields cut at different speeds, delays differ as if the antenna stood {:.1} m (± {:.1} m) {} the cutter bar than the job says; measure it and give antenna_behind_cutter_bar. Nothing is moved by it",
                a.fields,
                a.behind_m.abs(),
                a.half_width_m,
                if a.behind_m > 0.0 { "farther behind" } else { "farther ahead of" }
            ),
        ));
    }
    if let Some(Disagreement { by_entries, delay }) = m.delay.disagreement {
        out.push(Remark::new(
            "delay-disagrees",
            format!(
                "machine {name}: neighbouring passes say {delay:.1} s, but its passes begin and end as if it were {by_entries:.1} s; look at the map for combs between passes"
            ),
        ));
    }
    out
}

/// Says what is taken where passes do not tell the delay to within half a second, and why.
fn refused(name: &str, delay: &Decision) -> Remark {
    let d = &delay.delay;
    let what = match (d.ci95_low.zip(d.ci95_high), d.value == 0.0) {
        (None, true) => "no delay is removed".to_owned(),
        (None, false) => format!("{:.1} s is taken", d.value),
        (Some((low, high)), _) => format!(
            "{:.1} s is taken, which is known to ± {:.1} s ({})",
            d.value,
            0.5 * (high - low),
            match delay.fallback {
                Some(Fallback::Entries) =>
                    "from how the machine fills and empties at the ends of its passes",
                _ => "neighbouring passes tell no more",
            }
        ),
    };
    Remark::new(
        "delay-refused",
        format!(
            "machine {name}: neighbouring passes do not tell its transport delay to half a second; {what}. Give delay = \"… s\" for the machine if you know it, or add fields of the same machine and crop to the job"
        ),
    )
}

fn unlogged(field: &Prepared, ground: &Ground) -> Vec<Remark> {
    let log = &field.input.log;
    let tracks = field.timeline.tracks.iter().zip(&ground.unlogged.seconds);
    tracks
        .filter_map(|(track, seconds)| {
            let missing_behind = (*seconds)?;
            let how_sure = match missing_behind.told {
                Told::ByClock => "as sure as its delay".to_owned(),
                Told::ByGrain { error } => format!("± {:.1} s", 1.96 * error),
            };
            let (mut logged, mut missing) = (0.0, 0.0);
            for &i in &track.rows {
                let mass = field.faults.mass[i as usize];
                logged += if mass.is_finite() { mass } else { 0.0 };
                missing += ground.unlogged.kg[i as usize];
            }
            Some(Remark::new(
                "grain-unlogged",
                format!(
                    "machine {}: grain of the last {:.1} s ({how_sure}) of its passes is not in the log, {:.1} % of all: the log stops before the machine is empty. Its loads count it with their logged grain, so that what was weighed is not spread over the rest of the field; it stands under unplaced. Let the log run on for 20 s with the header up",
                    log.machines[track.machine as usize],
                    missing_behind.seconds,
                    100.0 * missing / (logged + missing),
                ),
            ))
        })
        .collect()
}

fn header_width(field: &Prepared) -> Option<Remark> {
    let check = field.width.spacing.header_width_check.as_ref()?;
    let ratio = check.spacing / check.entered;
    if !((ratio - 1.0).abs() > WIDTH_APART) {
        return None;
    }
    let seen = format!(
        "the header is entered as {:.2} m, but passes lie {:.2} m apart ({} pairs of passes)",
        check.entered, check.spacing, check.pass_pairs
    );
    // Nobody leaves strips standing, so a gap is a header entered too narrow, and all ground is counted too small. An
    // overlap may be real, and is taken off in any case; only where nothing was cut beside before does the width as
    // entered count.
    let text = if ratio > 1.0 {
        format!(
            "{seen}; if it cuts that width, yields per area are about {:.0} % too high: correct header_width",
            100.0 * (ratio - 1.0)
        )
    } else {
        format!(
            "{seen}; {:.1} m are taken for overlap. If there is none, correct header_width: yields per area are about {:.0} % too low where no pass beside was cut before (first passes, headlands, around point rows) and right elsewhere",
            check.entered - check.spacing,
            100.0 * (1.0 - ratio)
        )
    };
    Some(Remark::new("header-width", text))
}

fn no_scale(scale: &ScaleDecision, summary: &Summary) -> Option<Remark> {
    (!scale.has_level && scale.tickets_used == 0 && !summary.loads.is_empty()).then(|| {
        Remark::new(
            "no-scale",
            "no ticket weighs this machine's grain: the map shows the pattern, its level is the sensor's own (a poorly calibrated monitor is off by 10 % or more)",
        )
    })
}

fn no_moisture(field: &Prepared, summary: &Summary) -> Option<Remark> {
    summary.grain.moisture_pct.is_none().then(|| {
        Remark::new(
            "no-moisture",
            format!(
                "neither log nor tickets say how moist the grain was: yields are taken to be at {} % already; give moisture in [log] or on the tickets",
                field.season.crop.reference_moisture
            ),
        )
    })
}

/// A log whose moisture never changes: it was entered, or it is what the flow was brought to.
fn constant_moisture(job: &Job, field: &Prepared) -> Option<Remark> {
    let log = &field.input.log;
    let value = moisture::constant(&log.moisture)?;
    // The job's own value stands in files that have none; that is no sign of anything.
    if job.log.moisture == Some(value) {
        return None;
    }
    let reference = field.season.crop.reference_moisture;
    let what = if (value - reference).abs() < 0.05 {
        "which is the reference moisture: its flow has probably been brought to it already"
            .to_owned()
    } else {
        format!(
            "as grain never does: it was entered by hand, or the flow has been brought to it already (yields are corrected from it to {reference} %)"
        )
    };
    Some(Remark::new(
        "moisture-already-corrected",
        format!(
            "moisture reads {value} % in every row, {what}; export the wet flow and the measured moisture if the display can"
        ),
    ))
}

fn ramps(machines: &[MachineDecision]) -> Vec<Remark> {
    machines
        .iter()
        .filter(|m| !(m.ramps.entry.from_data && m.ramps.exit.from_data))
        .map(|m| {
            Remark::new(
                "ramp-default",
                format!(
                    "machine {}: its passes do not tell how long it fills and empties; {:.0} s at entry and {:.0} s at exit are taken",
                    m.machine, m.ramps.entry.seconds, m.ramps.exit.seconds
                ),
            )
        })
        .collect()
}
