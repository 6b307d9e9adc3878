//! What is simulated: every parameter of a field season, with plausible defaults.

use super::machine_spec::MachineSpec;
use super::shape::Shape;

/// One field season: the ground, the driving, the machines and their logs, the faults and the scale.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldSpec {
    /// Client.
    pub client: String,
    /// Farm.
    pub farm: String,
    /// Field; any characters.
    pub name: String,
    /// Stem of the field's files and start of its load ids; ASCII letters, digits and `-`.
    pub key: String,
    /// Calendar year of harvest.
    pub season: i32,
    /// Crop, lower case.
    pub crop: String,
    /// Moisture to which true yields are brought, %.
    pub reference_moisture: f64,
    /// Longitude and latitude of the local frame's origin, degrees.
    pub origin: [f64; 2],
    /// Unix time of the first row's start, s.
    pub start: f64,
    /// The field's outline in the local frame, m.
    pub shape: Shape,
    /// What grows on it.
    pub surface: SurfaceSpec,
    /// How it is driven.
    pub driving: DrivingSpec,
    /// The machines, all in the field at the same time; each has a name of its own.
    pub machines: Vec<MachineSpec>,
    /// What goes wrong in the logs.
    pub faults: FaultSpec,
    /// What the scale sees.
    pub weighing: WeighingSpec,
}

/// How quickly the yield surface changes over short distances.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Smoothness {
    /// Exponential covariance; the range is where the correlation has fallen to 0.05.
    Rough,
    /// Matérn covariance with ν = 1; the range is √8/κ, where the correlation has fallen to about 0.14.
    Smooth,
}

/// A patch of other soil: inside the circle the yield is multiplied.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zone {
    /// Middle, m in the local frame.
    pub centre: [f64; 2],
    /// Radius, m.
    pub radius: f64,
    /// Relative change of yield, e.g. −0.3.
    pub effect: f64,
}

/// True wet yield and moisture over the field.
#[derive(Debug, Clone, PartialEq)]
pub struct SurfaceSpec {
    /// Mean wet yield, kg/ha.
    pub mean_yield: f64,
    /// Coefficient of variation of the random part, 0–0.4.
    pub cv: f64,
    /// Range of the covariance, m.
    pub range: f64,
    /// Shape of the covariance.
    pub smoothness: Smoothness,
    /// Relative change of yield from the west to the east end of the field.
    pub trend: f64,
    /// Width of the belt along the boundary whose yield differs, m.
    pub headland_width: f64,
    /// Relative change of yield in that belt, e.g. −0.25.
    pub headland_effect: f64,
    /// Patches of other soil.
    pub zones: Vec<Zone>,
    /// Mean moisture on the first day, % wet basis.
    pub moisture: f64,
    /// Standard deviation of moisture over the field, points.
    pub moisture_sd: f64,
    /// Range of the moisture's covariance, m.
    pub moisture_range: f64,
    /// Correlation of moisture with yield, −1 to 1.
    pub moisture_yield_correlation: f64,
    /// Points of moisture lost from day to day.
    pub drying_per_day: f64,
}

/// The order in which the passes inside the headland are driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pattern {
    /// Each pass beside the one before, in the opposite direction.
    Serpentine,
    /// Up one side of the land and down the other, towards its middle: neighbours run the same way.
    RoundAndRound,
    /// Along the boundary inwards as long as its curve allows, then serpentine.
    Spiral,
}

/// How the bin is emptied, which is where one load ends and the next begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unloading {
    /// While cutting.
    OnTheGo,
    /// Standing, between passes (or inside one when the bin is full).
    Standing,
}

/// How the field is driven.
#[derive(Debug, Clone, PartialEq)]
pub struct DrivingSpec {
    /// Direction of the passes, degrees clockwise from north.
    pub heading: f64,
    /// Rounds along the boundary and round each hole before the passes.
    pub headland_rounds: usize,
    /// Order of the passes.
    pub pattern: Pattern,
    /// Width of a land, m; infinite: the field is one land. Several machines work different lands.
    pub land_width: f64,
    /// Overlap planned between neighbouring passes, m.
    pub overlap: f64,
    /// Standard deviation of the steering error, m.
    pub steering_sd: f64,
    /// Relative standard deviation of the slow wander of speed.
    pub speed_wander: f64,
    /// How far the driver holds the flow by slowing down in heavy crop: 0 not at all, 1 fully.
    pub flow_hold: f64,
    /// Stops inside passes, per hour of cutting.
    pub stops_per_hour: f64,
    /// Abrupt changes of speed inside passes, per hour of cutting.
    pub abrupt_per_hour: f64,
    /// Speed in turns, m/s.
    pub turn_speed: f64,
    /// How the bin is emptied.
    pub unloading: Unloading,
    /// Working hours a day.
    pub hours_per_day: f64,
}

