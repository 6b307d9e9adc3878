//! One log of a set as a source of rows.

use std::io::BufReader;

use geo::{Destination, Geodesic, Point};

use super::ddi::Ddi;
use super::header::{TlgHeader, of_root};
use super::heading::headings;
use super::plan::{Grain, Plan};
use super::record::{Record, Records};
use super::rows::{LogRows, Stamp};
use super::says::Says;
use super::set::{Task, TaskSet, utf8};
use super::xml::parse;
use crate::job::LogColumn;
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::source::{Header, Table, open_file, read_whole};
use crate::read::text::BUFFER;
use crate::summary::Remark;

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
            above: Vec::new(),
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
