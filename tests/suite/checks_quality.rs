//! Quality without truth, on made fields where each figure can be worked out.

use crate::checks_made::{Cutting, Field, rough, smooth};
use fanmill::quality::{Quality, QualityInput, QualityParams, measure};

fn quality(field: &Field, before: &[f64], after: &[f64], kept: &[bool]) -> Quality {
    let input = QualityInput {
        x: &field.x,
        y: &field.y,
        pass: &field.pass,
        direction: &field.direction,
        header_width: &field.header_width,
        before,
        after,
        kept,
    };
    measure(
        &input,
        &QualityParams::default().check().expect("defaults pass"),
    )
    .expect("columns belong together")
}

fn cut(noise: f64, delay_error: f64, ground: impl Fn(f64, f64) -> f64) -> Field {
    Field::cut(
        Cutting {
            noise,
            delay_error,
            ..Cutting::default()
        },
        5,
        ground,
    )
}

#[test]
fn noise_alone_gives_root_two_of_it_between_passes_and_a_pure_nugget() {
    // ln(y_i/y_j) of two independent points of 5 % each: 7.07 %. A piece is the median of six points: its error is about
    // 1.25 · 5 % / √6 = 2.6 %, and that of the prediction from six such pieces another 1 %.
    let field = cut(0.05, 0.0, |_, _| 9000.0);
    let twice: Vec<f64> = field
        .yield_kg_ha
        .iter()
        .map(|y| 9000.0 * (y / 9000.0).powi(2))
        .collect();
    let q = quality(&field, &twice, &field.yield_kg_ha, &vec![true; field.len()]);
    println!("{q:?}");
    let near = |value: Option<f64>, wanted: f64, by: f64| {
        let value = value.expect("enough points");
        assert!((value - wanted).abs() < by, "{value}, not {wanted}");
    };
    near(q.after.opposite_pass_pct, 7.07, 0.3);
    near(q.before.opposite_pass_pct, 14.14, 0.6);
    near(q.after.held_out_pct, 2.8, 0.4);
    near(q.before.held_out_pct, 5.6, 0.8);
    near(q.after.nugget_to_sill, 1.0, 0.1);
    // Pairs on opposed neighbours: inner passes have two, the first and the last one.
    assert!(q.opposed_pairs > 20_000 && q.points == field.len());
}

#[test]
fn a_wrong_delay_shows_in_all_three_figures() {
    let before = cut(0.03, 5.0, rough);
    let after = cut(0.03, 0.0, rough);
    let q = quality(
        &after,
        &before.yield_kg_ha,
        &after.yield_kg_ha,
        &vec![true; after.len()],
    );
    println!("{q:?}");
    assert!(q.before.opposite_pass_pct > q.after.opposite_pass_pct.map(|v| 1.3 * v));
    assert!(q.before.held_out_pct > q.after.held_out_pct.map(|v| 1.3 * v));
    assert!(q.before.nugget_to_sill > q.after.nugget_to_sill.map(|v| v + 0.05));
    assert!(q.after.nugget_to_sill < Some(0.15));
}

#[test]
fn a_machine_that_reads_high_shows_until_it_is_put_right() {
    let after = cut(0.04, 0.0, smooth);
    let before: Vec<f64> = (0..after.len())
        .map(|i| {
            after.yield_kg_ha[i]
                * if after.pass[i].is_some_and(|p| p % 4 == 1) {
                    1.15
                } else {
                    1.0
                }
        })
        .collect();
    let q = quality(
        &after,
        &before,
        &after.yield_kg_ha,
        &vec![true; after.len()],
    );
    assert!(
        q.before.opposite_pass_pct > q.after.opposite_pass_pct.map(|v| 1.2 * v),
        "{q:?}"
    );
    assert!(
        q.before.held_out_pct > q.after.held_out_pct.map(|v| 1.2 * v),
        "{q:?}"
    );
}

#[test]
fn both_maps_use_the_points_that_both_have() {
    let field = cut(0.05, 0.0, smooth);
    let mut before = field.yield_kg_ha.clone();
    let mut kept = vec![true; field.len()];
    // Wild values that are not kept, and values that only one map has, change neither.
    for i in (0..field.len()).step_by(7) {
        before[i] = f64::NAN;
    }
    for i in (3..field.len()).step_by(7) {
        before[i] = 1e9;
        kept[i] = false;
    }
    let q = quality(&field, &before, &field.yield_kg_ha, &kept);
    assert_eq!(q.before, q.after);
    assert_eq!(
        q.points,
        (0..field.len())
            .filter(|i| i % 7 != 0 && i % 7 != 3)
            .count()
    );
}

#[test]
fn too_little_data_gives_no_figures() {
    let one = Field::cut(
        Cutting {
            passes: 1,
            ..Cutting::default()
        },
        1,
        smooth,
    );
    let q = quality(
        &one,
        &one.yield_kg_ha,
        &one.yield_kg_ha,
        &vec![true; one.len()],
    );
    assert_eq!(q.after, Default::default());
    let none = Field::cut(
        Cutting {
            passes: 0,
            ..Cutting::default()
        },
        1,
        smooth,
    );
    assert_eq!(quality(&none, &[], &[], &[]), Quality::default());
    let field = cut(0.05, 0.0, smooth);
    let q = quality(
        &field,
        &field.yield_kg_ha,
        &field.yield_kg_ha,
        &vec![false; field.len()],
    );
    assert_eq!((q.points, q.after), (0, Default::default()));
}

#[test]
fn the_figures_cost_little_per_point() {
    let cutting = Cutting {
        passes: 500,
        length: 2000.0,
        noise: 0.08,
        ..Cutting::default()
    };
    let field = Field::cut(cutting, 3, smooth);
    let kept = vec![true; field.len()];
    let start = std::time::Instant::now();
    let q = quality(&field, &field.yield_kg_ha, &field.yield_kg_ha, &kept);
    let seconds = start.elapsed().as_secs_f64();
    println!("{} points in {seconds:.3} s", field.len());
    assert!(q.points == field.len() && q.before == q.after);
    assert!(seconds < 2.0);
}
