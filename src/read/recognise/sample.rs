//! The first rows of a table, column by column, for its columns to be recognised by what they hold.

use crate::read::angle::{Hemisphere, angle};
use crate::read::number::number;
use crate::read::source::{Header, Stated};

/// Rows that are looked at (our choice: more than an hour at 1 Hz, so that some passes have neighbours).
pub(in crate::read) const SAMPLE_ROWS: usize = 4_000;

/// A column of the sample.
#[derive(Debug, Clone, Default)]
pub(in crate::read) struct SampleColumn {
    /// Its header.
    pub header: String,
    /// Its header and what a second header row has under it.
    pub spelt: String,
    /// What the file's format states that it is.
    pub stated: Option<Stated>,
    /// Its numbers; NaN where a cell is missing or no number.
    pub numbers: Vec<f64>,
    /// Cells that hold a number.
    pub numeric: usize,
    /// Cells that hold something else.
    pub other: usize,
    /// Cells that are an angle with north or south, and with east or west.
    pub hemispheres: [usize; 2],
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

    /// Whether nearly all its cells name a hemisphere: 0 north or south, 1 east or west.
    pub fn names_hemisphere(&self, which: usize) -> bool {
        let (named, filled) = (self.hemispheres[which], self.numeric + self.other);
        named > 0 && named * 20 >= filled * 19
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

/// What becomes of the numbers of several rows that are one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::read) enum How {
    /// Added up.
    Sum,
    /// The mean.
    Mean,
    /// The largest.
    Largest,
}

impl How {
    /// The number of a group of rows: of those at work and with a number, else of those with a number; NaN where none
    /// has one. Nothing that a row counts is lost: sums and the largest are over all rows.
    pub fn of(self, group: &[u32], values: &[f64], works: &[bool]) -> f64 {
        let known = || {
            group
                .iter()
                .map(|k| *k as usize)
                .filter(|k| !values[*k].is_nan())
        };
        if known().next().is_none() {
            return f64::NAN;
        }
        match self {
            How::Sum => known().map(|k| values[k]).sum(),
            How::Largest => known().map(|k| values[k]).fold(f64::NEG_INFINITY, f64::max),
            How::Mean => {
                let any = known().any(|k| works[k]);
                let (n, sum) = known()
                    .filter(|k| works[*k] || !any)
                    .fold((0.0, 0.0), |(n, sum), k| (n + 1.0, sum + values[k]));
                sum / n
            }
        }
    }
}

/// The first rows of a table.
#[derive(Debug, Clone, Default)]
pub(in crate::read) struct Sample {
    /// Its columns.
    pub columns: Vec<SampleColumn>,
    /// Rows in it.
    pub rows: usize,
    /// Lines of remarks above the header.
    pub above: Vec<String>,
    decimal_comma: bool,
}

impl Sample {
    /// An empty sample under these headers.
    pub fn new(headers: &[Header], decimal_comma: bool) -> Self {
        let columns = headers
            .iter()
            .map(|h| SampleColumn {
                header: h.name.clone(),
                spelt: h.spelt(),
                stated: h.stated,
                ..SampleColumn::default()
            })
            .collect();
        Self {
            columns,
            rows: 0,
            above: Vec::new(),
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
                Err(_) => match angle(&text) {
                    Some((degrees, hemisphere)) => {
                        match hemisphere {
                            Some(Hemisphere::NorthSouth) => column.hemispheres[0] += 1,
                            Some(Hemisphere::EastWest) => column.hemispheres[1] += 1,
                            None => {}
                        }
                        degrees
                    }
                    None => {
                        column.other += 1;
                        f64::NAN
                    }
                },
            };
            column.numeric += usize::from(value.is_finite());
            column.numbers.push(value);
        }
        self.rows += 1;
    }

    /// The sample with one row for each group of rows: texts of the group's first one, numbers as `how` says for each
    /// column, those of rows that are not at work left out where others are.
    pub fn gathered(
        &self,
        groups: &[Vec<u32>],
        how: impl Fn(usize) -> How,
        works: &[bool],
    ) -> Self {
        let columns = self.columns.iter().enumerate().map(|(index, of)| {
            let mut column = SampleColumn {
                header: of.header.clone(),
                spelt: of.spelt.clone(),
                stated: of.stated,
                hemispheres: of.hemispheres,
                ..SampleColumn::default()
            };
            for group in groups {
                let text = of.text(group[0] as usize);
                column.texts.push_str(text);
                column.ends.push(column.texts.len() as u32);
                let value = how(index).of(group, &of.numbers, works);
                column.numeric += usize::from(value.is_finite());
                column.other += usize::from(value.is_nan() && !text.is_empty());
                column.numbers.push(value);
            }
            // Hemispheres were counted in rows.
            column.hemispheres = of.hemispheres.map(|n| n * groups.len() / self.rows.max(1));
            column
        });
        Self {
            columns: columns.collect(),
            rows: groups.len(),
            above: self.above.clone(),
            decimal_comma: self.decimal_comma,
        }
    }

    /// The headers.
    pub fn headers(&self) -> Vec<String> {
        self.columns.iter().map(|c| c.header.clone()).collect()
    }
}
