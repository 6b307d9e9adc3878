//! One log of a set as a source of rows.

use std::io::BufReader;

use geo::{Bearing, Destination, Geodesic, Point};
use jiff::civil::{Date, date};

use super::ddi::Ddi;
use super::header::{TlgHeader, of_root};
use super::plan::{Grain, Plan, inherited};
use super::record::{Record, Records};
use super::set::{Task, TaskSet, utf8};
use super::xml::parse;
use crate::job::LogColumn;
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::source::{Batch, Header, Rows, Table, open_file, read_whole};
use crate::read::text::BUFFER;
use crate::summary::Remark;

/// Way over which a heading is taken, m (our choice: far beyond a receiver's noise, short enough for turns).
const HEADING_OVER_M: f64 = 2.0;
/// Rows that are looked at for it to either side (our choice).
const HEADING_ROWS: usize = 15;

/// The columns of a log. Missing is NaN.
#[derive(Default)]
struct Columns {
    time: Vec<Option<Stamp>>,
    lon: Vec<f64>,
    lat: Vec<f64>,
    up: Vec<f64>,
    status: Vec<f64>,
    pdop: Vec<f64>,
    hdop: Vec<f64>,
    satellites: Vec<f64>,
    grain: Vec<f64>,
    moisture: Vec<f64>,
    width: Vec<f64>,
    work: Vec<f64>,
    speed: Vec<f64>,
    load: Vec<f64>,
}

/// A moment: milliseconds since midnight, days since 1980-01-01, whether in UTC.
type Stamp = (u32, u16, bool);

/// Opens a log of the set. `moved_by_job`: whether the job itself says how far the antenna is behind the header.
pub(in crate::read) fn open(
    set: &TaskSet,
    task: Option<&Task>,
    stem: &str,
    moved_by_job: impl Fn(&str) -> bool,
) -> Result<Table, ReadError> {
    let shown = format!("{}/{stem}", set.shown);
    let path = |extension: &str| {
        let name = format!("{}.{extension}", stem.to_lowercase());
        set.files.get(&name).ok_or_else(|| {
            let found = format!("no {stem}.{}", extension.to_uppercase());
            ReadError::new(
                ReadErrorKind::Missing,
                Place::file(&shown),
                "the log that the task data name",
                found,
            )
            .hinted("copy the whole folder of the task data from the machine")
        })
    };
    let (xml, bin) = (path("xml")?, path("bin")?);
    let mut warnings = Vec::new();
    let header = header(&read_whole(xml, &shown)?, &shown, &mut warnings)?;
    let plan = Plan::new(&header, set);
    let Some(grain) = plan.grain else {
        let named: Vec<String> = header
            .values
            .iter()
            .filter_map(|v| v.ddi)
            .map(|d| d.to_string())
            .collect();
        let found = format!("the identifiers {}", named.join(", "));
        return Err(ReadError::new(
            ReadErrorKind::NoColumn,
            Place::file(&shown),
            "harvest data, such as DDI 0057 (wet mass per time)",
            found,
        )
        .hinted("it is a log of other work: take it off the list"));
    };
    let machine = plan.machine(&header, set);
    let from = open_file(bin).map_err(|e| ReadError::io(&shown, e))?;
    let mut records = Records::new(BufReader::with_capacity(BUFFER, from), &header);
    let mut columns = Columns::default();
    let mut seen = Seen::default();
    while records.advance().map_err(|e| ReadError::io(&shown, e))? {
        columns.push(&records.record, &plan, grain, &mut seen);
    }
    if records.cut > 0 {
        let text = format!(
            "{shown}: its BIN ends within a record; the {} whole records before are read",
            columns.time.len()
        );
        warnings.push(Remark::new("cut-short", text));
    }
    if records.unnamed > 0 {
        let text = format!(
            "{shown}: {} values stand in its BIN that its header does not name; they are not read",
            records.unnamed
        );
        warnings.push(Remark::new("task-data", text));
    }
    let held = &records.record.held;
    let says = Says {
        set,
        header: &header,
        plan: &plan,
        held,
        shown: &shown,
    };
    warnings.extend(says.latency());
    warnings.extend(says.ignore_times());
    if seen.held > 0 {
        let text = format!(
            "{shown}: in {} rows the machine says that the yield is held and not measured (DDI 00EF): their flow is taken as missing (applied)",
            seen.held
        );
        warnings.push(Remark::new("yield-hold", text));
    }
    if let Some((forward, right)) = says.offset() {
        let name = machine.map_or("", |m| m.name.as_str());
        let applied = !moved_by_job(name);
        if applied {
            columns.shift(forward, right);
        }
        let what = match applied {
            true => "positions are moved there (applied)",
            false => "the job's antenna_behind_cutter_bar stands above it (not applied)",
        };
        let text = format!(
            "{shown}: by the device description the header is {forward:.2} m ahead and {right:.2} m to the right of the receiver; {what}"
        );
        warnings.push(Remark::new("element-offset", text));
    }
    let constant = |name: Option<&String>| {
        name.filter(|n| !n.is_empty())
            .map(|n| n.clone().into_bytes())
    };
    let crop = task
        .and_then(|t| set.field(t.field.as_deref()?))
        .and_then(|f| f.crop.as_ref());
    let texts = [
        (LogColumn::Machine, constant(machine.map(|m| &m.name))),
        (LogColumn::Crop, constant(crop)),
    ];
    Ok(columns.table(grain, texts, warnings))
}

