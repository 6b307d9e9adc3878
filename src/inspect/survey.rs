//! What a log holds, in figures.

use serde::Serialize;

use super::block::log_block;
use super::crop_word::{crop_of_path, crop_of_word};
use crate::crop::Crop;
use crate::geometry::Frame;
use crate::job::LogColumn;
use crate::log::{Clock, Log, Timeline};
use crate::passes;
use crate::read::Inspected;
use crate::summary::Remark;

/// Bins of a histogram (our choice: as many as a narrow terminal shows).
const BINS: usize = 32;
/// Size of the map in dots: 2 × 4 of them make a character.
const MAP: [usize; 2] = [96, 72];

/// A log by itself.
#[derive(Debug, Clone, Serialize)]
pub struct Survey {
    /// The file, and the log in it where it holds several.
    pub file: String,
    /// Rows that can be read.
    pub rows: usize,
    /// Rows that cannot.
    pub unreadable: usize,
    /// Where it lies; `None` without a usable position.
    pub span: Option<Span>,
    /// When it was logged; `None` without an absolute clock.
    pub time: Option<TimeSpan>,
    /// What the clock is.
    pub clock: String,
    /// Usual time that a row stands for, s.
    pub interval_s: Option<f64>,
    /// Usual distance between passes, m.
    pub pass_spacing_m: Option<f64>,
    /// Passes.
    pub passes: usize,
    /// Rows on a pass.
    pub rows_at_work: usize,
    /// Machines, with the rows of each.
    pub machines: Vec<Machine>,
    /// Loads in their order.
    pub loads: Vec<String>,
    /// The crop, where a column or the file's name tells it.
    pub crop: Option<String>,
    /// Every column of the file.
    pub columns: Vec<ColumnSurvey>,
    /// Logged wet grain, t.
    pub grain_t: Option<f64>,
    /// What it leaves open.
    pub questions: Vec<QuestionSurvey>,
    /// What else to know.
    pub oddities: Vec<Remark>,
    /// A `[log]` block for the job file.
    pub log_block: String,
    /// Why it cannot be read, where it cannot.
    pub error: Option<String>,
    /// Dots of the map, row by row from the north.
    #[serde(skip)]
    pub map: Vec<Vec<bool>>,
}

/// Where a log lies.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Span {
    /// Degrees.
    pub west: f64,
    /// Degrees.
    pub south: f64,
    /// Degrees.
    pub east: f64,
    /// Degrees.
    pub north: f64,
    /// West to east, m.
    pub width_m: f64,
    /// South to north, m.
    pub height_m: f64,
}

/// When a log was made.
#[derive(Debug, Clone, Serialize)]
pub struct TimeSpan {
    /// First time, ISO 8601 in UTC.
    pub from: String,
    /// Last time, ISO 8601 in UTC.
    pub to: String,
    /// Year of the first.
    pub year: i32,
}

/// A machine in a log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Machine {
    /// Its name; `None` where the log names none.
    pub name: Option<String>,
    /// Its rows.
    pub rows: usize,
}

/// A column of the file.
#[derive(Debug, Clone, Serialize)]
pub struct ColumnSurvey {
    /// Its header.
    pub header: String,
    /// The column of ours that it is; `None`: not read.
    pub column: Option<String>,
    /// Its unit.
    pub unit: Option<String>,
    /// How it was recognised.
    pub how: String,
    /// Lowest number, in its own unit, of the first rows.
    pub lowest: Option<f64>,
    /// Median.
    pub median: Option<f64>,
    /// Highest.
    pub highest: Option<f64>,
    /// Commonest texts, where it has no numbers.
    pub texts: Vec<String>,
    /// Share of empty cells, %.
    pub missing_pct: Option<f64>,
    /// How often values fall into equal bins from `histogram_from` to `histogram_to`, for grain.
    pub histogram: Vec<u32>,
    /// Lower end of the histogram, in its own unit.
    pub histogram_from: Option<f64>,
    /// Upper end.
    pub histogram_to: Option<f64>,
}

/// Something that a log leaves open.
#[derive(Debug, Clone, Serialize)]
pub struct QuestionSurvey {
    /// The column that it is about.
    pub header: String,
    /// The readings.
    pub text: String,
    /// Lines of `[log]`, one of which settles it.
    pub answers: Vec<String>,
    /// Whether the log cannot be read until it is settled.
    pub indispensable: bool,
}

