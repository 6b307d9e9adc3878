//! How a layer looks when it is opened: classes and colours, in both languages that desktop GIS read.
//!
//! Beside the files of a layer stand `NAME.qml`, which some GIS apply by itself to any file of that name, and
//! `NAME.sld` for the others; a GeoPackage holds both.

mod classes;
mod qml;
mod sld;

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::layer::Features;
use super::{WriteError, atomic};
use crate::job::Layer;
use crate::log::Reason;
use crate::stats::quantile;

pub(crate) use classes::Class;

/// Red, green, blue.
pub(crate) type Colour = [u8; 3];

/// Colours that people with any kind of colour vision tell apart: Okabe & Ito 2008, "Color Universal Design", without
/// the yellow, which is lost on white.
const APART: [Colour; 7] = [
    [0, 114, 178],
    [230, 159, 0],
    [0, 158, 115],
    [204, 121, 167],
    [86, 180, 233],
    [213, 94, 0],
    [0, 0, 0],
];

/// The mark of a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mark {
    /// A disc.
    Circle,
    /// A square.
    Square,
    /// A triangle.
    Triangle,
}

impl Mark {
    /// Its name, the same in both languages.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Mark::Circle => "circle",
            Mark::Square => "square",
            Mark::Triangle => "triangle",
        }
    }
}

/// Points that are set aside for one reason.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Category {
    /// The reason.
    pub reason: Reason,
    /// What the legend says.
    pub label: String,
    /// Its colour.
    pub colour: Colour,
    /// Its mark.
    pub mark: Mark,
}

/// What a layer is coloured by.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Colouring {
    /// Classes of `yield`.
    Yield(Vec<Class>),
    /// Reasons that occur.
    Reason(Vec<Category>),
}

/// The look of a layer.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Style {
    /// Name of the layer.
    pub name: &'static str,
    /// What the map shows, with its unit.
    pub title: String,
    /// Whether ground is filled; else points are marked.
    pub polygons: bool,
    /// Diameter of a mark on the ground, m.
    pub mark_m: f64,
    /// Colours.
    pub colouring: Colouring,
    /// Attributes with what they mean and their unit.
    pub aliases: Vec<(&'static str, String)>,
}

/// Diameter of a mark where no cut width is known, m (our choice: two thirds of a common header).
const USUAL_MARK_M: f64 = 6.0;
/// Part of the usual cut width that a mark covers (our choice: neighbouring passes stay apart).
const MARK_SHARE: f64 = 0.8;

impl Style {
    /// The look of a layer.
    pub(crate) fn of(layer: &Features<'_>) -> Self {
        let column = |values: &[f64]| -> Vec<f64> {
            let rows = layer.rows.iter().map(|&r| values[r as usize]);
            rows.filter(|v| v.is_finite()).collect()
        };
        let unit = layer.unit.symbol();
        let (title, colouring) = match layer.layer {
            Layer::Points | Layer::Swaths => (
                format!("corrected yield, {unit}"),
                Colouring::Yield(classes::classes(&column(layer.yields()), unit)),
            ),
            Layer::Grid => (
                format!("mean corrected yield, {unit}"),
                Colouring::Yield(classes::classes(&column(layer.yields()), unit)),
            ),
            Layer::SetAside => (
                "points set aside, by reason".to_owned(),
                Colouring::Reason(categories(layer)),
            ),
        };
        let cut = match layer.layer {
            Layer::Grid => None, // it has no marks
            _ => quantile(&column(&layer.map.cut_m), 0.5),
        };
        Self {
            name: super::layer::file_stem(layer.layer),
            title,
            polygons: layer.has_polygons(),
            mark_m: cut
                .filter(|&width| width > 0.0)
                .map_or(USUAL_MARK_M, |width| MARK_SHARE * width),
            colouring,
            aliases: super::cells::Column::all(layer)
                .iter()
                .map(|c| (c.name, c.title()))
                .collect(),
        }
    }

    /// The style as QML.
    pub(crate) fn qml(&self) -> io::Result<Vec<u8>> {
        qml::write(self)
    }

    /// The style as SLD 1.0.0.
    pub(crate) fn sld(&self) -> io::Result<Vec<u8>> {
        sld::write(self)
    }

    /// Writes both beside the layer's files. `stem`: a file of the layer, with any extension.
    pub(crate) fn write_beside(&self, stem: &Path) -> Result<Vec<PathBuf>, WriteError> {
        let write = |extension: &str, text: io::Result<Vec<u8>>| {
            let path = stem.with_extension(extension);
            let text = text.map_err(WriteError::file(&path))?;
            atomic::remove_drafts(&path)?;
            atomic::write_whole(&path, |out| {
                out.write_all(&text).map_err(WriteError::file(&path))
            })
        };
        Ok(vec![write("qml", self.qml())?, write("sld", self.sld())?])
    }
}

/// The reasons that occur in a layer, each with a colour and a mark of its own.
fn categories(layer: &Features<'_>) -> Vec<Category> {
    let mut points = [0_u64; Reason::ALL.len()];
    for &row in &layer.rows {
        if let Some(reason) = layer.map.verdicts.reason(row as usize) {
            points[reason as usize] += 1;
        }
    }
    (Reason::ALL.into_iter().zip(points))
        .filter(|(_, n)| *n > 0)
        .map(|(reason, n)| {
            let (mark, place) = place(reason);
            Category {
                reason,
                label: format!("{reason} ({n})"),
                colour: APART[place],
                mark,
            }
        })
        .collect()
}

/// The mark of a reason, by its kind, and the place of its colour. Our choice: discs where the row is no place on the
/// map at all, squares for how the machine drove and cut, triangles for amounts that are off.
fn place(reason: Reason) -> (Mark, usize) {
    match reason {
        Reason::BadFix => (Mark::Circle, 0),
        Reason::PositionJump => (Mark::Circle, 1),
        Reason::DuplicateRow => (Mark::Circle, 2),
        Reason::NotWorking => (Mark::Circle, 3),
        Reason::OutsideBoundary => (Mark::Circle, 4),
        Reason::ShortPass => (Mark::Square, 5),
        Reason::PassEntry => (Mark::Square, 0),
        Reason::PassExit => (Mark::Square, 1),
        Reason::Turning => (Mark::Square, 2),
        Reason::SpeedLimits => (Mark::Square, 3),
        Reason::AbruptSpeed => (Mark::Square, 4),
        Reason::NarrowCut => (Mark::Square, 6),
        Reason::NoFlow => (Mark::Triangle, 6),
        Reason::FlowSpike => (Mark::Triangle, 5),
        Reason::StuckSensor => (Mark::Triangle, 0),
        Reason::MoistureLimits => (Mark::Triangle, 1),
        Reason::YieldLimits => (Mark::Triangle, 2),
        Reason::PassOutlier => (Mark::Triangle, 3),
        Reason::NeighbourOutlier => (Mark::Triangle, 4),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_reasons_look_alike() {
        let mut seen = vec![];
        for reason in Reason::ALL {
            let (mark, colour) = place(reason);
            assert!(!seen.contains(&(mark, colour)), "{reason}");
            seen.push((mark, colour));
        }
    }
}
