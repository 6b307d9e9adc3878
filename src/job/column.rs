//! The columns of a log, by the names that the job file uses for them.

use crate::units::Quantity;

/// A column that a log may have. Its name has no unit; in a file the unit follows it: `flow_kg_s`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, schemars::JsonSchema)]
#[schemars(rename_all = "snake_case")]
pub enum LogColumn {
    /// Longitude, WGS 84.
    Lon,
    /// Latitude, WGS 84.
    Lat,
    /// Easting in the log's own CRS.
    X,
    /// Northing in the log's own CRS.
    Y,
    /// Time at the end of the row's interval.
    Time,
    /// Date, where it stands apart from the time of day.
    Date,
    /// Length of the row's interval.
    Interval,
    /// Wet mass flow at the sensor.
    Flow,
    /// Wet mass of the row.
    Mass,
    /// Wet mass per area of the row's ground, where the log has neither flow nor mass.
    Yield,
    /// Mass per area at the crop's reference moisture, where the log has nothing wet.
    DryYield,
    /// Moisture, wet basis.
    Moisture,
    /// Machine name.
    Machine,
    /// 1 working, 0 not.
    WorkState,
    /// Ground speed.
    Speed,
    /// Distance travelled in the row's interval.
    Distance,
    /// Header width; of a row that is one section of the header, the section's.
    Width,
    /// Planted rows that the header takes, where the log gives its width so.
    Rows,
    /// How far planted rows are apart.
    RowSpacing,
    /// Section of the header, where the log has a row for each.
    Section,
    /// Number of the moment, where several rows are one.
    Record,
    /// Heading, clockwise from north.
    Heading,
    /// Elevation.
    Elevation,
    /// Load id.
    Load,
    /// Pass number.
    Pass,
    /// Crop.
    Crop,
    /// Name of the field, where a log holds several.
    Field,
}

impl LogColumn {
    /// Every column.
    pub const ALL: [LogColumn; 27] = [
        LogColumn::Lon,
        LogColumn::Lat,
        LogColumn::X,
        LogColumn::Y,
        LogColumn::Time,
        LogColumn::Date,
        LogColumn::Interval,
        LogColumn::Flow,
        LogColumn::Mass,
        LogColumn::Yield,
        LogColumn::DryYield,
        LogColumn::Moisture,
        LogColumn::Machine,
        LogColumn::WorkState,
        LogColumn::Speed,
        LogColumn::Distance,
        LogColumn::Width,
        LogColumn::Rows,
        LogColumn::RowSpacing,
        LogColumn::Section,
        LogColumn::Record,
        LogColumn::Heading,
        LogColumn::Elevation,
        LogColumn::Load,
        LogColumn::Pass,
        LogColumn::Crop,
        LogColumn::Field,
    ];

    /// The name, without a unit.
    pub fn name(self) -> &'static str {
        match self {
            LogColumn::Lon => "lon",
            LogColumn::Lat => "lat",
            LogColumn::X => "x",
            LogColumn::Y => "y",
            LogColumn::Time => "time",
            LogColumn::Date => "date",
            LogColumn::Interval => "interval",
            LogColumn::Flow => "flow",
            LogColumn::Mass => "mass",
            LogColumn::Yield => "yield",
            LogColumn::DryYield => "dry_yield",
            LogColumn::Moisture => "moisture",
            LogColumn::Machine => "machine",
            LogColumn::WorkState => "work_state",
            LogColumn::Speed => "speed",
            LogColumn::Distance => "distance",
            LogColumn::Width => "width",
            LogColumn::Rows => "rows",
            LogColumn::RowSpacing => "row_spacing",
            LogColumn::Section => "section",
            LogColumn::Record => "record",
            LogColumn::Heading => "heading",
            LogColumn::Elevation => "elevation",
            LogColumn::Load => "load",
            LogColumn::Pass => "pass",
            LogColumn::Crop => "crop",
            LogColumn::Field => "field",
        }
    }

    /// The column of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.name() == name)
    }

    /// What its numbers measure; `None` for names and states.
    pub fn quantity(self) -> Option<Quantity> {
        match self {
            LogColumn::Lon | LogColumn::Lat | LogColumn::Heading => Some(Quantity::Angle),
            LogColumn::X
            | LogColumn::Y
            | LogColumn::Distance
            | LogColumn::Width
            | LogColumn::RowSpacing
            | LogColumn::Elevation => Some(Quantity::Length),
            LogColumn::Time | LogColumn::Interval => Some(Quantity::Time),
            LogColumn::Flow => Some(Quantity::MassFlow),
            LogColumn::Mass => Some(Quantity::Mass),
            LogColumn::Yield | LogColumn::DryYield => Some(Quantity::Yield),
            LogColumn::Moisture => Some(Quantity::Percent),
            LogColumn::Speed => Some(Quantity::Speed),
            LogColumn::Date
            | LogColumn::Machine
            | LogColumn::WorkState
            | LogColumn::Rows
            | LogColumn::Section
            | LogColumn::Record
            | LogColumn::Load
            | LogColumn::Pass
            | LogColumn::Crop
            | LogColumn::Field => None,
        }
    }

    /// The unit taken where neither the header nor the job names one: only where the trade has no second one.
    /// (`time`: ISO 8601 carries none, and numbers are seconds.)
    pub fn usual_unit(self) -> Option<&'static str> {
        match self {
            LogColumn::Lon | LogColumn::Lat | LogColumn::Heading => Some("deg"),
            LogColumn::Time => Some("s"),
            LogColumn::Moisture => Some("%"),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lead_back_to_their_columns() {
        for column in LogColumn::ALL {
            assert_eq!(LogColumn::from_name(column.name()), Some(column));
            if let Some(unit) = column.usual_unit() {
                assert!(column.quantity().and_then(|q| q.unit(unit)).is_some());
            }
        }
    }
}
