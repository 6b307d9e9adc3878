//! The attributes of points and cells, in the order in which every format has them. These tables drive all formats.

use crate::grid::Grid;
use crate::log::{Reason, Verdicts};
use crate::map::YieldMap;
use crate::units::YieldUnit;

/// What an attribute's numbers count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// Not an amount: a name, a number that counts, a time.
    None,
    /// An amount in a fixed unit.
    Fixed {
        /// The unit.
        unit: &'static str,
        /// Decimals that are written.
        decimals: usize,
    },
    /// A yield in the job's unit.
    Yield,
}

/// The column of the map that an attribute shows.
#[derive(Debug, Clone, Copy)]
pub enum Values<'a> {
    /// Texts, as indices into a list of names.
    Name {
        /// Index per row.
        index: &'a [u32],
        /// The names.
        names: &'a [String],
    },
    /// Texts that may be missing.
    OptionalName {
        /// Index per row.
        index: &'a [Option<u32>],
        /// The names.
        names: &'a [String],
    },
    /// Whole numbers.
    Whole(&'a [u32]),
    /// Whole numbers that may be missing.
    OptionalWhole(&'a [Option<u32>]),
    /// Unix times; NaN: missing.
    Time(&'a [f64]),
    /// Numbers; NaN: missing.
    Number(&'a [f64]),
    /// Why a point is set aside.
    Reason(&'a Verdicts),
}

impl<'a> Values<'a> {
    /// Every text that the column can hold; `None` where it does not hold text from a list.
    pub fn texts(&self) -> Option<Vec<&'a str>> {
        match *self {
            Values::Name { names, .. } | Values::OptionalName { names, .. } => {
                Some(names.iter().map(String::as_str).collect())
            }
            Values::Reason(_) => Some(Reason::ALL.iter().map(|r| r.name()).collect()),
            _ => None,
        }
    }

    /// Place of a row's text in [`Values::texts`].
    pub fn text_index(&self, row: usize) -> Option<usize> {
        match *self {
            Values::Name { index, .. } => Some(index[row] as usize),
            Values::OptionalName { index, .. } => index[row].map(|i| i as usize),
            Values::Reason(verdicts) => verdicts.reason(row).map(|r| r as usize),
            _ => None,
        }
    }
}

/// An attribute of what stands in the rows of `S`.
pub struct Attribute<S> {
    /// Its name, the same in every format.
    pub name: &'static str,
    /// What it means, for people.
    pub about: &'static str,
    /// What its numbers count.
    pub measure: Measure,
    /// Its column.
    pub values: for<'a> fn(&'a S) -> Values<'a>,
}

impl<S> Clone for Attribute<S> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<S> Copy for Attribute<S> {}

impl<S> Attribute<S> {
    /// Decimals that are written. Our choice: a tenth or less of what a yield log can tell apart.
    pub fn decimals(&self, unit: YieldUnit) -> usize {
        match (self.measure, unit) {
            (Measure::None, _) => 0,
            (Measure::Fixed { decimals, .. }, _) => decimals,
            (Measure::Yield, YieldUnit::TonnePerHectare) => 4,
            (Measure::Yield, YieldUnit::BushelPerAcre) => 3,
            (Measure::Yield, YieldUnit::KilogramPerHectare | YieldUnit::PoundPerAcre) => 1,
        }
    }

    /// The unit of its numbers, where they have one.
    pub fn unit(&self, unit: YieldUnit) -> Option<&'static str> {
        match self.measure {
            Measure::None => None,
            Measure::Fixed { unit, .. } => (!unit.is_empty()).then_some(unit),
            Measure::Yield => Some(unit.symbol()),
        }
    }
}

const fn fixed(unit: &'static str, decimals: usize) -> Measure {
    Measure::Fixed { unit, decimals }
}

/// Attributes of every point.
pub const POINT: [Attribute<YieldMap>; 16] = [
    Attribute {
        name: "log",
        about: "log file",
        measure: Measure::None,
        values: |m| Values::Name {
            index: &m.log,
            names: &m.logs,
        },
    },
    Attribute {
        name: "row",
        about: "data row in the log, from 1",
        measure: Measure::None,
        values: |m| Values::Whole(&m.row),
    },
    Attribute {
        name: "time",
        about: "time, UTC",
        measure: Measure::None,
        values: |m| Values::Time(&m.time),
    },
    Attribute {
        name: "machine",
        about: "machine",
        measure: Measure::None,
        values: |m| Values::Name {
            index: &m.machine,
            names: &m.machines,
        },
    },
    Attribute {
        name: "load",
        about: "load",
        measure: Measure::None,
        values: |m| Values::OptionalName {
            index: &m.load,
            names: &m.loads,
        },
    },
    Attribute {
        name: "pass",
        about: "pass, from 1",
        measure: Measure::None,
        values: |m| Values::OptionalWhole(&m.pass),
    },
    Attribute {
        name: "speed_m_s",
        about: "ground speed",
        measure: fixed("m/s", 3),
        values: |m| Values::Number(&m.speed_m_s),
    },
    Attribute {
        name: "cut_m",
        about: "effective cut width",
        measure: fixed("m", 3),
        values: |m| Values::Number(&m.cut_m),
    },
    Attribute {
        name: "moist_pct",
        about: "corrected moisture, wet basis",
        measure: fixed("%", 3),
        values: |m| Values::Number(&m.moist_pct),
    },
    Attribute {
        name: "grain_kg_s",
        about: "corrected wet flow of this ground",
        measure: fixed("kg/s", 4),
        values: |m| Values::Number(&m.grain_kg_s),
    },
    Attribute {
        name: "factor",
        about: "corrected over logged mass",
        measure: fixed("", 5),
        values: |m| Values::Number(&m.factor),
    },
    Attribute {
        name: "yld_kg_ha",
        about: "corrected yield at reference moisture",
        measure: fixed("kg/ha", 1),
        values: |m| Values::Number(&m.yld_kg_ha),
    },
    Attribute {
        name: "yld_low",
        about: "lower end of its 95 % interval",
        measure: fixed("kg/ha", 1),
        values: |m| Values::Number(&m.yld_low),
    },
    Attribute {
        name: "yld_high",
        about: "upper end of its 95 % interval",
        measure: fixed("kg/ha", 1),
        values: |m| Values::Number(&m.yld_high),
    },
    Attribute {
        name: "yield",
        about: "corrected yield at reference moisture",
        measure: Measure::Yield,
        values: |m| Values::Number(&m.yields),
    },
    Attribute {
        name: "yield_log",
        about: "logged yield: the map before anything",
        measure: Measure::Yield,
        values: |m| Values::Number(&m.yield_log),
    },
];

/// What points that are set aside have besides.
pub const REASON: Attribute<YieldMap> = Attribute {
    name: "reason",
    about: "why the point is set aside",
    measure: Measure::None,
    values: |m| Values::Reason(&m.verdicts),
};

/// Attributes of every cell of a grid.
pub const CELL: [Attribute<Grid>; 11] = [
    Attribute {
        name: "east_m",
        about: "easting of the cell's middle in its UTM zone",
        measure: fixed("m", 2),
        values: |g| Values::Number(&g.east_m),
    },
    Attribute {
        name: "north_m",
        about: "northing of the cell's middle in its UTM zone",
        measure: fixed("m", 2),
        values: |g| Values::Number(&g.north_m),
    },
    Attribute {
        name: "ground_pct",
        about: "share of the cell on the field's ground",
        measure: fixed("%", 1),
        values: |g| Values::Number(&g.ground_pct),
    },
    Attribute {
        name: "points",
        about: "kept points in it",
        measure: Measure::None,
        values: |g| Values::Whole(&g.points),
    },
    Attribute {
        name: "yld_kg_ha",
        about: "mean yield at reference moisture",
        measure: fixed("kg/ha", 1),
        values: |g| Values::Number(&g.yld_kg_ha),
    },
    Attribute {
        name: "yld_se",
        about: "standard error of the mean yield",
        measure: fixed("kg/ha", 1),
        values: |g| Values::Number(&g.yld_se),
    },
    Attribute {
        name: "yld_low",
        about: "lower end of its 95 % interval",
        measure: fixed("kg/ha", 1),
        values: |g| Values::Number(&g.yld_low),
    },
    Attribute {
        name: "yld_high",
        about: "upper end of its 95 % interval",
        measure: fixed("kg/ha", 1),
        values: |g| Values::Number(&g.yld_high),
    },
    Attribute {
        name: "yield",
        about: "mean yield at reference moisture",
        measure: Measure::Yield,
        values: |g| Values::Number(&g.yields),
    },
    Attribute {
        name: "mean_pct",
        about: "mean yield as a share of the field's",
        measure: fixed("%", 1),
        values: |g| Values::Number(&g.mean_pct),
    },
    Attribute {
        name: "class",
        about: "class of that share, 1 (lowest) to 5",
        measure: Measure::None,
        values: |g| Values::Whole(&g.class),
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    /// The names are part of the format; ≤ 10 characters and ASCII because dBase has no room for more.
    #[test]
    fn names_are_the_format() {
        let names: Vec<&str> = POINT.iter().chain([&REASON]).map(|a| a.name).collect();
        assert_eq!(
            names.join(" "),
            "log row time machine load pass speed_m_s cut_m moist_pct grain_kg_s factor yld_kg_ha yld_low yld_high yield \
             yield_log reason"
        );
        let cells: Vec<&str> = CELL.iter().map(|a| a.name).collect();
        assert_eq!(
            cells.join(" "),
            "east_m north_m ground_pct points yld_kg_ha yld_se yld_low yld_high yield mean_pct class"
        );
        let mut all = names.iter().chain(&cells);
        assert!(all.all(|n| n.len() <= 10 && n.is_ascii()));
    }

    #[test]
    fn yields_are_written_in_the_unit_of_the_job() {
        let attribute = POINT[14];
        assert_eq!(
            (
                attribute.unit(YieldUnit::BushelPerAcre),
                attribute.decimals(YieldUnit::BushelPerAcre)
            ),
            (Some("bu/ac"), 3)
        );
        assert_eq!(POINT[6].unit(YieldUnit::BushelPerAcre), Some("m/s"));
        assert_eq!(POINT[10].unit(YieldUnit::BushelPerAcre), None);
    }
}
