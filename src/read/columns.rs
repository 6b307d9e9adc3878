//! Which header is which column, and in which unit.

use super::source::{Header, Stated};
use crate::job::{LogColumn, LogSettings};
use crate::units::{Quantity, Unit, tokens};

/// A header that is a column of ours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundColumn {
    /// The column.
    pub column: LogColumn,
    /// Position of its header, from 0.
    pub index: usize,
    /// Its unit; `None` for names and states, and where nothing names a unit.
    pub unit: Option<&'static Unit>,
    /// Whether the job file names the header.
    pub mapped: bool,
}

impl FoundColumn {
    /// Whether its numbers have no unit that the tool could take.
    pub fn lacks_unit(&self) -> bool {
        self.column.quantity().is_some() && self.unit.is_none()
    }
}

/// What the headers of a file are.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Recognised {
    /// One entry per column of ours that the file has, in the order of [`LogColumn::ALL`].
    pub columns: Vec<FoundColumn>,
    /// (column, position of a second header that could be it and is not read).
    pub seconds: Vec<(LogColumn, usize)>,
    /// Headers that the job file names and the file does not have.
    pub absent: Vec<(LogColumn, String)>,
}

impl Recognised {
    /// The entry of a column, where the file has it.
    pub fn get(&self, column: LogColumn) -> Option<&FoundColumn> {
        self.columns.iter().find(|f| f.column == column)
    }
}

/// Finds the columns among the headers: first those that the job names, then our own names with a unit behind, then
/// the trade's plain words. Any case; blanks, brackets and slashes count as `_`.
pub fn recognise(headers: &[String], settings: &LogSettings) -> Recognised {
    let headers: Vec<Header> = headers.iter().map(Header::named).collect();
    recognise_stated(&headers, settings)
}

/// The same for the columns of a source. What a format itself states comes after the job and before every name.
pub(super) fn recognise_stated(columns: &[Header], settings: &LogSettings) -> Recognised {
    let headers: Vec<String> = columns.iter().map(|h| h.name.clone()).collect();
    let headers = headers.as_slice();
    let mut recognised = Recognised::default();
    let mut taken = vec![false; headers.len()];
    let mut mapped: Vec<FoundColumn> = Vec::new();
    for (name, wanted) in &settings.columns {
        let Some(column) = LogColumn::from_name(name) else {
            continue;
        };
        match position(headers, wanted) {
            Some(index) => {
                taken[index] = true;
                mapped.push(FoundColumn {
                    column,
                    index,
                    unit: unit_of_tail(column, &headers[index]),
                    mapped: true,
                });
            }
            None => recognised.absent.push((column, wanted.clone())),
        }
    }
    let stated: Vec<FoundColumn> = columns
        .iter()
        .enumerate()
        .filter(|(index, _)| !taken[*index])
        .filter_map(|(index, header)| {
            let Stated { column, unit } = header.stated?;
            Some(FoundColumn {
                column,
                index,
                unit,
                mapped: false,
            })
        })
        .collect();
    for found in &stated {
        taken[found.index] = true;
    }
    for column in LogColumn::ALL {
        let job_unit = settings
            .units
            .iter()
            .find(|(name, _)| name == column.name())
            .and_then(|(_, unit)| column.quantity()?.unit(unit));
        let usual = || column.quantity()?.unit(column.usual_unit()?);
        let given = mapped.iter().chain(&stated);
        let found = match given.into_iter().find(|f| f.column == column) {
            Some(found) => Some(*found),
            None => best(column, headers, &mut taken, &mut recognised.seconds),
        };
        if let Some(found) = found {
            // A header by our own name means its suffix; of a header that the job names, the job knows the unit.
            let unit = if found.mapped {
                job_unit.or(found.unit)
            } else {
                found.unit.or(job_unit)
            };
            recognised.columns.push(FoundColumn {
                unit: unit.or_else(usual),
                ..found
            });
        }
    }
    recognised
}

/// The header written exactly so; else in another case.
fn position(headers: &[String], wanted: &str) -> Option<usize> {
    headers.iter().position(|h| h == wanted).or_else(|| {
        headers
            .iter()
            .position(|h| h.to_lowercase() == wanted.to_lowercase())
    })
}

