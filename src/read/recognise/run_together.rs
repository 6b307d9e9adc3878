//! Longitudes and latitudes that are not plain degrees with a sign: degrees and minutes run together, `4202.02214` for
//! 42° 2.02214′, as receivers send them (IEC 61162-1, from memory); whole numbers of 1e-7 degrees, as task data have them
//! (ISO 11783-10); the hemisphere in a column of its own.

use super::sample::Sample;
use super::{Recognised, Severity};
use crate::job::LogColumn;

/// How longitudes and latitudes are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::read) struct RunTogether {
    /// The columns of the hemispheres: east or west, north or south.
    pub signs: [Option<usize>; 2],
    form: Form,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Form {
    /// Degrees and minutes in one number.
    #[default]
    Minutes,
    /// Degrees.
    Degrees,
    /// Whole numbers of 1e-7 degrees.
    Whole,
}

impl RunTogether {
    /// The degrees of a number; `negative`: whether its hemisphere is the southern or the western one.
    pub fn degrees(self, value: f64, negative: bool) -> f64 {
        let degrees = match self.form {
            Form::Minutes => parted(value),
            Form::Degrees => value,
            Form::Whole => value * 1e-7,
        };
        if negative { -degrees.abs() } else { degrees }
    }
}

/// Degrees of a number in which degrees and minutes are run together; NaN where its minutes are none.
fn parted(value: f64) -> f64 {
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

/// Finds out whether positions are written so: as degrees most lie beyond the globe, and all have minutes, or all are whole;
/// or they have no sign, and a column says on which side they are.
pub(super) fn find(sample: &Sample, out: &mut Recognised) {
    let (Some(lon), Some(lat)) = (out.get(LogColumn::Lon), out.get(LogColumn::Lat)) else {
        return;
    };
    let (lon, lat) = (lon.index, lat.index);
    let beyond = |column: usize, bound: f64| {
        let values = sample.columns[column].sorted();
        let outside = values.iter().filter(|v| v.abs() > bound).count();
        values.len() >= 10 && outside * 2 > values.len()
    };
    let all = |column: usize, is: &dyn Fn(f64) -> bool| {
        let values = sample.columns[column].sorted();
        values.into_iter().all(is)
    };
    let minutes = |v: f64| !parted(v).is_nan();
    let whole = |bound: f64| move |v: f64| v.fract() == 0.0 && v.abs() <= bound * 1e7;
    let far = beyond(lat, 90.0) && beyond(lon, -1.0);
    let letters = |of: [&str; 2]| {
        (0..sample.columns.len()).find(|k| {
            let mut texts = sample.columns[*k].texts().peekable();
            texts.peek().is_some() && texts.all(|t| of.iter().any(|o| t.eq_ignore_ascii_case(o)))
        })
    };
    let signs = [letters(["E", "W"]), letters(["N", "S"])];
    let (form, text) = if far && all(lat, &minutes) && all(lon, &minutes) {
        (
            Form::Minutes,
            "longitude and latitude are degrees and minutes in one number",
        )
    } else if far && all(lat, &whole(90.0)) && all(lon, &whole(180.0)) {
        (
            Form::Whole,
            "longitude and latitude are whole numbers of 1e-7 degrees",
        )
    } else {
        // A side that changes with the passes is a direction of driving.
        let one_side = |(column, side): (usize, Option<usize>)| {
            let side = side.filter(|k| {
                let mut texts = sample.columns[*k].texts();
                let first = texts.next();
                first.is_some_and(is_negative) && texts.all(|t| Some(t) == first)
            });
            side.filter(|_| sample.rows >= 10 && all(column, &|v| v >= 0.0))
        };
        let signs = [(lon, signs[0]), (lat, signs[1])].map(one_side);
        if signs == [None, None] {
            return;
        }
        out.run_together = Some(RunTogether {
            signs,
            form: Form::Degrees,
        });
        let text =
            "degrees have no sign, and a column says that they are in the west or in the south";
        out.remark(Severity::Odd, "run-together", text.to_owned(), Some(lat));
        return;
    };
    out.run_together = Some(RunTogether { signs, form });
    out.remark(Severity::Odd, "run-together", text.to_owned(), Some(lat));
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
