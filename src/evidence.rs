//! What a field's figures rest on, in the form that a page shows: curves, profiles, distributions, parts of the field.
//!
//! The stages fill it; nothing is computed from it but places on paper.

use serde::{Deserialize, Serialize};

/// What one field season's figures rest on.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Evidence {
    /// Per machine, in the order of the summary's machines.
    pub machines: Vec<MachineGrounds>,
    /// Per load, in the order of the summary's loads.
    pub loads: Vec<LoadGrounds>,
    /// Yields before and after, in the job's unit, by area.
    pub yields: Option<BeforeAfter>,
    /// Corrected moisture, %, by corrected mass in t.
    pub moisture: Option<Histogram>,
    /// Header on standing crop, % of its width, by cut area in ha.
    pub cut_share: Option<Histogram>,
    /// Headland and interior.
    pub parts: Option<Parts>,
    /// Limits that the checks used.
    pub limits: Option<LimitsUsed>,
    /// How the passes lie to each other.
    pub spacing: SpacingGrounds,
    /// Rings of the boundary, m in the field's plane.
    pub boundary: Vec<Vec<[f64; 2]>>,
    /// Middle of each row's ground, east, m in the field's plane; NaN where there is none. Not part of what is stored.
    #[serde(skip)]
    pub x: Vec<f64>,
    /// The same, north.
    #[serde(skip)]
    pub y: Vec<f64>,
}

/// What a machine's delay and ramps rest on.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct MachineGrounds {
    /// Name.
    pub name: String,
    /// Disagreement of opposed neighbouring passes over candidate delays.
    pub delay: Option<DelayGrounds>,
    /// Filling.
    pub entry: RampGrounds,
    /// Emptying.
    pub exit: RampGrounds,
}

/// Disagreement of opposed neighbouring passes over candidate delays: the share of the variation that they do not
/// share, 0 (alike) to about 1 (nothing in common).
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct DelayGrounds {
    /// First candidate, s.
    pub from: f64,
    /// Step between candidates, s.
    pub step: f64,
    /// This field's own curve, one value per candidate; empty where it has no pairs.
    pub field: Vec<f32>,
    /// Pairs of points behind it.
    pub field_pairs: u64,
    /// That of the machine's fields together.
    pub machine: Vec<f32>,
    /// How many fields those are.
    pub fields: u64,
}

/// What a ramp rests on.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct RampGrounds {
    /// Its length, s.
    pub seconds: f64,
    /// Whether the passes gave it; otherwise it is the default.
    pub from_data: bool,
    /// Passes behind it.
    pub passes: u64,
    /// Per second: low end of the 95 % band, median over passes, high end; share of the pass's level.
    pub profile: Vec<[f32; 3]>,
}

/// What is known of a load beside its summary.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct LoadGrounds {
    /// Its own mean factor of the machine's weighed loads in this field: weighed over logged mass, as a ratio of sums.
    pub machine_factor: Option<f64>,
    /// Weighed over expected mass of its ticket, where the machine's other tickets contradict it.
    pub doubt: Option<f64>,
    /// Corrected mass at reference moisture over corrected wet mass.
    pub reference_share: Option<f64>,
}

/// Amounts over classes of one width.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Histogram {
    /// Lower end of the first class.
    pub from: f64,
    /// Width of a class.
    pub step: f64,
    /// Amount per class; what lies beyond either end is in the class at that end.
    pub amounts: Vec<f64>,
}

/// Two distributions over the same classes.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct BeforeAfter {
    /// As logged, ha.
    pub before: Histogram,
    /// Corrected, kept points, ha.
    pub after: Histogram,
}

/// The field in two parts: the ground along its boundary that was opened first, and the rest.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Parts {
    /// Depth of the headland, m.
    pub depth_m: f64,
    /// Whether the ends of the passes gave the depth; otherwise two headers are taken, because passes run to the edge.
    pub from_passes: bool,
    /// The headland.
    pub headland: Part,
    /// The rest.
    pub interior: Part,
}

/// What grew on a part of the field: all grain that has its ground there, on kept points or not.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Part {
    /// Ground cut once, ha.
    pub area_ha: f64,
    /// Corrected wet mass, kg.
    pub kg: f64,
    /// Its part on points that were set aside, kg.
    pub set_aside_kg: f64,
    /// Yield at reference moisture over kept points, in the job's unit.
    pub mean: Option<f64>,
}

/// Limits that the checks used, in SI.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LimitsUsed {
    /// Lowest and highest speed, m/s.
    pub speed: (f64, f64),
    /// Lowest and highest yield, kg/ha.
    pub yield_kg_ha: (f64, f64),
    /// Lowest and highest moisture, %.
    pub moisture: (f64, f64),
    /// Least share of the header on standing crop.
    pub cut_share: f64,
}

/// How the passes lie to each other.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct SpacingGrounds {
    /// Usual header width, m.
    pub header_m: Option<f64>,
    /// Usual ground between neighbouring swaths, m (negative: overlap).
    pub gap_m: Option<f64>,
    /// Receiver's error across the track, sd, m.
    pub cross_track_sd_m: Option<f64>,
}
