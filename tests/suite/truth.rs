//! The demo farm against its truth. The bars are ours, where a single run can be held to them.

use std::sync::OnceLock;

use crate::harness::Farm;
use crate::harness::truth::{Field, compare, total};

fn fields() -> &'static [Field] {
    static FIELDS: OnceLock<Vec<Field>> = OnceLock::new();
    FIELDS.get_or_init(|| {
        let farm = Farm::demo();
        let run = farm.run(&[]);
        assert_eq!(run.status, 0, "{}", run.stderr);
        compare(&farm.path(""))
    })
}

#[test]
fn the_corrected_map_is_nearer_to_the_truth_on_the_same_points() {
    for f in fields() {
        let ratio = f.rmse_ratio();
        assert!(
            ratio <= 0.6,
            "{}: {:.0} of {:.0} kg/ha, {ratio:.3}",
            f.name,
            f.rmse_corrected,
            f.rmse_logged
        );
        // Points without truth cannot hide an error: they are duplicates and rows with the header up.
        assert!(
            f.kept_without_truth * 200 <= f.kept,
            "{}: {} of {}",
            f.name,
            f.kept_without_truth,
            f.kept
        );
    }
}

#[test]
fn where_all_loads_are_weighed_the_mean_is_within_one_per_cent() {
    let mut judged = 0;
    for f in fields().iter().filter(|f| f.all_weighed()) {
        let error = f.mean_kg_ha.error_pct();
        assert!(error.abs() <= 1.0, "{}: {error:+.2} %", f.name);
        judged += 1;
    }
    assert!(judged >= 2, "the demo weighs all loads of {judged} fields");
}

#[test]
fn the_mean_of_half_weighed_fields_is_within_one_and_a_half_per_cent() {
    for f in fields().iter().filter(|f| !f.all_weighed()) {
        let error = f.mean_kg_ha.error_pct();
        assert!(error.abs() <= 1.5, "{}: {error:+.2} %", f.name);
    }
}

#[test]
fn delays_are_within_half_a_second() {
    for f in fields() {
        for m in &f.machines {
            assert!(
                m.delay.error().abs() <= 0.5,
                "{}, {}: {:?}",
                f.name,
                m.name,
                m.delay
            );
            assert!(
                m.interval
                    .is_some_and(|(low, high)| low <= m.delay.truth && m.delay.truth <= high),
                "{}, {}: {:?} in {:?}",
                f.name,
                m.name,
                m.delay,
                m.interval
            );
            // Driven round and round, Long acre has few opposed pairs: what stands in is within half a second here, and
            // is told not to be promised.
            let refused = f.warnings.iter().any(|w| w == "delay-refused");
            assert_eq!(refused, f.name == "Long acre", "{}", f.name);
            let basis = if refused { "default" } else { "field" };
            assert_eq!(m.basis, basis, "{}, {}", f.name, m.name);
        }
    }
}

#[test]
fn ramps_reach_the_true_ones_and_not_far_beyond() {
    for f in fields() {
        for m in &f.machines {
            for (what, ramp) in [("entry", m.entry), ("exit", m.exit)] {
                // The truth is where 2 % are left. Found is where the mean of a row lacks 1.5 % at most, in three of four of
                // the cases that the data leave possible, so a second or two behind; by rows of two seconds more.
                // Driven round and round, no pass leaves beside an entry, and chance in the crop makes it longer (Long acre: 6 s).
                let slack = f.interval_s - 1.0;
                let shortest = -1.0 - slack;
                assert!(
                    (shortest..=7.0 + slack).contains(&ramp.error()),
                    "{}, {}: {what} ramp {:.1} s, found {:.1} s",
                    f.name,
                    m.name,
                    ramp.truth,
                    ramp.found
                );
            }
        }
    }
}

#[test]
fn the_area_is_within_half_a_per_cent() {
    for f in fields() {
        assert!(
            f.area_ha.error_pct().abs() <= 0.5,
            "{}: {:?}",
            f.name,
            f.area_ha
        );
    }
}

#[test]
fn injected_faults_are_set_aside() {
    for f in fields() {
        let all = total(f.faults.values());
        assert!(
            all.pct() >= 95.0,
            "{}: {:.1} % of {:?}",
            f.name,
            all.pct(),
            f.faults
        );
        assert!(
            all.injected - all.without_point >= 20,
            "{}: too few faults to judge by",
            f.name
        );
    }
}

#[test]
fn sound_points_stay() {
    for f in fields() {
        assert!(
            f.lost_pct() <= 3.0,
            "{}: {:.2} % of {} lost as {:?}",
            f.name,
            f.lost_pct(),
            f.sound,
            f.lost
        );
        assert!(
            f.sound * 2 >= f.rows,
            "{}: {} sound of {} rows",
            f.name,
            f.sound,
            f.rows
        );
    }
}

#[test]
fn a_wrong_ticket_is_found_and_held_out() {
    for f in fields() {
        let doubted = f.warnings.iter().any(|w| w == "doubtful-ticket");
        assert_eq!(
            doubted,
            !f.wrong_tickets.is_empty(),
            "{}: {:?}",
            f.name,
            f.warnings
        );
    }
}

#[test]
fn a_log_that_was_shifted_is_known_and_no_other() {
    for f in fields() {
        let said = f.warnings.iter().any(|w| w == "already-shifted");
        assert_eq!(
            said,
            f.machines.iter().any(|m| m.delay.truth < 3.0),
            "{}",
            f.name
        );
    }
}
