//! A TOML document whose every complaint says where: tables and values that know their place.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::error::JobError;
use super::suggest::nearest;
use crate::units::{Quantity, parse_amount};

/// The text of a job file and its name.
#[derive(Clone, Copy)]
pub(super) struct Document<'a> {
    pub text: &'a str,
    pub file: &'a str,
}

impl Document<'_> {
    /// Line and column of a byte, both from 1.
    fn position(&self, byte: usize) -> (usize, usize) {
        let before = self.text.get(..byte).unwrap_or(self.text);
        let line = before.matches('\n').count() + 1;
        let start = before.rfind('\n').map_or(0, |n| n + 1);
        (line, before[start..].chars().count() + 1)
    }

    /// An error at a byte.
    pub fn error(&self, byte: Option<usize>, key: &str, expected: &str, found: &str) -> JobError {
        JobError::new(
            self.file,
            byte.map(|b| self.position(b)),
            key,
            expected,
            found,
        )
    }
}

/// A table, its name for messages, and the byte where it starts.
#[derive(Clone)]
pub(super) struct Table<'a> {
    pub document: Document<'a>,
    pub name: String,
    pub start: usize,
    entries: &'a DeTable<'a>,
}

/// A value, its key for messages, and its place.
#[derive(Clone)]
pub(super) struct Value<'a> {
    document: Document<'a>,
    pub key: String,
    value: &'a Spanned<DeValue<'a>>,
}

impl<'a> Table<'a> {
    pub fn new(document: Document<'a>, name: &str, start: usize, entries: &'a DeTable<'a>) -> Self {
        Self {
            document,
            name: name.to_owned(),
            start,
            entries,
        }
    }

    /// An error about something that the table lacks.
    pub fn lacks(&self, key: &str, expected: &str) -> JobError {
        self.document
            .error(Some(self.start), &self.path(key), expected, "no such key")
    }

    fn path(&self, key: &str) -> String {
        match (self.name.is_empty(), key.is_empty()) {
            (true, _) => key.to_owned(),
            (false, true) => self.name.clone(),
            (false, false) => format!("{}, {key}", self.name),
        }
    }

    /// Refuses keys other than these.
    pub fn only(&self, known: &[&str]) -> Result<(), JobError> {
        for key in self.entries.keys() {
            let word = key.get_ref().as_ref();
            if !known.contains(&word) {
                let error = self.document.error(
                    Some(key.span().start),
                    &self.name,
                    &format!("one of the keys {}", known.join(", ")),
                    &format!("\"{word}\""),
                );
                let near = nearest(word, known.iter().copied());
                return Err(error.maybe_hinted(near.map(|k| format!("did you mean \"{k}\"?"))));
            }
        }
        Ok(())
    }

    /// The value of a key, where the table has it.
    pub fn get(&self, key: &str) -> Option<Value<'a>> {
        let value = self.entries.get(key)?;
        Some(Value {
            document: self.document,
            key: self.path(key),
            value,
        })
    }

    /// The value of a key that must be there.
    pub fn need(&self, key: &str, expected: &str) -> Result<Value<'a>, JobError> {
        self.get(key).ok_or_else(|| self.lacks(key, expected))
    }

    /// The table of a key, where there is one.
    pub fn table(&self, key: &str) -> Result<Option<Table<'a>>, JobError> {
        self.get(key).map(|v| v.table()).transpose()
    }

    /// The tables of a `[[key]]`, numbered in their names.
    pub fn tables(&self, key: &str) -> Result<Vec<Table<'a>>, JobError> {
        let Some(value) = self.get(key) else {
            return Ok(Vec::new());
        };
        let expected = format!("tables, each under its own [[{key}]]");
        let DeValue::Array(array) = value.value.get_ref() else {
            return Err(value
                .error(&expected)
                .hinted(format!("write [[{key}]], with two brackets")));
        };
        let mut tables = Vec::new();
        for (k, item) in array.iter().enumerate() {
            let item = Value {
                document: self.document,
                key: format!("{key} {}", k + 1),
                value: item,
            };
            tables.push(item.table().map_err(|_| item.error(&expected))?);
        }
        Ok(tables)
    }

    /// Its keys and values; keys in alphabetical order.
    pub fn entries(&self) -> impl Iterator<Item = (&'a str, Value<'a>)> + '_ {
        self.entries.iter().map(|(key, value)| {
            let word = key.get_ref().as_ref();
            (
                word,
                Value {
                    document: self.document,
                    key: self.path(word),
                    value,
                },
            )
        })
    }
}

