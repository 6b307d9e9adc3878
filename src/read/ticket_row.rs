//! One row of a ticket file: its columns, and what is wrong with it.

use csv::ByteRecord;
use jiff::tz::TimeZone;

use super::error::{ReadError, ReadErrorKind};
use super::iso_time::of_text;
use super::number::number;
use super::source::{Batch, Table};
use super::text::{decode, shown};
use super::{Ticket, TicketUse};
use crate::place::Place;
use crate::summary::Remark;
use crate::units::{Quantity, Unit, tokens};

/// Whether the words of a header are one of `names` and then nothing, or a unit of `quantity`; and that unit.
fn name_and_unit(
    words: &[String],
    names: &[&str],
    quantity: Option<Quantity>,
) -> Option<Option<&'static Unit>> {
    (1..=words.len()).rev().find_map(|k| {
        if !names.contains(&words[..k].join("_").as_str()) {
            return None;
        }
        match &words[k..] {
            [] => Some(None),
            rest => quantity?.unit_of_tokens(rest).map(Some),
        }
    })
}

/// The columns of a ticket file.
pub(super) struct Layout {
    headers: Vec<String>,
    net: (usize, f64),
    ticket: Option<usize>,
    load: Option<usize>,
    moisture: Option<(usize, f64)>,
    pub field: Option<usize>,
    machine: Option<usize>,
    start: Option<usize>,
    end: Option<usize>,
    scale: Option<usize>,
    usage: Option<usize>,
    decimal_comma: bool,
}

impl Layout {
    pub fn new(
        headers: Vec<String>,
        bushel_kg: f64,
        decimal_comma: bool,
        file: &str,
    ) -> Result<Layout, ReadError> {
        let words: Vec<Vec<String>> = headers.iter().map(|h| tokens(h)).collect();
        let find = |names: &[&str], quantity: Option<Quantity>| {
            words
                .iter()
                .enumerate()
                .find_map(|(k, w)| name_and_unit(w, names, quantity).map(|unit| (k, unit)))
        };
        let plain = |names: &[&str]| find(names, None).map(|(k, _)| k);
        let missing = |expected: &str, hint: &str| {
            Err(ReadError::new(
                ReadErrorKind::NoColumn,
                Place::file(file),
                expected,
                format!("the columns {}", headers.join(", ")),
            )
            .hinted(hint))
        };
        let net = match find(&["net", "net_weight", "net_mass"], Some(Quantity::Mass)) {
            Some((k, Some(unit))) => (k, unit.factor(bushel_kg)),
            Some((k, None)) => {
                let place = Place::file(file).column(headers[k].clone());
                let expected = format!("a unit of a mass: {}", Quantity::Mass.symbols());
                return Err(ReadError::new(
                    ReadErrorKind::NoUnit,
                    place,
                    expected,
                    "none in the header",
                )
                .hinted("name the column net_kg, net_t or net_lb"));
            }
            None => {
                return missing(
                    "a column of net weight such as net_kg",
                    "name the column net_kg, net_t or net_lb",
                );
            }
        };
        let load = plain(&["load", "loads", "load_id"]);
        let (start, end) = (plain(&["start", "start_time"]), plain(&["end", "end_time"]));
        if load.is_none() && (start.is_none() || end.is_none()) {
            return missing(
                "a column load, or columns start and end",
                "say which loads of the log each ticket weighed, or from when to when they were cut",
            );
        }
        Ok(Layout {
            net,
            ticket: plain(&["ticket", "ticket_number", "ticket_no", "ticket_id"]),
            load,
            moisture: find(&["moisture", "moist"], Some(Quantity::Percent))
                .map(|(k, unit)| (k, unit.map_or(1.0, |u| u.factor(bushel_kg)))),
            field: plain(&["field", "field_name"]),
            machine: plain(&["machine", "machine_name", "combine"]),
            start,
            end,
            scale: plain(&["scale"]),
            usage: plain(&["use"]),
            headers,
            decimal_comma,
        })
    }
}

/// Names of all loads in a ticket file, each once, in its order; an error where it is none.
pub(super) fn loads_in(mut table: Table, file: &str) -> Result<Vec<String>, ReadError> {
    let headers = std::mem::take(&mut table.headers);
    let headers = headers.into_iter().map(|h| h.name).collect();
    let layout = Layout::new(headers, f64::NAN, table.decimal_comma, file)?;
    let mut loads: Vec<String> = Vec::new();
    let mut batch = Batch::default();
    loop {
        table.rows.next_batch(&mut batch)?;
        if batch.records().is_empty() {
            return Ok(loads);
        }
        for record in batch.records() {
            let cell = layout
                .load
                .and_then(|f| record.cells.get(f))
                .unwrap_or_default();
            for load in decode(cell)
                .split(';')
                .map(str::trim)
                .filter(|l| !l.is_empty())
            {
                if !loads.iter().any(|l| l == load) {
                    loads.push(load.to_owned());
                }
            }
        }
    }
}

/// A row of a ticket file.
pub(super) struct Row<'a> {
    pub record: &'a ByteRecord,
    pub layout: &'a Layout,
    pub place: Place,
    pub zone: &'a TimeZone,
}

