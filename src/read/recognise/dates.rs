//! In which order dates have their day, month and year.

use super::clock_form::DateForm;
use super::sample::SampleColumn;
use super::written::written;
use crate::job::DateOrder;

/// Year, month and day.
type Day = (i16, i8, i8);

/// Two readings of one thing, and the line of `[log]` for either.
pub(super) type Doubt = (String, [String; 2]);

/// The order in which dates are written: the one that all of them can have; of two, the one in which days follow each
/// other; else it cannot be told.
pub(super) fn date_form(
    texts: &[&str],
    order: Option<DateOrder>,
) -> Option<(DateForm, String, Option<Doubt>)> {
    let dates = |o: DateOrder| -> Option<Vec<Day>> {
        let read: Vec<_> = texts.iter().filter_map(|t| written(t, o)?.date).collect();
        // A damaged cell costs its row, not the order of all.
        (read.len() * 20 >= texts.len() * 19 && !read.is_empty()).then_some(read)
    };
    let name = |o: DateOrder| match o {
        DateOrder::YearMonthDay => "year first",
        DateOrder::DayMonthYear => "day first",
        DateOrder::MonthDayYear => "month first",
    };
    if let Some(order) = order.filter(|o| dates(*o).is_some()) {
        return Some((
            DateForm::Written(order),
            format!("{}, as the job or the header says", name(order)),
            None,
        ));
    }
    let possible: Vec<(DateOrder, Vec<Day>)> = DateOrder::ALL
        .into_iter()
        .filter_map(|o| dates(o).map(|d| (o, d)))
        .collect();
    match possible.as_slice() {
        [] => None,
        [(one, _)] => Some((DateForm::Written(*one), name(*one).to_owned(), None)),
        [(a, days_a), (b, days_b), ..] => {
            if days_a == days_b {
                return Some((DateForm::Written(*a), name(*a).to_owned(), None));
            }
            let span = |d: &[Day]| {
                let day =
                    |(y, m, d): &Day| f64::from(*y) * 372.0 + f64::from(*m) * 31.0 + f64::from(*d);
                let (lo, hi) = d
                    .iter()
                    .map(day)
                    .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| {
                        (l.min(x), h.max(x))
                    });
                hi - lo
            };
            let (sa, sb) = (span(days_a), span(days_b));
            // Days that follow each other in one reading are months apart in the other.
            if sa > 0.0 && sb > 0.0 && (sa * 4.0 <= sb || sb * 4.0 <= sa) {
                let one = if sa < sb { *a } else { *b };
                return Some((
                    DateForm::Written(one),
                    format!("{}: its days then follow each other", name(one)),
                    None,
                ));
            }
            // Dots part days, months and years in that order (common practice).
            let dotted = texts
                .iter()
                .all(|t| t.matches('.').count() >= 2 && !t.contains('/'));
            if dotted && [a, b].contains(&&DateOrder::DayMonthYear) {
                return Some((
                    DateForm::Written(DateOrder::DayMonthYear),
                    "day first, as dates with dots are".to_owned(),
                    None,
                ));
            }
            let first = texts.first().copied().unwrap_or_default();
            let doubt = (
                format!("\"{first}\" can have the day first or the month first"),
                [
                    "date_order = \"day-month-year\"".to_owned(),
                    "date_order = \"month-day-year\"".to_owned(),
                ],
            );
            Some((
                DateForm::Unordered,
                "day or month first: not known".to_owned(),
                Some(doubt),
            ))
        }
    }
}

/// How the cells of a date column look; `None` where they are no dates.
pub(super) fn date(
    column: &SampleColumn,
    order: Option<DateOrder>,
) -> Option<(DateForm, String, Option<Doubt>)> {
    let texts: Vec<&str> = column.texts().collect();
    if texts.iter().any(|t| t.contains(':')) {
        // Some tables write every date with a midnight behind it.
        let midnight = |t: &&str| {
            written(t, DateOrder::YearMonthDay)
                .or_else(|| written(t, DateOrder::DayMonthYear))
                .or_else(|| written(t, DateOrder::MonthDayYear))
                .is_some_and(|w| w.seconds == Some(0.0) && w.date.is_some())
        };
        if !texts.iter().all(midnight) {
            return None;
        }
    }
    if column.is_numeric() && !texts.iter().all(|t| t.len() == 8) {
        let sorted = column.sorted();
        let (least, most) = (*sorted.first()?, *sorted.last()?);
        let serial =
            least >= 30_000.0 && most < 65_000.0 && sorted.iter().all(|d| d.fract() == 0.0);
        return serial.then(|| {
            (
                DateForm::Serial,
                "a spreadsheet's serial days".to_owned(),
                None,
            )
        });
    }
    date_form(&texts, order)
}

/// Whether a column's cells are dates without a time.
pub(super) fn is_date(column: &SampleColumn) -> bool {
    date(column, None).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_that_follow_each_other_tell_the_order() {
        let d = date_form(&["05/09/2025", "06/09/2025", "07/09/2025"], None).expect("dates");
        assert_eq!(d.0, DateForm::Written(DateOrder::DayMonthYear));
        let d = date_form(&["09/05/2025", "09/06/2025"], None).expect("dates");
        assert_eq!(d.0, DateForm::Written(DateOrder::MonthDayYear));
        assert_eq!(
            date_form(&["05/09/2025"], Some(DateOrder::MonthDayYear))
                .expect("dates")
                .0,
            DateForm::Written(DateOrder::MonthDayYear)
        );
    }
}
