//! The joint adjustment against other people's mathematics: generalised least squares (numpy); the same as universal
//! kriging with an indicator per load (PyKrige); the Matérn function (scipy); a mixed model (statsmodels); and a level net of a surveying
//! text. `FANMILL_PYTHON` names a Python that has what `oracles/requirements.txt` lists.

use std::io::Write;
use std::process::Stdio;

use crate::outside::oracle;

use fanmill::calibrate::joint::{
    Known, Lattice, Links, LoadNode, Patch, Texture, TicketNode, Wander, adjust, links_with,
};
use serde_json::{Value, json};

/// What the oracle says; `None` where there is no Python.
fn ask(case: &Value) -> Option<Value> {
    let mut child = oracle("joint.py")?
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut input = child.stdin.take().expect("a pipe");
    input
        .write_all(case.to_string().as_bytes())
        .expect("it reads");
    drop(input);
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success(), "the oracle fails");
    Some(serde_json::from_slice(&output.stdout).expect("JSON"))
}

fn numbers(value: &Value) -> Vec<f64> {
    let all = value.as_array().expect("a list");
    all.iter().map(|v| v.as_f64().expect("a number")).collect()
}

fn close(found: &[f64], expected: &[f64], within: f64) {
    assert_eq!(found.len(), expected.len());
    for (f, e) in found.iter().zip(expected) {
        assert!(
            (f - e).abs() <= within * e.abs().max(1e-3),
            "{found:?} {expected:?}"
        );
    }
}

/// Noise without a generator.
fn noise(k: usize) -> f64 {
    (((k * 7919 + 13) as f64).sin() * 43_758.545_3).fract()
}

/// Eight passes of twelve patches, four loads that change inside passes, edge levels on the outer ones.
fn patches() -> Vec<Patch> {
    (0..96)
        .map(|k| {
            let (pass, along) = (k / 12, k % 12);
            Patch {
                at: [along as f64 * 11.0 + 3.0 * noise(k), pass as f64 * 8.5],
                ln_yield: 0.1 * (along as f64 / 4.0).sin() + 0.05 * noise(3 * k),
                ln_rate: 2.7,
                rows: 6.0,
                pass: pass as u32,
                load: ((k + 5) / 26) as u32,
                level: (pass == 0 || pass == 7).then_some(u32::from(along > 5)),
            }
        })
        .collect()
}

/// Contrasts against the first load, with standard errors, of a singular information.
fn contrasts(links: &Links) -> (Vec<f64>, Vec<f64>) {
    // The adjustment itself: a free machine, loads that wander at will, no ticket.
    let n = links.loads.len();
    let loads: Vec<LoadNode> = (0..n)
        .map(|_| LoadNode {
            machine: 0,
            class: 0,
            day: 0,
            before: None,
            logged: 1.0,
            ln_flow: f64::NAN,
        })
        .collect();
    let known = Known {
        machine_sd: 1e2,
        wander: Some(Wander {
            load: 1e3,
            day: 1e-3,
            drift: 1e-3,
        }),
        ..Known::with_trust(1.0)
    };
    let all = adjust(&loads, &[((0..n).collect(), links)], &[], &[], &known).unwrap();
    let estimate = (1..n).map(|l| all.factor[l] - all.factor[0]).collect();
    let widest = all.widest().unwrap();
    let se = (1..n)
        .map(|l| all.variance(&widest, &[(l, 1.0), (0, -1.0)]).sqrt())
        .collect();
    (estimate, se)
}

