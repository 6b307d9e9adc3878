//! What the columns of a table are: by their headers' plain words, and by what their values must agree with.
//!
//! A header is evidence, not proof. Positions give steps; a clock is one under which the machine drives at a speed a
//! machine can have; a distance must be as long as the steps, a speed the distance over the time, a width the distance
//! between passes; and grain must come out as a yield that a field can have. Where more than one reading is left, both
//! are said and one line of `[log]` is asked for.

mod agree;
mod answer;
mod assign;
mod by_values;
mod clock;
mod clock_form;
mod dates;
mod grain;
mod grouping;
mod lexicon;
mod moments;
mod motion;
mod notes;
mod places;
mod prove;
mod roles;
mod run_together;
mod said;
mod sample;
mod shares;
mod timing;
mod words;
mod written;

pub(in crate::read) use clock::compact_seconds;
pub(in crate::read) use clock_form::{
    ClockForm, DAY_S, DateForm, DayForm, GPS_EPOCH_S, GPS_LEAP_S, SERIAL_EPOCH_DAYS,
};
pub(in crate::read) use grouping::{group, ranks};
pub(in crate::read) use moments::MomentWidth;
pub use moments::Moments;
pub(in crate::read) use run_together::{RunTogether, is_negative};
pub(in crate::read) use sample::{How, SAMPLE_ROWS, Sample};
pub(in crate::read) use written::written;

use jiff::tz::TimeZone;

use super::source::Header;
use crate::crop::Crop;
use crate::job::{GrainMoisture, LogColumn, LogSettings};
use crate::units::Unit;
use motion::median;

/// A header that is a column of ours.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundColumn {
    /// The column.
    pub column: LogColumn,
    /// Position of its header, from 0.
    pub index: usize,
    /// Its unit; `None` for names and states, and where nothing names a unit.
    pub unit: Option<&'static Unit>,
    /// Whether the job file names the header.
    pub mapped: bool,
    /// How it was recognised, for people.
    pub how: String,
}

impl FoundColumn {
    /// Whether its numbers have no unit that the tool could take.
    pub fn lacks_unit(&self) -> bool {
        self.column.quantity().is_some() && self.unit.is_none()
    }
}

/// Two or more readings that the file leaves open.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Position of the header that it is about.
    pub index: usize,
    /// The readings, for people.
    pub text: String,
    /// What settles it: lines of `[log]`, one of them to be taken.
    pub lines: Vec<String>,
    /// Whether the file cannot be read until it is answered.
    pub indispensable: bool,
}

/// How much a remark on a column matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// A run must say it.
    Warn,
    /// Worth a line where the file is looked at.
    Odd,
}

/// Something about a column that the user should know.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnRemark {
    /// How much it matters.
    pub severity: Severity,
    /// A stable word.
    pub code: &'static str,
    /// For people.
    pub text: String,
    /// Position of the header.
    pub index: Option<usize>,
}

/// What the headers of a file are.
#[derive(Debug, Clone, PartialEq)]
pub struct Recognised {
    /// One entry per column of ours that the file has.
    pub columns: Vec<FoundColumn>,
    /// (column, position of a second header that could be it and is not read).
    pub seconds: Vec<(LogColumn, usize)>,
    /// Headers that the job file names and the file does not have.
    pub absent: Vec<(LogColumn, String)>,
    /// What is left open.
    pub questions: Vec<Question>,
    /// What else to know.
    pub remarks: Vec<ColumnRemark>,
    /// The moisture at which the grain is counted.
    pub grain_moisture: GrainMoisture,
    /// How far apart passes lie, m, where the sample shows it.
    pub pass_spacing: Option<f64>,
    pub(in crate::read) run_together: Option<RunTogether>,
    /// The CRS of x and y that the file itself names.
    pub crs: Option<String>,
    /// The zone that the clock's header names.
    pub(in crate::read) zone: Option<TimeZone>,
    /// What the clock is, for people.
    pub clock: String,
    pub(in crate::read) clock_form: ClockForm,
    /// Seconds in one of the clock's unit.
    pub(in crate::read) clock_factor: f64,
    /// Whether 1 in the work state means raised.
    pub(in crate::read) work_inverted: bool,
    /// How rows of sections are gathered, where the log has one for each.
    pub moments: Option<Moments>,
    /// What the field yields by the grain that was chosen, kg/ha, where that can be told.
    pub(in crate::read) yields: Option<f64>,
    says_gps: bool,
}

