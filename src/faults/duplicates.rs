//! Records written twice: by a display that repeats its last line, or by exports that overlap.

use std::collections::HashMap;

use crate::log::{Clock, Log, Track};

/// Share of rows with the stamp of the row before, from which on a log's stamps are coarser than its rows (our
/// choice: 2 Hz logs stamped in whole seconds have half).
const COARSE_STAMPS: f64 = 0.3;

/// Marks the rows of a track (by place in it) that repeat an earlier record.
///
/// With a time: same stamp, same position and same reading anywhere earlier (in the same file, unless the clock is
/// absolute). New stamps on one spot are a machine that stands still. Where stamps are coarse, or there is no time,
/// equal rows one after the other may be just that as well: then every column must be equal, grain must flow, and the
/// machine must have moved in the row by its own account.
pub(super) fn duplicates(log: &Log, track: &Track) -> Vec<bool> {
    let rows: Vec<usize> = track.rows.iter().map(|&i| i as usize).collect();
    let same_stamp =
        |a: usize, b: usize| log.source[a] == log.source[b] && log.time[a] == log.time[b];
    let repeats = rows.windows(2).filter(|w| same_stamp(w[0], w[1])).count();
    let coarse = repeats as f64 > COARSE_STAMPS * rows.len() as f64;
    let same_row = |a: usize, b: usize| {
        if log.time[b].is_nan() || coarse {
            same_record(log, a, b) && moved(log, b)
        } else {
            key(log, a) == key(log, b)
        }
    };
    let mut marks: Vec<bool> = (0..rows.len())
        .map(|k| k > 0 && same_row(rows[k - 1], rows[k]))
        .collect();
    for (k, earlier) in earlier_copies(log, &rows, &marks) {
        marks[k] = !coarse || (same_record(log, earlier, rows[k]) && moved(log, rows[k]));
    }
    marks
}

/// Rows, by place, whose key some earlier row has that is not the one right before, and that earlier row.
///
/// Only rows that step back behind a stamp already seen can have one; a clock that only runs forward costs nothing.
fn earlier_copies(log: &Log, rows: &[usize], marked: &[bool]) -> Vec<(usize, usize)> {
    let mut latest = f64::NEG_INFINITY;
    let (mut from, mut to) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut back = vec![false; rows.len()];
    for (k, &i) in rows.iter().enumerate() {
        let time = log.time[i];
        if time <= latest && !marked[k] {
            back[k] = true;
            (from, to) = (from.min(time), to.max(time));
        }
        latest = latest.max(time); // skips NaN
    }
    let mut seen = HashMap::new();
    let mut copies = Vec::new();
    for (k, &i) in rows
        .iter()
        .enumerate()
        .filter(|&(_, &i)| (from..=to).contains(&log.time[i]))
    {
        let earlier = *seen.entry(key(log, i)).or_insert(i);
        if back[k] && earlier != i {
            copies.push((k, earlier));
        }
    }
    copies
}

/// Stamp, position and reading, and the file where its clock is its own.
fn key(log: &Log, i: usize) -> [u64; 6] {
    let absolute = log.sources[log.source[i] as usize].clock == Clock::Unix;
    let file = if absolute {
        u64::MAX
    } else {
        u64::from(log.source[i])
    };
    [
        file,
        bits(log.time[i]),
        bits(log.lon[i]),
        bits(log.lat[i]),
        bits(log.flow[i]),
        bits(log.mass[i]),
    ]
}

/// Bits that are equal where the numbers are, all missing values being one.
fn bits(value: f64) -> u64 {
    if value.is_nan() {
        f64::NAN.to_bits()
    } else {
        (value + 0.0).to_bits()
    }
}

/// Whether every logged column is equal.
fn same_record(log: &Log, a: usize, b: usize) -> bool {
    let columns = [
        &log.time,
        &log.lon,
        &log.lat,
        &log.interval,
        &log.flow,
        &log.mass,
        &log.moisture,
        &log.speed,
        &log.distance,
        &log.width,
        &log.heading,
        &log.elevation,
    ];
    log.source[a] == log.source[b]
        && log.work[a] == log.work[b]
        && columns.iter().all(|c| bits(c[a]) == bits(c[b]))
}

/// Whether grain flows and the row itself claims to have covered ground, so that its position cannot be that of the
/// row before.
fn moved(log: &Log, i: usize) -> bool {
    (log.flow[i] > 0.0 || log.mass[i] > 0.0) && (log.speed[i] > 0.0 || log.distance[i] > 0.0)
}