fn header(bytes: &[u8], shown: &str, warnings: &mut Vec<Remark>) -> Result<TlgHeader, ReadError> {
    let refuse = |found: &str| {
        ReadError::new(
            ReadErrorKind::Format,
            Place::file(shown),
            "the header of a log, with a time or a position",
            found,
        )
        .hinted("copy it again from the machine")
    };
    let document = parse(&utf8(bytes)).ok_or_else(|| refuse("no XML"))?;
    let header =
        of_root(&document.root).ok_or_else(|| refuse(&format!("\"{}\"", document.root.name)))?;
    // What a record begins with must be known; values that are not named are skipped over.
    let begun = !header.values.is_empty();
    if let Some(cut) = &document.cut {
        if !begun {
            return Err(refuse(&format!(
                "one that is cut short before its first value ({cut})"
            )));
        }
        let text = format!(
            "{shown}: its header is cut short ({cut}) after {} values; what it names is read. Copy it again",
            header.values.len()
        );
        warnings.push(Remark::new("cut-short", text));
    }
    if !header.time && header.positions.is_empty() {
        return Err(refuse("neither"));
    }
    Ok(header)
}

/// What is counted while records are read.
#[derive(Default)]
struct Seen {
    /// Rows whose yield is held.
    held: u64,
    /// The running total before.
    total: Option<f64>,
}

