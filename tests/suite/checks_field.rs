//! The checks on made fields: real features stay, faults go.
//!
//! Bars (ours): at least 95 % of injected faults set aside, at most 3 % of sound points.

use crate::checks_made::{Cutting, Field, WIDTH, smooth};
use fanmill::checks::{CheckParams, Checked};
use fanmill::log::Reason;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const CUTTINGS: [Cutting; 5] = [
    Cutting {
        passes: 40,
        length: 600.0,
        interval: 1.0,
        speed: 2.0,
        noise: 0.03,
        delay_error: 0.0,
    },
    Cutting {
        passes: 40,
        length: 600.0,
        interval: 1.0,
        speed: 1.6,
        noise: 0.06,
        delay_error: 1.0,
    },
    Cutting {
        passes: 40,
        length: 600.0,
        interval: 1.0,
        speed: 2.4,
        noise: 0.12,
        delay_error: -1.0,
    },
    Cutting {
        passes: 40,
        length: 600.0,
        interval: 3.0,
        speed: 2.0,
        noise: 0.06,
        delay_error: 1.0,
    },
    Cutting {
        passes: 12,
        length: 300.0,
        interval: 0.2,
        speed: 1.8,
        noise: 0.12,
        delay_error: 0.5,
    },
];

/// Share of `rows` that is set aside.
fn lost(checked: &Checked, rows: &[usize]) -> f64 {
    assert!(!rows.is_empty());
    rows.iter()
        .filter(|&&i| !checked.verdicts.is_kept(i))
        .count() as f64
        / rows.len() as f64
}

fn count(checked: &Checked, reason: Reason) -> usize {
    checked
        .stats
        .set_aside
        .get(&reason)
        .copied()
        .unwrap_or_default()
}

#[test]
fn a_sound_smooth_field_loses_next_to_nothing() {
    for (seed, cutting) in CUTTINGS.into_iter().enumerate() {
        let field = Field::cut(cutting, seed as u64, smooth);
        let checked = field.check(CheckParams::default());
        let lost = lost(&checked, &field.interiors());
        println!(
            "noise {}: {:.3} % lost {:?}",
            cutting.noise,
            100.0 * lost,
            checked.stats.set_aside
        );
        assert!(lost < 0.003, "{lost}");
        assert_eq!(count(&checked, Reason::PassOutlier), 0);
        assert!(checked.remarks.is_empty());
    }
}

#[test]
fn patches_steps_ditches_and_a_poor_headland_stay() {
    for (seed, cutting) in CUTTINGS.into_iter().enumerate() {
        let far = WIDTH * cutting.passes as f64;
        let length = cutting.length;
        let in_patch = move |x: f64, y: f64| {
            (x - 0.3 * length).abs() < 40.0 && (y - 4.5 * WIDTH).abs() < 1.5 * WIDTH
        };
        let in_ditch = move |x: f64, y: f64| (x - 0.7 * length - 0.5 * y).abs() < 3.0;
        let in_hole = move |x: f64, y: f64| (x - 0.5 * length).hypot(y - 0.7 * far) < 25.0;
        let headland = move |x: f64, y: f64| x < 20.0 || x > length - 20.0 || y < 2.0 * WIDTH;
        let ground = move |x: f64, y: f64| {
            let share = if in_hole(x, y) {
                0.1 // nearly drowned
            } else if in_patch(x, y) || in_ditch(x, y) {
                0.4
            } else if headland(x, y) {
                0.6
            } else if x > 0.8 * length {
                0.65 // another soil, behind a straight edge
            } else {
                1.0
            };
            smooth(x, y) * share
        };
        let field = Field::cut(cutting, 10 + seed as u64, ground);
        let checked = field.check(CheckParams::default());
        let rows_in = |inside: &dyn Fn(f64, f64) -> bool| -> Vec<usize> {
            field
                .interiors()
                .into_iter()
                .filter(|&i| inside(field.x[i], field.y[i]))
                .collect()
        };
        let shares = [
            ("all", lost(&checked, &field.interiors()), 0.01),
            ("patch", lost(&checked, &rows_in(&in_patch)), 0.03),
            ("hole", lost(&checked, &rows_in(&in_hole)), 0.10),
            ("ditch", lost(&checked, &rows_in(&in_ditch)), 0.15),
            ("headland", lost(&checked, &rows_in(&headland)), 0.03),
            (
                "edge",
                lost(&checked, &rows_in(&|x, _| (x - 0.8 * length).abs() < 8.0)),
                0.05,
            ),
        ];
        println!("{seed}: {shares:.4?} {:?}", checked.stats.set_aside);
        for (what, lost, most) in shares {
            assert!(lost <= most, "{what}, cutting {seed}: {lost} lost");
        }
        assert_eq!(count(&checked, Reason::PassOutlier), 0);
    }
}

