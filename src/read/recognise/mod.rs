//! What the columns of a table are: by their headers' plain words, and by what their values must agree with.
//!
//! A header is evidence, not proof. Positions give steps; a clock is one under which the machine drives at a speed a
//! machine can have; a distance must be as long as the steps, a speed the distance over the time, a width the distance
//! between passes; and grain must come out as a yield that a field can have. Where more than one reading is left, both
//! are said and one line of `[log]` is asked for.

mod assign;
mod clock;
mod grain;
mod lexicon;
mod motion;
mod prove;
mod roles;
mod sample;
mod words;
mod written;

pub(in crate::read) use clock::{
    ClockForm, DAY_S, DateForm, DayForm, GPS_EPOCH_S, GPS_LEAP_S, SERIAL_EPOCH_DAYS,
    compact_seconds,
};
pub(in crate::read) use sample::{SAMPLE_ROWS, Sample};
pub(in crate::read) use written::written;

use jiff::tz::TimeZone;

use super::source::Header;
use super::time::TimeReader;
use crate::crop::Crop;
use crate::job::{GrainMoisture, LogColumn, LogSettings};
use crate::units::Unit;
use motion::{Motion, median};

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
    /// What the clock is, for people.
    pub clock: String,
    pub(in crate::read) clock_form: ClockForm,
    /// Seconds in one of the clock's unit.
    pub(in crate::read) clock_factor: f64,
    /// Whether 1 in the work state means raised.
    pub(in crate::read) work_inverted: bool,
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
            clock: String::new(),
            clock_form: ClockForm::Plain,
            clock_factor: 1.0,
            work_inverted: false,
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
    let grain = assign::assign(sample, settings, &mut out);
    positions(sample, settings, &mut out);
    let motion = motion(sample, settings, &out);
    clocks(sample, settings, known, motion.as_ref(), &mut out);
    let elapsed = elapsed(sample, settings, known, motion.as_ref(), &mut out);
    if let Some(motion) = &motion {
        out.pass_spacing = motion.pass_spacing();
        prove::distance(sample, motion, &mut out);
        prove::speed(sample, motion, elapsed.as_deref(), &mut out);
    }
    let spacing = out.pass_spacing;
    prove::width(sample, spacing, &mut out);
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
        width: width.or(spacing),
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

