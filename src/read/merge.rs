//! The rows of one file behind those of the files before it.

use super::layout::NUMBERS;
use super::log_file::LogFile;
use super::names::Names;
use super::position::Positions;
use crate::job::{LogColumn, LogSettings};
use crate::log::{Clock, Log, Source, WorkState};

/// Appends a file's rows. `machine`: the machine of rows that name none.
pub(super) fn append(
    log: &mut Log,
    mut file: LogFile,
    positions: Positions,
    machine: &str,
    settings: &LogSettings,
) {
    let rows = file.row.len();
    let before = log.len();
    let source = log.sources.len() as u32;
    log.sources.push(Source {
        path: std::mem::take(&mut file.path),
        clock: file.clock,
    });
    log.source.resize(before + rows, source);
    join(&mut log.row, std::mem::take(&mut file.row));

    let named = shared(&file.machine, &mut log.machines, rows);
    if named.iter().any(Option::is_none) {
        let default = entry(&mut log.machines, machine);
        log.machine
            .extend(named.into_iter().map(|m| m.unwrap_or(default)));
    } else {
        log.machine.extend(named.into_iter().flatten());
    }
    log.load
        .append(&mut shared(&file.load, &mut log.loads, rows));
    join_or(&mut log.pass_label, file.pass, rows, None);
    join_or(&mut log.work, file.work, rows, WorkState::Unknown);
    join_or(&mut log.time, file.time, rows, f64::NAN);
    join(&mut log.lon, positions.lon);
    join(&mut log.lat, positions.lat);

    for (column, values) in NUMBERS.into_iter().zip(file.numbers) {
        let (to, constant) = match column {
            LogColumn::Interval => {
                // A constant interval serves only where no clock says better.
                (
                    &mut log.interval,
                    settings.interval.filter(|_| file.clock == Clock::None),
                )
            }
            LogColumn::Moisture => (&mut log.moisture, settings.moisture),
            LogColumn::Flow => (&mut log.flow, None),
            LogColumn::Mass => (&mut log.mass, None),
            LogColumn::Speed => (&mut log.speed, None),
            LogColumn::Distance => (&mut log.distance, None),
            LogColumn::Width => (&mut log.width, None),
            LogColumn::Heading => (&mut log.heading, None),
            LogColumn::Elevation => (&mut log.elevation, None),
            _ => continue, // positions have gone in already, and yields as masses
        };
        match constant.filter(|_| values.iter().all(|v| v.is_nan())) {
            Some(constant) => to.resize(to.len() + rows, constant),
            None => join_or(to, values, rows, f64::NAN),
        }
    }
}

/// A file's names as indices into the field's.
fn shared(names: &Names, all: &mut Vec<String>, rows: usize) -> Vec<Option<u32>> {
    if names.index.is_empty() {
        return vec![None; rows];
    }
    let map: Vec<u32> = names.distinct.iter().map(|name| entry(all, name)).collect();
    names
        .index
        .iter()
        .map(|k| k.map(|k| map[k as usize]))
        .collect()
}

fn entry(all: &mut Vec<String>, name: &str) -> u32 {
    let known = all.iter().position(|n| n == name);
    known.unwrap_or_else(|| {
        all.push(name.to_owned());
        all.len() - 1
    }) as u32
}

/// Appends without a copy where nothing is there yet.
fn join<T>(to: &mut Vec<T>, mut from: Vec<T>) {
    if to.is_empty() {
        *to = from
    } else {
        to.append(&mut from)
    }
}

/// Appends a column, or the same value for every row where the file has no such column.
fn join_or<T: Clone>(to: &mut Vec<T>, from: Vec<T>, rows: usize, missing: T) {
    if from.is_empty() {
        to.resize(to.len() + rows, missing)
    } else {
        join(to, from)
    }
}