impl Columns {
    fn push(&mut self, record: &Record, plan: &Plan, grain: Grain, seen: &mut Seen) {
        let of = |k: usize| record.held[k].map(f64::from);
        let scaled = |at: &[usize], ddi: Ddi| {
            let factor = ddi.meaning().map_or(f64::NAN, |(_, factor)| factor);
            let values: Vec<f64> = at.iter().filter_map(|&k| of(k)).collect();
            (values.iter().sum::<f64>() * factor, values.len())
        };
        let sum = |at: &[usize], ddi: Ddi| match scaled(at, ddi) {
            (_, 0) => f64::NAN,
            (sum, _) => sum,
        };
        let one = |at: Option<usize>, ddi: Ddi| at.map_or(f64::NAN, |k| sum(&[k], ddi));
        // A grain without water, and a header without a width, are readings that are not there.
        let moisture = match scaled(&plan.moisture_at, Ddi::MOISTURE) {
            (total, n) if total > 0.0 => total / n as f64,
            _ => f64::NAN,
        };
        let width = Some(sum(&plan.width_at, Ddi::WIDTH_ACTUAL)).filter(|w| *w > 0.0);
        let amount = sum(&plan.grain_at, grain.ddi());
        let amount = match grain {
            Grain::Flow | Grain::Yield | Grain::DryYield => amount,
            Grain::VolumeFlow | Grain::VolumeYield => amount * one(plan.density_at, Ddi::DENSITY),
            Grain::DryFlow => {
                amount * (100.0 - one(plan.reference_at, Ddi::REFERENCE_MOISTURE))
                    / (100.0 - moisture)
            }
            Grain::Total => {
                let before = seen.total.replace(amount).filter(|b| b.is_finite());
                before.map_or(f64::NAN, |b| amount - b)
            }
        };
        let held = plan.hold_at.and_then(|k| record.held[k]) == Some(1);
        seen.held += u64::from(held);
        self.grain.push(if held { f64::NAN } else { amount });
        self.moisture.push(moisture);
        self.width.push(width.unwrap_or(f64::NAN));
        self.work.push(work(record, plan));
        self.speed.push(one(plan.speed_at, Ddi::SPEED));
        self.load
            .push(plan.load_at.and_then(of).unwrap_or(f64::NAN));
        // 0: no fix, 14: error. 15 says that the status is not available, which is nothing against the position.
        let usable = record.status != 0.0 && record.status != 14.0;
        self.lon.push(if usable { record.east } else { f64::NAN });
        self.lat.push(if usable { record.north } else { f64::NAN });
        self.up.push(if usable { record.up } else { f64::NAN });
        self.status.push(record.status);
        self.pdop.push(record.pdop);
        self.hdop.push(record.hdop);
        self.satellites.push(record.satellites);
        let local = record.time.map(|(millis, days)| (millis, days, false));
        let utc = record
            .utc
            .filter(|(millis, days)| *days > 0 && *days < u16::MAX && *millis < 86_400_000);
        self.time
            .push(utc.map(|(millis, days)| (millis, days, true)).or(local));
    }

    /// Moves positions by metres ahead and to the right along the way that the machine goes.
    fn shift(&mut self, forward: f64, right: f64) {
        let (reach, turn) = (forward.hypot(right), right.atan2(forward).to_degrees());
        let headings = headings(&self.lon, &self.lat);
        for (k, heading) in headings.into_iter().enumerate() {
            if heading.is_finite() {
                let from = Point::new(self.lon[k], self.lat[k]);
                let to = Geodesic.destination(from, heading + turn, reach);
                (self.lon[k], self.lat[k]) = (to.x(), to.y());
            }
        }
    }

    fn table(
        self,
        grain: Grain,
        texts: [(LogColumn, Option<Vec<u8>>); 2],
        mut warnings: Vec<Remark>,
    ) -> Table {
        // Rows by the receiver's UTC and rows by the machine's own clock cannot stand in one column.
        let utc = self.time.iter().flatten().any(|(_, _, utc)| *utc);
        let local = self
            .time
            .iter()
            .flatten()
            .filter(|(_, _, is)| *is != utc)
            .count();
        if utc && local > 0 {
            let text = format!(
                "{local} rows of a log in UTC have the machine's own time alone; their time is taken as missing"
            );
            warnings.push(Remark::new("task-data", text));
        }
        let (column, unit) = grain.column();
        let stated =
            |name: &str, column: LogColumn, unit: &str| Header::stated(name, column, Some(unit));
        let mut headers = vec![Header::stated("time", LogColumn::Time, None)];
        let mut numbers = Vec::new();
        let mut add = |header: Header, values: Vec<f64>, always: bool| {
            if always || values.iter().any(|v| v.is_finite()) {
                headers.push(header);
                numbers.push(values);
            }
        };
        add(
            stated("position east", LogColumn::Lon, "deg"),
            self.lon,
            true,
        );
        add(
            stated("position north", LogColumn::Lat, "deg"),
            self.lat,
            true,
        );
        let name = grain.ddi().meaning().map_or("grain", |(name, _)| name);
        add(
            stated(&format!("{name} (DDI {})", grain.ddi()), column, unit),
            self.grain,
            true,
        );
        add(
            stated("moisture (DDI 0063)", LogColumn::Moisture, "%"),
            self.moisture,
            false,
        );
        add(
            stated("working width", LogColumn::Width, "m"),
            self.width,
            false,
        );
        add(
            Header::stated("work state", LogColumn::WorkState, None),
            self.work,
            false,
        );
        add(
            stated("speed (DDI 018D)", LogColumn::Speed, "m/s"),
            self.speed,
            false,
        );
        add(
            stated("position up", LogColumn::Elevation, "m"),
            self.up,
            false,
        );
        add(
            Header::stated("load (DDI 0142)", LogColumn::Load, None),
            self.load,
            false,
        );
        for (name, values) in [
            ("position status", self.status),
            ("PDOP", self.pdop),
            ("HDOP", self.hdop),
            ("satellites", self.satellites),
        ] {
            add(Header::named(name), values, false);
        }
        let mut constants = Vec::new();
        for (column, text) in texts {
            if let Some(text) = text {
                headers.push(Header::stated(column.name(), column, None));
                constants.push(text);
            }
        }
        let rows = LogRows {
            time: self.time,
            utc,
            numbers,
            constants,
            at: 0,
            day: None,
        };
        Table {
            headers,
            separator: None,
            decimal_comma: false,
            warnings,
            rows: Box::new(rows),
        }
    }
}