/// What is wrong with a row.
pub(super) struct Fault {
    place: Place,
    expected: String,
    found: String,
}

impl Fault {
    pub fn remark(self, code: &str) -> Remark {
        let Fault {
            place,
            expected,
            found,
        } = self;
        let way_out = match code {
            "unknown-field" => "correct the name, or leave it empty for any field",
            _ => "its loads count as unweighed until the row is put right",
        };
        Remark::new(
            code,
            format!(
                "{place}: expected {expected}, found {found}; the ticket is left out: {way_out}"
            ),
        )
    }
}

impl Row<'_> {
    fn cell(&self, field: Option<usize>) -> &[u8] {
        field
            .and_then(|f| self.record.get(f))
            .unwrap_or_default()
            .trim_ascii()
    }

    pub fn text(&self, field: Option<usize>) -> Option<String> {
        Some(decode(self.cell(field)).into_owned()).filter(|t| !t.is_empty())
    }

    pub fn fault(&self, field: Option<usize>, expected: &str, found: &str) -> Fault {
        let mut place = self.place.clone();
        place.column = field.and_then(|f| self.layout.headers.get(f)).cloned();
        let found = if found == "\"\"" { "nothing" } else { found };
        Fault {
            place,
            expected: expected.to_owned(),
            found: found.to_owned(),
        }
    }

    pub fn ticket(&self) -> Result<Ticket, Fault> {
        let layout = self.layout;
        let blank_end = self
            .record
            .iter()
            .skip(layout.headers.len())
            .all(|c| c.trim_ascii().is_empty());
        if self.record.len() < layout.headers.len() || !blank_end {
            let expected = format!("{} fields", layout.headers.len());
            return Err(self.fault(None, &expected, &self.record.len().to_string()));
        }
        let loads: Vec<String> = decode(self.cell(layout.load))
            .split(';')
            .map(|l| l.trim().to_owned())
            .filter(|l| !l.is_empty())
            .collect();
        if let Some(twice) = loads
            .iter()
            .enumerate()
            .find(|(k, l)| loads[..*k].contains(l))
            .map(|(_, l)| l)
        {
            return Err(self.fault(layout.load, "each load once", &format!("\"{twice}\" twice")));
        }
        let (start, end) = (self.time(layout.start)?, self.time(layout.end)?);
        if loads.is_empty() && (start.is_none() || end.is_none()) {
            return Err(self.fault(
                layout.load,
                "a load of the log, or a start and an end",
                "neither",
            ));
        }
        if let (Some(start), Some(end)) = (start, end)
            && start >= end
        {
            return Err(self.fault(
                layout.end,
                "an end after the start",
                &shown(self.cell(layout.end)),
            ));
        }
        let row = self.place.row.unwrap_or_default();
        Ok(Ticket {
            id: self
                .text(layout.ticket)
                .unwrap_or_else(|| format!("row {row}")),
            place: self.place.clone(),
            loads,
            net_kg: self.net()?,
            moisture_pct: self.moisture()?,
            field: self.text(layout.field),
            machine: self.text(layout.machine),
            start,
            end,
            scale: self.text(layout.scale),
            usage: self.usage()?,
        })
    }

    fn net(&self) -> Result<f64, Fault> {
        let (field, factor) = self.layout.net;
        let cell = self.cell(Some(field));
        match number(cell, self.layout.decimal_comma) {
            Ok(net) if net > 0.0 => Ok(net * factor),
            _ => Err(self.fault(Some(field), "a net weight above 0", &shown(cell))),
        }
    }

    fn moisture(&self) -> Result<Option<f64>, Fault> {
        let Some((field, factor)) = self.layout.moisture else {
            return Ok(None);
        };
        let cell = self.cell(Some(field));
        match number(cell, self.layout.decimal_comma) {
            Ok(value) if value.is_nan() => Ok(None),
            Ok(value) if value > 0.0 && value * factor < 100.0 => Ok(Some(value * factor)),
            _ => Err(self.fault(Some(field), "a moisture between 0 and 100 %", &shown(cell))),
        }
    }

    /// A time; numbers are Unix seconds.
    fn time(&self, field: Option<usize>) -> Result<Option<f64>, Fault> {
        let cell = self.cell(field);
        match number(cell, false) {
            Ok(value) if value.is_nan() => Ok(None),
            Ok(value) => Ok(Some(value)),
            Err(_) => of_text(cell, self.zone).map(Some).map_err(|_| {
                let expected =
                    "a time in ISO 8601 such as 2025-09-12T14:03:00Z, or in Unix seconds";
                self.fault(field, expected, &shown(cell))
            }),
        }
    }

    fn usage(&self) -> Result<TicketUse, Fault> {
        let cell = self.cell(self.layout.usage);
        let is = |word: &str| cell.eq_ignore_ascii_case(word.as_bytes());
        match () {
            () if cell.is_empty() || is("auto") => Ok(TicketUse::Auto),
            () if is("yes") => Ok(TicketUse::Yes),
            () if is("no") => Ok(TicketUse::No),
            () => Err(self.fault(self.layout.usage, "yes, no or nothing", &shown(cell))),
        }
    }
}
