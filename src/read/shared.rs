//! Logs that several fields of a job list: which of their rows are whose.
//!
//! A season's log of one machine goes over many fields. A row belongs to the field that a column names; else to the one in
//! whose boundary it lies; else (on a headland's edge, on the road) to the one that its machine was in last, so that grain
//! that is still on its way to the sensor stays with the ground that it grew on. Every row has one field, and no field
//! holds the rows of others in memory.

use std::collections::HashMap;
use std::path::PathBuf;

use geo::{BoundingRect, Contains, MultiPolygon, Point, Rect};
use glob::{MatchOptions, Pattern};

use super::NamedOutline;
use super::boundary;
use super::error::{ReadError, ReadErrorKind};
use super::find::InputFile;
use super::log_file::LogFile;
use super::position::Positions;
use super::text::decode;
use crate::job::{FieldSeason, Job};
use crate::place::Place;
use crate::summary::Remark;

/// What tells a field's rows from those of the other fields that list the same logs.
#[derive(Debug, Default)]
pub(super) struct Shared {
    /// The field's own boundary, where the log is shared.
    own: Option<Shape>,
    /// The others'.
    others: Vec<Shape>,
    /// How the log may write the field's name.
    own_names: Vec<String>,
    /// How it may write the others'.
    other_names: Vec<String>,
    /// Fields that list the same logs, this one included.
    pub fields: usize,
    /// Whether rows before the first field that is entered are this field's: the first one's in the job.
    first: bool,
    /// Whether all others have a boundary.
    others_bounded: bool,
}

/// How far from its boundary's box a field's rows may lie, degrees of latitude (our choice: half a kilometre, farther than a
/// machine goes while it empties): beyond it they are of a field that the job does not have.
const REACH_DEG: f64 = 0.0045;

#[derive(Debug)]
struct Shape {
    bounds: Rect<f64>,
    /// The box with what is near it.
    near: Rect<f64>,
    polygons: MultiPolygon<f64>,
}

impl Shape {
    fn new(polygons: MultiPolygon<f64>) -> Option<Self> {
        let bounds = polygons.bounding_rect()?;
        let (low, high) = (bounds.min(), bounds.max());
        let east = REACH_DEG / low.y.to_radians().cos().max(0.01);
        let near = Rect::new(
            (low.x - east, low.y - REACH_DEG),
            (high.x + east, high.y + REACH_DEG),
        );
        Some(Self {
            bounds,
            near,
            polygons,
        })
    }

    fn holds(&self, point: Point<f64>) -> bool {
        self.bounds.contains(&point) && self.polygons.contains(&point)
    }
}

/// The other field seasons of a job that list one of these files.
pub(super) fn sharing<'a>(
    job: &'a Job,
    field: &FieldSeason,
    files: &[InputFile],
) -> Vec<&'a FieldSeason> {
    let key = |f: &FieldSeason| {
        (
            f.client.clone(),
            f.farm.clone(),
            f.name.clone(),
            f.season,
            f.crop.name.clone(),
        )
    };
    let own = key(field);
    let lists = |other: &FieldSeason| {
        other
            .logs
            .iter()
            .any(|p| files.iter().any(|f| may_match(p, &f.shown)))
    };
    job.fields
        .iter()
        .filter(|other| lists(other) && key(other) != own)
        .collect()
}

/// Whether a path, a folder or a pattern as a job writes it stands for the file.
fn may_match(written: &str, shown: &str) -> bool {
    let written = written.trim_start_matches("./").trim_end_matches('/');
    if written == shown
        || shown
            .strip_prefix(written)
            .is_some_and(|rest| rest.starts_with('/'))
    {
        return true;
    }
    let Some(special) = written.find(['*', '?', '[']) else {
        return false;
    };
    if !shown.starts_with(&written[..special]) {
        return false;
    }
    let options = MatchOptions {
        case_sensitive: true,
        require_literal_separator: true,
        require_literal_leading_dot: true,
    };
    Pattern::new(written).is_ok_and(|p| p.matches_with(shown, options))
}

