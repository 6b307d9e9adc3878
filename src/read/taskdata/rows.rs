//! The rows of a log as a source hands them over.

use jiff::civil::{Date, date};

use crate::read::error::ReadError;
use crate::read::source::{Batch, Rows};

/// A moment: milliseconds since midnight, days since 1980-01-01, whether in UTC.
pub(super) type Stamp = (u32, u16, bool);

/// The rows of a log, read.
pub(super) struct LogRows {
    pub time: Vec<Option<Stamp>>,
    pub utc: bool,
    pub numbers: Vec<Vec<f64>>,
    pub constants: Vec<Vec<u8>>,
    pub at: usize,
    /// The day of the row before, and its date.
    pub day: Option<(u16, Date)>,
}

impl Rows for LogRows {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<(), ReadError> {
        batch.clear();
        while self.at < self.time.len() && !batch.is_full() {
            let record = batch.add();
            let text = self.time[self.at]
                .and_then(|stamp| self.stamp(stamp))
                .unwrap_or_default();
            record.cells.push_field(text.as_bytes());
            for column in &self.numbers {
                record.push_number(column[self.at]);
            }
            for text in &self.constants {
                record.cells.push_field(text);
            }
            self.at += 1;
        }
        Ok(())
    }
}

impl LogRows {
    /// A time as ISO 8601, without a zone where it is the machine's own.
    fn stamp(&mut self, (millis, days, utc): Stamp) -> Option<String> {
        if utc != self.utc || millis >= 86_400_000 {
            return None;
        }
        let day = match self.day {
            Some((of, day)) if of == days => day,
            _ => {
                let day = date(1980, 1, 1)
                    .checked_add(jiff::Span::new().days(i64::from(days)))
                    .ok()?;
                self.day = Some((days, day));
                day
            }
        };
        let (seconds, millis) = (millis / 1000, millis % 1000);
        let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
        let zone = if utc { "Z" } else { "" };
        Some(format!("{day}T{h:02}:{m:02}:{s:02}.{millis:03}{zone}"))
    }
}