impl<'a> Value<'a> {
    /// An error that expected something else than this value.
    pub fn error(&self, expected: &str) -> JobError {
        let span = self.value.span();
        let found = match self.value.get_ref() {
            DeValue::Table(_) => "a table".to_owned(),
            DeValue::Array(_) => "a list".to_owned(),
            _ => self
                .document
                .text
                .get(span.clone())
                .unwrap_or_default()
                .trim()
                .to_owned(),
        };
        self.document
            .error(Some(span.start), &self.key, expected, &found)
    }

    fn table(&self) -> Result<Table<'a>, JobError> {
        match self.value.get_ref() {
            DeValue::Table(entries) => Ok(Table::new(
                self.document,
                &self.key,
                self.value.span().start,
                entries,
            )),
            _ => Err(self
                .error("a table")
                .hinted(format!("write [{}]", self.key))),
        }
    }

    /// A text that is not blank.
    pub fn text(&self, expected: &str) -> Result<&'a str, JobError> {
        match self.value.get_ref() {
            DeValue::String(s) if !s.trim().is_empty() => Ok(s.as_ref().trim()),
            _ => Err(self.error(expected)),
        }
    }

    /// Texts, none of them blank.
    pub fn texts(&self, expected: &str) -> Result<Vec<(Value<'a>, &'a str)>, JobError> {
        let DeValue::Array(array) = self.value.get_ref() else {
            return Err(self.error(expected));
        };
        array
            .iter()
            .map(|value| {
                let item = Value {
                    document: self.document,
                    key: self.key.clone(),
                    value,
                };
                item.text(expected).map(|text| (item.clone(), text))
            })
            .collect()
    }

    /// A whole number.
    pub fn integer(&self, expected: &str) -> Result<i64, JobError> {
        match self.value.get_ref() {
            DeValue::Integer(i) => {
                i64::from_str_radix(i.as_str(), i.radix()).map_err(|_| self.error(expected))
            }
            _ => Err(self.error(expected)),
        }
    }

    /// True or false.
    pub fn boolean(&self, expected: &str) -> Result<bool, JobError> {
        self.value
            .get_ref()
            .as_bool()
            .ok_or_else(|| self.error(expected))
    }

    /// A finite number without a unit.
    pub fn number(&self) -> Option<f64> {
        let text = match self.value.get_ref() {
            DeValue::Float(f) => f.as_str(),
            DeValue::Integer(i) => i.as_str(),
            _ => return None,
        };
        text.parse().ok().filter(|v: &f64| v.is_finite())
    }

    /// An amount of `quantity` with its unit in the text, inside `low..=high`.
    pub fn amount(
        &self,
        quantity: Quantity,
        bushel_kg: Option<f64>,
        (low, high): (f64, f64),
    ) -> Result<f64, JobError> {
        let expected = format!(
            "{} with its unit, such as \"{}\"",
            quantity.phrase(),
            quantity.example()
        );
        let DeValue::String(text) = self.value.get_ref() else {
            let hint = self.number().map(|n| {
                format!(
                    "write the unit too: one of {} (\"{n} …\")",
                    quantity.symbols()
                )
            });
            return Err(self.error(&expected).maybe_hinted(hint));
        };
        let value = parse_amount(quantity, text, bushel_kg).map_err(|cause| {
            let hint = format!(
                "{cause}; units of {} are {}",
                quantity.phrase(),
                quantity.symbols()
            );
            self.error(&expected).hinted(hint).because(cause)
        })?;
        if value >= low && value <= high {
            return Ok(value);
        }
        let unit = quantity.units().next().map_or("", |u| u.symbol);
        let bounds = match (low == f64::MIN, high == f64::MAX) {
            (false, true) => format!("{} of at least {low} {unit}", quantity.phrase()),
            _ => format!("{} between {low} and {high} {unit}", quantity.phrase()),
        };
        Err(self.error(&bounds))
    }

    /// Two amounts, the lower one first.
    pub fn range(
        &self,
        quantity: Quantity,
        bushel_kg: Option<f64>,
    ) -> Result<(f64, f64), JobError> {
        let expected = format!(
            "two amounts in a list, the lower one first, such as [\"0 {unit}\", \"{0}\"]",
            quantity.example(),
            unit = quantity.example().split(' ').nth(1).unwrap_or_default()
        );
        let DeValue::Array(array) = self.value.get_ref() else {
            return Err(self.error(&expected));
        };
        if array.len() != 2 {
            return Err(self.error(&expected));
        }
        let mut ends = [0.0; 2];
        for (end, value) in ends.iter_mut().zip(array.iter()) {
            let item = Value {
                document: self.document,
                key: self.key.clone(),
                value,
            };
            *end = item.amount(quantity, bushel_kg, (f64::MIN, f64::MAX))?;
        }
        if ends[0] < ends[1] {
            Ok((ends[0], ends[1]))
        } else {
            Err(self.error(&expected))
        }
    }
}
