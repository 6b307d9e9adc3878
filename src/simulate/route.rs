//! Where the machines drive: rounds along the boundary, then lands of parallel passes, and the turns between.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::land::{Frame, Header, blocks, lands};
use super::shape::{along, direction, distance, dot};
use super::spec::{FieldSpec, Pattern};

/// A corner of a round sharper than this is taken with the header up, degrees (our choice).
const SHARP_CORNER: f64 = 35.0;
/// Rounds a spiral makes at most.
const MOST_ROUNDS: usize = 300;
/// Where the header goes down before the crop and up behind it, m (our choice).
const DOWN_BEFORE: std::ops::Range<f64> = 0.5..3.0;
const UP_BEHIND: std::ops::Range<f64> = 0.5..4.0;

type Line = Vec<[f64; 2]>;

/// A line that a machine follows.
#[derive(Debug, Clone)]
pub(super) struct Stretch {
    /// Its points, m.
    pub line: Line,
    /// Pass number over all machines, from 1; `None` with the header up.
    pub pass: Option<u16>,
}

/// The stretches of every machine, in the order of work.
pub(super) fn routes(spec: &FieldSpec, rng: &mut ChaCha8Rng) -> Vec<Vec<Stretch>> {
    let driving = &spec.driving;
    let headers: Vec<Header> = spec
        .machines
        .iter()
        .map(|m| Header {
            width: m.header_width,
            overlap: driving.overlap,
        })
        .collect();
    let mut lines: Vec<Vec<Line>> = vec![Vec::new(); headers.len()];

    let most = if driving.pattern == Pattern::Spiral {
        MOST_ROUNDS
    } else {
        driving.headland_rounds
    };
    let mut belt = 0.0;
    for round in 0..most {
        let machine = round % headers.len();
        let Header { width, overlap } = headers[machine];
        let inner_edge = belt + width - if round > 0 { overlap } else { 0.0 };
        let rings = spec.shape.inset(inner_edge - 0.5 * width).rings;
        if rings.is_empty() {
            break;
        }
        lines[machine].extend(rings.iter().flat_map(|ring| sides(ring, 0.5 * width + 1.0)));
        belt = inner_edge;
    }

    let frame = Frame::new(driving.heading);
    let open = spec.shape.inset(belt);
    for (i, land) in lands(&open, &frame, &headers, driving.land_width, belt > 0.0)
        .into_iter()
        .enumerate()
    {
        let passes = &mut lines[i % headers.len()];
        for block in blocks(land) {
            for k in order(driving.pattern, block.len()) {
                let mut line = frame.line(
                    &block[k],
                    rng.random_range(DOWN_BEFORE),
                    rng.random_range(UP_BEHIND),
                );
                let here = passes
                    .last()
                    .and_then(|l| l.last())
                    .copied()
                    .unwrap_or(line[0]);
                if distance(here, line[1]) < distance(here, line[0]) {
                    line.reverse();
                }
                passes.push(line);
            }
        }
    }
    let mut pass = 0;
    lines
        .into_iter()
        .map(|l| with_turns(l, &mut pass))
        .collect()
}

/// The order in which the `n` passes of a block are driven.
fn order(pattern: Pattern, n: usize) -> Vec<usize> {
    match pattern {
        Pattern::Serpentine | Pattern::Spiral => (0..n).collect(),
        Pattern::RoundAndRound => (0..n)
            .map(|k| if k % 2 == 0 { k / 2 } else { n - 1 - k / 2 })
            .collect(),
    }
}

/// The sides of a round, cut at its sharp corners and lengthened at both ends; a round without corners stays whole.
fn sides(ring: &[[f64; 2]], lengthen: f64) -> Vec<Line> {
    let n = ring.len();
    let limit = SHARP_CORNER.to_radians().cos();
    let bend = |i: usize| {
        dot(
            direction(ring[(i + n - 1) % n], ring[i]),
            direction(ring[i], ring[(i + 1) % n]),
        )
    };
    let corners: Vec<usize> = (0..n).filter(|&i| bend(i) < limit).collect();
    if corners.is_empty() {
        return vec![ring.iter().chain(ring.first()).copied().collect()];
    }
    let side = |c: usize| {
        let (from, to) = (corners[c], corners[(c + 1) % corners.len()]);
        let steps = if to > from { to - from } else { to + n - from };
        let mut side: Line = (0..=steps).map(|k| ring[(from + k) % n]).collect();
        let last = side.len() - 1;
        side[0] = along(side[0], direction(side[0], side[1]), -lengthen);
        side[last] = along(side[last], direction(side[last - 1], side[last]), lengthen);
        side
    };
    (0..corners.len()).map(side).collect()
}

/// Puts a turn before every pass but the first.
fn with_turns(lines: Vec<Line>, pass: &mut u16) -> Vec<Stretch> {
    let mut out: Vec<Stretch> = Vec::new();
    for line in lines {
        if let Some(before) = out.last() {
            out.push(Stretch {
                line: turn(&before.line, &line),
                pass: None,
            });
        }
        *pass += 1;
        out.push(Stretch {
            line,
            pass: Some(*pass),
        });
    }
    out
}

