//! What the clock is, and how long each row lasts.

use super::clock;
use super::clock_form::{ClockForm, DAY_S, DayForm};
use super::motion::{Motion, median};
use super::sample::Sample;
use super::{Known, Recognised, Severity, dates, notes, words};
use crate::job::{LogColumn, LogSettings};
use crate::read::time::TimeReader;
use crate::units::Unit;

/// What the clock is.
pub(super) fn clocks(
    sample: &Sample,
    settings: &LogSettings,
    known: &Known<'_>,
    motion: Option<&Motion>,
    out: &mut Recognised,
) {
    let seconds = |u: Option<&'static Unit>| u.map(|u| u.factor(f64::NAN));
    let date = out.get(LogColumn::Date).cloned().and_then(|f| {
        let column = &sample.columns[f.index];
        let pattern = notes::date_pattern(&notes::words(&column.spelt)).map(|p| p.0);
        let found = dates::date(column, settings.date_order.or(pattern));
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
    out.zone = notes::zone(&column.spelt);
    let order = settings
        .date_order
        .or_else(|| notes::date_pattern(&notes::words(&column.spelt)).map(|p| p.0));
    // A unit that only the table of usual units gives is no evidence.
    let stated = seconds(t.unit.filter(|_| names_unit(&column.spelt)));
    let mut found = clock::clock(column, stated, out.says_gps, order, motion, known.season);
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
pub(super) fn elapsed(
    sample: &Sample,
    settings: &LogSettings,
    known: &Known<'_>,
    motion: Option<&Motion>,
    out: &mut Recognised,
) -> Option<Vec<f64>> {
    let from_clock = out.get(LogColumn::Time).cloned().and_then(|f| {
        let mut reader = TimeReader::new(
            out.zone.as_ref().unwrap_or(known.zone),
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
        (Some(said), [one]) if clock.is_some() || way.is_some() => {
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