/// Whether rows without a fix have no position or 0/0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoFix {
    /// Empty.
    Empty,
    /// 0/0.
    Zero,
}

/// Faults, as episodes per thousand rows.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultSpec {
    /// The row before once more.
    pub duplicate_rows: f64,
    /// One row 2.5 to 6 times too high.
    pub flow_spikes: f64,
    /// 15 to 60 rows with the same flow.
    pub stuck_readings: f64,
    /// One to four rows 15 to 150 m off.
    pub position_jumps: f64,
    /// One to eight rows without a position.
    pub bad_fixes: f64,
    /// Two to ten rows without flow while cutting.
    pub zero_flows: f64,
    /// One to three rows with an impossible moisture.
    pub moisture_glitches: f64,
    /// What stands in rows without a position.
    pub no_fix: NoFix,
}

/// Which loads are weighed.
#[derive(Debug, Clone, PartialEq)]
pub enum Weighed {
    /// All.
    All,
    /// None.
    None,
    /// The first ones of each machine.
    First {
        /// Their share, 0–1.
        share: f64,
    },
    /// Any, drawn at random.
    Random {
        /// Their share, 0–1.
        share: f64,
    },
    /// All loads of the machines named.
    Machines(Vec<String>),
}

/// The scale and its tickets.
#[derive(Debug, Clone, PartialEq)]
pub struct WeighingSpec {
    /// Which loads are weighed.
    pub weighed: Weighed,
    /// Relative standard deviation of the scale.
    pub scale_sd: f64,
    /// Standard deviation of the moisture tester, points.
    pub tester_sd: f64,
    /// Relative error of one ticket, e.g. 0.12; 0: all are right.
    pub wrong_ticket: f64,
    /// Number of tickets over two loads each.
    pub joint_tickets: usize,
    /// Name of the scale.
    pub scale: String,
}

impl Default for SurfaceSpec {
    fn default() -> Self {
        Self {
            mean_yield: 10_500.0,
            cv: 0.14,
            range: 70.0,
            smoothness: Smoothness::Smooth,
            trend: 0.0,
            headland_width: 0.0,
            headland_effect: 0.0,
            zones: Vec::new(),
            moisture: 18.5,
            moisture_sd: 0.6,
            moisture_range: 90.0,
            moisture_yield_correlation: 0.2,
            drying_per_day: 0.3,
        }
    }
}

impl Default for DrivingSpec {
    fn default() -> Self {
        Self {
            heading: 0.0,
            headland_rounds: 2,
            pattern: Pattern::Serpentine,
            land_width: f64::INFINITY,
            overlap: 0.25,
            steering_sd: 0.08,
            speed_wander: 0.03,
            flow_hold: 0.0,
            stops_per_hour: 0.6,
            abrupt_per_hour: 1.5,
            turn_speed: 1.4,
            unloading: Unloading::OnTheGo,
            hours_per_day: 9.0,
        }
    }
}

impl Default for FaultSpec {
    fn default() -> Self {
        Self {
            duplicate_rows: 0.3,
            flow_spikes: 0.5,
            stuck_readings: 0.05,
            position_jumps: 0.2,
            bad_fixes: 0.2,
            zero_flows: 0.1,
            moisture_glitches: 0.2,
            no_fix: NoFix::Empty,
        }
    }
}

impl FaultSpec {
    /// Logs without a fault.
    pub fn none() -> Self {
        Self {
            duplicate_rows: 0.0,
            flow_spikes: 0.0,
            stuck_readings: 0.0,
            position_jumps: 0.0,
            bad_fixes: 0.0,
            zero_flows: 0.0,
            moisture_glitches: 0.0,
            no_fix: NoFix::Empty,
        }
    }
}

impl Default for WeighingSpec {
    fn default() -> Self {
        Self {
            weighed: Weighed::All,
            scale_sd: 0.002,
            tester_sd: 0.1,
            wrong_ticket: 0.0,
            joint_tickets: 0,
            scale: "yard".into(),
        }
    }
}

impl Default for FieldSpec {
    fn default() -> Self {
        Self {
            client: "Heron Lane".into(),
            farm: "Home".into(),
            name: "Brook field".into(),
            key: "brook".into(),
            season: 2025,
            crop: "maize".into(),
            reference_moisture: 15.5,
            origin: [10.2, 54.1],
            start: 1_759_478_400.0, // 2025-10-03T08:00:00Z
            shape: Shape::rectangle(350.0, 500.0),
            surface: SurfaceSpec::default(),
            driving: DrivingSpec::default(),
            machines: vec![MachineSpec::default()],
            faults: FaultSpec::default(),
            weighing: WeighingSpec::default(),
        }
    }
}
