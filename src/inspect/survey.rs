//! What a log holds, in figures.

use serde::Serialize;

use super::block::log_block;
use super::crop_word::{crop_of_path, crop_of_word};
use super::tally::Tally;
use crate::crop::Crop;
use crate::job::LogColumn;
use crate::log::Clock;
use crate::read::Inspected;
use crate::summary::Remark;

/// Bins of a histogram (our choice: as many as a narrow terminal shows).
const BINS: usize = 32;

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
pub fn survey(inspected: &Inspected, tally: &Tally) -> Survey {
    let recognised = &inspected.recognised;
    let (map, span) = tally.ground().unwrap_or_default();
    let header = |k: usize| {
        inspected
            .columns
            .get(k)
            .map_or_else(String::new, |c| c.header.clone())
    };
    let named = recognised.get(LogColumn::Machine).is_some();
    let machine = |(name, rows): &(String, usize)| Machine {
        name: named.then(|| name.clone()),
        rows: *rows,
    };
    Survey {
        file: inspected.file.clone(),
        rows: tally.rows,
        unreadable: inspected.unreadable,
        span,
        time: time_span(inspected, tally),
        clock: if recognised.clock.is_empty() {
            "none: rows are taken in their order".to_owned()
        } else {
            recognised.clock.clone()
        },
        interval_s: tally.usual_interval.filter(|_| {
            recognised.get(LogColumn::Time).is_some()
                || recognised.get(LogColumn::Interval).is_some()
        }),
        pass_spacing_m: recognised.pass_spacing,
        passes: tally.passes,
        rows_at_work: tally.at_work,
        machines: tally.machines.iter().map(machine).collect(),
        loads: tally.loads.clone(),
        crop: crop(inspected),
        columns: columns(inspected),
        grain_t: (inspected.error.is_none() && tally.rows > 0).then_some(tally.grain_kg / 1000.0),
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
        oddities: oddities(inspected, tally),
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

fn time_span(inspected: &Inspected, tally: &Tally) -> Option<TimeSpan> {
    if inspected.clock != Clock::Unix {
        return None;
    }
    let stamp = |t: f64| jiff::Timestamp::from_second(t as i64).ok();
    let (first, last) = tally.times?;
    let (first, last) = (stamp(first)?, stamp(last)?);
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

fn oddities(inspected: &Inspected, tally: &Tally) -> Vec<Remark> {
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
    if tally.restored > 0 {
        out.push(Remark::new(
            "order-restored",
            "its rows do not stand in the order of their clock; a run puts them into it".to_owned(),
        ));
    }
    if tally.contradicted > 0 {
        out.push(Remark::new("order-unknown", "its clock contradicts the order of its rows, and in the clock's order the machine would not drive a shorter way".to_owned()));
    }
    if tally.backward_steps > 0 {
        out.push(Remark::new(
            "clock-steps-back",
            format!(
                "time steps back or stands still at {} rows",
                tally.backward_steps
            ),
        ));
    }
    if let Some(first) = &inspected.first_unreadable {
        out.push(Remark::new(
            "unreadable-rows",
            format!(
                "{} rows cannot be read; the first is {}: {}",
                inspected.unreadable, first.place, first.what
            ),
        ));
    }
    out
}