#[test]
fn loads_stand_to_each_other_as_generalised_least_squares_has_it() {
    let patches = patches();
    let texture = Texture {
        range: 55.0,
        field_sd: 0.11,
        pass_sd: 0.012,
        patch_sd: 0.03,
    };
    let links = links_with(&patches, &texture).unwrap();
    let (estimate, se) = contrasts(&links);
    let case = json!({
        "what": "gls", "spacing": 18.0, "margin": 2, "edge_ratio": 100.0, "part_ratio": 64.0 / 9.0,
        "texture": texture, "patches": patches,
    });
    let Some(oracle) = ask(&case) else { return };
    close(&estimate, &numbers(&oracle["estimate"]), 1e-6);
    close(&se, &numbers(&oracle["se"]), 1e-6);
    // Universal kriging with the loads' indicators as drift is the same estimator, solved by somebody else.
    let mut kriging = case.clone();
    kriging["what"] = json!("kriging");
    if let Some(oracle) = ask(&kriging) {
        close(&estimate, &numbers(&oracle["estimate"]), 1e-6);
        close(&se, &numbers(&oracle["se"]), 1e-6);
    }
    // And the oracle can disagree: with another texture it does.
    let mut other = case;
    other["texture"]["range"] = json!(70.0);
    let oracle = ask(&other).unwrap();
    let off = (estimate[0] - numbers(&oracle["estimate"])[0]).abs();
    assert!(off > 1e-5, "{off}");
}

/// Lindgren, Rue & Lindström 2011: the field's covariance is the Matérn function's, up to what a lattice of a fifth of the
/// range leaves: 3 % of the variance from node to node, and 10 % more variance at a node itself.
#[test]
fn the_field_has_the_covariance_of_the_matern_function() {
    let (h, range, variance) = (12.0, 60.0, 0.0144);
    let places: Vec<[f64; 2]> = (0..32 * 32)
        .map(|k| [(k / 32) as f64 * h, (k % 32) as f64 * h])
        .collect();
    let lattice = Lattice::new(&places, h, 0).unwrap();
    assert_eq!(lattice.len(), 33 * 33);
    let precision: Vec<(usize, usize, f64)> = lattice.precision(range, variance).collect();
    let case = json!({
        "what": "matern", "nodes": lattice.len(), "shape": [33, 33], "spacing": h, "range": range,
        "variance": variance, "precision": precision,
    });
    let Some(oracle) = ask(&case) else { return };
    let pairs: Vec<Vec<f64>> = (oracle["pairs"].as_array().unwrap().iter())
        .map(numbers)
        .collect();
    assert!(pairs.len() > 6);
    for (step, pair) in pairs.iter().enumerate() {
        let within = if step == 0 { 0.1 } else { 0.03 };
        assert!(
            (pair[0] - pair[1]).abs() < within * variance,
            "{step}: {pair:?}"
        );
    }
}

/// Days as random effects: statsmodels' own variances, then both predictions of every day's level.
#[test]
fn days_are_predicted_as_a_mixed_model_predicts_them() {
    let (days, each) = (8, 4);
    let y: Vec<f64> = (0..days * each)
        .map(|k| 0.05 + 0.04 * noise(100 + k / each) + 0.02 * noise(k))
        .collect();
    let day: Vec<usize> = (0..days * each).map(|k| k / each).collect();
    let Some(oracle) = ask(&json!({"what": "mixed", "y": y, "day": day})) else {
        return;
    };
    let number = |key: &str| oracle[key].as_f64().unwrap();
    let (residual, between) = (number("residual"), number("between"));
    assert!(between > 0.0);
    // One load more on every day, and one on a day of its own: never weighed, so they show what is expected.
    let node = |day: usize| LoadNode {
        machine: 0,
        class: 0,
        day,
        before: None,
        logged: 1_000.0,
        ln_flow: f64::NAN,
    };
    let loads: Vec<LoadNode> = (day.iter().copied()).chain(0..=days).map(node).collect();
    let tickets: Vec<TicketNode> = (y.iter().enumerate())
        .map(|(l, y)| TicketNode {
            parts: vec![l],
            net: 1_000.0 * y.exp(),
            sd: 0.001,
            edges: 0.0,
            scale: 0,
        })
        .collect();
    // A first load's drift has a sd of 2e-4, a ticket one of 1e-3: both are part of the residual.
    let own = residual - 4e-8 - 1e-6;
    let known = Known {
        machine_sd: 1e3,
        wander: Some(Wander {
            load: own.sqrt(),
            day: between.sqrt(),
            drift: 1e-3,
        }),
        ..Known::with_trust(0.0)
    };
    let used = vec![true; tickets.len()];
    let all = adjust(&loads, &[], &tickets, &used, &known).unwrap();
    let first = day.len();
    close(
        &all.factor[first..first + days],
        &numbers(&oracle["days"]),
        1e-6,
    );
    close(&[all.factor[first + days]], &[number("mean")], 1e-6);
    let se = (all.sd[first + days].powi(2) - between - own - 4e-8).sqrt();
    close(&[se], &[number("se")], 1e-5);
}