/// 1 at work, 0 not, NaN unknown: by the work states of the machine or its sections, else by the condensed ones.
fn work(record: &Record, plan: &Plan) -> f64 {
    let (mut on, mut off) = (false, false);
    for &k in &plan.work_at {
        match record.held[k] {
            Some(1) => on = true,
            Some(0) => off = true,
            _ => {} // error, or undefined
        }
    }
    if !on && !off {
        for &k in &plan.condensed_at {
            // Two bits for each of sixteen sections.
            for state in (0..16).filter_map(|s| Some((record.held[k]? >> (2 * s)) & 3)) {
                (on, off) = (on || state == 1, off || state == 0);
            }
        }
    }
    match (on, off) {
        (true, _) => 1.0,
        (false, true) => 0.0,
        (false, false) => f64::NAN,
    }
}

/// Where the machine heads in each row, degrees clockwise from north; NaN where it has no position or goes nowhere.
fn headings(lon: &[f64], lat: &[f64]) -> Vec<f64> {
    let point = |k: usize| Point::new(lon[k], lat[k]);
    let there = |k: &usize| lon[*k].is_finite() && lat[*k].is_finite();
    let degrees = HEADING_OVER_M / 111_000.0; // a degree of latitude
    let apart = |a: usize, b: usize| {
        let east = (lon[a] - lon[b]) * lat[a].to_radians().cos();
        east.hypot(lat[a] - lat[b]) >= degrees
    };
    let mut last = f64::NAN;
    let mut headings: Vec<f64> = (0..lon.len())
        .map(|k| {
            if !there(&k) {
                return f64::NAN;
            }
            let before = (k.saturating_sub(HEADING_ROWS)..k)
                .rev()
                .filter(there)
                .find(|&b| apart(k, b));
            let after = (k + 1..lon.len().min(k + 1 + HEADING_ROWS))
                .filter(there)
                .find(|&a| apart(a, k));
            let ends = match (before, after) {
                (Some(b), Some(a)) if apart(a, b) => Some((b, a)),
                (Some(b), _) => Some((b, k)),
                (None, Some(a)) => Some((k, a)),
                (None, None) => None,
            };
            if let Some((from, to)) = ends {
                last = Geodesic.bearing(point(from), point(to));
            }
            last
        })
        .collect();
    // Before it has gone anywhere it stands as it starts.
    if let Some(first) = headings.iter().position(|h| h.is_finite()) {
        let heading = headings[first];
        for k in (0..first).filter(there) {
            headings[k] = heading;
        }
    }
    headings
}

/// What the device description and the log say beside the rows.
struct Says<'a> {
    set: &'a TaskSet,
    header: &'a TlgHeader,
    plan: &'a Plan,
    /// The values at the end of the log.
    held: &'a [Option<i32>],
    shown: &'a str,
}

