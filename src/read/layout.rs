//! How the rows of one log file are laid out: which field of a row is which column, in which unit.

use super::error::{ReadError, ReadErrorKind};
use super::recognise::{ClockForm, FoundColumn, Recognised, RunTogether, Severity};
use crate::crop::Crop;
use crate::job::suggest::nearest;
use crate::job::{LogColumn, LogSettings};
use crate::place::Place;
use crate::summary::Remark;

/// The columns that hold plain numbers, in the order of [`Numbers`].
pub(super) const NUMBERS: [LogColumn; 17] = [
    LogColumn::Lon,
    LogColumn::Lat,
    LogColumn::X,
    LogColumn::Y,
    LogColumn::Interval,
    LogColumn::Flow,
    LogColumn::Mass,
    LogColumn::Yield,
    LogColumn::DryYield,
    LogColumn::Moisture,
    LogColumn::Speed,
    LogColumn::Distance,
    LogColumn::Width,
    LogColumn::Heading,
    LogColumn::Elevation,
    LogColumn::Rows,
    LogColumn::RowSpacing,
];

/// Index into [`NUMBERS`].
pub(super) fn slot(column: LogColumn) -> usize {
    NUMBERS
        .iter()
        .position(|c| *c == column)
        .unwrap_or(usize::MAX)
}

/// The columns that grain can be read from, the best first.
pub(super) const GRAIN: [LogColumn; 4] = [
    LogColumn::Flow,
    LogColumn::Mass,
    LogColumn::Yield,
    LogColumn::DryYield,
];

/// How many of [`GRAIN`] are read rather than this column (flow and mass stand side by side).
fn grain_rank(column: LogColumn) -> usize {
    match column {
        LogColumn::Yield => 2,
        LogColumn::DryYield => 3,
        _ => 0,
    }
}

/// A number column of a file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct NumberColumn {
    /// Index into [`NUMBERS`].
    pub slot: usize,
    /// Index of the field in a row.
    pub field: usize,
    /// What one of its unit is in SI.
    pub factor: f64,
}

/// The layout of one file's rows.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Layout {
    /// The headers, for messages.
    pub headers: Vec<String>,
    /// Number columns, by the field's place in the row.
    pub numbers: Vec<NumberColumn>,
    /// Longitudes and latitudes whose degrees and minutes are run together.
    pub run_together: Option<RunTogether>,
    /// Time: its field, and seconds in one of its unit.
    pub time: Option<(usize, f64)>,
    /// Date, where it stands apart from the time of day.
    pub date: Option<usize>,
    /// What the cells of the time are.
    pub clock: ClockForm,
    /// Machine name.
    pub machine: Option<usize>,
    /// Work state.
    pub work: Option<usize>,
    /// Whether 1 in it means raised.
    pub work_inverted: bool,
    /// Load id.
    pub load: Option<usize>,
    /// Pass number.
    pub pass: Option<usize>,
    /// Section of the header.
    pub section: Option<usize>,
    /// Number of the moment, where rows of sections are gathered by it.
    pub record: Option<usize>,
    /// Crop.
    pub crop: Option<usize>,
    /// Name of the field.
    pub place: Option<usize>,
}