/// The limit of a field that is constant across each boundary is a level net. Net and heights: differential levelling
/// between two bench marks, Ghilani, Adjustment Computations (from memory: bench marks 100.000 and 107.500; A 105.141,
/// B 104.483, C 106.188, reference standard deviation 0.050). The normal equations solve by hand to the same: 7 B = 731.38.
#[test]
fn links_that_are_levels_adjust_like_a_level_net() {
    // Points X, Y (bench marks), A, B, C; observed differences (from, to, metres), all of weight one.
    let observed = [
        (0, 2, 5.10),
        (2, 1, 2.34),
        (1, 4, -1.25),
        (4, 0, -6.13),
        (2, 3, -0.68),
        (1, 3, -3.00),
        (3, 4, 1.70),
    ];
    let n = 5;
    let (mut information, mut score) = (vec![0.0; n * n], vec![0.0; n]);
    for (a, b, d) in observed {
        for (i, j, sign) in [(a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)] {
            information[i * n + j] += sign;
        }
        score[b] += d;
        score[a] -= d;
    }
    let links = Links {
        loads: (0..5).collect(),
        information: (0..n)
            .flat_map(|i| information[i * n..=i * n + i].to_vec())
            .collect(),
        score,
        ln_yield: vec![0.0; n],
        ln_rate: vec![0.0; n],
        texture: Texture {
            range: 60.0,
            field_sd: 0.1,
            pass_sd: 0.01,
            patch_sd: 0.03,
        },
        patches: 0,
    };
    let node = LoadNode {
        machine: 0,
        class: 0,
        day: 0,
        before: None,
        logged: 1.0,
        ln_flow: f64::NAN,
    };
    // Heights as logarithms: both bench marks less 100 m.
    let mark = |l: usize, height: f64| TicketNode {
        parts: vec![l],
        net: height.exp(),
        sd: 1e-5,
        edges: 0.0,
        scale: 0,
    };
    let known = Known {
        machine_sd: 1e3,
        wander: Some(Wander {
            load: 1e4,
            day: 1e-3,
            drift: 1e-3,
        }),
        ..Known::with_trust(1.0)
    };
    let all = adjust(
        &vec![node; n],
        &[((0..n).collect(), &links)],
        &[mark(0, 0.0), mark(1, 7.5)],
        &[true, true],
        &known,
    )
    .unwrap();
    for (l, height) in [(2, 105.141), (3, 104.483), (4, 106.188)] {
        assert!(
            (100.0 + all.factor[l] - height).abs() < 6e-4,
            "{:?}",
            all.factor
        );
    }
    assert!((all.factor[3] - (731.38 / 7.0 - 100.0)).abs() < 1e-6);
    // Residual sum of squares over four degrees of freedom, and the standard error of B: normal matrix [3 −1 0; −1 3 −1;
    // 0 −1 3] has (N⁻¹)_BB = 9/21.
    let rest: f64 = observed
        .iter()
        .map(|&(a, b, d)| (all.factor[b] - all.factor[a] - d).powi(2))
        .sum();
    let s0 = (rest / 4.0).sqrt();
    assert!((s0 - 0.050).abs() < 1e-3, "{s0}");
    assert!((all.sd[3] - (9.0f64 / 21.0).sqrt()).abs() < 1e-6);
}