impl Says<'_> {
    /// A value of an element: logged for it, else fixed for it or for what it is part of.
    fn value(&self, element: Option<&String>, ddi: Ddi) -> Option<f64> {
        let id = element?;
        let at = self
            .header
            .values
            .iter()
            .position(|v| v.ddi == Some(ddi) && v.element == *id);
        let logged = at.and_then(|k| self.held[k]);
        let (machine, element) = self.set.element(id)?;
        let (_, factor) = ddi.meaning()?;
        Some(f64::from(logged.or_else(|| inherited(machine, element, ddi))?) * factor)
    }

    fn latency(&self) -> Option<Remark> {
        let element = self.plan.grain_element.as_ref();
        let seconds = self
            .value(element, Ddi::LATENCY)
            .or_else(|| self.value(element, Ddi::LATENCY_SET))?;
        if seconds == 0.0 {
            return None;
        }
        // Negative: measured after it happened.
        let text = format!(
            "{}: the machine states a latency of {seconds} s for its grain; by the standard the log is not shifted by it, and it is not \
             shifted here: the transport delay that is found takes it in (not applied)",
            self.shown
        );
        Some(Remark::new("latency", text))
    }

    fn ignore_times(&self) -> Option<Remark> {
        let element = self.plan.grain_element.as_ref();
        let (out, into) = (
            self.value(element, Ddi::IGNORE_OUT),
            self.value(element, Ddi::IGNORE_IN),
        );
        let says = |seconds: Option<f64>, when: &str| {
            seconds
                .filter(|s| *s > 0.0)
                .map(|s| format!("{s} s {when}"))
        };
        let times: Vec<String> = [
            says(into, "after work begins"),
            says(out, "after work ends"),
        ]
        .into_iter()
        .flatten()
        .collect();
        if times.is_empty() {
            return None;
        }
        let text = format!(
            "{}: the machine asks that its yield be ignored for {}; all grain is weighed here, and pass entries and exits are found from the \
             data (not applied)",
            self.shown,
            times.join(" and ")
        );
        Some(Remark::new("ignore-times", text))
    }

    /// How far the header is ahead and to the right of the receiver, m; `None` where it is nowhere stated, or nought.
    fn offset(&self) -> Option<(f64, f64)> {
        /// The element that is a receiver.
        const NAVIGATION: u8 = 7;
        let header = self.plan.header_element.as_ref();
        let (machine, _) = self.set.element(header?)?;
        let receiver = machine.elements.iter().find(|e| e.kind == NAVIGATION)?;
        let between =
            |ddi: Ddi| Some(self.value(header, ddi)? - self.value(Some(&receiver.id), ddi)?);
        let forward = between(Ddi::OFFSET_X);
        let right = between(Ddi::OFFSET_Y);
        match (forward, right) {
            (None, None) => None,
            (forward, right) => Some((forward.unwrap_or_default(), right.unwrap_or_default())),
        }
        .filter(|(f, r)| f.hypot(*r) > 0.0)
    }
}

/// The rows of a log, read.
struct LogRows {
    time: Vec<Option<Stamp>>,
    utc: bool,
    numbers: Vec<Vec<f64>>,
    constants: Vec<Vec<u8>>,
    at: usize,
    /// The day of the row before, and its date.
    day: Option<(u16, Date)>,
}

impl Rows for LogRows {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<(), ReadError> {
        batch.clear();
        while self.at < self.time.len() && !batch.is_full() {
            let record = batch.add();
            let text = self.time[self.at]
                .and_then(|stamp| self.stamp(stamp))
                .unwrap_or_default();
            record.cells.push_field(text.as_bytes());
            for column in &self.numbers {
                record.push_number(column[self.at]);
            }
            for text in &self.constants {
                record.cells.push_field(text);
            }
            self.at += 1;
        }
        Ok(())
    }
}

impl LogRows {
    /// A time as ISO 8601, without a zone where it is the machine's own.
    fn stamp(&mut self, (millis, days, utc): Stamp) -> Option<String> {
        if utc != self.utc || millis >= 86_400_000 {
            return None;
        }
        let day = match self.day {
            Some((of, day)) if of == days => day,
            _ => {
                let day = date(1980, 1, 1)
                    .checked_add(jiff::Span::new().days(i64::from(days)))
                    .ok()?;
                self.day = Some((days, day));
                day
            }
        };
        let (seconds, millis) = (millis / 1000, millis % 1000);
        let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
        let zone = if utc { "Z" } else { "" };
        Some(format!("{day}T{h:02}:{m:02}:{s:02}.{millis:03}{zone}"))
    }
}
