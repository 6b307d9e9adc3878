//! Where the machines drive: rounds along the boundary, then lands of parallel passes, and the turns between.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::shape::{Shape, along, direction, distance, dot, sub};
use super::spec::{FieldSpec, Pattern};

/// A corner of a round sharper than this is taken with the header up, degrees (our choice).
const SHARP_CORNER: f64 = 35.0;
/// Step at which a line is tested for being inside, m.
const PROBE: f64 = 1.0;
/// Shortest pass that is driven, m (our choice).
const SHORTEST_PASS: f64 = 6.0;
/// Rounds a spiral makes at most.
const MOST_ROUNDS: usize = 200;

/// A line that a machine follows.
#[derive(Debug, Clone)]
pub(super) struct Stretch {
    /// Its points, m.
    pub line: Vec<[f64; 2]>,
    /// Pass number over all machines, from 1; `None` with the header up.
    pub pass: Option<u16>,
}

/// The stretches of every machine, in the order of work.
pub(super) fn routes(spec: &FieldSpec, rng: &mut ChaCha8Rng) -> Vec<Vec<Stretch>> {
    let width = spec
        .machines
        .iter()
        .map(|m| m.header_width)
        .fold(f64::INFINITY, f64::min);
    let spacing = width - spec.driving.overlap;
    let mut lines: Vec<Vec<Vec<[f64; 2]>>> = vec![Vec::new(); spec.machines.len()];

    let wanted = if spec.driving.pattern == Pattern::Spiral {
        MOST_ROUNDS
    } else {
        spec.driving.headland_rounds
    };
    let mut driven = 0;
    while driven < wanted {
        let offset = 0.5 * width + driven as f64 * spacing;
        let Some(outer) = spec.shape.inset(0, offset) else {
            break;
        };
        let machine = driven % spec.machines.len();
        lines[machine].extend(sides(&outer, 0.5 * width + 1.0));
        for hole in 1..spec.shape.rings.len() {
            if driven < spec.driving.headland_rounds
                && let Some(ring) = spec.shape.inset(hole, offset)
            {
                lines[machine].extend(sides(&ring, 0.0));
            }
        }
        driven += 1;
    }

    let frame = Frame::new(spec.driving.heading);
    let belts: Vec<f64> = (0..spec.shape.rings.len())
        .map(|r| {
            if r == 0 {
                driven
            } else {
                driven.min(spec.driving.headland_rounds)
            }
        })
        .map(|rounds| {
            if rounds == 0 {
                0.0
            } else {
                width + (rounds - 1) as f64 * spacing
            }
        })
        .collect();
    for (i, land) in lands(
        &spec.shape,
        &belts,
        &frame,
        width,
        spacing,
        spec.driving.land_width,
    )
    .into_iter()
    .enumerate()
    {
        let passes = &mut lines[i % spec.machines.len()];
        for block in blocks(land) {
            let n = block.len();
            let order: Vec<usize> = match spec.driving.pattern {
                Pattern::RoundAndRound => (0..n)
                    .map(|k| if k % 2 == 0 { k / 2 } else { n - 1 - k / 2 })
                    .collect(),
                Pattern::Serpentine | Pattern::Spiral => (0..n).collect(),
            };
            for k in order {
                let mut line = frame.line(&block[k], rng);
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

/// The sides of a round, cut at its sharp corners and lengthened at both ends; a round without corners stays whole.
fn sides(ring: &[[f64; 2]], lengthen: f64) -> Vec<Vec<[f64; 2]>> {
    let n = ring.len();
    let limit = SHARP_CORNER.to_radians().cos();
    let corners: Vec<usize> = (0..n)
        .filter(|&i| {
            dot(
                direction(ring[(i + n - 1) % n], ring[i]),
                direction(ring[i], ring[(i + 1) % n]),
            ) < limit
        })
        .collect();
    if corners.is_empty() {
        let mut whole = ring.to_vec();
        whole.push(ring[0]);
        return vec![whole];
    }
    (0..corners.len())
        .map(|c| {
            let (from, to) = (corners[c], corners[(c + 1) % corners.len()]);
            let steps = if to > from { to - from } else { to + n - from };
            let mut side: Vec<[f64; 2]> = (0..=steps).map(|k| ring[(from + k) % n]).collect();
            let last = side.len() - 1;
            side[0] = along(side[0], direction(side[0], side[1]), -lengthen);
            side[last] = along(side[last], direction(side[last - 1], side[last]), lengthen);
            side
        })
        .collect()
}

/// A stretch of a pass in the frame of the passes: across, from, to.
#[derive(Debug, Clone, Copy)]
struct Span {
    across: f64,
    from: f64,
    to: f64,
}

/// The frame of the passes.
struct Frame {
    ahead: [f64; 2],
    right: [f64; 2],
}

impl Frame {
    fn new(heading: f64) -> Self {
        let (s, c) = heading.to_radians().sin_cos();
        Self {
            ahead: [s, c],
            right: [c, -s],
        }
    }

    fn place(&self, across: f64, ahead: f64) -> [f64; 2] {
        along(along([0.0, 0.0], self.right, across), self.ahead, ahead)
    }

    /// The span as a line; the header goes down somewhat before the crop and up somewhat behind it.
    fn line(&self, span: &Span, rng: &mut ChaCha8Rng) -> Vec<[f64; 2]> {
        let (before, behind) = (rng.random_range(0.5..3.0), rng.random_range(0.5..4.0));
        vec![
            self.place(span.across, span.from - before),
            self.place(span.across, span.to + behind),
        ]
    }

    fn bounds(&self, shape: &Shape, axis: [f64; 2]) -> (f64, f64) {
        shape
            .rings
            .iter()
            .flatten()
            .map(|p| dot(*p, axis))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
                (low.min(x), high.max(x))
            })
    }
}

/// The lines of every land, across it; each line is the list of its spans on ground that the rounds left.
fn lands(
    shape: &Shape,
    belts: &[f64],
    frame: &Frame,
    width: f64,
    spacing: f64,
    land_width: f64,
) -> Vec<Vec<Vec<Span>>> {
    let (low, high) = frame.bounds(shape, frame.right);
    let stands = |across: f64| !open_spans(shape, belts, frame, across).is_empty();
    let probe = |i: usize| low + 0.25 + 0.5 * i as f64;
    let probes = ((high - low) / 0.5) as usize;
    let Some(first) = (0..probes).find(|&i| stands(probe(i))) else {
        return Vec::new();
    };
    let last = (0..probes)
        .rev()
        .find(|&i| stands(probe(i)))
        .unwrap_or(first);
    let (mut from, end) = (probe(first) - 0.25, probe(last) + 0.25);
    let mut lands = Vec::new();
    while from < end - 0.5 {
        let to = (from + land_width).min(end);
        // The first pass overlaps what is cut beside it already, if anything is.
        let lead = if belts[0] > 0.0 || !lands.is_empty() {
            width - spacing
        } else {
            0.0
        };
        let passes = 1
            + ((to - from + lead - width) / spacing - 0.05)
                .ceil()
                .max(0.0) as usize;
        lands.push(
            (0..passes)
                .map(|k| {
                    let across = from - lead + 0.5 * width + k as f64 * spacing;
                    // What any part of the header meets: slanted ends begin before the header's middle does.
                    let mut spans: Vec<Span> = [-0.45, 0.0, 0.45]
                        .iter()
                        .flat_map(|share| open_spans(shape, belts, frame, across + share * width))
                        .map(|s| Span { across, ..s })
                        .collect();
                    spans.sort_by(|a, b| a.from.total_cmp(&b.from));
                    joined(spans)
                })
                .collect(),
        );
        from = to;
    }
    lands
}

/// Where a line crosses ground farther inside than the belts.
fn open_spans(shape: &Shape, belts: &[f64], frame: &Frame, across: f64) -> Vec<Span> {
    let (low, high) = frame.bounds(shape, frame.ahead);
    let open = |ahead: f64| {
        let p = frame.place(across, ahead);
        shape.contains(p)
            && belts
                .iter()
                .enumerate()
                .all(|(ring, &belt)| belt == 0.0 || shape.ring_distance(ring, p) > belt)
    };
    let mut spans = Vec::new();
    let mut start = None;
    let mut was_open = false;
    let steps = ((high - low) / PROBE).ceil() as usize + 1;
    for i in 0..=steps {
        let x = low - 0.5 * PROBE + i as f64 * PROBE;
        let is_open = open(x);
        if is_open != was_open {
            let (mut a, mut b) = (x - PROBE, x);
            for _ in 0..6 {
                let middle = 0.5 * (a + b);
                if open(middle) == was_open {
                    a = middle
                } else {
                    b = middle
                }
            }
            match start.take() {
                None => start = Some(b),
                Some(from) => spans.push(Span {
                    across,
                    from,
                    to: b,
                }),
            }
        }
        was_open = is_open;
    }
    spans
}

fn joined(spans: Vec<Span>) -> Vec<Span> {
    let mut out: Vec<Span> = Vec::new();
    for s in spans {
        match out.last_mut() {
            Some(last) if s.from <= last.to => last.to = last.to.max(s.to),
            _ => out.push(s),
        }
    }
    out.retain(|s| s.to - s.from >= SHORTEST_PASS);
    out
}

/// Splits a land into blocks that can be driven to and fro: a new block begins where a line falls into more or
/// fewer spans than the line before (round a pond, at the inner corner of an L).
fn blocks(land: Vec<Vec<Span>>) -> Vec<Vec<Span>> {
    let mut done = Vec::new();
    let mut open: Vec<Vec<Span>> = Vec::new();
    for line in land {
        let follows = line.len() == open.len()
            && line
                .iter()
                .zip(&open)
                .all(|(s, block)| block.last().is_some_and(|b| s.from < b.to && b.from < s.to));
        if !follows {
            done.append(&mut open);
            open = vec![Vec::new(); line.len()];
        }
        for (s, block) in line.into_iter().zip(&mut open) {
            block.push(s);
        }
    }
    done.append(&mut open);
    done.retain(|b| !b.is_empty());
    done
}

/// Puts a turn before every pass but the first.
fn with_turns(lines: Vec<Vec<[f64; 2]>>, pass: &mut u16) -> Vec<Stretch> {
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
fn turn(from: &[[f64; 2]], to: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let (a, b) = (from[from.len() - 1], to[0]);
    let reach = 10.0 + 0.3 * distance(a, b);
    let leave = direction(from[from.len() - 2], a);
    let meet = direction(b, to[1]);
    let (c, d) = (along(a, leave, reach), along(b, meet, -reach));
    let parts = 24;
    (0..=parts)
        .map(|i| {
            let t = f64::from(i) / f64::from(parts);
            let u = 1.0 - t;
            let (ka, kc, kd, kb) = (u * u * u, 3.0 * u * u * t, 3.0 * u * t * t, t * t * t);
            [0, 1].map(|axis| ka * a[axis] + kc * c[axis] + kd * d[axis] + kb * b[axis])
        })
        .collect()
}

/// A line measured along, for a machine that follows it.
#[derive(Debug, Clone)]
pub(super) struct Track {
    line: Vec<[f64; 2]>,
    /// Distance from the start to each point, m.
    reached: Vec<f64>,
}

impl Track {
    pub(super) fn new(line: Vec<[f64; 2]>) -> Self {
        let mut reached = vec![0.0];
        for w in line.windows(2) {
            reached.push(reached[reached.len() - 1] + distance(w[0], w[1]));
        }
        Self { line, reached }
    }

    pub(super) fn length(&self) -> f64 {
        self.reached[self.reached.len() - 1]
    }

    /// The place a distance along; the ends are prolonged.
    pub(super) fn place(&self, at: f64) -> [f64; 2] {
        let last = self.line.len() - 1;
        let k = self.reached.partition_point(|&r| r <= at).clamp(1, last) - 1;
        let span = self.reached[k + 1] - self.reached[k];
        let t = if span > 0.0 {
            (at - self.reached[k]) / span
        } else {
            0.0
        };
        along(self.line[k], sub(self.line[k + 1], self.line[k]), t)
    }

    /// Direction of travel, smoothed over two metres so that a bend of the line does not jerk the header.
    pub(super) fn ahead(&self, at: f64) -> [f64; 2] {
        direction(self.place(at - 1.0), self.place(at + 1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::spec::DrivingSpec;
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
        let spec = FieldSpec {
            shape: Shape::rectangle(90.0, 300.0),
            driving: DrivingSpec {
                headland_rounds: 0,
                overlap: 0.0,
                ..DrivingSpec::default()
            },
            ..FieldSpec::default()
        };
        let r = passes(&spec);
        assert_eq!(r[0].len(), 10);
        for (k, s) in r[0].iter().enumerate() {
            assert!(
                (s.line[0][0] - (4.5 + 9.0 * k as f64)).abs() < 0.3,
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
    fn a_pond_splits_a_land_into_blocks() {
        let spec = FieldSpec {
            shape: Shape::rectangle(200.0, 300.0).with_pond([100.0, 150.0], 30.0),
            ..FieldSpec::default()
        };
        let r = passes(&spec);
        assert!(r[0].iter().skip(10).all(|s| {
            // No pass runs through the pond.
            let t = Track::new(s.line.clone());
            (0..=20)
                .all(|i| distance(t.place(t.length() * f64::from(i) / 20.0), [100.0, 150.0]) > 30.0)
        }));
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
    fn two_machines_share_the_lands() {
        let mut spec = FieldSpec {
            shape: Shape::rectangle(300.0, 300.0),
            ..FieldSpec::default()
        };
        spec.machines.push(crate::simulate::spec::MachineSpec {
            name: "C2".into(),
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

    #[test]
    fn a_track_is_measured_along() {
        let t = Track::new(vec![[0.0, 0.0], [3.0, 4.0], [3.0, 10.0]]);
        assert_eq!(t.length(), 11.0);
        assert_eq!(t.place(5.0), [3.0, 4.0]);
        assert_eq!(t.place(12.0), [3.0, 11.0]);
        assert_eq!(t.ahead(9.0), [0.0, 1.0]);
    }
}
