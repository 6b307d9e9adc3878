//! Which column of ours a header can be, by its words and its unit.

use super::lexicon::Word;
use super::words::{HeaderWords, readings};
use crate::job::LogColumn;
use crate::read::source::Stated;
use crate::units::{Quantity, Unit, tokens};

/// At which moisture a header says its grain is counted.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in crate::read) enum SaidMoisture {
    /// Nothing is said.
    #[default]
    Nothing,
    /// As harvested.
    Wet,
    /// Dry, standard or corrected, at a moisture that is not named.
    Dry,
    /// At this moisture, %.
    At(f64),
}

/// What a header can be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::read) struct Role {
    /// The column.
    pub column: LogColumn,
    /// Position of the header, from 0.
    pub index: usize,
    /// The unit that the header spells.
    pub unit: Option<&'static Unit>,
    /// How well the header fits; 0 is best.
    pub fit: Fit,
    /// What it says of moisture, for grain.
    pub moisture: SaidMoisture,
    /// A unit in tons, of 1,000 kg or of 2,000 lb, where the header does not say which.
    pub tons: Option<[&'static Unit; 2]>,
    /// Whether it says that the numbers are a running total.
    pub sum: bool,
    /// Whether it names the GPS's count of time.
    pub gps: bool,
    /// Whether it says that 1 means raised.
    pub inverted: bool,
}

impl Role {
    /// A column without anything else said.
    pub(super) fn plain(column: LogColumn, index: usize) -> Self {
        Self {
            column,
            index,
            unit: None,
            fit: Fit::Loose,
            moisture: SaidMoisture::Nothing,
            tons: None,
            sum: false,
            gps: false,
            inverted: false,
        }
    }
}

/// How well a header fits a column, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(in crate::read) enum Fit {
    /// Named by the job.
    Mapped,
    /// Stated by the file's format.
    Stated,
    /// Our own name and a unit (or none needed).
    OwnNameAndUnit,
    /// Plain words and a unit (or none needed).
    WordsAndUnit,
    /// Our own name.
    OwnName,
    /// Plain words.
    Words,
    /// Plain words among others that nobody knows, or a word that fits less well.
    Loose,
}

/// Everything that one header can be. `stated`: what the file's format states that it is.
pub(super) fn roles(index: usize, header: &str, stated: Option<Stated>) -> Vec<Role> {
    if let Some(Stated { column, unit }) = stated {
        return vec![Role {
            unit,
            fit: Fit::Stated,
            ..Role::plain(column, index)
        }];
    }
    let spelt = |r: &Role| r.unit.is_some() || r.tons.is_some();
    let mut roles: Vec<Role> = Vec::new();
    for words in readings(header) {
        let unit = words.unit;
        for (column, exact) in columns(&words, unit) {
            let unit = unit.filter(|u| column.quantity() == Some(u.quantity));
            if words.unit.is_some() && unit.is_none() {
                continue; // a unit of something else
            }
            let role = Role {
                column,
                index,
                unit: unit.filter(|_| words.tons.is_none()),
                tons: words.tons.filter(|_| unit.is_some()),
                fit: fit(column, header, &words, unit, exact),
                moisture: said_moisture(&words),
                sum: words.says.contains(&Word::Sum),
                gps: words.says.contains(&Word::Gps),
                inverted: words.says.contains(&Word::Up),
            };
            match roles.iter_mut().find(|r| r.column == column) {
                Some(known) if (role.fit, !spelt(&role)) < (known.fit, !spelt(known)) => {
                    *known = role
                }
                Some(_) => {}
                None => roles.push(role),
            }
        }
    }
    // A header that spells a unit of one kind of grain is not another kind.
    if roles.iter().any(|r| is_grain(r.column) && spelt(r)) {
        roles.retain(|r| !is_grain(r.column) || spelt(r));
    }
    roles
}

/// Whether a column holds grain.
pub(in crate::read) fn is_grain(column: LogColumn) -> bool {
    matches!(
        column,
        LogColumn::Flow | LogColumn::Mass | LogColumn::Yield | LogColumn::DryYield
    )
}

