//! The figures of one field season, as they are written to `summary.json`: names, nesting and nulls are the format.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::log::Reason;
use crate::schema::{self, keyed_by, word, words};
use crate::units::YieldUnit;

/// A message for people with a stable code for programs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Remark {
    /// Stable word, e.g. `already-shifted`.
    pub code: String,
    /// Text for people.
    pub text: String,
}

impl Remark {
    /// A remark.
    pub fn new(code: &str, text: impl Into<String>) -> Self {
        Self {
            code: code.to_owned(),
            text: text.into(),
        }
    }
}

/// Where an estimate comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum DelayBasis {
    /// This field's own data.
    Field,
    /// The machine's fields of this crop, pooled.
    Machine,
    /// Nothing identified it.
    Default,
    /// The job file fixed it.
    Fixed,
}

/// Where a load's factor comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum FactorBasis {
    /// Its own ticket.
    Ticket,
    /// Neighbouring ground cut in other loads.
    Neighbours,
    /// The machine's other tickets.
    Machine,
    /// Nothing: logged mass stands.
    None,
}

/// A value with a 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Estimate {
    /// The value, s.
    pub value: f64,
    /// Lower end of its 95 % interval, s.
    pub ci95_low: Option<f64>,
    /// Upper end of its 95 % interval, s.
    pub ci95_high: Option<f64>,
    /// Where it comes from.
    pub basis: DelayBasis,
}

/// Counts of rows.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PointCounts {
    /// All data rows of the logs: kept + set aside + unreadable.
    pub rows: u64,
    /// Rows that could not be parsed.
    pub unreadable: u64,
    /// Points kept.
    pub kept: u64,
    /// Points set aside, by reason (all reasons that occur).
    #[schemars(schema_with = "by_reason")]
    pub set_aside: BTreeMap<String, u64>,
}

/// One machine in this field.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MachineSummary {
    /// The machine's name in the logs.
    pub name: String,
    /// Transport delay, s.
    pub delay_s: Estimate,
    /// Moisture delay, s.
    pub moisture_delay_s: Option<f64>,
    /// Length of the entry ramp after the delay, s.
    pub entry_ramp_s: Option<f64>,
    /// Length of the exit ramp before the end of the pass, s.
    pub exit_ramp_s: Option<f64>,
}

/// Masses of the field.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GrainSummary {
    /// Wet mass as logged, kg.
    pub logged_kg: f64,
    /// What of it is not grain, kg.
    pub fault_kg: f64,
    /// Wet mass that no row has, as the machines' sensors would have logged it, kg.
    #[serde(default)]
    pub unlogged_kg: f64,
    /// Wet mass on tickets that are used, kg.
    pub weighed_kg: f64,
    /// Corrected wet mass, kg.
    pub corrected_kg: f64,
    /// Corrected mass at reference moisture, kg.
    pub reference_kg: f64,
    /// Corrected moisture, flow-weighted, %.
    pub moisture_pct: Option<f64>,
    /// Moisture to which yields are brought, %.
    pub reference_moisture_pct: f64,
}

/// Yield of the field, at reference moisture, in the job's unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct YieldSummary {
    /// The job's yield unit.
    #[schemars(with = "YieldUnit")]
    pub unit: String,
    /// Corrected grain at reference moisture less what lies outside the boundary, over the area, in the job's unit.
    pub mean: Option<f64>,
    /// Lower end of the mean's 95 % interval, in the job's unit.
    pub ci95_low: Option<f64>,
    /// Upper end of the mean's 95 % interval, in the job's unit.
    pub ci95_high: Option<f64>,
    /// Coefficient of variation of kept points, area-weighted, %.
    pub cv_pct: Option<f64>,
    /// 10th percentile of kept points, area-weighted, in the job's unit.
    pub p10: Option<f64>,
    /// Median of kept points, area-weighted, in the job's unit.
    pub median: Option<f64>,
    /// 90th percentile of kept points, area-weighted, in the job's unit.
    pub p90: Option<f64>,
}

/// What grew on the headland: all grain that has its ground there, on kept points or not.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HeadlandSummary {
    /// Depth of the strip along the whole boundary, m.
    pub depth_m: f64,
    /// Ground cut once in it, ha.
    pub area_ha: f64,
    /// Corrected wet mass, kg.
    pub corrected_kg: f64,
    /// Yield at reference moisture over its kept points, in the job's unit.
    pub mean: Option<f64>,
    /// The same for the rest of the field, in the job's unit.
    pub interior_mean: Option<f64>,
}

/// The grid. Standard deviations and errors are relative, %.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GridSummary {
    /// Side of a cell, m.
    pub cell_m: f64,
    /// UTM zone in which cells are square and their corners whole multiples of the side.
    pub crs: String,
    /// Number of cells.
    pub cells: u64,
    /// Cells on the field's ground that were left out, because no kept ground is near enough.
    pub left_out: u64,
    /// The field's ground in the cells, ha.
    pub area_ha: f64,
    /// Mean yield over that ground, in the job's unit.
    pub mean: Option<f64>,
    /// Median standard error of a cell, %.
    pub se_pct: Option<f64>,
    /// The same without what the level of the whole field may be off by, %: how well cells can be told apart.
    pub se_within_pct: Option<f64>,
    /// Standard deviation of the pattern of points, %.
    pub pattern_sd_pct: f64,
    /// Distance beyond which points of it are no longer alike, m; null without a pattern.
    pub range_m: Option<f64>,
    /// Standard deviation of the error of a stretch of a pass, %.
    pub error_sd_pct: f64,
    /// Part of its variance that neighbouring stretches of one pass share, 0–1.
    pub error_shared: f64,
}

