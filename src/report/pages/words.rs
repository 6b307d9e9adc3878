//! Names of things in plain words.

use crate::log::Reason;
use crate::summary::{DelayBasis, FactorBasis};

/// A line of the ledger.
pub(super) fn item(name: &str) -> &str {
    match name {
        "kept" => "on kept points: the map",
        "unplaced" => "its ground, or the grain itself, is not in the log",
        other => Reason::ALL
            .into_iter()
            .find(|r| r.name() == other)
            .map_or(other, |r| reason(r)),
    }
}

/// Why a point is set aside.
pub(super) fn reason(reason: Reason) -> &'static str {
    match reason {
        Reason::BadFix => "no usable position",
        Reason::PositionJump => "position leaps",
        Reason::DuplicateRow => "record written twice",
        Reason::NotWorking => "header up, standing, on the road, while grain still arrived",
        Reason::OutsideBoundary => "outside the boundary",
        Reason::ShortPass => "pass too short to have an interior",
        Reason::PassEntry => "machine still filling at the start of a pass",
        Reason::PassExit => "machine emptying at the end of a pass",
        Reason::Turning => "sharp turn while cutting",
        Reason::SpeedLimits => "too slow or too fast",
        Reason::AbruptSpeed => "speed changes abruptly",
        Reason::NarrowCut => "too little of the header on standing crop",
        Reason::NoFlow => "no flow known",
        Reason::FlowSpike => "flow spike",
        Reason::StuckSensor => "stuck reading",
        Reason::MoistureLimits => "moisture beyond limits",
        Reason::YieldLimits => "yield beyond limits",
        Reason::PassOutlier => "whole pass off its neighbours",
        Reason::NeighbourOutlier => "point off its neighbours",
    }
}

/// Where a delay comes from.
pub(super) fn delay_basis(basis: DelayBasis) -> &'static str {
    match basis {
        DelayBasis::Field => "found in this field's own passes",
        DelayBasis::Machine => "found in the machine's fields together",
        DelayBasis::Default => "a best guess: neighbouring passes do not tell it to half a second",
        DelayBasis::Fixed => "fixed in the job file",
    }
}

/// Where a load's factor comes from.
pub(super) fn factor_basis(basis: FactorBasis) -> &'static str {
    match basis {
        FactorBasis::Ticket => "its ticket",
        FactorBasis::Neighbours => "neighbouring ground",
        FactorBasis::Machine => "the machine's other tickets",
        FactorBasis::None => "nothing: as logged",
    }
}

/// Said on every page.
pub(super) const CAUTIONS: [&str; 4] = [
    "Not for settlement, rent or insurance: certified scale tickets decide. A yield map is an estimate of where grain grew, not a weighing.",
    "A prescription needs a responsible agronomist, licensed where the law asks for it; product labels and local nutrient rules are binding. This map is one piece of evidence among several, and one season is one season.",
    "Before anyone reaches into a machine, a bin or a wagon for a sample: the operator's manual; header down or locked, drives off, engine off, key out, wait for standstill, lock out what others could start.",
    "Nobody enters a grain bin or a loaded wagon alone: flowing grain buries a person within seconds. Follow the local safety code.",
];
