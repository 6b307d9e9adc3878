//! Where the positions are, and the way that they make.

use super::motion::Motion;
use super::sample::Sample;
use super::{Recognised, answer};
use crate::job::{LogColumn, LogSettings};

/// Columns called x and y that hold longitudes and latitudes are those; columns without any word for a position that
/// look like one are asked about.
pub(super) fn positions(sample: &Sample, settings: &LogSettings, out: &mut Recognised) {
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
        _ if settings.crs.is_some() => {
            Motion::from_plane(numbers(LogColumn::X)?, numbers(LogColumn::Y)?)
        }
        _ => return None,
    };
    motion.usual_step().map(|_| motion)
}