/// Takes the figures of a log.
pub fn survey(inspected: &Inspected) -> Survey {
    let log = &inspected.log;
    let recognised = &inspected.recognised;
    let timeline = Timeline::new(log);
    let (passes, at_work, map, span) = ground(log, &timeline);
    let header = |k: usize| {
        inspected
            .columns
            .get(k)
            .map_or_else(String::new, |c| c.header.clone())
    };
    let named = recognised.get(LogColumn::Machine).is_some();
    let machines = (0..log.machines.len())
        .map(|m| Machine {
            name: named.then(|| log.machines[m].clone()),
            rows: log.machine.iter().filter(|x| **x as usize == m).count(),
        })
        .filter(|m| m.rows > 0)
        .collect();
    let grain: f64 = (0..log.len()).map(|i| timeline.mass(log, i)).sum();
    Survey {
        file: inspected.file.clone(),
        rows: log.len(),
        unreadable: inspected.unreadable.len(),
        span,
        time: time_span(inspected),
        clock: if recognised.clock.is_empty() {
            "none: rows are taken in their order".to_owned()
        } else {
            recognised.clock.clone()
        },
        interval_s: timeline
            .tracks
            .first()
            .map(|t| t.usual_interval)
            .filter(|_| {
                recognised.get(LogColumn::Time).is_some()
                    || recognised.get(LogColumn::Interval).is_some()
            }),
        pass_spacing_m: recognised.pass_spacing,
        passes,
        rows_at_work: at_work,
        machines,
        loads: log.loads.clone(),
        crop: crop(inspected),
        columns: columns(inspected),
        grain_t: (inspected.error.is_none() && !log.is_empty()).then_some(grain / 1000.0),
        questions: recognised
            .questions
            .iter()
            .map(|q| QuestionSurvey {
                header: header(q.index),
                text: q.text.clone(),
                answers: q.lines.clone(),
                indispensable: q.indispensable,
            })
            .collect(),
        oddities: oddities(inspected, &timeline),
        log_block: log_block(inspected),
        error: inspected.error.as_ref().map(|e| match e.hint() {
            Some(hint) => format!("{e}; {hint}"),
            None => e.to_string(),
        }),
        map,
    }
}

/// The crop by the log's own column, else by the file's name.
fn crop(inspected: &Inspected) -> Option<String> {
    let by_column = inspected.recognised.get(LogColumn::Crop).and_then(|f| {
        let texts = &inspected.columns.get(f.index)?.texts;
        match texts.as_slice() {
            [one] => Some(crop_of_word(one).map_or_else(|| one.trim().to_lowercase(), |c| c.name)),
            _ => None,
        }
    });
    by_column.or_else(|| crop_of_path(&inspected.file).map(|c: Crop| c.name))
}

/// Passes, rows on them, the map, and where it lies.
fn ground(log: &Log, timeline: &Timeline) -> (usize, usize, Vec<Vec<bool>>, Option<Span>) {
    let nothing = (0, 0, Vec::new(), None);
    let Ok(frame) = Frame::around(&log.lon, &log.lat) else {
        return nothing;
    };
    let (x, y) = frame.forward(&log.lon, &log.lat);
    let Ok(params) = passes::Params::new(log.machines.len()).check() else {
        return nothing;
    };
    let found = passes::estimate(&params, log, timeline, &x, &y);
    let at_work = found.pass_of.iter().filter(|p| p.is_some()).count();
    // A few fixes far off must not shrink the field to a dot.
    let bounds = |v: &[f64]| {
        let mut v: Vec<f64> = v.iter().copied().filter(|a| a.is_finite()).collect();
        v.sort_by(f64::total_cmp);
        let at = |share: f64| {
            v.get((v.len().saturating_sub(1) as f64 * share).round() as usize)
                .copied()
        };
        at(0.002).zip(at(0.998))
    };
    let (Some(bx), Some(by), Some(lon), Some(lat)) =
        (bounds(&x), bounds(&y), bounds(&log.lon), bounds(&log.lat))
    else {
        return nothing;
    };
    let span = Span {
        west: lon.0,
        south: lat.0,
        east: lon.1,
        north: lat.1,
        width_m: bx.1 - bx.0,
        height_m: by.1 - by.0,
    };
    let scale = (span.width_m / MAP[0] as f64)
        .max(span.height_m / MAP[1] as f64)
        .max(0.1);
    let size = [
        (span.width_m / scale).ceil() as usize + 1,
        (span.height_m / scale).ceil() as usize + 1,
    ];
    let mut map = vec![vec![false; size[0]]; size[1]];
    for i in 0..log.len() {
        let (cx, cy) = ((x[i] - bx.0) / scale, (by.1 - y[i]) / scale);
        if cx >= 0.0 && cy >= 0.0 && (cx as usize) < size[0] && (cy as usize) < size[1] {
            map[cy as usize][cx as usize] = true;
        }
    }
    (found.passes.len(), at_work, map, Some(span))
}