/// The untaken header that spells a column best: our own name with a unit, our own name, a plain word; the first of
/// equals. A second one as good is reported.
fn best(
    column: LogColumn,
    headers: &[String],
    taken: &mut [bool],
    seconds: &mut Vec<(LogColumn, usize)>,
) -> Option<FoundColumn> {
    let mut candidates: Vec<(u8, FoundColumn)> = headers
        .iter()
        .enumerate()
        .filter(|(index, _)| !taken[*index])
        .filter_map(|(index, header)| {
            let (own_name, unit) = spells(column, header)?;
            let rank = match (own_name, unit.is_some() || column.quantity().is_none()) {
                (true, true) => 0,
                (false, true) => 1,
                (true, false) => 2,
                (false, false) => 3,
            };
            Some((
                rank,
                FoundColumn {
                    column,
                    index,
                    unit,
                    mapped: false,
                },
            ))
        })
        .collect();
    candidates.sort_by_key(|(rank, _)| *rank); // stable: the first of equals stays first
    let (rank, chosen) = *candidates.first()?;
    taken[chosen.index] = true;
    if let Some((_, second)) = candidates.get(1).filter(|(r, _)| *r == rank) {
        seconds.push((column, second.index));
    }
    Some(chosen)
}

/// Whether a header spells a column: by our own name or not, and with which unit.
fn spells(column: LogColumn, header: &str) -> Option<(bool, Option<&'static Unit>)> {
    let words = tokens(header);
    let by = |names: &[&str]| name_and_unit(&words, names, column.quantity());
    by(&[column.name()])
        .map(|unit| (true, unit))
        .or_else(|| by(plain_words(column)).map(|unit| (false, unit)))
}

/// Whether the words of a header are one of `names` and then nothing, or a unit of `quantity`; and that unit.
pub(super) fn name_and_unit(
    words: &[String],
    names: &[&str],
    quantity: Option<Quantity>,
) -> Option<Option<&'static Unit>> {
    (1..=words.len()).rev().find_map(|k| {
        if !names.contains(&words[..k].join("_").as_str()) {
            return None;
        }
        match &words[k..] {
            [] => Some(None),
            rest => quantity?.unit_of_tokens(rest).map(Some),
        }
    })
}

/// The unit that the end of a header spells, whatever stands before it.
fn unit_of_tail(column: LogColumn, header: &str) -> Option<&'static Unit> {
    let quantity = column.quantity()?;
    let words = tokens(header);
    (0..words.len()).find_map(|k| quantity.unit_of_tokens(&words[k..]))
}

