//! One row at a time: which reason, in which order, and what a job can fix.

use crate::checks_made::{Cutting, Field, smooth};
use fanmill::checks::{CheckParams, apply};
use fanmill::faults::FaultKind;
use fanmill::job::LimitSettings;
use fanmill::log::Reason;
use fanmill::passes::Activity;

fn field() -> Field {
    Field::cut(
        Cutting {
            passes: 6,
            length: 400.0,
            noise: 0.05,
            ..Cutting::default()
        },
        7,
        smooth,
    )
}

#[test]
fn each_reason_is_given_and_the_first_counts() {
    type Spoil = fn(&mut Field, usize);
    let cases: [(Spoil, Reason); 14] = [
        (|f, i| f.activity[i] = Activity::NoPosition, Reason::BadFix),
        (|f, i| f.x[i] = f64::NAN, Reason::BadFix),
        (|f, i| f.activity[i] = Activity::Jump, Reason::PositionJump),
        (
            |f, i| f.fault[i] = Some(FaultKind::Duplicate),
            Reason::DuplicateRow,
        ),
        (|f, i| f.activity[i] = Activity::Idle, Reason::NotWorking),
        (|f, i| f.inside[i] = false, Reason::OutsideBoundary),
        (|f, i| f.activity[i] = Activity::Turning, Reason::Turning),
        (|f, i| f.narrow[i] = true, Reason::NarrowCut),
        (|f, i| f.no_flow[i] = true, Reason::NoFlow),
        (|f, i| f.yield_kg_ha[i] = f64::NAN, Reason::NoFlow),
        (
            |f, i| f.fault[i] = Some(FaultKind::Spike),
            Reason::FlowSpike,
        ),
        (
            |f, i| f.fault[i] = Some(FaultKind::Stuck),
            Reason::StuckSensor,
        ),
        (|f, i| f.moisture[i] = 60.0, Reason::MoistureLimits),
        (|f, i| f.yield_kg_ha[i] = 26_000.0, Reason::YieldLimits),
    ];
    for (spoil, reason) in cases {
        let mut f = field();
        spoil(&mut f, 100);
        let checked = f.check(CheckParams::default());
        assert_eq!(checked.verdicts.reason(100), Some(reason));
        assert_eq!(checked.stats.set_aside[&reason], 1, "{reason}");
        // Whatever comes later does not matter.
        f.yield_kg_ha[100] = 1e9;
        f.speed[100] = 90.0;
        let again = f.check(CheckParams::default()).verdicts.reason(100);
        assert!(
            again.is_some_and(|r| r <= reason),
            "{reason} became {again:?}"
        );
    }
}

#[test]
fn ramps_and_short_passes() {
    let mut f = field();
    let checked = f.check(CheckParams::default());
    // Entry 4 s: the first four rows of each of six passes (middles at 0.5 … 3.5 s); exit 3 s: the last three.
    assert_eq!(
        (
            checked.stats.set_aside[&Reason::PassEntry],
            checked.stats.set_aside[&Reason::PassExit]
        ),
        (24, 18)
    );
    // Ramps of 100 s each leave nothing of a pass of 200 s.
    f.ramps[0].entry = 100.0;
    f.ramps[0].exit = 100.0;
    let checked = f.check(CheckParams::default());
    assert_eq!(checked.stats.set_aside[&Reason::ShortPass], f.len());
    assert_eq!(checked.remarks[0].code, "many-set-aside");
}

#[test]
fn speed_limits_and_abrupt_changes() {
    let mut f = field();
    f.speed[50] = 0.1; // below the absolute bound: it goes, and so do the changes to and from it
    for v in &mut f.speed[120..] {
        *v *= 0.55; // a lower gear from here on: one change, no wrong speeds
    }
    let checked = f.check(CheckParams::default());
    let reasons: Vec<_> = (48..53)
        .chain(117..123)
        .map(|i| checked.verdicts.reason(i))
        .collect();
    let (slow, abrupt) = (Some(Reason::SpeedLimits), Some(Reason::AbruptSpeed));
    assert_eq!(reasons[..5], [None, abrupt, slow, abrupt, None]);
    assert_eq!(reasons[5..], [None, None, abrupt, abrupt, None, None]);
    assert!(checked.limits.abrupt_change >= 0.3 && checked.limits.speed.0 >= 0.3);
}

#[test]
fn what_the_job_fixes_wins() {
    let f = field();
    let fixed = LimitSettings {
        speed: Some((0.0, 2.0)),
        yield_kg_ha: Some((8_000.0, 9_000.0)),
        moisture: Some((17.0, 19.0)),
        cut_share: Some(0.5),
    };
    let checked = f.check(CheckParams {
        fixed,
        ..CheckParams::default()
    });
    assert_eq!(
        (checked.limits.speed, checked.limits.moisture),
        ((0.0, 2.0), (17.0, 19.0))
    );
    assert_eq!(
        (checked.limits.yields, checked.limits.cut_share),
        ((8_000.0, 9_000.0), Some(0.5))
    );
    for i in (0..f.len()).filter(|&i| checked.verdicts.is_kept(i)) {
        assert!(f.speed[i] <= 2.0 && (17.0..=19.0).contains(&f.moisture[i]));
        assert!((8_000.0..=9_000.0).contains(&f.yield_kg_ha[i]));
    }
    assert!(checked.stats.kept > 0 && checked.stats.set_aside[&Reason::YieldLimits] > 0);
}

#[test]
fn empty_tiny_and_constant_fields_are_defined() {
    let mut f = field();
    let all = f.len();
    f.yield_kg_ha.fill(9_000.0);
    f.speed.fill(2.0);
    f.moisture.fill(f64::NAN);
    let checked = f.check(CheckParams::default());
    assert_eq!(checked.stats.kept, all - 24 - 18);
    let none = Field::cut(
        Cutting {
            passes: 0,
            ..Cutting::default()
        },
        1,
        smooth,
    );
    assert_eq!(none.check(CheckParams::default()).stats.rows, 0);
    let mut idle = field();
    idle.pass.fill(None);
    idle.direction.fill(f64::NAN);
    assert_eq!(
        idle.check(CheckParams::default()).stats.set_aside[&Reason::NotWorking],
        all
    );
}

#[test]
fn columns_of_different_lengths_are_refused_by_name() {
    let mut f = field();
    f.moisture.pop();
    let params = CheckParams::default().check().expect("defaults pass");
    let error = apply(&f.input(), &params).unwrap_err();
    assert_eq!(
        (error.column, error.expected, error.found),
        ("moisture", 1200, 1199)
    );
    let mut f = field();
    f.machine[3] = 1;
    assert_eq!(apply(&f.input(), &params).unwrap_err().column, "ramps");
}

#[test]
fn a_million_points_take_a_second_or_so() {
    // Bar: 1.5 million points a second on a free core. The test allows for a busy machine; it prints what it saw.
    let cutting = Cutting {
        passes: 1000,
        length: 2000.0,
        noise: 0.08,
        ..Cutting::default()
    };
    let f = Field::cut(cutting, 3, smooth);
    let start = std::time::Instant::now();
    let checked = f.check(CheckParams::default());
    let seconds = start.elapsed().as_secs_f64();
    println!(
        "{} points in {seconds:.2} s: {:.2} million a second",
        f.len(),
        f.len() as f64 / seconds / 1e6
    );
    assert!(checked.stats.kept > 980_000);
    assert!(seconds < 5.0);
}