impl Layout {
    /// The layout that these headers have. `file`: the log's path, for messages.
    pub fn new(
        headers: Vec<String>,
        recognised: &Recognised,
        settings: &LogSettings,
        crop: &Crop,
        file: &str,
        warnings: &mut Vec<Remark>,
    ) -> Result<Layout, ReadError> {
        indispensable(recognised, &headers, settings, file)?;
        warn(recognised, &headers, file, warnings);
        let field = |column| recognised.get(column).map(|f| f.index);
        let degrees = field(LogColumn::Lon).is_some() && field(LogColumn::Lat).is_some();
        let has_width = recognised
            .get(LogColumn::Width)
            .is_some_and(|f| !f.lacks_unit());
        let usable = GRAIN.map(|column| recognised.get(column).is_some_and(|f| !f.lacks_unit()));
        let mut numbers: Vec<NumberColumn> = Vec::new();
        for (slot, &column) in NUMBERS.iter().enumerate() {
            let Some(found) = recognised.get(column) else {
                continue;
            };
            if degrees && is_grid(found) {
                continue; // not needed: a slip in them costs no row
            }
            if has_width && matches!(column, LogColumn::Rows | LogColumn::RowSpacing) {
                continue; // a width that the log itself has is better than one that is counted
            }
            if usable[..grain_rank(column)].iter().any(|u| *u) {
                continue; // grain is read from one column: flow and mass before a yield, wet before dry
            }
            // x and y stay in the unit that the header names (or their CRS's): the CRS settles what they mean.
            let factor = match (found.unit, column) {
                (Some(unit), _) => unit.factor(crop.bushel_kg),
                (None, LogColumn::X | LogColumn::Y) => f64::NAN,
                (None, LogColumn::Rows) => 1.0,
                (None, _) => continue,
            };
            numbers.push(NumberColumn {
                slot,
                field: found.index,
                factor,
            });
        }
        numbers.sort_by_key(|n| n.field);
        let time = field(LogColumn::Time).map(|f| (f, recognised.clock_factor));
        Ok(Layout {
            numbers,
            run_together: recognised.run_together,
            time,
            date: field(LogColumn::Date).filter(|_| time.is_some()),
            clock: recognised.clock_form,
            work_inverted: recognised.work_inverted,
            machine: field(LogColumn::Machine),
            work: field(LogColumn::WorkState),
            load: field(LogColumn::Load),
            pass: field(LogColumn::Pass),
            section: field(LogColumn::Section),
            record: field(LogColumn::Record).filter(|_| recognised.moments.is_some()),
            crop: field(LogColumn::Crop),
            place: field(LogColumn::Field),
            headers,
        })
    }

    /// Whether positions are in longitude and latitude (otherwise in x and y).
    pub fn in_degrees(&self) -> bool {
        self.number(LogColumn::Lon).is_some() && self.number(LogColumn::Lat).is_some()
    }

    /// The number column of that name, where the file has it.
    pub fn number(&self, column: LogColumn) -> Option<&NumberColumn> {
        self.numbers.iter().find(|n| NUMBERS[n.slot] == column)
    }

    /// The header of a number column, or the column's own name where the file has none.
    pub fn header(&self, column: LogColumn) -> &str {
        self.number(column)
            .and_then(|n| self.headers.get(n.field))
            .map_or(column.name(), String::as_str)
    }
}

/// Refuses a file without position or grain, or whose units nothing names.
fn indispensable(
    recognised: &Recognised,
    headers: &[String],
    settings: &LogSettings,
    file: &str,
) -> Result<(), ReadError> {
    if let Some(question) = recognised.questions.iter().find(|q| q.indispensable) {
        let place = Place::file(file).column(headers[question.index].clone());
        let error = ReadError::new(
            ReadErrorKind::TwoReadings,
            place,
            "a column that can be read in one way",
            format!("several: {}", question.text),
        );
        return Err(error.hinted(in_a_line(&question.lines)));
    }
    let has = |column| recognised.get(column).is_some();
    let degrees = has(LogColumn::Lon) && has(LogColumn::Lat);
    let metres = has(LogColumn::X) && has(LogColumn::Y);
    if !degrees && !metres {
        let position = [LogColumn::Lon, LogColumn::Lat, LogColumn::X, LogColumn::Y];
        if let Some(error) = absent(recognised, &position, headers, file) {
            return Err(error);
        }
        let error = ReadError::new(
            ReadErrorKind::NoColumn,
            Place::file(file),
            "position columns such as lon_deg and lat_deg (or x_m and y_m with a crs)",
            listed(headers),
        );
        return Err(error.hinted(
            "name them in the job file: [log] columns = { lon = \"HEADER\", lat = \"HEADER\" }",
        ));
    }
    if !degrees && settings.crs.is_none() && recognised.crs.is_none() {
        let error = ReadError::new(
            ReadErrorKind::Crs,
            Place::file(file),
            "the CRS of its x and y",
            "none in the job file",
        );
        return Err(error.hinted("add it: [log] crs = \"EPSG:NUMBER\""));
    }
    if let Some(found) = recognised
        .columns
        .iter()
        .find(|f| f.lacks_unit() && f.mapped && !is_grid(f))
    {
        return Err(no_unit(found, headers, file));
    }
    let grain: Vec<&FoundColumn> = GRAIN
        .into_iter()
        .filter_map(|c| recognised.get(c))
        .collect();
    match grain.first() {
        None => {
            Err(absent(recognised, &GRAIN, headers, file)
                .unwrap_or_else(|| no_grain(headers, file)))
        }
        Some(first) if grain.iter().all(|f| f.lacks_unit()) => Err(no_unit(first, headers, file)),
        Some(_) => Ok(()),
    }
}

