//! The verdict on a row: kept, or set aside for one reason.

use std::fmt;

/// Why a point is set aside. Declared in the order in which reasons apply: where several hold, the first counts.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
#[repr(u8)]
pub enum Reason {
    /// No usable position.
    BadFix,
    /// The position leaps farther than the machine can drive.
    PositionJump,
    /// The same record a second time.
    DuplicateRow,
    /// Header up, turning with the header up, or standing.
    NotWorking,
    /// Outside the field's boundary.
    OutsideBoundary,
    /// A pass too short to have an interior between its ramps.
    ShortPass,
    /// The machine is still filling.
    PassEntry,
    /// The machine is emptying.
    PassExit,
    /// A sharp turn while cutting.
    Turning,
    /// Slower or faster than grain can be cut and measured.
    SpeedLimits,
    /// Speed changes so abruptly that flow and ground cannot be matched.
    AbruptSpeed,
    /// Too little of the header on standing crop.
    NarrowCut,
    /// No flow was logged for this ground.
    NoFlow,
    /// This ground receives a flow spike.
    FlowSpike,
    /// This ground receives a reading that is stuck.
    StuckSensor,
    /// Moisture outside its limits.
    MoistureLimits,
    /// Yield outside its limits.
    YieldLimits,
    /// A whole pass off its neighbours.
    PassOutlier,
    /// One point off its neighbours.
    NeighbourOutlier,
}

impl Reason {
    /// All reasons, in the order in which they apply.
    pub const ALL: [Reason; 19] = [
        Reason::BadFix,
        Reason::PositionJump,
        Reason::DuplicateRow,
        Reason::NotWorking,
        Reason::OutsideBoundary,
        Reason::ShortPass,
        Reason::PassEntry,
        Reason::PassExit,
        Reason::Turning,
        Reason::SpeedLimits,
        Reason::AbruptSpeed,
        Reason::NarrowCut,
        Reason::NoFlow,
        Reason::FlowSpike,
        Reason::StuckSensor,
        Reason::MoistureLimits,
        Reason::YieldLimits,
        Reason::PassOutlier,
        Reason::NeighbourOutlier,
    ];

    /// The word used in files and reports.
    pub fn name(self) -> &'static str {
        match self {
            Reason::BadFix => "bad-fix",
            Reason::PositionJump => "position-jump",
            Reason::DuplicateRow => "duplicate-row",
            Reason::NotWorking => "not-working",
            Reason::OutsideBoundary => "outside-boundary",
            Reason::ShortPass => "short-pass",
            Reason::PassEntry => "pass-entry",
            Reason::PassExit => "pass-exit",
            Reason::Turning => "turning",
            Reason::SpeedLimits => "speed-limits",
            Reason::AbruptSpeed => "abrupt-speed",
            Reason::NarrowCut => "narrow-cut",
            Reason::NoFlow => "no-flow",
            Reason::FlowSpike => "flow-spike",
            Reason::StuckSensor => "stuck-sensor",
            Reason::MoistureLimits => "moisture-limits",
            Reason::YieldLimits => "yield-limits",
            Reason::PassOutlier => "pass-outlier",
            Reason::NeighbourOutlier => "neighbour-outlier",
        }
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// One verdict per row. A reason once given is only replaced by an earlier one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verdicts(Vec<Option<Reason>>);

impl Verdicts {
    /// All rows kept.
    pub fn all_kept(rows: usize) -> Self {
        Self(vec![None; rows])
    }

    /// Sets a row aside, unless an earlier reason already holds.
    pub fn set_aside(&mut self, row: usize, reason: Reason) {
        let slot = &mut self.0[row];
        *slot = Some(slot.map_or(reason, |old| old.min(reason)));
    }

    /// The reason a row is set aside for; `None` when it is kept.
    pub fn reason(&self, row: usize) -> Option<Reason> {
        self.0[row]
    }

    /// Whether the row is kept.
    pub fn is_kept(&self, row: usize) -> bool {
        self.0[row].is_none()
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Verdicts in row order.
    pub fn iter(&self) -> impl Iterator<Item = Option<Reason>> + '_ {
        self.0.iter().copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_reason_that_applies_stays() {
        let mut v = Verdicts::all_kept(2);
        v.set_aside(0, Reason::YieldLimits);
        v.set_aside(0, Reason::PassEntry);
        v.set_aside(0, Reason::NeighbourOutlier);
        assert_eq!(v.reason(0), Some(Reason::PassEntry));
        assert!(v.is_kept(1));
    }

    #[test]
    fn all_lists_each_reason_once_in_order() {
        assert!(Reason::ALL.windows(2).all(|w| w[0] < w[1]));
        for r in Reason::ALL {
            assert_eq!(
                serde_json::to_string(&r).unwrap(),
                format!("\"{}\"", r.name())
            );
        }
    }
}
