//! The columns that the checks read.

use thiserror::Error;

use crate::crop::Crop;
use crate::faults::FaultKind;
use crate::passes::Activity;

/// How long a machine fills and empties, s.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RampSeconds {
    /// From the start of a pass.
    pub entry: f64,
    /// Before its end.
    pub exit: f64,
}

/// Borrowed columns, one entry per row of the log unless stated otherwise. NaN is missing.
#[derive(Debug, Clone, Copy)]
pub struct CheckInput<'a> {
    /// Middle of the row's ground, east, m.
    pub x: &'a [f64],
    /// Middle of the row's ground, north, m.
    pub y: &'a [f64],
    /// Index of the pass; `None` off passes.
    pub pass: &'a [Option<u32>],
    /// Direction of travel, radians counter-clockwise from east.
    pub direction: &'a [f64],
    /// What the machine does.
    pub activity: &'a [Activity],
    /// Index of the machine, into [`CheckInput::ramps`].
    pub machine: &'a [u32],
    /// From the start of the pass to the middle of the row's interval, s.
    pub since_entry: &'a [f64],
    /// From the middle of the row's interval to the end of the pass, s.
    pub until_exit: &'a [f64],
    /// Length of the row's interval, s.
    pub interval: &'a [f64],
    /// Ground speed, m/s.
    pub speed: &'a [f64],
    /// Width of the header, m.
    pub header_width: &'a [f64],
    /// Share of the header on standing crop, 0–1.
    pub cut_share: &'a [f64],
    /// Whether the share is too small to divide by.
    pub narrow: &'a [bool],
    /// Whether no flow, or none above zero, was logged for this ground.
    pub no_flow: &'a [bool],
    /// Yield of the ground, kg/ha.
    pub yield_kg_ha: &'a [f64],
    /// Moisture, % wet basis.
    pub moisture: &'a [f64],
    /// Fault of the reading that this ground receives; for a repeated record, the row's own.
    pub fault: &'a [Option<FaultKind>],
    /// Whether the ground is inside the field's boundary (true where there is none).
    pub inside: &'a [bool],
    /// Ramps of each machine, one entry per machine.
    pub ramps: &'a [RampSeconds],
    /// The crop: absolute bounds.
    pub crop: &'a Crop,
}

/// Columns that do not belong together: an error of the caller, not of data.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("checks: column {column} must have {expected} entries, but has {found}")]
pub struct CheckInputError {
    /// The column.
    pub column: &'static str,
    /// Entries it must have (for ramps: at least).
    pub expected: usize,
    /// Entries it has.
    pub found: usize,
}

impl CheckInput<'_> {
    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.x.len()
    }

    /// Whether all columns have one entry per row, and every machine its ramps.
    pub fn check(&self) -> Result<(), CheckInputError> {
        let expected = self.rows();
        let lengths = [
            ("y", self.y.len()),
            ("pass", self.pass.len()),
            ("direction", self.direction.len()),
            ("activity", self.activity.len()),
            ("machine", self.machine.len()),
            ("since_entry", self.since_entry.len()),
            ("until_exit", self.until_exit.len()),
            ("interval", self.interval.len()),
            ("speed", self.speed.len()),
            ("header_width", self.header_width.len()),
            ("cut_share", self.cut_share.len()),
            ("narrow", self.narrow.len()),
            ("no_flow", self.no_flow.len()),
            ("yield_kg_ha", self.yield_kg_ha.len()),
            ("moisture", self.moisture.len()),
            ("fault", self.fault.len()),
            ("inside", self.inside.len()),
        ];
        if let Some(&(column, found)) = lengths.iter().find(|(_, n)| *n != expected) {
            return Err(CheckInputError {
                column,
                expected,
                found,
            });
        }
        let expected = self.machine.iter().max().map_or(0, |&m| m as usize + 1);
        let found = self.ramps.len();
        if found < expected {
            return Err(CheckInputError {
                column: "ramps",
                expected,
                found,
            });
        }
        Ok(())
    }
}