/// The error that a header which the job names for one of these columns is not there, where that is so.
fn absent(
    recognised: &Recognised,
    columns: &[LogColumn],
    headers: &[String],
    file: &str,
) -> Option<ReadError> {
    let missing = |(column, _): &&(LogColumn, String)| {
        columns.contains(column) && recognised.get(*column).is_none()
    };
    let (column, wanted) = recognised.absent.iter().find(missing)?;
    let error = ReadError::new(
        ReadErrorKind::NoColumn,
        Place::file(file),
        format!(
            "the column \"{wanted}\" that [log] columns names for {}",
            column.name()
        ),
        listed(headers),
    );
    let near = nearest(wanted, headers.iter().map(String::as_str));
    Some(error.maybe_hinted(near.map(|h| format!("did you mean \"{h}\"?"))))
}

/// What settles a question, in a line: `write under [log] … or …`.
fn in_a_line(lines: &[String]) -> String {
    let lines: Vec<String> = lines.iter().map(|l| l.replace('\n', ", ")).collect();
    format!("write in the job file: [log] {}", lines.join(" or "))
}

fn is_grid(found: &FoundColumn) -> bool {
    matches!(found.column, LogColumn::X | LogColumn::Y)
}

fn no_grain(headers: &[String], file: &str) -> ReadError {
    let error = ReadError::new(
        ReadErrorKind::NoColumn,
        Place::file(file),
        "a column of grain flow such as flow_kg_s (or of mass per row, mass_kg, or of yield, yield_t_ha)",
        listed(headers),
    );
    error.hinted("name it in the job file: [log] columns = { flow = \"HEADER\" }, units = { flow = \"kg/s\" }")
}

fn no_unit(found: &FoundColumn, headers: &[String], file: &str) -> ReadError {
    let (quantity, example) = found.column.quantity().map_or((String::new(), ""), |q| {
        let example = q.units().next().map_or("", |u| u.symbol);
        (
            format!("a unit of {}: {}", q.phrase(), q.symbols()),
            example,
        )
    });
    ReadError::new(
        ReadErrorKind::NoUnit,
        Place::file(file).column(headers[found.index].clone()),
        quantity,
        "none in the header or the job file",
    )
    .hinted(format!(
        "add it: [log] units = {{ {} = \"{example}\" }}",
        found.column.name()
    ))
}

fn listed(headers: &[String]) -> String {
    format!("the columns {}", headers.join(", "))
}

/// Says which columns are not read although they might be meant.
fn warn(recognised: &Recognised, headers: &[String], file: &str, warnings: &mut Vec<Remark>) {
    for found in recognised
        .columns
        .iter()
        .filter(|f| f.lacks_unit() && !is_grid(f))
    {
        let text = no_unit(found, headers, file).in_a_line();
        warnings.push(Remark::new(
            "no-unit",
            format!("{text}; until then the column is not read"),
        ));
    }
    for question in recognised.questions.iter().filter(|q| !q.indispensable) {
        let place = Place::file(file).column(headers[question.index].clone());
        warnings.push(Remark::new(
            "two-readings",
            format!("{place}: {}; {}", question.text, in_a_line(&question.lines)),
        ));
    }
    for remark in recognised
        .remarks
        .iter()
        .filter(|r| r.severity == Severity::Warn)
    {
        let mut place = Place::file(file);
        place.column = remark.index.and_then(|k| headers.get(k)).cloned();
        warnings.push(Remark::new(
            remark.code,
            format!("{place}: {}", remark.text),
        ));
    }
    for (column, _) in &recognised.absent {
        if let Some(error) = absent(recognised, &[*column], headers, file) {
            warnings.push(Remark::new(
                "absent-column",
                format!("{}; it is read as missing", error.in_a_line()),
            ));
        }
    }
    for (column, second) in &recognised.seconds {
        let Some(first) = recognised.get(*column) else {
            continue;
        };
        warnings.push(Remark::new(
            "two-columns",
            format!(
                "{file}: both \"{first}\" and \"{second}\" can be {name}; \"{first}\" is read. \
                 To read the other: [log] columns = {{ {name} = \"{second}\" }}",
                first = headers[first.index],
                second = headers[*second],
                name = column.name(),
            ),
        ));
    }
}