fn fit(
    column: LogColumn,
    header: &str,
    words: &HeaderWords,
    unit: Option<&Unit>,
    exact: bool,
) -> Fit {
    let known = unit.is_some() || column.quantity().is_none();
    if words.unknown > 0 || !exact {
        return Fit::Loose;
    }
    let tokens = tokens(header);
    let own: Vec<&str> = column.name().split('_').collect();
    let own_name = tokens.len() >= own.len()
        && tokens.iter().zip(&own).all(|(a, b)| a == b)
        && (tokens.len() == own.len() || words.unit.is_some());
    match (own_name, known) {
        (true, true) => Fit::OwnNameAndUnit,
        (false, true) => Fit::WordsAndUnit,
        (true, false) => Fit::OwnName,
        (false, false) => Fit::Words,
    }
}

fn said_moisture(words: &HeaderWords) -> SaidMoisture {
    let says = |w| words.says.contains(&w);
    match words.at_pct {
        Some(pct) => SaidMoisture::At(pct),
        None if says(Word::DryMatter) => SaidMoisture::At(0.0),
        None if says(Word::Dry) || says(Word::Reference) => SaidMoisture::Dry,
        None if says(Word::Wet) || says(Word::Moisture) => SaidMoisture::Wet,
        None => SaidMoisture::Nothing,
    }
}

/// Words that qualify what another word says.
fn qualifies(word: Word) -> bool {
    matches!(
        word,
        Word::Grain
            | Word::Wet
            | Word::Dry
            | Word::Reference
            | Word::Rate
            | Word::Number
            | Word::Record
            | Word::Header
            | Word::Plain
            | Word::Gps
            | Word::Geographic
            | Word::Sum
            | Word::Volume
    )
}

/// The columns that these words can be, each with whether nothing about it is guessed.
fn columns(words: &HeaderWords, unit: Option<&Unit>) -> Vec<(LogColumn, bool)> {
    use LogColumn as C;
    use Word as W;
    let has = |w: W| words.says.contains(&w);
    if has(W::Foreign) {
        return Vec::new();
    }
    let mut heads: Vec<W> = Vec::new();
    for &w in &words.says {
        if !qualifies(w) && !heads.contains(&w) {
            heads.push(w);
        }
    }
    let quantity = unit.map(|u| u.quantity);
    settle_heads(&mut heads, words, quantity);
    let others = heads.len();
    // A machine's speed is a speed, a crop's moisture a moisture, the working width a width.
    if others > 1 {
        heads.retain(|w| *w != W::Machine);
    }
    let measured = |w: &W| {
        matches!(
            w,
            W::Flow
                | W::Mass
                | W::Yield
                | W::Moisture
                | W::Speed
                | W::Width
                | W::Swath
                | W::Distance
                | W::DryMatter
        )
    };
    if heads.iter().any(measured) {
        heads.retain(|w| !matches!(w, W::Crop | W::State));
    }
    let grain_heads = |heads: &[W]| {
        heads
            .iter()
            .all(|w| matches!(w, W::Flow | W::Mass | W::Yield | W::DryMatter))
    };
    match heads.as_slice() {
        [] if has(W::Record) && quantity.is_none() => vec![(C::Record, has(W::Number))],
        [] => by_unit_alone(words, quantity),
        [W::Lat] => vec![(C::Lat, true)],
        [W::Lon] => vec![(C::Lon, true)],
        // "degrees north"; a geographic breadth, or one in degrees
        [W::Easting] if quantity == Some(Quantity::Angle) => vec![(C::Lon, true)],
        [W::Northing] if quantity == Some(Quantity::Angle) => vec![(C::Lat, true)],
        [W::Width] if geographic(words, quantity) => vec![(C::Lat, true)],
        [W::Length] if geographic(words, quantity) => vec![(C::Lon, true)],
        [W::Northing, W::Width] => vec![(C::Lat, true)],
        [W::Easting, W::Length] => vec![(C::Lon, true)],
        [W::Easting] => vec![(C::X, true)],
        [W::Northing] => vec![(C::Y, true)],
        [W::Time] | [W::Date, W::Time] | [W::Time, W::Date] if !has(W::Number) => {
            vec![(C::Time, true)]
        }
        [W::Date] if !has(W::Number) => vec![(C::Date, true), (C::Time, false)],
        [W::Interval] | [W::Interval, W::Time] | [W::Time, W::Interval] => {
            let total = has(W::Sum);
            vec![(C::Interval, !total), (C::Time, false)]
        }
        [W::Distance] | [W::Distance, W::Interval] | [W::Interval, W::Distance] => {
            vec![(C::Distance, true)]
        }
        [W::Moisture] => vec![(C::Moisture, !has(W::Header))],
        [W::Speed] => vec![(C::Speed, !has(W::Header))],
        [W::Swath] if has(W::Number) => vec![(C::Pass, true)],
        [W::Swath] => vec![(C::Width, true), (C::Pass, false)],
        [W::Width] | [W::Width, W::Swath] | [W::Swath, W::Width] => vec![(C::Width, true)],
        [W::Heading] if !has(W::Header) => vec![(C::Heading, true)],
        [W::Elevation] if !has(W::Header) => vec![(C::Elevation, true)],
        [W::Load] => vec![(C::Load, quantity.is_none())],
        [W::Pass] => vec![(C::Pass, true)],
        [W::Machine] => vec![(C::Machine, true)],
        [W::State] | [W::State, W::Up] | [W::Up, W::State] => vec![(C::WorkState, true)],
        [W::Up] if has(W::Header) => vec![(C::WorkState, true)],
        [W::Crop] => vec![(C::Crop, true)],
        [W::Field] if quantity.is_none() => vec![(C::Field, true)],
        [W::Rows] if quantity.is_none() => vec![(C::Rows, true)],
        [W::Spacing] | [W::Spacing, W::Rows] | [W::Rows, W::Spacing] => {
            vec![(C::RowSpacing, has(W::Record) || has(W::Rows))]
        }
        [W::Rows, W::Distance | W::Width] | [W::Distance | W::Width, W::Rows] => {
            vec![(C::RowSpacing, true)]
        }
        [W::Section] => vec![(C::Section, true)],
        [W::Section, W::Width] | [W::Width, W::Section] => vec![(C::Width, true)],
        heads if grain_heads(heads) => grain(heads, words, quantity),
        _ => Vec::new(),
    }
}

