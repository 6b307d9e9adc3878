//! The width of a header that a log gives as planted rows: how many it takes, and how far they are apart.

use super::layout::NUMBERS;
use super::log_file::LogFile;
use crate::job::LogColumn;
use crate::summary::Remark;

/// Fills the widths of a log that has rows and no width:
///
///   width = rows · distance between rows
///
/// The distance is the row's own, else the crop's `row_spacing`, else the header's width over the most rows that the log
/// has. Where none is known, widths stay missing and a warning says which line gives it. `header`: width of a machine's
/// header by its name, m.
pub(super) fn derive(
    log: &mut LogFile,
    row_spacing: Option<f64>,
    header: &dyn Fn(Option<&str>) -> Option<f64>,
) {
    let [rows, apart] = [LogColumn::Rows, LogColumn::RowSpacing].map(|c| {
        let taken = NUMBERS
            .iter()
            .position(|n| *n == c)
            .map(|s| std::mem::take(&mut log.numbers[s]));
        taken.unwrap_or_default()
    });
    let Some(width) = NUMBERS.iter().position(|c| *c == LogColumn::Width) else {
        return;
    };
    if rows.is_empty() || !log.numbers[width].is_empty() {
        return;
    }
    let most = rows.iter().copied().fold(f64::NAN, f64::max);
    let whole = log
        .machine
        .distinct
        .first()
        .map_or_else(|| header(None), |name| header(Some(name)));
    let given = row_spacing.or(whole.map(|w| w / most).filter(|s| s.is_finite()));
    let of = |(k, n): (usize, &f64)| {
        let own = apart.get(k).copied().filter(|a| *a > 0.0);
        match own.or(given) {
            Some(apart) if *n > 0.0 => n * apart,
            _ => f64::NAN,
        }
    };
    let widths: Vec<f64> = rows.iter().enumerate().map(of).collect();
    if widths.iter().any(|w| w.is_finite()) {
        log.numbers[width] = widths;
        return;
    }
    let text = format!(
        "{}: column \"{}\": the log says how many rows the header takes, and nothing how far they are apart; write in the job file: row_spacing = \"75 cm\" under the crop, or header_width = \"8 rows of 75 cm\" under the machine",
        log.path,
        log.layout.header(LogColumn::Rows),
    );
    log.warnings.push(Remark::new("rows-without-spacing", text));
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(columns: &[(LogColumn, Vec<f64>)]) -> LogFile {
        let mut log = LogFile::of_rows("a.csv", 3);
        for (column, values) in columns {
            let slot = NUMBERS.iter().position(|c| c == column).expect("a number");
            log.numbers[slot].clone_from(values);
        }
        log
    }

    fn widths(log: &LogFile) -> &[f64] {
        &log.numbers[NUMBERS
            .iter()
            .position(|c| *c == LogColumn::Width)
            .expect("there")]
    }

    #[test]
    fn rows_times_their_distance_are_a_width() {
        let rows = (LogColumn::Rows, vec![8.0, 4.0, 0.0]);
        let mut own = log(&[
            rows.clone(),
            (LogColumn::RowSpacing, vec![0.75, 0.75, 0.75]),
        ]);
        derive(&mut own, Some(0.5), &|_| None);
        assert_eq!(&widths(&own)[..2], [6.0, 3.0]);
        assert!(widths(&own)[2].is_nan());
        let mut crops = log(std::slice::from_ref(&rows));
        derive(&mut crops, Some(0.7), &|_| Some(6.0));
        assert_eq!(&widths(&crops)[..2], [5.6, 2.8]);
        let mut machines = log(std::slice::from_ref(&rows));
        derive(&mut machines, None, &|_| Some(6.0));
        assert_eq!(&widths(&machines)[..2], [6.0, 3.0]);
        let mut neither = log(&[rows]);
        derive(&mut neither, None, &|_| None);
        assert!(widths(&neither).is_empty());
        assert_eq!(neither.warnings[0].code, "rows-without-spacing");
    }
}
