//! The first rows of a table, column by column, for its columns to be recognised by what they hold.

use crate::read::number::number;
use crate::read::source::{Header, Stated};

/// Rows that are looked at (our choice: more than an hour at 1 Hz, so that some passes have neighbours).
pub(in crate::read) const SAMPLE_ROWS: usize = 4_000;

/// A column of the sample.
#[derive(Debug, Clone, Default)]
pub(in crate::read) struct SampleColumn {
    /// Its header.
    pub header: String,
    /// What the file's format states that it is.
    pub stated: Option<Stated>,
    /// Its numbers; NaN where a cell is missing or no number.
    pub numbers: Vec<f64>,
    /// Cells that hold a number.
    pub numeric: usize,
    /// Cells that hold something else.
    pub other: usize,
    texts: String,
    ends: Vec<u32>,
}

impl SampleColumn {
    /// The cell of a row as text.
    pub fn text(&self, row: usize) -> &str {
        let start = if row == 0 {
            0
        } else {
            self.ends[row - 1] as usize
        };
        &self.texts[start..self.ends[row] as usize]
    }

    /// Cells that are not empty.
    pub fn texts(&self) -> impl Iterator<Item = &str> {
        (0..self.ends.len())
            .map(|k| self.text(k))
            .filter(|t| !t.is_empty())
    }

    /// Whether it holds numbers and hardly anything else.
    pub fn is_numeric(&self) -> bool {
        self.numeric > 0 && self.other * 20 <= self.numeric
    }

    /// Finite numbers in ascending order.
    pub fn sorted(&self) -> Vec<f64> {
        let mut v: Vec<f64> = self
            .numbers
            .iter()
            .copied()
            .filter(|x| x.is_finite())
            .collect();
        v.sort_by(f64::total_cmp);
        v
    }
}

/// The first rows of a table.
#[derive(Debug, Clone, Default)]
pub(in crate::read) struct Sample {
    /// Its columns.
    pub columns: Vec<SampleColumn>,
    /// Rows in it.
    pub rows: usize,
    decimal_comma: bool,
}

impl Sample {
    /// An empty sample under these headers.
    pub fn new(headers: &[Header], decimal_comma: bool) -> Self {
        let columns = headers
            .iter()
            .map(|h| SampleColumn {
                header: h.name.clone(),
                stated: h.stated,
                ..SampleColumn::default()
            })
            .collect();
        Self {
            columns,
            rows: 0,
            decimal_comma,
        }
    }

    /// Adds a row; cells that are not there count as empty.
    pub fn push<'a>(&mut self, cells: impl IntoIterator<Item = &'a [u8]>) {
        let mut cells = cells.into_iter();
        for column in &mut self.columns {
            let cell = cells.next().unwrap_or_default().trim_ascii();
            let text = String::from_utf8_lossy(cell);
            column.texts.push_str(&text);
            column.ends.push(column.texts.len() as u32);
            let value = match number(cell, self.decimal_comma) {
                Ok(value) => value,
                Err(_) => {
                    column.other += 1;
                    f64::NAN
                }
            };
            column.numeric += usize::from(value.is_finite());
            column.numbers.push(value);
        }
        self.rows += 1;
    }

    /// The headers.
    pub fn headers(&self) -> Vec<String> {
        self.columns.iter().map(|c| c.header.clone()).collect()
    }
}