impl Shared {
    /// What tells the field's rows from those of the others of its job that list one of its files. `own`: its boundary.
    pub fn new(
        job: &Job,
        field: &FieldSeason,
        files: &[InputFile],
        own: Option<&MultiPolygon<f64>>,
    ) -> Self {
        let others = sharing(job, field, files);
        let mut shared = Self {
            own_names: names(field),
            fields: others.len() + 1,
            ..Self::default()
        };
        if others.is_empty() {
            return shared;
        }
        shared.own = own.cloned().and_then(Shape::new);
        // Fields whose boundaries lie in one file read it once.
        let mut read: HashMap<PathBuf, Vec<NamedOutline>> = HashMap::new();
        for other in &others {
            shared.other_names.extend(names(other));
            let Some(written) = &other.boundary else {
                continue;
            };
            let input = InputFile::new(&job.base, written);
            let outlines = read.entry(input.path.clone()).or_insert_with(|| {
                // A boundary that cannot be read fails its own field.
                let all = boundary::all(&input, job, other).unwrap_or_default();
                all.into_iter()
                    .map(|o| (MultiPolygon(o.polygons), o.names))
                    .collect()
            });
            shared
                .others
                .extend(boundary::own_of(outlines, other).and_then(Shape::new));
        }
        shared.others_bounded = shared.others.len() == others.len();
        let first = job
            .fields
            .iter()
            .find(|f| names(f) == shared.own_names || others.contains(f));
        shared.first = first.is_some_and(|f| names(f) == shared.own_names);
        shared
    }

    /// Whether rows can be told apart by where they lie.
    pub fn by_place(&self) -> bool {
        self.fields > 1 && (self.own.is_some() || !self.others.is_empty())
    }

    /// That nothing tells whose the rows of a shared log are: each field has all of them.
    pub fn unsettled(&self, files: &[InputFile], names: bool) -> Option<Remark> {
        if self.fields < 2 || self.by_place() || names {
            return None;
        }
        let text = format!(
            "{}: {} fields of the job list the same logs, and neither boundaries nor a column with the field's name say whose a row is: each field has all of them, and all of their grain. Give the fields boundaries, or the log's column: [log] columns = {{ field = \"HEADER\" }}",
            files.first().map_or("", |f| f.shown.as_str()),
            self.fields,
        );
        Some(Remark::new("shared-log", text))
    }

    /// Whose a name in the log is: this field's, another's of those that share the log, or nobody's that is known.
    pub fn named(&self, name: &str) -> Option<bool> {
        let name = folded(name);
        if self.own_names.contains(&name) {
            Some(true)
        } else {
            self.other_names.contains(&name).then_some(false)
        }
    }

    /// Whether a row at this place is the field's, and what is remembered of its machine. `last`: whether the machine's
    /// row before was.
    pub fn here(&self, lon: f64, lat: f64, last: Option<bool>) -> bool {
        let last = last.unwrap_or(self.first);
        let point = Point::new(lon, lat);
        if !(lon.is_finite() && lat.is_finite()) {
            return last;
        }
        match &self.own {
            Some(own) if own.holds(point) => true,
            // Outside: another field's, or still this one's where the machine comes from it.
            Some(own) => {
                last && self.others_bounded
                    && own.near.contains(&point)
                    && !self.others.iter().any(|o| o.holds(point))
            }
            // Without a boundary the field has what lies in no other's.
            None => !self.others.iter().any(|o| o.holds(point)),
        }
    }
}

/// The error that all rows of the field's logs are other fields'.
pub(super) fn none_here(field: &str, file: &str, rows: u64) -> ReadError {
    let found = format!("none: all {rows} rows are other fields' of the job");
    ReadError::new(
        ReadErrorKind::Missing,
        Place::file(file),
        format!("rows of field \"{field}\""),
        found,
    )
    .hinted("see whether the field's boundary is the right one, and its name as the log writes it")
}

/// How the rows of one log are dealt out while they are read.
pub(super) struct Dealing<'a> {
    shared: &'a Shared,
    by: By,
    /// What names in the log are: the field's, another's, or nobody's that is known.
    names: HashMap<Vec<u8>, Option<bool>>,
    /// Whether the last row of a machine was the field's.
    last: HashMap<Vec<u8>, bool>,
    /// Whether the row before was, whichever machine's.
    pub kept: bool,
    /// Rows of other fields.
    pub elsewhere: u64,
}

/// What deals rows out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum By {
    /// A column with the field's name.
    Name,
    /// Where they lie.
    Place,
    /// Nothing: all rows are the field's.
    Nothing,
}

impl<'a> Dealing<'a> {
    /// `names`: what a column of fields' names has in the first rows; `degrees`: whether positions are known as rows are
    /// read.
    pub fn new<'n>(
        shared: &'a Shared,
        mut names: impl Iterator<Item = &'n str>,
        degrees: bool,
    ) -> Self {
        let by = if names.any(|n| shared.named(n).is_some()) {
            By::Name
        } else if shared.by_place() && degrees {
            By::Place
        } else {
            By::Nothing
        };
        Self {
            shared,
            by,
            names: HashMap::new(),
            last: HashMap::new(),
            kept: true,
            elsewhere: 0,
        }
    }

    /// What deals rows out.
    pub fn by(&self) -> By {
        self.by
    }

    /// Whether a row is the field's; counts those that are not. A row without a name is whose the one before it was.
    pub fn keeps(&mut self, machine: &[u8], name: &[u8], (lon, lat): (f64, f64)) -> bool {
        if self.by == By::Nothing {
            return true;
        }
        let before = self.last.get(machine).copied();
        let own = match self.by {
            By::Name if name.trim_ascii().is_empty() => before.unwrap_or(self.shared.first),
            By::Name => {
                let shared = self.shared;
                let known = match self.names.get(name) {
                    Some(known) => *known,
                    None => {
                        let whose = shared.named(&decode(name));
                        self.names.insert(name.to_vec(), whose);
                        whose
                    }
                };
                known == Some(true)
            }
            _ => self.shared.here(lon, lat, before),
        };
        if before != Some(own) {
            self.last.insert(machine.to_vec(), own);
        }
        self.kept = own;
        self.elsewhere += u64::from(!own);
        own
    }
}

