//! Where the positions are, and the way that they make.

use super::assign::how_by_values;
use super::lexicon::Word;
use super::motion::Motion;
use super::notes::{self, StatedCrs};
use super::run_together::is_negative;
use super::sample::Sample;
use super::words::readings;
use super::{FoundColumn, Known, Recognised, Severity, answer, by_values, run_together};
use crate::job::{LogColumn, LogSettings};

/// Columns called x and y that hold longitudes and latitudes are those; columns without any word for a position that
/// look like one are asked about.
pub(super) fn positions(
    sample: &Sample,
    settings: &LogSettings,
    known: &Known<'_>,
    out: &mut Recognised,
) {
    use LogColumn as C;
    let has = |out: &Recognised, c| out.get(c).is_some();
    let range = |index: usize| {
        let v = sample.columns[index].sorted();
        Some((*v.first()?, *v.last()?, v.len()))
    };
    let like = |index: usize, bound: f64| {
        range(index).is_some_and(|(lo, hi, n)| {
            n * 2 > sample.rows && lo >= -bound && hi <= bound && hi - lo < 1.0 && hi > lo
        })
    };
    if !has(out, C::Lon)
        && !has(out, C::Lat)
        && settings.crs.is_none()
        && sample.rows >= 10
        && let (Some(x), Some(y)) = (out.get(C::X).cloned(), out.get(C::Y).cloned())
        && like(x.index, 180.0)
        && like(y.index, 90.0)
    {
        for found in &mut out.columns {
            let to = match found.column {
                C::X => C::Lon,
                C::Y => C::Lat,
                _ => continue,
            };
            found.column = to;
            found.unit = to.quantity().and_then(|q| q.unit("deg"));
            found.how.push_str("; degrees, by its values");
        }
    }
    run_together::find(sample, out);
    if has(out, C::Lon) || has(out, C::X) || sample.rows < 10 {
        return;
    }
    let fine = |index: usize| {
        sample.columns[index]
            .texts()
            .take(50)
            .filter(|t| t.split(['.', ',']).nth(1).is_some_and(|d| d.len() >= 4))
            .count()
            > 25
    };
    let free: Vec<usize> = (0..sample.columns.len())
        .filter(|k| {
            !out.columns.iter().any(|f| f.index == *k)
                && sample.columns[*k].is_numeric()
                && like(*k, 180.0)
                && fine(*k)
        })
        .collect();
    if let [a, b] = free.as_slice() {
        if let Some((lon, lat)) = length_and_breadth(sample, *a, *b) {
            let how = how_by_values("its values are degrees");
            for (column, index) in [(C::Lon, lon), (C::Lat, lat)] {
                out.columns.push(FoundColumn {
                    column,
                    index,
                    unit: column.quantity().and_then(|q| q.unit("deg")),
                    mapped: false,
                    how: how.clone(),
                });
            }
            return;
        }
        if let Some(found) =
            by_values::longitude_and_latitude(sample, settings, known, [*a, *b], out)
        {
            out.columns.extend(found);
            return;
        }
        let h = |k: &usize| answer::escaped(&sample.columns[*k].header);
        let line = |lon: &usize, lat: &usize| {
            format!("columns = {{ lon = \"{}\", lat = \"{}\" }}", h(lon), h(lat))
        };
        out.ask(
            *a,
            format!(
                "\"{}\" and \"{}\" look like a position, and no word says which is the longitude",
                h(a),
                h(b)
            ),
            vec![line(a, b), line(b, a)],
            true,
        );
    }
}

/// Which of two columns that look like a position is called a length, and which a breadth: the words of many languages
/// for longitude and latitude. `None` where they say anything else, or the latitude would lie beyond a pole.
fn length_and_breadth(sample: &Sample, a: usize, b: usize) -> Option<(usize, usize)> {
    let says = |k: usize, word: Word| {
        let column = &sample.columns[k];
        readings(&column.spelt)
            .iter()
            .any(|r| r.says == [word] && r.unknown == 0)
            && (word == Word::Length || column.numbers.iter().all(|v| !(v.abs() > 90.0)))
    };
    [(a, b), (b, a)]
        .into_iter()
        .find(|&(lon, lat)| says(lon, Word::Length) && says(lat, Word::Width))
}

/// The CRS of x and y, where the file names one: in their headers, in a column of its own, or above the header.
pub(super) fn crs(sample: &Sample, settings: &LogSettings, out: &mut Recognised) {
    let (Some(x), Some(y)) = (out.get(LogColumn::X), out.get(LogColumn::Y)) else {
        return;
    };
    if settings.crs.is_some() {
        return;
    }
    let (x, y) = (x.index, y.index);
    let northing = super::median(sample.columns[y].numbers.iter().copied());
    let find = |text: &str| notes::crs(&notes::words(text), northing).map(|c| c.0);
    let of_headers = || {
        [y, x]
            .iter()
            .find_map(|k| find(&sample.columns[*k].spelt).map(|c| (c, *k)))
    };
    // A column that names it in every row, the same.
    let of_cells = || {
        sample.columns.iter().enumerate().find_map(|(k, column)| {
            let first = column.texts().next()?;
            let same = column.texts().take(200).all(|t| t == first);
            let named = same.then(|| find(&format!("{} {first}", column.spelt)))?;
            named.map(|c| (c, k))
        })
    };
    let of_remarks = || {
        sample
            .above
            .iter()
            .find_map(|line| find(line))
            .map(|c| (c, y))
    };
    match of_headers().or_else(of_cells).or_else(of_remarks) {
        Some((StatedCrs::Code(code), at)) => {
            out.remark(
                Severity::Odd,
                "crs-stated",
                format!("x and y are in {code}, as the file says"),
                Some(at),
            );
            out.crs = Some(code);
        }
        Some((StatedCrs::EitherSide(codes), at)) => out.ask(
            at,
            "it names a zone of UTM and not on which side of the equator".to_owned(),
            codes.map(|c| format!("crs = \"{c}\"")).to_vec(),
            true,
        ),
        None => {}
    }
}

/// The way of the machine, where positions are plain numbers.
pub(super) fn motion(sample: &Sample, settings: &LogSettings, out: &Recognised) -> Option<Motion> {
    let numbers = |c: LogColumn| {
        let found = out.get(c)?;
        let factor = found.unit.map_or(1.0, |u| u.factor(f64::NAN));
        Some(
            sample.columns[found.index]
                .numbers
                .iter()
                .map(|v| v * factor)
                .collect::<Vec<f64>>(),
        )
    };
    let motion = match (numbers(LogColumn::Lon), numbers(LogColumn::Lat)) {
        (Some(mut lon), Some(mut lat)) => {
            if let Some(form) = out.run_together {
                for (values, sign) in [&mut lon, &mut lat].into_iter().zip(form.signs) {
                    for (k, value) in values.iter_mut().enumerate() {
                        let negative = sign.is_some_and(|s| is_negative(sample.columns[s].text(k)));
                        *value = form.degrees(*value, negative);
                    }
                }
            }
            for k in 0..lon.len() {
                let usable = (-180.0..=180.0).contains(&lon[k])
                    && (-90.0..=90.0).contains(&lat[k])
                    && !(lon[k] == 0.0 && lat[k] == 0.0);
                if !usable {
                    (lon[k], lat[k]) = (f64::NAN, f64::NAN);
                }
            }
            Motion::from_degrees(&lon, &lat)
        }
        _ if settings.crs.is_some() || out.crs.is_some() => {
            Motion::from_plane(numbers(LogColumn::X)?, numbers(LogColumn::Y)?)
        }
        _ => return None,
    };
    motion.usual_step().map(|_| motion)
}