/// Whether a breadth or a length is one on the globe.
fn geographic(words: &HeaderWords, quantity: Option<Quantity>) -> bool {
    words.says.contains(&Word::Geographic) || quantity == Some(Quantity::Angle)
}

/// Takes out of a header's words what only says more of another: the north of a latitude, the water of a yield.
fn settle_heads(heads: &mut Vec<Word>, words: &HeaderWords, quantity: Option<Quantity>) {
    use Word as W;
    let has = |heads: &[W], w: W| heads.contains(&w);
    // "degrees north" of a latitude; "fecha y hora"
    if has(heads, W::Lat) || has(heads, W::Lon) || (has(heads, W::Date) && has(heads, W::Time)) {
        heads.retain(|w| !matches!(w, W::Northing | W::Easting));
    }
    // Water is the grain's where it is a share, or where grain is named.
    if has(heads, W::Water) {
        let grains = quantity == Some(Quantity::Percent) || words.says.contains(&W::Grain);
        let known = has(heads, W::Moisture);
        heads.retain(|w| *w != W::Water);
        heads.extend(match (grains, known) {
            (true, false) => Some(W::Moisture),
            (true, true) => None,
            (false, _) => Some(W::Foreign),
        });
    }
    // "dry grain of 14 % moisture", "moist grain": a moisture that says of which grain.
    let of_grain = matches!(
        quantity,
        Some(Quantity::MassFlow | Quantity::Mass | Quantity::Yield)
    );
    let amount = heads
        .iter()
        .any(|w| matches!(w, W::Flow | W::Mass | W::Yield));
    if of_grain || (amount && words.at_pct.is_some()) {
        heads.retain(|w| *w != W::Moisture);
    }
}

