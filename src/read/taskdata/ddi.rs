//! Data of harvest by their identifiers (ISO 11783-11, as published at isobus.net).
//!
//! Values are integers; one of them is `resolution` of the unit. The display's own presentation (DVP) is for screens
//! only and plays no part.

/// An identifier of the dictionary.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Ddi(pub u16);

impl Ddi {
    pub const WIDTH_ACTUAL: Ddi = Ddi(0x0043);
    pub const WIDTH_DEFAULT: Ddi = Ddi(0x0044);
    pub const WIDTH_MAXIMUM: Ddi = Ddi(0x0046);
    pub const VOLUME_PER_AREA: Ddi = Ddi(0x0053);
    pub const MASS_PER_AREA: Ddi = Ddi(0x0054);
    pub const VOLUME_PER_TIME: Ddi = Ddi(0x0056);
    pub const MASS_PER_TIME: Ddi = Ddi(0x0057);
    pub const TOTAL_MASS: Ddi = Ddi(0x005A);
    pub const MOISTURE: Ddi = Ddi(0x0063);
    pub const DENSITY: Ddi = Ddi(0x0079);
    pub const OFFSET_X: Ddi = Ddi(0x0086);
    pub const OFFSET_Y: Ddi = Ddi(0x0087);
    pub const WORK_STATE: Ddi = Ddi(0x008D);
    pub const LATENCY_SET: Ddi = Ddi(0x008E);
    pub const LATENCY: Ddi = Ddi(0x008F);
    pub const CONDENSED_FIRST: Ddi = Ddi(0x00A1);
    pub const CONDENSED_LAST: Ddi = Ddi(0x00B0);
    pub const DRY_MASS_PER_AREA: Ddi = Ddi(0x00B5);
    pub const DRY_MASS_PER_TIME: Ddi = Ddi(0x00B6);
    pub const REFERENCE_MOISTURE: Ddi = Ddi(0x00B8);
    pub const YIELD_HOLD: Ddi = Ddi(0x00EF);
    pub const IGNORE_OUT: Ddi = Ddi(0x0103);
    pub const IGNORE_IN: Ddi = Ddi(0x0104);
    pub const LOADED_ID: Ddi = Ddi(0x0142);
    pub const SPEED: Ddi = Ddi(0x018D);

    /// From four hexadecimal digits.
    pub fn parse(text: &str) -> Option<Ddi> {
        u16::from_str_radix(text.trim(), 16).ok().map(Ddi)
    }

    /// Whether it is a condensed work state of up to 16 sections.
    pub fn is_condensed(self) -> bool {
        (Self::CONDENSED_FIRST..=Self::CONDENSED_LAST).contains(&self)
    }

    /// What it measures in words, and what one of its integers is in our units; `None` for others.
    pub fn meaning(self) -> Option<(&'static str, f64)> {
        Some(match self {
            Self::WIDTH_ACTUAL => ("working width", 1e-3), // mm → m
            Self::WIDTH_DEFAULT => ("default working width", 1e-3),
            Self::WIDTH_MAXIMUM => ("greatest working width", 1e-3),
            Self::VOLUME_PER_AREA => ("volume per area", 10.0), // ml/m² → l/ha
            Self::MASS_PER_AREA => ("wet mass per area", 1e-2), // mg/m² → kg/ha
            Self::VOLUME_PER_TIME => ("volume per time", 1e-3), // ml/s → l/s
            Self::MASS_PER_TIME => ("wet mass per time", 1e-6), // mg/s → kg/s
            Self::TOTAL_MASS => ("total wet mass", 1.0),        // kg
            Self::MOISTURE => ("moisture", 1e-4),               // ppm → %
            Self::DENSITY => ("density", 1e-6),                 // mg/l → kg/l
            Self::OFFSET_X | Self::OFFSET_Y => ("offset", 1e-3), // mm → m
            Self::LATENCY_SET | Self::LATENCY => ("latency", 1e-3), // ms → s
            Self::DRY_MASS_PER_AREA => ("dry mass per area", 1e-2), // mg/m² → kg/ha
            Self::DRY_MASS_PER_TIME => ("dry mass per time", 1e-6), // mg/s → kg/s
            Self::REFERENCE_MOISTURE => ("reference moisture", 1e-4), // ppm → %
            Self::IGNORE_OUT | Self::IGNORE_IN => ("time to ignore", 1e-3),
            Self::SPEED => ("speed", 1e-3), // mm/s → m/s
            _ => return None,
        })
    }
}

impl std::fmt::Display for Ddi {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:04X}", self.0)
    }
}
