//! What the user must know about a field, gathered from all stages.

use crate::checks::Checked;
use crate::delay::Disagreement;
use crate::pool::{MachineDecision, ScaleDecision};
use crate::prepare::Prepared;
use crate::summary::{DelayBasis, Remark, Summary};

/// Wider apart than this, the header's width as entered is doubted.
const WIDTH_APART: f64 = 0.05;

pub(super) fn collect(
    field: &Prepared,
    machines: &[MachineDecision],
    scale: &ScaleDecision,
    checked: &Checked,
    summary: &Summary,
) -> Vec<Remark> {
    let mut out = scale.warnings.clone();
    for machine in machines {
        out.extend(delay(machine));
    }
    out.extend(header_width(field));
    out.extend(checked.remarks.iter().cloned());
    out.extend(no_scale(summary));
    out.extend(no_moisture(field, summary));
    out.extend(ramps(machines));
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
            (true, _) => "nothing is moved".to_owned(),
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
        let what = if d.value == 0.0 {
            "no delay is removed".to_owned()
        } else {
            format!(
                "{:.1} s is taken, from how flow rises at its pass entries",
                d.value
            )
        };
        out.push(Remark::new(
            "delay-refused",
            format!(
                "machine {name}: neighbouring passes do not tell its transport delay; {what}. Give delay = \"… s\" for the machine if you know it, or add fields of the same machine and crop to the job"
            ),
        ));
    }
    if let Some(Disagreement { by_entries, delay }) = m.delay.disagreement {
        out.push(Remark::new(
            "delay-disagrees",
            format!(
                "machine {name}: neighbouring passes say {delay:.1} s, but flow at pass entries rises as if it were {by_entries:.1} s; look at the map for combs between passes"
            ),
        ));
    }
    out
}

fn header_width(field: &Prepared) -> Option<Remark> {
    let check = field.width.spacing.header_width_check.as_ref()?;
    let ratio = check.spacing / check.entered;
    ((ratio - 1.0).abs() > WIDTH_APART).then(|| {
        Remark::new(
            "header-width",
            format!(
                "the header is entered as {:.2} m, but passes lie {:.2} m apart ({} pairs of passes); if that is its cut width, yields computed from the entered width are off by {:+.1} %",
                check.entered,
                check.spacing,
                check.pass_pairs,
                100.0 * (ratio - 1.0)
            ),
        )
    })
}

fn no_scale(summary: &Summary) -> Option<Remark> {
    let unweighed = summary
        .loads
        .iter()
        .filter(|l| l.basis == crate::summary::FactorBasis::None)
        .count();
    (unweighed > 0 && unweighed == summary.loads.len()).then(|| {
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