/// A header that names a unit and no thing: `kg/s`, `seconds`, `grain (t/ha)`.
fn by_unit_alone(words: &HeaderWords, quantity: Option<Quantity>) -> Vec<(LogColumn, bool)> {
    let grain = words
        .says
        .iter()
        .any(|w| matches!(w, Word::Grain | Word::Wet | Word::Dry | Word::Moisture));
    match quantity {
        Some(Quantity::MassFlow) => vec![(LogColumn::Flow, grain)],
        Some(Quantity::Yield) => vec![(LogColumn::Yield, grain)],
        Some(Quantity::Mass) if grain => vec![(LogColumn::Mass, true)],
        Some(Quantity::Speed) => vec![(LogColumn::Speed, false)],
        // "header (ft)"
        Some(Quantity::Length) if words.says.contains(&Word::Header) => {
            vec![(LogColumn::Width, true)]
        }
        Some(Quantity::Time) if words.says.is_empty() && words.unknown == 0 => {
            vec![(LogColumn::Interval, false), (LogColumn::Time, false)]
        }
        Some(Quantity::Percent) => vec![(LogColumn::Moisture, false)],
        _ => Vec::new(),
    }
}

/// Flow, mass or yield: the unit tells where there is one.
fn grain(
    heads: &[Word],
    words: &HeaderWords,
    quantity: Option<Quantity>,
) -> Vec<(LogColumn, bool)> {
    use LogColumn as C;
    let has = |w: Word| heads.contains(&w);
    match quantity {
        Some(Quantity::MassFlow) => vec![(C::Flow, true)],
        Some(Quantity::Mass) => vec![(C::Mass, true)],
        Some(Quantity::Yield) => vec![(C::Yield, true)],
        Some(_) => Vec::new(),
        None if has(Word::Flow) || words.says.contains(&Word::Rate) && !has(Word::Yield) => {
            vec![(C::Flow, true)]
        }
        None if has(Word::Yield) && has(Word::Mass) => {
            vec![(C::Yield, true), (C::Mass, false), (C::Flow, false)]
        }
        None if has(Word::Yield) => vec![(C::Yield, true), (C::Flow, false), (C::Mass, false)],
        None => vec![(C::Mass, true), (C::Flow, false)],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn best(header: &str) -> Option<(LogColumn, Option<&'static str>)> {
        let mut all = roles(0, header, None);
        all.sort_by_key(|r| r.fit);
        all.first().map(|r| (r.column, r.unit.map(|u| u.symbol)))
    }

    #[test]
    fn plain_words_are_columns() {
        use LogColumn as C;
        for (header, column, unit) in [
            ("Grain flow (lb/s)", C::Flow, Some("lb/s")),
            ("Durchsatz t/h", C::Flow, Some("t/h")),
            ("Ertrag trocken [dt/ha]", C::Yield, Some("dt/ha")),
            ("Wet mass kg", C::Mass, Some("kg")),
            ("mass_kg_s", C::Flow, Some("kg/s")),
            ("Crop moisture", C::Moisture, None),
            ("Humidité %", C::Moisture, Some("%")),
            ("Working width m", C::Width, Some("m")),
            ("vehicleSpeed", C::Speed, None),
            ("Machine ID", C::Machine, None),
            ("Header up", C::WorkState, None),
            ("Swath number", C::Pass, None),
            ("Datum", C::Date, None),
            ("Date/Time", C::Time, None),
        ] {
            assert_eq!(best(header), Some((column, unit)), "{header}");
        }
    }

    #[test]
    fn other_things_are_no_columns() {
        for header in [
            "Fuel flow",
            "Target yield",
            "Header height",
            "Average moisture",
            "Load weight kg",
            "Test weight",
            "flow_km",
        ] {
            assert_eq!(best(header), None, "{header}");
        }
    }

    #[test]
    fn what_is_said_of_moisture_is_kept() {
        let said = |h: &str| roles(0, h, None).first().map(|r| r.moisture);
        assert_eq!(said("Yield (dry) t/ha"), Some(SaidMoisture::Dry));
        assert_eq!(said("Yield at 15% bu/ac"), Some(SaidMoisture::At(15.0)));
        assert_eq!(said("Dry matter yield t/ha"), Some(SaidMoisture::At(0.0)));
        assert_eq!(said("Wet mass kg"), Some(SaidMoisture::Wet));
        assert_eq!(said("Flow kg/s"), Some(SaidMoisture::Nothing));
    }
}
