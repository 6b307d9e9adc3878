//! Where a value stood: file, data row, column. Every complaint about input carries one.

use std::fmt;

/// The place of a value in an input file, for messages.
#[derive(Debug, Clone, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
pub struct Place {
    /// The file as the user wrote it (or as a pattern matched it), relative to the job file.
    pub file: String,
    /// Data row, counted from 1 (the header is not counted). `None`: the file as a whole.
    pub row: Option<u32>,
    /// Column (attribute, key) by the name it has in the file.
    pub column: Option<String>,
}

impl Place {
    /// A whole file.
    pub fn file(file: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            row: None,
            column: None,
        }
    }

    /// The same file, at a data row (counted from 1).
    pub fn row(mut self, row: u32) -> Self {
        self.row = Some(row);
        self
    }

    /// The same place, at a column.
    pub fn column(mut self, column: impl Into<String>) -> Self {
        self.column = Some(column.into());
        self
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(row) = self.row {
            write!(f, ", row {row}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ", column \"{column}\"")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_reads_as_a_person_would_say_it() {
        assert_eq!(Place::file("a.csv").to_string(), "a.csv");
        assert_eq!(
            Place::file("a.csv").row(3).column("flow_kg_s").to_string(),
            "a.csv, row 3, column \"flow_kg_s\""
        );
    }
}
