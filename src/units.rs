//! Units at the doors. Inside, everything is SI (m, s, kg, kg/s), % wet basis and degrees; a number meets a unit
//! only when it is read or written.

mod amount;
mod quantity;

pub use amount::{AmountError, parse_amount, parse_range};
pub(crate) use quantity::tokens;
pub use quantity::{Quantity, Unit};

use std::fmt;

/// International pound, kg (exact by the agreement of 1959; NIST Handbook 44, appendix C).
pub const POUND_KG: f64 = 0.453_592_37;
/// International foot, m (exact; NIST Handbook 44, appendix C).
pub const FOOT_M: f64 = 0.3048;
/// Square metres in an acre (43,560 international square feet).
pub const ACRE_M2: f64 = 43_560.0 * FOOT_M * FOOT_M;
/// Square metres in a hectare.
pub const HECTARE_M2: f64 = 10_000.0;

/// The unit in which a job wants its yields.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Default,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
pub enum YieldUnit {
    /// Tonnes per hectare.
    #[default]
    #[serde(rename = "t/ha")]
    TonnePerHectare,
    /// Kilograms per hectare.
    #[serde(rename = "kg/ha")]
    KilogramPerHectare,
    /// Bushels per acre, by the crop's conversion weight.
    #[serde(rename = "bu/ac")]
    BushelPerAcre,
    /// Pounds per acre.
    #[serde(rename = "lb/ac")]
    PoundPerAcre,
}

impl YieldUnit {
    /// Every yield unit.
    pub const ALL: [YieldUnit; 4] = [
        YieldUnit::TonnePerHectare,
        YieldUnit::KilogramPerHectare,
        YieldUnit::BushelPerAcre,
        YieldUnit::PoundPerAcre,
    ];

    /// The unit as it is written.
    pub fn symbol(self) -> &'static str {
        match self {
            YieldUnit::TonnePerHectare => "t/ha",
            YieldUnit::KilogramPerHectare => "kg/ha",
            YieldUnit::BushelPerAcre => "bu/ac",
            YieldUnit::PoundPerAcre => "lb/ac",
        }
    }

    /// The unit of that symbol.
    pub fn from_symbol(symbol: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|u| u.symbol() == symbol)
    }

    /// How much of this unit 1 kg/ha is. `bushel_kg`: the crop's conversion weight, kg.
    pub fn per_kg_ha(self, bushel_kg: f64) -> f64 {
        let lb_ac = ACRE_M2 / HECTARE_M2 / POUND_KG;
        match self {
            YieldUnit::TonnePerHectare => 1e-3,
            YieldUnit::KilogramPerHectare => 1.0,
            YieldUnit::BushelPerAcre => ACRE_M2 / HECTARE_M2 / bushel_kg,
            YieldUnit::PoundPerAcre => lb_ac,
        }
    }
}

impl fmt::Display for YieldUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}