/// Plain words of the trade for a column, beside our own name.
fn plain_words(column: LogColumn) -> &'static [&'static str] {
    match column {
        LogColumn::Lon => &["longitude", "long", "lng"],
        LogColumn::Lat => &["latitude"],
        LogColumn::X => &["easting", "east"],
        LogColumn::Y => &["northing", "north"],
        LogColumn::Time => &[
            "timestamp",
            "date_time",
            "datetime",
            "time_utc",
            "utc_time",
            "utc",
        ],
        LogColumn::Interval => &["duration", "time_step", "logging_interval"],
        LogColumn::Flow => &[
            "mass_flow",
            "grain_flow",
            "flow_rate",
            "mass_flow_rate",
            "wet_mass_flow",
            "throughput",
        ],
        LogColumn::Mass => &["grain_mass", "wet_mass"],
        LogColumn::Yield => &["wet_yield"],
        LogColumn::DryYield => &["yield_dry"],
        LogColumn::Moisture => &[
            "moist",
            "grain_moisture",
            "crop_moisture",
            "moisture_content",
        ],
        LogColumn::Machine => &["machine_name", "machine_id", "combine", "harvester"],
        LogColumn::WorkState => &["working", "work_status"],
        LogColumn::Speed => &["ground_speed", "velocity"],
        LogColumn::Distance => &["dist", "distance_travelled", "distance_traveled"],
        LogColumn::Width => &["header_width", "working_width", "cutting_width"],
        LogColumn::Section => &["section_number", "section_no", "section_id"],
        LogColumn::Heading => &["course", "bearing"],
        LogColumn::Elevation => &["elev", "altitude"],
        LogColumn::Load => &["load_id", "load_name", "load_number", "load_no"],
        LogColumn::Pass => &["pass_number", "pass_no", "pass_id"],
        LogColumn::Crop => &["crop_name", "crop_type"],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(names: &[&str]) -> Vec<String> {
        names.iter().map(|n| (*n).to_owned()).collect()
    }

    fn symbol(r: &Recognised, column: LogColumn) -> Option<&'static str> {
        r.get(column).and_then(|f| f.unit).map(|u| u.symbol)
    }

    #[test]
    fn headers_are_read_as_people_write_them() {
        let h = headers(&[
            "Longitude",
            "LAT_DEG",
            "Flow (t/h)",
            "Speed [km/h]",
            "Moisture %",
            "Load",
            "swath",
        ]);
        let r = recognise(&h, &LogSettings::default());
        assert_eq!(r.columns.len(), 6);
        assert_eq!(symbol(&r, LogColumn::Lon), Some("deg"));
        assert_eq!(symbol(&r, LogColumn::Flow), Some("t/h"));
        assert_eq!(symbol(&r, LogColumn::Speed), Some("km/h"));
        assert_eq!(symbol(&r, LogColumn::Moisture), Some("%"));
        assert_eq!(r.get(LogColumn::Load).map(|f| f.index), Some(5));
    }

    #[test]
    fn a_mapped_header_is_taken_from_what_it_looks_like() {
        let settings = LogSettings {
            columns: vec![
                ("flow".into(), "Mass".into()),
                ("width".into(), "bar".into()),
            ],
            units: vec![("flow".into(), "lb/s".into())],
            ..LogSettings::default()
        };
        let r = recognise(&headers(&["lon", "lat", "mass"]), &settings);
        assert_eq!(symbol(&r, LogColumn::Flow), Some("lb/s"));
        assert_eq!(r.get(LogColumn::Mass), None);
        assert_eq!(r.absent, [(LogColumn::Width, "bar".to_owned())]);
    }

    #[test]
    fn the_unit_of_a_mapped_header_may_stand_in_it() {
        let settings = LogSettings {
            columns: vec![
                ("interval".into(), "seconds".into()),
                ("flow".into(), "grain, kg per hour".into()),
            ],
            ..LogSettings::default()
        };
        let r = recognise(&headers(&["seconds", "grain, kg per hour"]), &settings);
        assert_eq!(symbol(&r, LogColumn::Interval), Some("s"));
        assert_eq!(symbol(&r, LogColumn::Flow), Some("kg/h"));
    }

    #[test]
    fn the_job_s_unit_is_for_headers_without_one() {
        let settings = LogSettings {
            units: vec![("flow".into(), "lb/s".into())],
            ..LogSettings::default()
        };
        assert_eq!(
            symbol(&recognise(&headers(&["flow"]), &settings), LogColumn::Flow),
            Some("lb/s")
        );
        assert_eq!(
            symbol(
                &recognise(&headers(&["flow_t_h"]), &settings),
                LogColumn::Flow
            ),
            Some("t/h")
        );
    }

    #[test]
    fn of_two_headers_the_better_one_is_read() {
        let r = recognise(
            &headers(&["longitude", "lon_deg", "speed_km_h", "speed_m_s"]),
            &LogSettings::default(),
        );
        assert_eq!(r.get(LogColumn::Lon).map(|f| f.index), Some(1));
        assert_eq!(r.get(LogColumn::Speed).map(|f| f.index), Some(2));
        assert_eq!(r.seconds, [(LogColumn::Speed, 3)]);
    }

    #[test]
    fn a_wrong_unit_makes_another_column() {
        let r = recognise(
            &headers(&["flow_km", "mass_kg_s", "time_s"]),
            &LogSettings::default(),
        );
        assert_eq!(r.columns.len(), 1);
        assert_eq!(symbol(&r, LogColumn::Time), Some("s"));
    }
}