/// Columns called x and y that hold longitudes and latitudes are those; columns without any word for a position that
/// look like one are asked about.
fn positions(sample: &Sample, settings: &LogSettings, out: &mut Recognised) {
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
        let h = |k: &usize| grain::escaped(&sample.columns[*k].header);
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
fn motion(sample: &Sample, settings: &LogSettings, out: &Recognised) -> Option<Motion> {
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

/// What the clock is.
fn clocks(
    sample: &Sample,
    settings: &LogSettings,
    known: &Known<'_>,
    motion: Option<&Motion>,
    out: &mut Recognised,
) {
    let seconds = |u: Option<&'static Unit>| u.map(|u| u.factor(f64::NAN));
    let date = out.get(LogColumn::Date).cloned().and_then(|f| {
        let found = clock::date(&sample.columns[f.index], settings.date_order);
        if found.is_none() && !f.mapped && sample.rows > 0 {
            out.withdraw(LogColumn::Date, "its cells are no dates");
        }
        found.map(|d| (f, d))
    });
    let mut time = out.get(LogColumn::Time).cloned();
    if let (Some((date_column, _)), Some(t)) = (&date, &time)
        && date_column.index == t.index
    {
        time = None;
    }
    let Some(t) = time else {
        if let Some((f, (form, said, _))) = date {
            // A date alone cannot order rows: their order and interval can.
            let days: std::collections::BTreeSet<&str> = sample.columns[f.index].texts().collect();
            let _ = form;
            out.clock = format!("a date without a time ({said}); rows are taken in their order");
            out.remark(Severity::Warn, "date-without-time", format!("it has {} date(s) and no time of day: rows are taken in their order, one interval apart", days.len()), Some(f.index));
        }
        return;
    };
    let column = &sample.columns[t.index];
    // A unit that only the table of usual units gives is no evidence.
    let stated = seconds(t.unit.filter(|_| names_unit(&column.header)));
    let mut found = clock::clock(
        column,
        stated,
        out.says_gps,
        settings.date_order,
        motion,
        known.season,
    );
    if let (Some(f), Some(epoch)) = (&mut found, settings.epoch) {
        clock::as_job_says(f, column, epoch);
    }
    let Some(found) = found else {
        if t.mapped
            || sample.rows < 10
            || out
                .get(LogColumn::Time)
                .is_some_and(|f| f.how.starts_with("by its name"))
        {
            out.clock_factor = seconds(t.unit).unwrap_or(1.0);
            out.clock = "as its cells have it".to_owned();
        } else {
            out.withdraw(
                LogColumn::Time,
                "its cells are no times that fit the machine's movement",
            );
        }
        return;
    };
    out.clock_form = found.form;
    out.clock_factor = found.factor;
    out.clock.clone_from(&found.said);
    if let (ClockForm::Plain, Some(said)) = (found.form, stated)
        && (said - found.factor).abs() > 1e-12
        && found.said.starts_with("a count of")
    {
        out.remark(
            Severity::Warn,
            "unit-disproved",
            format!("its header names another unit, but it is {}", found.said),
            Some(t.index),
        );
    }
    let mut doubt = found.doubt;
    match (found.form, date) {
        (ClockForm::DayTime(day), Some((_, (form, said, date_doubt)))) => {
            out.clock_form = ClockForm::DateAndTime(form, day);
            out.clock = format!("a date ({said}) and a time of day");
            doubt = date_doubt;
        }
        // Seconds since midnight beside a date.
        (ClockForm::Plain, Some((f, (form, said, date_doubt))))
            if found.said.starts_with("a count of seconds") && f.index != t.index =>
        {
            let s = column.sorted();
            if s.first().is_some_and(|v| *v >= 0.0) && s.last().is_some_and(|v| *v <= DAY_S) {
                out.clock_form = ClockForm::DateAndTime(form, DayForm::Seconds);
                out.clock = format!("a date ({said}) and seconds since midnight");
                doubt = date_doubt;
            }
        }
        (_, Some(_)) => out.columns.retain(|f| f.column != LogColumn::Date),
        (ClockForm::DayTime(_), None) => out.remark(
            Severity::Odd,
            "time-without-date",
            "it has a time of day and no date: midnight is recognised, days are not".to_owned(),
            Some(t.index),
        ),
        _ => {}
    }
    if let Some((text, lines)) = doubt {
        out.ask(
            t.index,
            format!("{text}; until it is settled its seconds count from an unknown start"),
            lines.to_vec(),
            false,
        );
    }
    let clock = out.clock.clone();
    if let Some(f) = out.columns.iter_mut().find(|f| f.column == LogColumn::Time) {
        f.how.push_str(&format!("; {clock}"));
    }
}

/// Whether a header spells a unit of time.
fn names_unit(header: &str) -> bool {
    words::readings(header).iter().any(|w| {
        w.unit
            .is_some_and(|u| u.quantity == crate::units::Quantity::Time)
    })
}

/// Seconds that each row stands for: its logged interval, else the time since the row before.
fn elapsed(
    sample: &Sample,
    settings: &LogSettings,
    known: &Known<'_>,
    motion: Option<&Motion>,
    out: &mut Recognised,
) -> Option<Vec<f64>> {
    let from_clock = out.get(LogColumn::Time).cloned().and_then(|f| {
        let mut reader = TimeReader::new(
            known.zone,
            out.clock_form,
            out.clock_factor,
            known.decimal_comma,
        );
        let date = out.get(LogColumn::Date).map(|d| d.index);
        let times: Vec<f64> = (0..sample.rows)
            .map(|k| {
                let date = date.map_or("", |d| sample.columns[d].text(k));
                reader
                    .read(sample.columns[f.index].text(k).as_bytes(), date.as_bytes())
                    .unwrap_or(f64::NAN)
            })
            .collect();
        let mut elapsed = vec![f64::NAN; times.len()];
        for k in 1..times.len() {
            let step = times[k] - times[k - 1];
            if step > 0.0 {
                elapsed[k] = step;
            }
        }
        median(elapsed.iter().copied()).map(|_| elapsed)
    });
    let Some(found) = out
        .columns
        .iter()
        .position(|f| f.column == LogColumn::Interval)
    else {
        return from_clock.or_else(|| settings.interval.map(|s| vec![s; sample.rows]));
    };
    let values = &sample.columns[out.columns[found].index].numbers;
    let Some(usual) = median(values.iter().copied().filter(|v| *v > 0.0)) else {
        return from_clock;
    };
    // Against the clock, else against the speed that follows.
    let clock = from_clock.as_ref().and_then(|e| median(e.iter().copied()));
    let way = motion.and_then(|m| m.per_way(|k| values[k]));
    let fits = |f: f64| match (clock, way) {
        (Some(step), _) => (usual * f / step).ln().abs() < 0.25,
        (None, Some(r)) => (0.25..8.0).contains(&(1.0 / (r.median * f))),
        (None, None) => (0.04..=60.0).contains(&(usual * f)),
    };
    let units: Vec<&'static Unit> = crate::units::Quantity::Time
        .units()
        .filter(|u| fits(u.factor(f64::NAN)))
        .collect();
    let column = &mut out.columns[found];
    let unit = match (column.unit, units.as_slice()) {
        (Some(said), units) if units.contains(&said) => Some(said),
        (Some(said), [one]) => {
            let (index, text) = (
                column.index,
                format!(
                    "its header says {said}, but its values are in {one} by the clock and the positions; it is read in {one}"
                ),
            );
            column.unit = Some(one);
            column
                .how
                .push_str(&format!("; {one} proved by the clock and the positions"));
            out.remark(Severity::Warn, "unit-disproved", text, Some(index));
            Some(*one)
        }
        (Some(said), _) => Some(said),
        (None, [one, ..]) => {
            column.unit = Some(one);
            column
                .how
                .push_str(&format!("; {one} found from the clock and the positions"));
            Some(*one)
        }
        (None, []) => None,
    };
    match unit {
        Some(unit) => Some(values.iter().map(|v| v * unit.factor(f64::NAN)).collect()),
        None => from_clock,
    }
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
    } else if out.columns[at].how.starts_with("by its name") || out.columns[at].mapped {
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

/// Whether a column's cells say at work or not.
fn work_words(column: &sample::SampleColumn) -> bool {
    let known = column
        .texts()
        .filter(|t| super::log_row::work_state(t.as_bytes()).is_some())
        .count();
    known > 0 && known * 20 >= (column.numeric + column.other) * 19
}
