//! What the machine did: reasons that need no statistics.

use super::input::CheckInput;
use super::params::CheckedParams;
use super::pass_rows::PassRows;
use crate::log::{Reason, Verdicts};
use crate::passes::Activity;

/// Sets aside whatever the machine's work itself explains.
pub(super) fn physical(
    input: &CheckInput,
    rows: &PassRows,
    params: &CheckedParams,
    verdicts: &mut Verdicts,
) {
    for i in 0..input.rows() {
        if let Some(reason) = of_row(input, i, params) {
            verdicts.set_aside(i, reason);
        }
    }
    for rows in rows.iter().filter(|rows| !rows.is_empty()) {
        if !has_interior(input, rows, params) {
            for &i in rows {
                verdicts.set_aside(i as usize, Reason::ShortPass);
            }
        }
    }
}

/// The first reason, in their order, that this row alone gives.
fn of_row(input: &CheckInput, i: usize, params: &CheckedParams) -> Option<Reason> {
    let ramp = input.ramps[input.machine[i] as usize];
    let fault = input.fault[i].map(|f| f.reason());
    let activity = input.activity[i];
    let yields = input.yield_kg_ha[i];
    let too_narrow = input.narrow[i]
        || params
            .fixed
            .cut_share
            .is_some_and(|least| input.cut_share[i] < least);
    let reasons = [
        (
            activity == Activity::NoPosition || !(input.x[i] + input.y[i]).is_finite(),
            Reason::BadFix,
        ),
        (activity == Activity::Jump, Reason::PositionJump),
        (fault == Some(Reason::DuplicateRow), Reason::DuplicateRow),
        (
            activity == Activity::Idle || input.pass[i].is_none(),
            Reason::NotWorking,
        ),
        (!input.inside[i], Reason::OutsideBoundary),
        (input.since_entry[i] < ramp.entry, Reason::PassEntry),
        (input.until_exit[i] < ramp.exit, Reason::PassExit),
        (activity == Activity::Turning, Reason::Turning),
        (too_narrow, Reason::NarrowCut),
        // Without a yield there is nothing to map; zero is no yield that a logarithm or a ratio can be taken of.
        (
            input.no_flow[i] || yields.is_nan() || yields <= 0.0,
            Reason::NoFlow,
        ),
        (fault == Some(Reason::FlowSpike), Reason::FlowSpike),
        (fault == Some(Reason::StuckSensor), Reason::StuckSensor),
    ];
    reasons
        .into_iter()
        .find_map(|(applies, reason)| applies.then_some(reason))
}

/// Whether enough of a pass lies between its ramps.
fn has_interior(input: &CheckInput, rows: &[u32], params: &CheckedParams) -> bool {
    let (mut seconds, mut count) = (0.0, 0.0);
    for &i in rows {
        let i = i as usize;
        let ramp = input.ramps[input.machine[i] as usize];
        if input.since_entry[i] < ramp.entry || input.until_exit[i] < ramp.exit {
            continue;
        }
        count += 1.0;
        seconds += if input.interval[i].is_nan() {
            0.0
        } else {
            input.interval[i]
        };
    }
    seconds >= params.interior_seconds && count >= params.interior_rows
}