/// The map before anything: every readable row, logged flow, distance, width and moisture.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoggedSummary {
    /// Logged grain at reference moisture over logged area, in the job's unit.
    pub mean: Option<f64>,
    /// Σ logged distance × logged width, ha.
    pub area_ha: f64,
}

/// How the scale was carried to the loads.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CalibrationSummary {
    /// How factors of loads without a ticket were found, and why so.
    pub method: String,
    /// Number of tickets that are used.
    pub tickets_used: u64,
    /// Leave-one-load-out error of the method over the batch's weighed loads of these machines, %.
    pub leave_one_out_pct: Option<f64>,
}

/// One load (or the grain outside every load, with `load` null).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoadSummary {
    /// Load id; null for the grain outside every load.
    pub load: Option<String>,
    /// The machine's name.
    pub machine: String,
    /// Ticket that weighed it; null where none did.
    pub ticket: Option<String>,
    /// Logged wet mass in this field, kg, faults included.
    pub logged_kg: f64,
    /// Weighed wet mass, kg (this field's share).
    pub weighed_kg: Option<f64>,
    /// What a ticket says that is held out, kg (this field's share).
    #[serde(default)]
    pub held_out_kg: Option<f64>,
    /// Corrected wet mass, kg.
    pub corrected_kg: f64,
    /// Corrected over logged mass.
    pub factor: Option<f64>,
    /// Lower end of the factor's 95 % interval.
    pub ci95_low: Option<f64>,
    /// Upper end of the factor's 95 % interval.
    pub ci95_high: Option<f64>,
    /// Where the factor comes from.
    pub basis: FactorBasis,
    /// Moisture offset added to the logged moisture, % (points of wet basis).
    pub moisture_offset_pct: Option<f64>,
    /// What to know about it.
    pub remarks: Vec<Remark>,
}

/// One line of the mass ledger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LedgerItem {
    /// Where the grain went: `kept`, a reason, or `unplaced`.
    #[schemars(schema_with = "ledger_words")]
    pub item: String,
    /// Points (none for `unplaced`).
    pub points: u64,
    /// Corrected wet mass, kg.
    pub kg: f64,
    /// Its part from loads whose ticket is used, kg.
    pub weighed_kg: f64,
}

/// How good a map is without knowing the truth.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MapQuality {
    /// Robust spread of the log ratio between opposed neighbouring passes, %.
    pub opposite_pass_pct: Option<f64>,
    /// Nugget over sill of the variogram, 0–1.
    pub nugget_to_sill: Option<f64>,
    /// Robust error of predicting points from other passes, %.
    pub held_out_pct: Option<f64>,
}

/// Quality before and after, on the same pairs and points.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct QualitySummary {
    /// The logged map.
    pub before: MapQuality,
    /// The corrected map.
    pub after: MapQuality,
    /// Map total against scale total over loads whose ticket is used, %.
    pub closure_pct: Option<f64>,
}

/// Everything `summary.json` says of one field season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Summary {
    /// Client.
    pub client: String,
    /// Farm.
    pub farm: String,
    /// Field.
    pub field: String,
    /// Season (calendar year of harvest).
    pub season: i32,
    /// Crop.
    pub crop: String,
    /// Rows of the logs and what became of them.
    pub points: PointCounts,
    /// Machines that worked in the field.
    pub machines: Vec<MachineSummary>,
    /// Ground cut once, inside the boundary where there is one, ha.
    pub area_ha: f64,
    /// The map before anything.
    pub logged: LoggedSummary,
    /// Masses and moistures.
    pub grain: GrainSummary,
    /// Yield of the field, at reference moisture.
    #[serde(rename = "yield")]
    pub yields: YieldSummary,
    /// The grid; null where none was asked for or can be made.
    #[serde(default)]
    pub grid: Option<GridSummary>,
    /// The strip along the boundary; null without a boundary.
    #[serde(default)]
    pub headland: Option<HeadlandSummary>,
    /// How the scale was carried to the loads.
    pub calibration: CalibrationSummary,
    /// Loads, and the grain outside every load.
    pub loads: Vec<LoadSummary>,
    /// Mass ledger: where all corrected grain went.
    pub ledger: Vec<LedgerItem>,
    /// Map quality without truth, before and after.
    pub quality: QualitySummary,
    /// What to know about the field.
    pub warnings: Vec<Remark>,
}

/// The schema of `summary.json`.
pub fn schema() -> Value {
    schema::written::<Summary>("Figures of a field season, summary.json of fanmill")
}

/// A count for each reason.
fn by_reason(generator: &mut SchemaGenerator) -> Schema {
    keyed_by::<Reason>(|_| Some(generator.subschema_for::<u64>()))
}

/// What an item of the ledger may be.
fn ledger_words(_: &mut SchemaGenerator) -> Schema {
    let reasons = words::<Reason>();
    let items: Vec<Schema> = std::iter::once(word("kept", "On kept points: the map."))
        .chain(
            reasons
                .iter()
                .map(|(reason, meaning)| word(reason, meaning)),
        )
        .chain(std::iter::once(word(
            "unplaced",
            "Its ground, or the grain itself, is not in the log.",
        )))
        .collect();
    json_schema!({ "oneOf": items })
}