/// Takes the rows of other fields out of a log that could not be dealt out while it was read: because its positions are
/// in another CRS, or because its first rows name none of the job's fields.
pub(super) fn deal(log: &mut LogFile, positions: &mut Positions, shared: &Shared) {
    let rows = log.row.len();
    let of_names: Vec<Option<bool>> = log.place.distinct.iter().map(|n| shared.named(n)).collect();
    let by_name = log.place.distinct.len() > 1 && of_names.contains(&Some(true));
    let by_place = !by_name && shared.by_place() && !log.layout.in_degrees() && !log.dealt;
    if !by_name && !by_place {
        return;
    }
    let mut last: HashMap<Option<u32>, bool> = HashMap::new();
    let keep: Vec<bool> = (0..rows)
        .map(|k| {
            let machine = log.machine.index.get(k).copied().flatten();
            let before = last.get(&machine).copied();
            let own = match log
                .place
                .index
                .get(k)
                .copied()
                .flatten()
                .filter(|_| by_name)
            {
                Some(name) => of_names[name as usize] == Some(true),
                None if by_name => before.unwrap_or(shared.first),
                None => shared.here(positions.lon[k], positions.lat[k], before),
            };
            last.insert(machine, own);
            own
        })
        .collect();
    let elsewhere = keep.iter().filter(|k| !**k).count() as u64;
    if elsewhere == 0 {
        return;
    }
    log.keep(&keep);
    for values in [&mut positions.lon, &mut positions.lat] {
        let mut kept = keep.iter();
        values.retain(|_| kept.next() == Some(&true));
    }
    positions.bad = positions.lon.iter().filter(|l| l.is_nan()).count() as u64;
    if positions.bad == 0 {
        positions.first_bad = None;
    }
    log.elsewhere += elsewhere;
    log.tell_of_others(if by_name { By::Name } else { By::Place });
}

/// How a log may write a field's name.
fn names(field: &FieldSeason) -> Vec<String> {
    vec![
        folded(&field.name),
        folded(&format!("{}/{}", field.farm, field.name)),
        folded(&format!("{}/{}/{}", field.client, field.farm, field.name)),
    ]
}

fn folded(name: &str) -> String {
    name.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_folders_and_patterns_stand_for_files() {
        for (written, shown, is) in [
            ("logs/a.csv", "logs/a.csv", true),
            ("./logs/a.csv", "logs/a.csv", true),
            ("logs", "logs/a.csv", true),
            ("logs/*.csv", "logs/a.csv", true),
            ("logs/*.csv", "logs/deep/a.csv", false),
            ("logs/b.csv", "logs/a.csv", false),
            ("log", "logs/a.csv", false),
        ] {
            assert_eq!(may_match(written, shown), is, "{written} {shown}");
        }
    }

    #[test]
    fn rows_far_from_the_field_are_nobodys() {
        let shared = Shared {
            own: square(0.0),
            fields: 2,
            others_bounded: true,
            ..Shared::default()
        };
        assert!(shared.here(1.004, 0.5, Some(true)));
        assert!(!shared.here(1.006, 0.5, Some(true)));
    }

    fn square(west: f64) -> Option<Shape> {
        Shape::new(MultiPolygon(vec![
            Rect::new((west, 0.0), (west + 1.0, 1.0)).to_polygon(),
        ]))
    }

    #[test]
    fn rows_between_fields_are_those_of_the_field_before() {
        let shared = Shared {
            own: square(0.0),
            others: square(2.0).into_iter().collect(),
            fields: 2,
            first: true,
            others_bounded: true,
            ..Shared::default()
        };
        // On the road, in the field, out of it, in the next one, out of that, and back.
        let (way, mut last) = ([-0.004, 0.5, 1.004, 2.5, 1.004, 0.5, f64::NAN], None);
        let mut whose = Vec::new();
        for lon in way {
            last = Some(shared.here(lon, 0.5, last));
            whose.extend(last);
        }
        assert_eq!(whose, [true, true, true, false, false, true, true]);
    }
}