impl Default for Recognised {
    fn default() -> Self {
        Self {
            columns: Vec::new(),
            seconds: Vec::new(),
            absent: Vec::new(),
            questions: Vec::new(),
            remarks: Vec::new(),
            grain_moisture: GrainMoisture::Harvest,
            pass_spacing: None,
            run_together: None,
            crs: None,
            zone: None,
            clock: String::new(),
            clock_form: ClockForm::Plain,
            clock_factor: 1.0,
            work_inverted: false,
            moments: None,
            yields: None,
            says_gps: false,
        }
    }
}

impl Recognised {
    /// The entry of a column, where the file has it.
    pub fn get(&self, column: LogColumn) -> Option<&FoundColumn> {
        self.columns.iter().find(|f| f.column == column)
    }

    fn remark(
        &mut self,
        severity: Severity,
        code: &'static str,
        text: String,
        index: Option<usize>,
    ) {
        self.remarks.push(ColumnRemark {
            severity,
            code,
            text,
            index,
        });
    }

    fn ask(&mut self, index: usize, text: String, lines: Vec<String>, indispensable: bool) {
        self.questions.push(Question {
            index,
            text,
            lines,
            indispensable,
        });
    }

    /// Takes a column back, and says why.
    fn withdraw(&mut self, column: LogColumn, why: &str) {
        if let Some(at) = self.columns.iter().position(|f| f.column == column) {
            let found = self.columns.remove(at);
            self.remark(
                Severity::Odd,
                "not-read",
                format!("not read as {}: {why}", column.name()),
                Some(found.index),
            );
        }
    }
}

/// What is known of a file beside the file.
#[derive(Debug, Clone, Copy)]
pub(in crate::read) struct Known<'a> {
    /// The job's crop, or the widest bounds of any.
    pub crop: &'a Crop,
    /// Whether the crop is known.
    pub crop_known: bool,
    /// Year of harvest.
    pub season: Option<i32>,
    /// Width of the header, m.
    pub width: Option<f64>,
    /// Zone of times without one.
    pub zone: &'a TimeZone,
    /// Whether a comma may stand for the decimal point.
    pub decimal_comma: bool,
}

/// What headers alone say their columns are.
pub fn by_headers(headers: &[String], settings: &LogSettings) -> Recognised {
    let headers: Vec<Header> = headers.iter().map(Header::named).collect();
    let any = Crop::any();
    let known = Known {
        crop: &any,
        crop_known: false,
        season: None,
        width: None,
        zone: &TimeZone::UTC,
        decimal_comma: false,
    };
    recognise(&Sample::new(&headers, false), settings, &known)
}

/// Finds out what the columns of a table are, from its headers and its first rows.
pub(in crate::read) fn recognise(
    sample: &Sample,
    settings: &LogSettings,
    known: &Known<'_>,
) -> Recognised {
    let mut out = Recognised::default();
    let mut grain = assign::assign(sample, settings, &mut out);
    // Steps, clocks and widths are those of one machine.
    let one = one_machine(sample, &out);
    let sample = one.as_ref().unwrap_or(sample);
    if one.is_some() {
        out = Recognised::default();
        grain = assign::assign(sample, settings, &mut out);
    }
    places::positions(sample, settings, known, &mut out);
    places::crs(sample, settings, &mut out);
    match moments::find(sample, settings, &grain, &out) {
        None => conclude(sample, settings, known, (grain, out), None),
        Some(found) => moments::settle(
            found,
            sample,
            &grain,
            &out,
            (settings, known),
            |sample, span| {
                let mut out = Recognised::default();
                let grain = assign::assign(sample, settings, &mut out);
                places::positions(sample, settings, known, &mut out);
                places::crs(sample, settings, &mut out);
                conclude(sample, settings, known, (grain, out), span)
            },
        ),
    }
}

/// The rows of the machine that has most, where those of several machines take turns: in a tenth of the rows and more
/// (our choice; logs that were joined change it once).
fn one_machine(sample: &Sample, out: &Recognised) -> Option<Sample> {
    let column = &sample.columns[out.get(LogColumn::Machine)?.index];
    let changes = (1..sample.rows)
        .filter(|k| column.text(*k) != column.text(k - 1))
        .count();
    if changes * 10 < sample.rows || sample.rows < 20 {
        return None;
    }
    let mut rows: std::collections::BTreeMap<&str, Vec<Vec<u32>>> =
        std::collections::BTreeMap::new();
    for k in 0..sample.rows {
        rows.entry(column.text(k)).or_default().push(vec![k as u32]);
    }
    // More names than a farm has machines: no names of machines, or a row each.
    if rows.len() > 12 {
        return None;
    }
    let most = rows.into_values().max_by_key(Vec::len)?;
    Some(sample.gathered(&most, |_| How::Mean, &vec![true; sample.rows]))
}

