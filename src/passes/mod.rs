//! Passes: unbroken runs of one machine at work (the first stage after the positions).
//!
//! A pass ends at a time gap, a header lift or a turn. A stop inside a pass does not end it, but the machine empties
//! and fills again, so [`Passes::since_start`] and [`Passes::until_stop`] count from and to stops as well.

mod ends;
mod estimate;
mod flow;
mod ground;
mod params;
mod position;

pub use ends::StandingCrop;
pub use estimate::estimate;
pub use params::{Checked, Params, ParamsError};

/// What the machine does in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Activity {
    /// Cutting on a pass.
    Cutting,
    /// Cutting in a sharp turn.
    Turning,
    /// Header up, turning with the header up, standing, or between passes.
    Idle,
    /// No usable position.
    NoPosition,
    /// The position leaps farther than the machine can drive.
    Jump,
}

/// The ground of a row: what the header covered since the row before.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Ground {
    /// Where the header's middle was at the start of the row's interval, m (x, y in the field frame).
    pub from: [f64; 2],
    /// Where it was at the end.
    pub to: [f64; 2],
}

impl Ground {
    /// The middle of the ground, m.
    pub fn middle(&self) -> [f64; 2] {
        [
            0.5 * (self.from[0] + self.to[0]),
            0.5 * (self.from[1] + self.to[1]),
        ]
    }

    /// Distance driven, m.
    pub fn length(&self) -> f64 {
        crate::geometry::distance(self.from, self.to)
    }
}

/// One pass.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Pass {
    /// Index into the timeline's tracks.
    pub track: usize,
    /// First row, as an index into the track.
    pub first: usize,
    /// One past the last row, as an index into the track.
    pub end: usize,
}

/// The passes of a field. Vectors have one entry per row of the log.
#[derive(Debug, Clone, Default, serde::Serialize, serde::Deserialize)]
pub struct Passes {
    /// Passes in the order of work, machine by machine.
    pub passes: Vec<Pass>,
    /// Index into `passes`; `None` off passes. Rows without a usable position between good ones of a pass are on it.
    pub pass_of: Vec<Option<u32>>,
    /// What the machine does.
    pub activity: Vec<Activity>,
    /// The ground; `None` where there is no position. Where [`Passes::activity`] says that a position is missing or
    /// leaps but the rows around it tell the way, the ground is the straight line between them: it was cut, though no
    /// point can be put on it.
    pub ground: Vec<Option<Ground>>,
    /// Direction of travel, radians counter-clockwise from east (x); NaN where unknown.
    #[serde(with = "crate::log::bytes")]
    pub direction: Vec<f64>,
    /// Ground speed, m/s; NaN where unknown.
    #[serde(with = "crate::log::bytes")]
    pub speed: Vec<f64>,
    /// Width of the header, m; NaN where nothing gives it.
    #[serde(with = "crate::log::bytes")]
    pub header_width: Vec<f64>,
    /// Time from where cutting (re)started to the middle of the row's interval, s; NaN off passes.
    #[serde(with = "crate::log::bytes")]
    pub since_start: Vec<f64>,
    /// Time from the middle of the row's interval to where cutting stops, s; NaN off passes.
    #[serde(with = "crate::log::bytes")]
    pub until_stop: Vec<f64>,
}
