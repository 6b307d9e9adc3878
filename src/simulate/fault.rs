//! Faults put into a finished log, each noted on its row.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::rows::Row;
use super::spec::{FaultSpec, NoFix};

/// What is wrong with a row on purpose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fault {
    /// The row before once more.
    DuplicateRow,
    /// Flow far too high.
    FlowSpike,
    /// Flow stands still.
    StuckReading,
    /// Position far off.
    PositionJump,
    /// No position.
    BadFix,
    /// No flow though grain passed.
    ZeroFlow,
    /// Impossible moisture.
    MoistureGlitch,
}

impl Fault {
    /// The word used in files.
    pub fn name(self) -> &'static str {
        match self {
            Fault::DuplicateRow => "duplicate-row",
            Fault::FlowSpike => "flow-spike",
            Fault::StuckReading => "stuck-reading",
            Fault::PositionJump => "position-jump",
            Fault::BadFix => "bad-fix",
            Fault::ZeroFlow => "zero-flow",
            Fault::MoistureGlitch => "moisture-glitch",
        }
    }

    /// Whether the row's flow is wrong.
    pub fn is_of_flow(self) -> bool {
        matches!(
            self,
            Fault::FlowSpike | Fault::StuckReading | Fault::ZeroFlow
        )
    }
}

/// Least flow that counts as grain passing, kg/s: faults of flow strike only there, or they would not show.
const GRAIN: f64 = 1.0;

/// Puts faults into the rows of one file. Duplicates come last, so that they repeat what stands in the file.
pub(super) fn put_in(spec: &FaultSpec, rows: &mut Vec<Row>, rng: &mut ChaCha8Rng) {
    let kinds = [
        (Fault::StuckReading, spec.stuck_readings, 15..=60),
        (Fault::ZeroFlow, spec.zero_flows, 2..=10),
        (Fault::BadFix, spec.bad_fixes, 1..=8),
        (Fault::PositionJump, spec.position_jumps, 1..=4),
        (Fault::MoistureGlitch, spec.moisture_glitches, 1..=3),
        (Fault::FlowSpike, spec.flow_spikes, 1..=1),
    ];
    for (fault, per_thousand, lengths) in kinds {
        for _ in 0..number(per_thousand, rows.len(), rng) {
            let from = rng.random_range(0..rows.len());
            let to = (from + rng.random_range(lengths.clone())).min(rows.len());
            let takes = |r: &Row| {
                r.truth.fault.is_none()
                    && (!fault.is_of_flow() || (r.is_cutting && r.flow_kg_s > GRAIN))
            };
            if rows[from..to].iter().all(takes) {
                strike(fault, spec.no_fix, &mut rows[from..to], rng);
            }
        }
    }
    for _ in 0..number(spec.duplicate_rows, rows.len(), rng) {
        let at = rng.random_range(0..rows.len());
        if rows[at].truth.fault.is_none() {
            let mut again = rows[at].clone();
            again.truth.become_duplicate();
            rows.insert(at + 1, again);
        }
    }
}

/// Number of episodes: the expected number, its fraction drawn.
fn number(per_thousand: f64, rows: usize, rng: &mut ChaCha8Rng) -> usize {
    let expected = per_thousand * rows as f64 / 1000.0;
    if rows == 0 {
        0
    } else {
        expected as usize + usize::from(rng.random::<f64>() < expected.fract())
    }
}

fn strike(fault: Fault, no_fix: NoFix, rows: &mut [Row], rng: &mut ChaCha8Rng) {
    let held = rows[0].flow_kg_s;
    let jump = rng.random_range(15.0..150.0);
    let (s, c) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
    let glitch = [0.0, 2.1, 61.7, 99.9][rng.random_range(0..4)];
    for row in rows {
        row.truth.fault = Some(fault);
        match fault {
            Fault::DuplicateRow => {}
            Fault::FlowSpike => {
                row.flow_kg_s = (row.flow_kg_s * rng.random_range(2.5..6.0) * 100.0).round() / 100.0
            }
            Fault::StuckReading => row.flow_kg_s = held,
            Fault::ZeroFlow => row.flow_kg_s = 0.0,
            Fault::PositionJump => row.place = [row.place[0] + jump * s, row.place[1] + jump * c],
            Fault::BadFix => row.no_fix = Some(no_fix),
            Fault::MoistureGlitch => row.moisture_pct = glitch,
        }
    }
}