/// What values prove of columns that are known by their headers. `span`: width of the header by its sections, m.
fn conclude(
    sample: &Sample,
    settings: &LogSettings,
    known: &Known<'_>,
    (grain, mut out): (Vec<roles::Role>, Recognised),
    span: Option<f64>,
) -> Recognised {
    let motion = places::motion(sample, settings, &out);
    timing::clocks(sample, settings, known, motion.as_ref(), &mut out);
    let elapsed = timing::elapsed(sample, settings, known, motion.as_ref(), &mut out);
    if let Some(motion) = &motion {
        out.pass_spacing = motion.pass_spacing();
        prove::distance(sample, motion, &mut out);
        prove::speed(sample, motion, elapsed.as_deref(), &mut out);
    }
    let spacing = out.pass_spacing;
    by_values::width(sample, spacing, &mut out);
    prove::width(sample, spacing, &mut out);
    let by_rows = prove::rows(sample, spacing, known.crop.row_spacing, &mut out);
    percent(sample, &mut out);
    let systems = prove::systems(&out.columns);
    let width = known.width.or(settings.width).or_else(|| {
        let found = out.get(LogColumn::Width)?;
        let factor = found.unit?.factor(f64::NAN);
        median(
            sample.columns[found.index]
                .numbers
                .iter()
                .copied()
                .filter(|w| *w > 0.0),
        )
        .map(|w| w * factor)
    });
    let evidence = grain::Evidence {
        sample,
        motion: motion.as_ref(),
        elapsed: elapsed.as_deref(),
        width: width.or(by_rows).or(span).or(spacing),
        systems,
        crop: known.crop,
        crop_known: known.crop_known,
    };
    grain::choose(grain, settings, &evidence, &mut out);
    let systems = prove::systems(&out.columns);
    prove::elevation(sample, systems, &mut out);
    out.columns
        .sort_by_key(|f| LogColumn::ALL.iter().position(|c| *c == f.column));
    out
}

/// Moisture: %, parts per million, or a share, by its size.
fn percent(sample: &Sample, out: &mut Recognised) {
    let Some(at) = out
        .columns
        .iter()
        .position(|f| f.column == LogColumn::Moisture)
    else {
        return;
    };
    let index = out.columns[at].index;
    let Some(usual) = median(
        sample.columns[index]
            .numbers
            .iter()
            .copied()
            .filter(|v| *v > 0.0),
    ) else {
        return;
    };
    // 2 to 60 %: no grain that a combine threshes is drier or wetter (our choice, wider than any crop's bounds).
    let grain = 2.0..60.0;
    let unit = out.columns[at].unit;
    let in_unit = usual * unit.map_or(1.0, |u| u.factor(f64::NAN));
    if grain.contains(&in_unit) || sample.rows < 10 {
        return;
    }
    let ppm = crate::units::Quantity::Percent.unit("ppm");
    if grain.contains(&(usual * 1e-4)) {
        out.columns[at].unit = ppm;
        out.columns[at]
            .how
            .push_str("; ppm found: only so it is a grain's moisture");
    } else if grain.contains(&(usual * 100.0)) && !names_share(&sample.columns[index].spelt) {
        out.columns[at].unit = crate::units::Quantity::Percent.unit("fraction");
        out.columns[at]
            .how
            .push_str("; a fraction found: only so it is a grain's moisture");
        out.remark(
            Severity::Warn,
            "unit-inferred",
            format!(
                "no unit is named; it is usually {usual} and is read as a fraction of the wet grain. If it is one of the dry grain, say [log] moisture instead"
            ),
            Some(index),
        );
    } else if ["by its name", "stated"]
        .iter()
        .any(|how| out.columns[at].how.starts_with(how))
        || out.columns[at].mapped
    {
        out.remark(
            Severity::Warn,
            "unit-doubtful",
            format!(
                "it is usually {usual}, which is no grain's moisture in {}",
                unit.map_or("%", |u| u.symbol)
            ),
            Some(index),
        );
    } else {
        out.withdraw(
            LogColumn::Moisture,
            &format!("it is usually {usual}, which is no grain's moisture"),
        );
    }
}

/// Whether a header spells a unit of shares.
fn names_share(header: &str) -> bool {
    words::readings(header).iter().any(|w| {
        w.unit
            .is_some_and(|u| u.quantity == crate::units::Quantity::Percent)
    })
}

/// Whether a column's cells say at work or not.
fn work_words(column: &sample::SampleColumn) -> bool {
    let known = column
        .texts()
        .filter(|t| super::log_row::work_state(t.as_bytes()).is_some())
        .count();
    known > 0 && known * 20 >= (column.numeric + column.other) * 19
}