fn time_span(inspected: &Inspected) -> Option<TimeSpan> {
    if inspected.clock != Clock::Unix {
        return None;
    }
    let times = || inspected.log.time.iter().copied().filter(|t| t.is_finite());
    let stamp = |t: f64| jiff::Timestamp::from_second(t as i64).ok();
    let first = stamp(times().fold(f64::INFINITY, f64::min))?;
    let last = stamp(times().fold(f64::NEG_INFINITY, f64::max))?;
    Some(TimeSpan {
        from: first.to_string(),
        to: last.to_string(),
        year: i32::from(jiff::tz::TimeZone::UTC.to_datetime(first).year()),
    })
}

fn columns(inspected: &Inspected) -> Vec<ColumnSurvey> {
    let recognised = &inspected.recognised;
    inspected
        .columns
        .iter()
        .enumerate()
        .map(|(k, raw)| {
            let found = recognised.columns.iter().find(|f| f.index == k);
            let remark = recognised.remarks.iter().find(|r| r.index == Some(k));
            let how = match (found, remark) {
                (Some(f), _) if f.lacks_unit() => {
                    format!("{}; its unit is open, so that it is not read", f.how)
                }
                (Some(f), _) => f.how.clone(),
                (None, Some(r)) => r.text.clone(),
                (None, None) => "not read".to_owned(),
            };
            let mut column = ColumnSurvey {
                header: raw.header.clone(),
                column: found.map(|f| f.column.name().to_owned()),
                unit: found.and_then(|f| f.unit).map(|u| u.symbol.to_owned()),
                how,
                lowest: raw.range.map(|r| r[0]),
                median: raw.range.map(|r| r[1]),
                highest: raw.range.map(|r| r[2]),
                texts: raw.texts.clone(),
                missing_pct: Some(100.0 * raw.missing).filter(|m| m.is_finite()),
                histogram: Vec::new(),
                histogram_from: None,
                histogram_to: None,
            };
            if found.is_some_and(|f| {
                matches!(
                    f.column,
                    LogColumn::Flow
                        | LogColumn::Mass
                        | LogColumn::Yield
                        | LogColumn::DryYield
                        | LogColumn::Moisture
                )
            }) {
                histogram(&raw.sorted, &mut column);
            }
            column
        })
        .collect()
}

/// Fills the histogram, between the 1st and the 99th of a hundred values.
fn histogram(sorted: &[f64], column: &mut ColumnSurvey) {
    if sorted.len() < 20 {
        return;
    }
    let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
    let (from, to) = (at(0.01), at(0.99));
    if !(to > from) {
        return;
    }
    let mut bins = vec![0u32; BINS];
    for v in sorted.iter().filter(|v| (from..=to).contains(*v)) {
        let bin = ((v - from) / (to - from) * BINS as f64) as usize;
        bins[bin.min(BINS - 1)] += 1;
    }
    (column.histogram, column.histogram_from, column.histogram_to) = (bins, Some(from), Some(to));
}

fn oddities(inspected: &Inspected, timeline: &Timeline) -> Vec<Remark> {
    let mut out = Vec::new();
    let header = |k: Option<usize>| {
        k.and_then(|k| inspected.columns.get(k))
            .map_or_else(String::new, |c| format!("\"{}\": ", c.header))
    };
    for remark in &inspected.recognised.remarks {
        out.push(Remark::new(
            remark.code,
            format!("{}{}", header(remark.index), remark.text),
        ));
    }
    for warning in &inspected.warnings {
        let told =
            out.iter().any(|r: &Remark| r.code == warning.code) || warning.code == "two-readings";
        if !told {
            out.push(warning.clone());
        }
    }
    if timeline.restored > 0 {
        out.push(Remark::new(
            "order-restored",
            "its rows do not stand in the order of their clock; a run puts them into it".to_owned(),
        ));
    }
    if timeline.contradicted > 0 {
        out.push(Remark::new("order-unknown", "its clock contradicts the order of its rows, and in the clock's order the machine would not drive a shorter way".to_owned()));
    }
    if timeline.backward_steps > 0 {
        out.push(Remark::new(
            "clock-steps-back",
            format!(
                "time steps back or stands still at {} rows",
                timeline.backward_steps
            ),
        ));
    }
    if let Some(first) = inspected.unreadable.first() {
        out.push(Remark::new(
            "unreadable-rows",
            format!(
                "{} rows cannot be read; the first is {}: {}",
                inspected.unreadable.len(),
                first.place,
                first.what
            ),
        ));
    }
    out
}
