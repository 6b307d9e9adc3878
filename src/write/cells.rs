//! Values of attributes for formats that hold numbers, not text. They are rounded as the text formats write them, so that
//! every format says the same.

use super::attributes::Values;
use super::digits::{rounded, unix_ms};
use super::layer::{Features, Shown};

/// A value of a feature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cell<'a> {
    /// Nothing is known.
    Missing,
    /// A text.
    Text(&'a str),
    /// A whole number.
    Whole(u32),
    /// A number.
    Number(f64),
    /// A time, Unix milliseconds.
    Time(i64),
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Texts.
    Text,
    /// Whole numbers.
    Whole,
    /// Numbers.
    Number,
    /// Times.
    Time,
}

/// A column of a layer.
pub(crate) struct Column<'a> {
    /// Its name.
    pub name: &'static str,
    /// What it means, for people.
    pub about: &'static str,
    /// Its unit.
    pub unit: Option<&'static str>,
    values: Values<'a>,
    texts: Vec<&'a str>,
    decimals: usize,
}

impl<'a> Column<'a> {
    /// All columns of a layer, in order.
    pub(crate) fn all(layer: &'a Features<'a>) -> Vec<Self> {
        let column = |shown: Shown<'a>| Self {
            name: shown.name,
            about: shown.about,
            unit: shown.unit,
            texts: shown.values.texts().unwrap_or_default(),
            decimals: shown.decimals,
            values: shown.values,
        };
        layer.attributes().into_iter().map(column).collect()
    }

    /// What it holds.
    pub(crate) fn kind(&self) -> Kind {
        match self.values {
            Values::Name { .. } | Values::OptionalName { .. } | Values::Reason(_) => Kind::Text,
            Values::Whole(_) | Values::OptionalWhole(_) => Kind::Whole,
            Values::Number(_) => Kind::Number,
            Values::Time(_) => Kind::Time,
        }
    }

    /// The value of a row.
    pub(crate) fn cell(&self, row: usize) -> Cell<'a> {
        let found = match self.values {
            Values::Whole(column) => Some(Cell::Whole(column[row])),
            Values::OptionalWhole(column) => column[row].map(Cell::Whole),
            Values::Number(column) => rounded(column[row], self.decimals).map(Cell::Number),
            Values::Time(column) => unix_ms(column[row]).map(Cell::Time),
            Values::Name { .. } | Values::OptionalName { .. } | Values::Reason(_) => {
                let text = self.values.text_index(row).and_then(|i| self.texts.get(i));
                text.map(|t| Cell::Text(t))
            }
        };
        found.unwrap_or(Cell::Missing)
    }

    /// What it means, with its unit.
    pub(crate) fn title(&self) -> String {
        match self.unit {
            Some(unit) => format!("{} ({unit})", self.about),
            None => self.about.to_owned(),
        }
    }
}

/// What each attribute means, for formats that have room for a document.
pub(crate) fn descriptions(columns: &[Column<'_>]) -> serde_json::Value {
    let of = |c: &Column<'_>| {
        serde_json::json!({
            "name": c.name,
            "about": c.about,
            "unit": c.unit,
        })
    };
    columns.iter().map(of).collect()
}
