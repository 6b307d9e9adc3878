//! Logs with a row for each section of the header: told, and refused.
//!
//! Such rows stand side by side on one moment. Read one after the other they would be a machine that jumps across its
//! header, and masses or widths that the file may repeat for every section would count several times over.

use super::error::{ReadError, ReadErrorKind};
use super::log_file::LogFile;
use crate::place::Place;

/// Refuses a log of whose rows more than half (our choice) share their time and machine with the row before and are
/// another section of the header.
pub(super) fn refuse(log: &LogFile) -> Result<(), ReadError> {
    let (sections, machines) = (&log.section.index, &log.machine.index);
    if log.section.distinct.len() < 2 || log.time.is_empty() {
        return Ok(());
    }
    let beside = |k: &usize| {
        let machine = |k: usize| machines.get(k).copied().flatten();
        log.time[*k] == log.time[*k - 1]
            && machine(*k) == machine(*k - 1)
            && sections[*k] != sections[*k - 1]
    };
    let count = (1..log.row.len()).filter(beside).count();
    // Of n sections a moment, n − 1 of n rows have one before them.
    if count * 2 + 1 < log.row.len().saturating_sub(1) || count < 2 {
        return Ok(());
    }
    let found = format!(
        "a row for each of {} sections of the header",
        log.section.distinct.len()
    );
    let mut place = Place::file(&log.path);
    place.column = log
        .layout
        .section
        .and_then(|f| log.layout.headers.get(f))
        .cloned();
    Err(ReadError::new(ReadErrorKind::Format, place, "a row for each moment", found).hinted(
        "export the log with the whole header in one row, or add up the rows of a moment: masses, flows and widths of the sections, one position",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(times: &[f64], sections: &[u32]) -> LogFile {
        let mut log = LogFile::of_rows("a.csv", times.len() as u32);
        log.time = times.to_vec();
        log.section.distinct = vec!["1".to_owned(), "2".to_owned()];
        log.section.index = sections.iter().map(|s| Some(*s)).collect();
        log
    }

    #[test]
    fn rows_of_sections_are_told_from_rows_of_moments() {
        let error = refuse(&log(&[1.0, 1.0, 2.0, 2.0, 3.0, 3.0], &[0, 1, 0, 1, 0, 1]))
            .expect_err("refused");
        assert_eq!(
            error.to_string(),
            "a.csv: expected a row for each moment, found a row for each of 2 sections of the header"
        );
        for (times, sections) in [
            ([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [0, 1, 0, 1, 0, 1]),
            ([1.0, 1.0, 2.0, 3.0, 4.0, 5.0], [0, 1, 0, 0, 0, 0]),
            ([1.0, 1.0, 2.0, 2.0, 3.0, 3.0], [0, 0, 0, 0, 0, 0]),
        ] {
            assert!(refuse(&log(&times, &sections)).is_ok());
        }
    }
}
