//! The header of a log (TLGxxxxx.XML): which fields its binary records have, and which are constant.
//!
//! An attribute that is present and empty is a field of every record; one with a value is a constant; one that is
//! absent is neither (ISO 11783-10, annex D).

use super::ddi::Ddi;
use super::xml::Element;

/// A field of the record, a constant, or neither.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Part {
    Absent,
    InRecord,
    Constant(f64),
}

impl Part {
    fn of(element: &Element, name: &str, unit: f64) -> Part {
        match element.get(name) {
            None => Part::Absent,
            Some(text) if text.trim().is_empty() => Part::InRecord,
            // The XML has degrees, metres and whole numbers where the record has integers of a unit.
            Some(text) => text
                .trim()
                .parse::<f64>()
                .map_or(Part::Absent, |v| Part::Constant(v * unit)),
        }
    }
}

/// A value of process data.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Dlv {
    pub ddi: Option<Ddi>,
    /// The device element it belongs to.
    pub element: String,
    /// A value that holds for every row, whatever the records say.
    pub constant: Option<i32>,
}

/// The layout of a log's records.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TlgHeader {
    /// Whether records begin with a time: 4 bytes of milliseconds and 2 of days.
    pub time: bool,
    /// A start that holds for all rows.
    pub start: Option<String>,
    /// The positions of a record: the first is the machine's.
    pub positions: Vec<Ptn>,
    pub values: Vec<Dlv>,
}

/// The fields of a position, in their order in the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ptn {
    pub north: Part,
    pub east: Part,
    pub up: Part,
    pub status: Part,
    pub pdop: Part,
    pub hdop: Part,
    pub satellites: Part,
    pub utc_time: Part,
    pub utc_date: Part,
}

/// The header in a document's root; `None` where it is none.
pub(super) fn of_root(root: &Element) -> Option<TlgHeader> {
    let tim = if root.name == "TIM" {
        root
    } else {
        root.all("TIM").next()?
    };
    let positions = tim.all("PTN").map(|ptn| {
        let part = |name: &str, unit: f64| Part::of(ptn, name, unit);
        Ptn {
            north: part("A", 1.0),
            east: part("B", 1.0),
            up: part("C", 1e-3),
            status: part("D", 1.0),
            pdop: part("E", 1.0),
            hdop: part("F", 1.0),
            satellites: part("G", 1.0),
            utc_time: part("H", 1.0),
            utc_date: part("I", 1.0),
        }
    });
    let positions = positions.collect();
    let values = tim.all("DLV").map(|dlv| Dlv {
        ddi: dlv.filled("A").and_then(Ddi::parse),
        element: dlv.filled("C").unwrap_or_default().to_owned(),
        constant: dlv.number("B"),
    });
    Some(TlgHeader {
        time: tim.get("A").is_some_and(|a| a.trim().is_empty()),
        start: tim.filled("A").map(str::to_owned),
        positions,
        values: values.collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::taskdata::xml::parse;

    #[test]
    fn empty_is_in_the_record_filled_is_constant() {
        let text = "<TIM A=\"\" D=\"4\"><PTN A=\"\" B=\"\" C=\"120000\" D=\"4\"/><DLV A=\"0057\" B=\"\" C=\"DET-1\"/>\
            <DLV A=\"0043\" B=\"9000\" C=\"DET-1\"/></TIM>";
        let header = of_root(&parse(text).expect("XML").root).expect("a header");
        let ptn = header.positions[0];
        assert_eq!(
            (ptn.north, ptn.up, ptn.status),
            (Part::InRecord, Part::Constant(120.0), Part::Constant(4.0))
        );
        assert_eq!(ptn.pdop, Part::Absent);
        assert_eq!(header.values[0].constant, None);
        assert_eq!(
            (header.values[1].ddi, header.values[1].constant),
            (Some(Ddi::WIDTH_ACTUAL), Some(9000))
        );
    }
}
