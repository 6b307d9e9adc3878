//! Which logs are one field.

use geo::{BoundingRect, Contains, Point};

use super::{Found, FoundLog};

/// Logs without a boundary that lie nearer than this are one field, degrees of latitude (our choice: about 100 m, wider
/// than a road).
const NEAR_DEG: f64 = 0.001;

/// Share of a log's positions inside a boundary from which it belongs to it (our choice: half; a machine that cuts two
/// fields in one log belongs to the one where it was longer, and the other is told).
const INSIDE: f64 = 0.5;

/// A field of the job to be written.
#[derive(Debug, Clone, PartialEq)]
pub struct DraftField {
    /// Its name.
    pub name: String,
    /// Crop, where a log tells it.
    pub crop: Option<String>,
    /// Year of harvest, where a log or a name tells it.
    pub season: Option<i32>,
    /// Indices into [`Found::logs`], each with the share of its positions inside the boundary.
    pub logs: Vec<(usize, f64)>,
    /// Index into [`Found::boundaries`].
    pub boundary: Option<usize>,
    /// Indices into [`Found::tickets`], each with how many of its loads the field's logs have.
    pub tickets: Vec<(usize, usize)>,
}

/// Puts logs into fields: those in one boundary together, then those that lie side by side; another crop or another
/// year is another field season.
pub fn fields(found: &Found) -> Vec<DraftField> {
    let mut fields: Vec<DraftField> = Vec::new();
    for (k, log) in found.logs.iter().enumerate() {
        let inside: Vec<f64> = found
            .boundaries
            .iter()
            .map(|b| share(log, |p| b.shape.contains(&p)))
            .collect();
        let best = (0..inside.len())
            .max_by(|&a, &b| inside[a].total_cmp(&inside[b]))
            .filter(|&b| inside[b] >= INSIDE);
        let season = log
            .survey
            .time
            .as_ref()
            .map(|t| t.year)
            .or_else(|| year_of(&log.path));
        let same = |f: &DraftField| {
            let crop = f.crop == log.survey.crop || f.crop.is_none() || log.survey.crop.is_none();
            let year = f.season == season || f.season.is_none() || season.is_none();
            let place = match (best, f.boundary) {
                (Some(b), Some(c)) => b == c,
                (None, None) => f.logs.iter().any(|(o, _)| near(log, &found.logs[*o])),
                _ => false,
            };
            crop && year && place
        };
        let share = best.map_or(f64::NAN, |b| inside[b]);
        match fields.iter_mut().find(|f| same(f)) {
            Some(field) => {
                field.logs.push((k, share));
                field.crop = field.crop.take().or_else(|| log.survey.crop.clone());
                field.season = field.season.or(season);
            }
            None => fields.push(DraftField {
                name: best.map_or_else(
                    || name_of(&log.path),
                    |b| {
                        found.boundaries[b]
                            .name
                            .clone()
                            .unwrap_or_else(|| stem(&found.boundaries[b].path))
                    },
                ),
                crop: log.survey.crop.clone(),
                season,
                logs: vec![(k, share)],
                boundary: best,
                tickets: Vec::new(),
            }),
        }
    }
    for field in &mut fields {
        for (t, tickets) in found.tickets.iter().enumerate() {
            let known = |load: &&String| {
                field
                    .logs
                    .iter()
                    .any(|(k, _)| found.logs[*k].survey.loads.contains(load))
            };
            let matched = tickets.loads.iter().filter(known).count();
            // Tickets by time windows name no loads; a folder's only table of tickets is meant for its only field.
            if matched > 0 || tickets.loads.is_empty() || found.logs.len() == 1 {
                field.tickets.push((t, matched));
            }
        }
    }
    unique(&mut fields);
    fields
}

/// Two field seasons must not have one name, year and crop.
fn unique(fields: &mut [DraftField]) {
    for k in 1..fields.len() {
        let mut n = 2;
        let plain = fields[k].name.clone();
        while fields[..k].iter().any(|f| {
            (&f.name, f.season, &f.crop) == (&fields[k].name, fields[k].season, &fields[k].crop)
        }) {
            fields[k].name = format!("{plain} {n}");
            n += 1;
        }
    }
}

fn share(log: &FoundLog, inside: impl Fn(Point<f64>) -> bool) -> f64 {
    if log.places.is_empty() {
        return 0.0;
    }
    let within = log
        .places
        .iter()
        .filter(|p| inside(Point::new(p[0], p[1])))
        .count();
    within as f64 / log.places.len() as f64
}

/// Whether the rectangles around two logs nearly touch.
fn near(a: &FoundLog, b: &FoundLog) -> bool {
    let rect = |log: &FoundLog| {
        geo::MultiPoint::from_iter(log.places.iter().map(|p| Point::new(p[0], p[1])))
            .bounding_rect()
    };
    let (Some(a), Some(b)) = (rect(a), rect(b)) else {
        return false;
    };
    let wide = NEAR_DEG / a.center().y.to_radians().cos().max(0.1);
    let apart = |lo: f64, hi: f64, other_lo: f64, other_hi: f64| (other_lo - hi).max(lo - other_hi);
    apart(a.min().x, a.max().x, b.min().x, b.max().x) < wide
        && apart(a.min().y, a.max().y, b.min().y, b.max().y) < NEAR_DEG
}

/// A year of this century in a path.
fn year_of(path: &str) -> Option<i32> {
    path.split(|c: char| !c.is_ascii_digit())
        .find_map(|digits| {
            let year = digits.get(..4)?;
            (matches!(digits.len(), 4 | 8) && year.starts_with("20")).then(|| year.parse().ok())?
        })
}

/// The name of a field from its log: the folder it lies in, unless that holds logs of several; else the file's.
fn name_of(path: &str) -> String {
    let mut parts: Vec<&str> = path.split('/').collect();
    let file = parts.pop().unwrap_or(path);
    match parts.last() {
        Some(folder)
            if !["logs", "log", "data", "export"].contains(&folder.to_lowercase().as_str()) =>
        {
            (*folder).to_owned()
        }
        _ => stem(file),
    }
}

fn stem(path: &str) -> String {
    let file = path.rsplit('/').next().unwrap_or(path);
    match file.rsplit_once('.') {
        Some((stem, _)) if !stem.is_empty() => stem.to_owned(),
        _ => file.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn years_and_names_come_from_paths() {
        assert_eq!(year_of("logs/2025/a.csv"), Some(2025));
        assert_eq!(year_of("logs/C1-2025-10-03.csv"), Some(2025));
        assert_eq!(year_of("20250912.csv"), Some(2025));
        assert_eq!(year_of("field 12345.csv"), None);
        assert_eq!(name_of("logs/brook/a.csv"), "brook");
        assert_eq!(name_of("logs/brook.csv"), "brook");
        assert_eq!(name_of("brook.corn.txt"), "brook.corn");
    }
}
