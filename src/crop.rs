//! Crops: reference moisture, conversion bushel, and bounds no real crop leaves.

/// What the tool needs to know of a crop. Every value can be set in the job.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Crop {
    /// Name, lower case.
    pub name: String,
    /// Moisture to which yields are brought, % wet basis.
    pub reference_moisture: f64,
    /// Weight of the *conversion* bushel, kg (not the grade's minimum test weight).
    pub bushel_kg: f64,
    /// Highest yield believed at a point at reference moisture, kg/ha.
    pub highest_yield: f64,
    /// Lowest and highest moisture believed, %.
    pub moisture_bounds: (f64, f64),
    /// Whether loads drier than the reference are credited with water up to it.
    pub credit_dry: bool,
}