#[test]
fn isolated_points_go_and_their_neighbours_stay() {
    for (seed, cutting) in CUTTINGS.into_iter().enumerate() {
        let mut field = Field::cut(cutting, 20 + seed as u64, smooth);
        let mut rng = ChaCha8Rng::seed_from_u64(seed as u64);
        // Faults that only the yield shows, one to three points long, 45 % low or 80 % high and more.
        let mut bad = vec![false; field.len()];
        let interiors = field.interiors();
        let mut at = 5;
        while at + 5 < interiors.len() {
            let factor = if rng.random_bool(0.5) {
                rng.random_range(0.05..0.55)
            } else {
                rng.random_range(1.8..5.0)
            };
            for &i in &interiors[at..at + rng.random_range(1..=3)] {
                field.yield_kg_ha[i] *= factor;
                bad[i] = true;
            }
            at += rng.random_range(60..240);
        }
        let checked = field.check(CheckParams::default());
        let (bad, sound): (Vec<usize>, Vec<usize>) = interiors.iter().partition(|&&i| bad[i]);
        let (hit, lost) = (lost(&checked, &bad), lost(&checked, &sound));
        println!(
            "noise {}: {:.1} % of {} found, {:.2} % lost",
            cutting.noise,
            100.0 * hit,
            bad.len(),
            100.0 * lost
        );
        assert!(hit >= 0.95, "cutting {seed}: {hit}");
        assert!(lost <= 0.01, "cutting {seed}: {lost}");
    }
}

#[test]
fn a_pass_with_half_the_flow_goes_but_edges_pairs_and_machines_stay() {
    for (seed, cutting) in CUTTINGS.into_iter().enumerate() {
        let mut field = Field::cut(cutting, 30 + seed as u64, smooth);
        let halve = |field: &mut Field, passes: &[u32], factor: f64| {
            for i in 0..field.len() {
                if field.pass[i].is_some_and(|p| passes.contains(&p)) {
                    field.yield_kg_ha[i] *= factor;
                }
            }
        };
        // 4 alone; 0 at the edge; 8 and 9 together (a strip that two passes agree on).
        halve(&mut field, &[0, 4, 8, 9], 0.5);
        let checked = field.check(CheckParams::default());
        let of_pass = |p: u32| -> Vec<usize> {
            field
                .interiors()
                .into_iter()
                .filter(|&i| field.pass[i] == Some(p))
                .collect()
        };
        let is_outlier = |p: u32| {
            of_pass(p)
                .iter()
                .all(|&i| checked.verdicts.reason(i) == Some(Reason::PassOutlier))
        };
        assert!(is_outlier(4), "cutting {seed}: {:?}", checked.stats);
        for p in [0, 3, 5, 8, 9] {
            assert!(
                lost(&checked, &of_pass(p)) < 0.03,
                "cutting {seed}, pass {p}: {:?}",
                checked.stats
            );
        }
        // A second machine that reads 40 % high on every third pass is a matter of calibration.
        let mut field = Field::cut(cutting, 40 + seed as u64, smooth);
        field.ramps.push(field.ramps[0]);
        for i in 0..field.len() {
            if field.pass[i].is_some_and(|p| p % 3 == 1) {
                field.machine[i] = 1;
                field.yield_kg_ha[i] *= 1.5;
            }
        }
        let checked = field.check(CheckParams::default());
        assert!(
            lost(&checked, &field.interiors()) < 0.003,
            "cutting {seed}: {:?}",
            checked.stats
        );
    }
}
