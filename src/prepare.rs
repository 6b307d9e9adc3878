//! One field season made ready for the acts: positions in metres, clocks, faults, passes, cut widths, loads.
//!
//! Everything here depends on the field's own input alone, so every act of a batch may make it anew.

use thiserror::Error;

use crate::faults::{FaultParams, Faults};
use crate::geometry::{Boundary, Frame, FrameError};
use crate::job::{FieldSeason, Job};
use crate::loads::{Loads, assign};
use crate::log::Timeline;
use crate::passes::{self, Ground, ParamsError, Passes, StandingCrop};
use crate::read::FieldInput;
use crate::width::{self, CutWidth, Rows, WidthError};

/// Why a field cannot be worked with.
#[derive(Debug, Error)]
pub enum PrepareError {
    /// No row has a usable position.
    #[error("{log}: none of the {rows} rows has a usable position")]
    NoPosition {
        /// The first log.
        log: String,
        /// Rows read.
        rows: usize,
    },
    /// The field has no frame.
    #[error("the field's positions cannot be brought to metres")]
    Frame(#[from] FrameError),
    /// Nothing gives the width of the header.
    #[error("the width of machine \"{0}\"'s header is not known")]
    NoHeaderWidth(String),
    /// A machine's settings are out of range.
    #[error("a machine's settings cannot be used")]
    Passes(#[from] ParamsError),
    /// Fault settings are out of range.
    #[error("the search for faults cannot be used")]
    Faults(#[from] crate::faults::FaultParamsError),
    /// Cut-width settings are out of range.
    #[error("the cut width's settings cannot be used")]
    Width(#[from] WidthError),
    /// Nothing was cut.
    #[error("{log}: no pass at work is found in its {rows} rows")]
    NoPass {
        /// The first log.
        log: String,
        /// Rows read.
        rows: usize,
    },
}

impl PrepareError {
    /// A way out, for people.
    pub fn hint(&self) -> Option<String> {
        match self {
            PrepareError::NoPosition { .. } => {
                Some("positions are lon_deg and lat_deg, or x_m and y_m with a crs in [log]; map other headers with columns = { lon = \"…\", lat = \"…\" }".into())
            }
            PrepareError::NoHeaderWidth(machine) => Some(format!(
                "give it in the job: [[machine]] with name = \"{machine}\" and header_width = \"9.1 m\", or width = \"9.1 m\" in [log]"
            )),
            PrepareError::NoPass { .. } => Some(
                "check work_state (1 working, 0 not), the interval and the speed: every row counts as standing or driving on the road".into(),
            ),
            _ => None,
        }
    }
}

/// A field season made ready.
#[derive(Debug, serde::Serialize, serde::Deserialize)]
pub struct Prepared {
    /// Which field, season and crop.
    pub season: FieldSeason,
    /// What was read.
    pub input: FieldInput,
    /// The field's frame.
    pub frame: Frame,
    /// The boundary in the frame. Small, and not stored with the rest.
    #[serde(skip)]
    pub boundary: Option<Boundary>,
    /// Clocks.
    pub timeline: Timeline,
    /// Faults, and masses without them.
    pub faults: Faults,
    /// Passes.
    pub passes: Passes,
    /// Cut widths.
    pub width: CutWidth,
    /// Whether the ground of a row is outside the boundary, where no crop stands.
    pub outside: Vec<bool>,
    /// Loads.
    pub loads: Loads,
}

impl Prepared {
    /// Prepares a field season.
    ///
    /// # Errors
    /// Where no position, header width or pass is to be had, or a machine's settings are out of range.
    pub fn new(job: &Job, field: &FieldSeason, input: FieldInput) -> Result<Self, PrepareError> {
        let log = &input.log;
        let first = || {
            log.sources
                .first()
                .map_or_else(|| field.name.clone(), |s| s.path.clone())
        };
        if !log
            .lon
            .iter()
            .zip(&log.lat)
            .any(|(x, y)| x.is_finite() && y.is_finite())
        {
            return Err(PrepareError::NoPosition {
                log: first(),
                rows: log.len(),
            });
        }
        let frame = Frame::around(&log.lon, &log.lat)?;
        let (x, y) = frame.forward(&log.lon, &log.lat);
        let boundary = input
            .boundary
            .as_ref()
            .map(|b| Boundary::from_degrees(b, &frame));
        let timeline = Timeline::new(log);
        let mut faults = crate::faults::apply(log, &timeline, &FaultParams::default().check()?);
        let mut passes = passes::estimate(
            &pass_params(job, log.machines.as_slice()).check()?,
            log,
            &timeline,
            &x,
            &y,
        );
        if let Some(i) =
            (0..log.len()).find(|&i| passes.pass_of[i].is_some() && passes.header_width[i].is_nan())
        {
            return Err(PrepareError::NoHeaderWidth(
                log.machines[log.machine[i] as usize].clone(),
            ));
        }
        if passes.passes.is_empty() {
            return Err(PrepareError::NoPass {
                log: first(),
                rows: log.len(),
            });
        }
        let cuts: Vec<bool> = passes.pass_of.iter().map(Option::is_some).collect();
        faults.refill(log, &timeline, &cuts);
        let width = width::cut_width(
            Rows {
                order: &timeline.work_order(log),
                passes: &passes,
            },
            boundary.as_ref(),
            &width_params(job, field).check()?,
        );
        let outside = outside(&passes, boundary.as_ref());
        passes.keep_to_crop(
            log,
            &timeline,
            &StandingCrop {
                share: &width.share,
                outside: &outside,
                least_share: width.least_share,
                mass: &faults.mass,
            },
        );
        let loads = assign(log, &input.tickets);
        Ok(Self {
            season: field.clone(),
            frame,
            boundary,
            timeline,
            faults,
            passes,
            width,
            outside,
            loads,
            input,
        })
    }
}

impl Prepared {
    /// The ground that each row newly cut, as four corners in the frame (see [`width::newly_cut`]).
    ///
    /// # Errors
    /// Where the job's settings are out of range.
    pub fn newly_cut(&self, job: &Job) -> Result<Vec<Option<[[f64; 2]; 4]>>, WidthError> {
        let rows = Rows {
            order: &self.timeline.work_order(&self.input.log),
            passes: &self.passes,
        };
        Ok(width::newly_cut(
            rows,
            &self.width.share,
            &width_params(job, &self.season).check()?,
        ))
    }
}

/// Whether each row's ground is outside the boundary.
fn outside(passes: &Passes, boundary: Option<&Boundary>) -> Vec<bool> {
    let of_row = |ground: &Option<Ground>| match (ground, boundary) {
        (Some(ground), Some(boundary)) => !boundary.contains(ground.middle()),
        _ => false,
    };
    passes.ground.iter().map(of_row).collect()
}

fn pass_params(job: &Job, machines: &[String]) -> passes::Params {
    let mut params = passes::Params::new(machines.len());
    for (m, name) in machines.iter().enumerate() {
        let settings = job.machines.iter().find(|s| s.name == *name);
        params.header_width[m] = settings.and_then(|s| s.header_width).or(job.log.width);
        params.antenna_behind[m] = settings
            .and_then(|s| s.antenna_behind_cutter_bar)
            .unwrap_or_default();
    }
    params
}

fn width_params(job: &Job, field: &FieldSeason) -> width::Params {
    let mut params = width::Params {
        row_spacing: field.crop.row_spacing,
        ..width::Params::default()
    };
    if let Some(share) = job.limits.cut_share {
        params.least_share = share;
    }
    params
}
