//! A column of numbers as one run of bytes, for fields that wait on the disk: number by number serde takes several times as
//! long, and half of what a field's stay there costs. Little endian; every bit comes back, NaN's among them.

use std::fmt;

use serde::de::{Error, Visitor};
use serde::{Deserializer, Serializer};

pub(crate) fn serialize<S: Serializer>(column: &[f64], to: S) -> Result<S::Ok, S::Error> {
    let bytes: Vec<[u8; 8]> = column.iter().map(|v| v.to_le_bytes()).collect();
    to.serialize_bytes(bytes.as_flattened())
}

pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<f64>, D::Error> {
    from.deserialize_bytes(Column)
}

struct Column;

impl Visitor<'_> for Column {
    type Value = Vec<f64>;

    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("eight bytes a number")
    }

    fn visit_bytes<E: Error>(self, bytes: &[u8]) -> Result<Self::Value, E> {
        match bytes.as_chunks() {
            (numbers, []) => Ok(numbers.iter().map(|b| f64::from_le_bytes(*b)).collect()),
            _ => Err(E::invalid_length(bytes.len(), &self)),
        }
    }
}