/// A smooth way from the end of one line to the start of the next: a cubic Bézier curve that leaves and meets the
/// lines in their own direction.
fn turn(from: &[[f64; 2]], to: &[[f64; 2]]) -> Line {
    let (a, b) = (from[from.len() - 1], to[0]);
    let reach = 10.0 + (0.3 * distance(a, b)).min(25.0);
    let c = along(a, direction(from[from.len() - 2], a), reach);
    let d = along(b, direction(b, to[1]), -reach);
    let parts = 24;
    let point = |i: i32| {
        let t = f64::from(i) / f64::from(parts);
        let u = 1.0 - t;
        let weights = [u * u * u, 3.0 * u * u * t, 3.0 * u * t * t, t * t * t];
        [0, 1].map(|axis| {
            [a, c, d, b]
                .iter()
                .zip(weights)
                .map(|(p, w)| w * p[axis])
                .sum()
        })
    };
    (0..=parts).map(point).collect()
}

#[cfg(test)]
mod tests {
    use super::super::machine_spec::MachineSpec;
    use super::super::shape::Shape;
    use super::super::spec::DrivingSpec;
    use super::super::track::Track;
    use super::*;
    use rand::SeedableRng;

    fn passes(spec: &FieldSpec) -> Vec<Vec<Stretch>> {
        let mut routes = routes(spec, &mut ChaCha8Rng::seed_from_u64(1));
        for r in &mut routes {
            r.retain(|s| s.pass.is_some());
        }
        routes
    }

    #[test]
    fn a_rectangle_is_driven_in_lines_of_one_spacing() {
        // 90 m wide, no rounds, header 9 m without overlap: 10 passes at 4.5, 13.5, … m.
        let driving = DrivingSpec {
            headland_rounds: 0,
            overlap: 0.0,
            ..DrivingSpec::default()
        };
        let spec = FieldSpec {
            shape: Shape::rectangle(90.0, 300.0),
            driving,
            ..FieldSpec::default()
        };
        let r = passes(&spec);
        assert_eq!(r[0].len(), 10);
        for (k, s) in r[0].iter().enumerate() {
            assert!(
                (s.line[0][0] - (4.5 + 9.0 * k as f64)).abs() < 0.01,
                "{:?}",
                s.line
            );
        }
        assert!(
            r[0][0].line[1][1] > 300.0 && r[0][1].line[0][1] > 300.0,
            "serpentine"
        );
    }

    #[test]
    fn rounds_take_a_belt_and_leave_the_rest_to_passes() {
        let spec = FieldSpec {
            shape: Shape::rectangle(200.0, 300.0),
            ..FieldSpec::default()
        };
        let r = passes(&spec);
        // Two rounds of four sides leave 200 − 2 · 17.75 = 164.5 m to lines of 8.75 m: 18.8, so 19.
        assert_eq!(r[0].len(), 8 + 19);
        let inner = &r[0][10].line;
        assert!(
            inner[0][1].min(inner[1][1]) > 13.0 && inner[0][1].max(inner[1][1]) < 287.0,
            "{inner:?}"
        );
    }

    #[test]
    fn no_pass_runs_through_the_pond() {
        let shape = Shape::rectangle(200.0, 300.0).with_pond([100.0, 150.0], 30.0);
        for pattern in [Pattern::Serpentine, Pattern::Spiral] {
            let driving = DrivingSpec {
                pattern,
                ..DrivingSpec::default()
            };
            for s in &passes(&FieldSpec {
                shape: shape.clone(),
                driving,
                ..FieldSpec::default()
            })[0]
            {
                let t = Track::new(s.line.clone());
                let nearest = (0..=50)
                    .map(|i| distance(t.place(t.length() * f64::from(i) / 50.0), [100.0, 150.0]))
                    .fold(f64::INFINITY, f64::min);
                assert!(nearest > 29.0, "{pattern:?}: {nearest}");
            }
        }
    }

    #[test]
    fn round_and_round_leaves_neighbours_in_one_direction() {
        let driving = DrivingSpec {
            pattern: Pattern::RoundAndRound,
            headland_rounds: 0,
            ..DrivingSpec::default()
        };
        let spec = FieldSpec {
            shape: Shape::rectangle(180.0, 300.0),
            driving,
            ..FieldSpec::default()
        };
        let r = passes(&spec);
        let up = |s: &Stretch| s.line[1][1] > s.line[0][1];
        assert!(
            r[0].iter()
                .step_by(2)
                .all(|s| up(s) == up(&r[0][0]) && s.line[0][0] < 100.0)
        );
    }

    #[test]
    fn two_machines_share_rounds_and_lands() {
        let mut spec = FieldSpec {
            shape: Shape::rectangle(300.0, 300.0),
            ..FieldSpec::default()
        };
        spec.machines.push(MachineSpec {
            name: "C2".into(),
            header_width: 7.0,
            ..spec.machines[0].clone()
        });
        spec.driving.land_width = 90.0;
        let r = passes(&spec);
        assert!(r[0].len() > 10 && r[1].len() > 10);
        let mut numbers: Vec<u16> = r.iter().flatten().filter_map(|s| s.pass).collect();
        numbers.sort_unstable();
        numbers.dedup();
        assert_eq!(numbers.len(), r[0].len() + r[1].len());
    }
}
