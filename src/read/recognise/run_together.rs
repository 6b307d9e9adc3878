//! Degrees and minutes run together, `4202.02214` for 42° 2.02214′, as receivers send them (IEC 61162-1, from memory), with
//! the hemisphere in a column of its own.

use super::sample::Sample;
use super::{Recognised, Severity};
use crate::job::LogColumn;

/// Longitudes and latitudes that are written so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::read) struct RunTogether {
    /// The columns of the hemispheres: east or west, north or south.
    pub signs: [Option<usize>; 2],
}

/// Degrees of a number in which degrees and minutes are run together; NaN where its minutes are none.
pub(in crate::read) fn parted(value: f64) -> f64 {
    let (degrees, minutes) = ((value.abs() / 100.0).floor(), value.abs() % 100.0);
    if minutes < 60.0 && degrees <= 180.0 {
        (degrees + minutes / 60.0).copysign(value)
    } else {
        f64::NAN
    }
}

/// Whether a cell names the southern or the western hemisphere.
pub(in crate::read) fn is_negative(cell: &str) -> bool {
    matches!(cell.trim(), "S" | "s" | "W" | "w")
}

/// Finds out whether positions are written so: most lie beyond the globe as degrees, and all have minutes.
pub(super) fn find(sample: &Sample, out: &mut Recognised) {
    let (Some(lon), Some(lat)) = (out.get(LogColumn::Lon), out.get(LogColumn::Lat)) else {
        return;
    };
    let index = lat.index;
    let beyond = |column: usize, bound: f64| {
        let values = sample.columns[column].sorted();
        let outside = values.iter().filter(|v| v.abs() > bound).count();
        values.len() >= 10
            && outside * 2 > values.len()
            && values.iter().all(|v| !parted(*v).is_nan())
    };
    if !beyond(lat.index, 90.0) || !(beyond(lon.index, 180.0) || beyond(lon.index, -1.0)) {
        return;
    }
    let letters = |of: [&str; 2]| {
        (0..sample.columns.len()).find(|k| {
            let mut texts = sample.columns[*k].texts().peekable();
            texts.peek().is_some() && texts.all(|t| of.iter().any(|o| t.eq_ignore_ascii_case(o)))
        })
    };
    let signs = [letters(["E", "W"]), letters(["N", "S"])];
    out.run_together = Some(RunTogether { signs });
    out.remark(
        Severity::Odd,
        "run-together",
        "longitude and latitude are degrees and minutes in one number".to_owned(),
        Some(index),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn degrees_and_minutes_are_parted() {
        assert!((parted(4202.02214) - (42.0 + 2.02214 / 60.0)).abs() < 1e-9);
        assert!((parted(-9337.28272) + (93.0 + 37.28272 / 60.0)).abs() < 1e-9);
        assert!(parted(4275.0).is_nan() && parted(f64::NAN).is_nan());
        assert!(is_negative(" w ") && !is_negative("E"));
    }
}
