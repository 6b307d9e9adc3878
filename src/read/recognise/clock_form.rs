//! The forms that clocks have, and what they count from.

use crate::job::DateOrder;

/// Seconds from the Unix epoch to the GPS epoch, 1980-01-06T00:00:00Z (IS-GPS-200: 3,657 days).
pub(in crate::read) const GPS_EPOCH_S: f64 = 315_964_800.0;
/// Seconds by which GPS time has been ahead of UTC since 2017-01-01 (IERS Bulletin C 52; none announced since).
pub(in crate::read) const GPS_LEAP_S: f64 = 18.0;
/// Days from a spreadsheet's day 0 (1899-12-30, as its serial days count for every date after February 1900) to the
/// Unix epoch.
pub(in crate::read) const SERIAL_EPOCH_DAYS: f64 = 25_569.0;
/// Seconds in a day.
pub(in crate::read) const DAY_S: f64 = 86_400.0;

/// How a date is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::read) enum DateForm {
    /// In digits, in this order.
    Written(DateOrder),
    /// In digits; whether the day or the month comes first cannot be told.
    Unordered,
    /// A spreadsheet's serial day.
    Serial,
}

/// How a time of day is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::read) enum DayForm {
    /// `14:03:05`.
    Written,
    /// `140305`.
    Compact,
    /// Seconds since midnight.
    Seconds,
    /// Part of a day, as spreadsheets hold it.
    Fraction,
}

/// What the cells of a time column are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::read) enum ClockForm {
    /// ISO 8601, Unix seconds or milliseconds, or a count from an unknown start.
    #[default]
    Plain,
    /// Date and time in digits in one cell.
    Written(DateForm),
    /// Seconds (or milliseconds, by the column's factor) since the GPS epoch.
    Gps,
    /// A spreadsheet's serial days.
    Serial,
    /// `20250912140305`.
    Compact,
    /// A time of day alone.
    DayTime(DayForm),
    /// A date in one column and a time of day in another.
    DateAndTime(DateForm, DayForm),
}
