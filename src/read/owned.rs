//! Rows of a log that are the field's, where others list the same log.

use csv::ByteRecord;

use super::layout::Layout;
use super::log_file::LogFile;
use super::log_row::place;
use super::shared::{By, Dealing};
use crate::summary::Remark;

/// Whether a row is the field's: found out before the rest of it is read.
pub(super) fn owned(
    cells: &ByteRecord,
    layout: &Layout,
    decimal_comma: bool,
    dealing: &mut Dealing<'_>,
) -> bool {
    let cell = |k: Option<usize>| k.and_then(|k| cells.get(k)).unwrap_or(b"");
    let at = match dealing.by() {
        By::Nothing => return true,
        By::Name => (f64::NAN, f64::NAN),
        By::Place => place(cells, layout, decimal_comma),
    };
    dealing.keeps(cell(layout.machine), cell(layout.place), at)
}

impl LogFile {
    /// Keeps some of its rows.
    pub fn keep(&mut self, keep: &[bool]) {
        fn some<T>(column: &mut Vec<T>, keep: &[bool]) {
            let mut kept = keep.iter();
            column.retain(|_| kept.next() == Some(&true));
        }
        some(&mut self.row, keep);
        some(&mut self.time, keep);
        some(&mut self.work, keep);
        some(&mut self.pass, keep);
        for numbers in &mut self.numbers {
            some(numbers, keep);
        }
        for names in [
            &mut self.machine,
            &mut self.load,
            &mut self.section,
            &mut self.record,
            &mut self.place,
        ] {
            some(&mut names.index, keep);
        }
    }

    /// Says how many rows are other fields', and by what.
    pub fn tell_of_others(&mut self, by: By) {
        let how = match by {
            By::Name => {
                let header = self.layout.place.and_then(|k| self.layout.headers.get(k));
                format!("by column \"{}\"", header.map_or("", String::as_str))
            }
            _ => "by the boundaries of the job's fields".to_owned(),
        };
        if self.elsewhere > 0 {
            let text = format!(
                "{}: {} of {} rows are other fields', {how}",
                self.path,
                self.elsewhere,
                self.elsewhere + self.row.len() as u64,
            );
            self.warnings.push(Remark::new("other-fields", text));
        }
    }
}
