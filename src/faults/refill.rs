//! What grain passed the sensor while its reading stood still.
//!
//! A reading may stand still for a minute, in which a machine fills, empties and turns. The straight line between the rows
//! beside such a run knows nothing of that, and where one end of it lies in a filling it is far off. What the machine's other
//! fillings and emptyings look like does know.

use super::FaultKind;
use super::apply::Faults;
use super::estimate::flows;
use super::replace::{between, middle};
use crate::log::{Log, Timeline, Track};
use crate::stats::median_in_place;

/// Until a machine has filled or emptied, s: the longest delay that is looked for, and a ramp behind it (our choice).
const LONGEST: f64 = 45.0;
/// Fewest fillings (or emptyings) of which the usual one is known (our choice).
const FEWEST: usize = 5;
/// Least share of the usual flow at which a row tells how much there was to harvest (our choice: below, it is mostly the
/// filling that is seen).
const TELLING: f64 = 0.5;
/// Rows on either side that make the level there (our choice: twice as many as a single wild row takes, for a longer run) …
const SIDE: usize = 10;
/// … within this time of the run, s (our choice: farther off, it is other ground).
const REACH: f64 = 120.0;

impl Faults {
    /// Replaces the masses of stuck readings once more, now that it is known where the machine cut (`cuts`, as long as the
    /// log): the usual share of flow so long after it began (or ceased) to cut, times the level before and after. Where
    /// fillings are too few to know a usual one, or nothing near tells the level, what stood in before stays.
    pub fn refill(&mut self, log: &Log, timeline: &Timeline, cuts: &[bool]) {
        for (track, limits) in timeline.tracks.iter().zip(&self.limits) {
            let is_stuck = |&i: &u32| self.kind[i as usize] == Some(FaultKind::Stuck);
            if !track.rows.iter().any(is_stuck) {
                continue;
            }
            let sound: Vec<bool> = (track.rows.iter())
                .map(|&i| self.kind[i as usize].is_none())
                .collect();
            let flow = flows(log, track, &timeline.interval);
            let share = shares(track, &flow, &sound, cuts, limits.usual_flow);
            let level = |places: &mut dyn Iterator<Item = usize>| {
                let telling: Vec<usize> = places
                    .filter(|&j| sound[j] && flow[j].is_finite() && share[j] >= TELLING)
                    .take(SIDE)
                    .collect();
                let mut levels: Vec<f64> = telling.iter().map(|&j| flow[j] / share[j]).collect();
                let time = telling.iter().map(|&j| middle(track, j)).sum::<f64>();
                Some((
                    time / telling.len() as f64,
                    median_in_place(&mut levels)?.max(0.0),
                ))
            };
            let mut k = 0;
            while k < track.len() {
                if !is_stuck(&track.rows[k]) {
                    k += 1;
                    continue;
                }
                let end = (k..track.len()).find(|&j| sound[j]).unwrap_or(track.len());
                let (from, to) = (track.start[k] - REACH, track.end[end - 1] + REACH);
                let before = level(&mut (0..k).rev().take_while(|&j| middle(track, j) >= from));
                let after = level(&mut (end..track.len()).take_while(|&j| middle(track, j) <= to));
                for j in (k..end).filter(|&j| is_stuck(&track.rows[j]) && share[j].is_finite()) {
                    let i = track.rows[j] as usize;
                    if let Some(level) = between(before, after, middle(track, j)) {
                        self.mass[i] = share[j] * level * timeline.interval[i];
                    }
                }
                k = end;
            }
        }
    }
}

/// The usual share of the track's usual flow in each of its rows, by how long the machine had been cutting, or not cutting;
/// NaN where that is not known.
fn shares(track: &Track, flow: &[f64], sound: &[bool], cuts: &[bool], usual: f64) -> Vec<f64> {
    let step = track.usual_step.max(1.0);
    let last = (LONGEST / step).ceil() as usize;
    let is_cutting = |k: usize| cuts[track.rows[k] as usize];
    let mut since = f64::NAN;
    let bins: Vec<Option<usize>> = (0..track.len())
        .map(|k| {
            // What a machine did in a gap of its log is not known.
            if !track.continues(k) {
                since = f64::NAN;
            } else if is_cutting(k) != is_cutting(k - 1) {
                since = track.start[k];
            }
            let bin = ((middle(track, k) - since) / step) as usize;
            let side = if is_cutting(k) { last + 1 } else { 0 };
            since.is_finite().then_some(side + bin.min(last))
        })
        .collect();
    let mut seen: Vec<Vec<f64>> = vec![Vec::new(); 2 * (last + 1)];
    for (k, bin) in bins.iter().enumerate() {
        if let Some(b) = bin.filter(|_| sound[k] && flow[k].is_finite()) {
            seen[b].push(flow[k] / usual);
        }
    }
    let share: Vec<f64> = seen
        .iter_mut()
        .map(|s| match median_in_place(s) {
            Some(m) if s.len() >= FEWEST => m.max(0.0),
            _ => f64::NAN,
        })
        .collect();
    bins.iter()
        .map(|b| b.map_or(f64::NAN, |b| share[b]))
        .collect()
}
