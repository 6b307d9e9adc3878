//! Figures of a log that are taken from its rows piece by piece.

use std::collections::BTreeSet;

use super::survey::Span;
use crate::geometry::Frame;
use crate::log::{Log, Timeline};
use crate::passes;

/// Size of the map in dots: 2 × 4 of them make a character.
const MAP: [usize; 2] = [96, 72];

/// Positions that are kept for the map and the span (our choice: 37 for each dot of the map).
const PLACES: usize = 1 << 18;

/// What is counted over the rows of a log, however many they are.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Rows that can be read.
    pub rows: usize,
    /// Usual time that a row stands for, s.
    pub usual_interval: Option<f64>,
    /// Passes. Where a piece ends inside one, it counts in both.
    pub passes: usize,
    /// Rows on a pass.
    pub at_work: usize,
    /// Machines, with the rows of each.
    pub machines: Vec<(String, usize)>,
    /// Loads in their order.
    pub loads: Vec<String>,
    known_loads: BTreeSet<String>,
    /// Logged wet grain, kg.
    pub grain_kg: f64,
    /// First and last time.
    pub times: Option<(f64, f64)>,
    /// Pieces whose rows were brought into the order of their clock.
    pub restored: usize,
    /// Pieces whose clock contradicts the order of their rows.
    pub contradicted: usize,
    /// Rows whose time steps back or stands still.
    pub backward_steps: usize,
    /// Longitude and latitude of rows, one of `every`.
    pub places: Vec<[f64; 2]>,
    every: usize,
    /// Rows until the next one that is kept.
    skip: usize,
}

impl Tally {
    /// Counts more rows of the log.
    pub fn add(&mut self, log: &Log) {
        let timeline = Timeline::new(log);
        self.rows += log.len();
        let usual = timeline.tracks.first().map(|t| t.usual_interval);
        self.usual_interval = self.usual_interval.or(usual);
        (self.restored, self.contradicted) = (
            self.restored + timeline.restored,
            self.contradicted + timeline.contradicted,
        );
        self.backward_steps += timeline.backward_steps;
        self.grain_kg += (0..log.len()).map(|i| timeline.mass(log, i)).sum::<f64>();
        for (m, name) in log.machines.iter().enumerate() {
            let rows = log.machine.iter().filter(|x| **x as usize == m).count();
            match self.machines.iter_mut().find(|(known, _)| known == name) {
                Some((_, known)) => *known += rows,
                None if rows > 0 => self.machines.push((name.clone(), rows)),
                None => {}
            }
        }
        for load in &log.loads {
            if self.known_loads.insert(load.clone()) {
                self.loads.push(load.clone());
            }
        }
        for t in log.time.iter().copied().filter(|t| t.is_finite()) {
            let (first, last) = self.times.unwrap_or((t, t));
            self.times = Some((first.min(t), last.max(t)));
        }
        let (passes, at_work) = passes_of(log, &timeline).unwrap_or_default();
        (self.passes, self.at_work) = (self.passes + passes, self.at_work + at_work);
        self.keep_places(log);
    }

    /// Keeps every row's position, then every second one's, and so on, as the log grows.
    fn keep_places(&mut self, log: &Log) {
        self.every = self.every.max(1);
        for (lon, lat) in log.lon.iter().zip(&log.lat) {
            if self.skip > 0 {
                self.skip -= 1;
                continue;
            }
            self.skip = self.every - 1;
            self.places.push([*lon, *lat]);
            if self.places.len() == PLACES {
                let mut k = 0;
                self.places.retain(|_| {
                    k += 1;
                    k % 2 == 1
                });
                // The one kept last is gone: the next is as far from the one before it as all now are.
                self.every *= 2;
            }
        }
    }

    /// The map, row by row from the north, and where the log lies; `None` without a usable position.
    pub fn ground(&self) -> Option<(Vec<Vec<bool>>, Option<Span>)> {
        let [lon, lat] = [0, 1].map(|k| self.places.iter().map(|p| p[k]).collect::<Vec<f64>>());
        let frame = Frame::around(&lon, &lat).ok()?;
        let (x, y) = frame.forward(&lon, &lat);
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
        let (bx, by, lon, lat) = (bounds(&x)?, bounds(&y)?, bounds(&lon)?, bounds(&lat)?);
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
        for (x, y) in x.iter().zip(&y) {
            let (cx, cy) = ((x - bx.0) / scale, (by.1 - y) / scale);
            if cx >= 0.0 && cy >= 0.0 && (cx as usize) < size[0] && (cy as usize) < size[1] {
                map[cy as usize][cx as usize] = true;
            }
        }
        Some((map, Some(span)))
    }
}

/// Passes, and rows on them.
fn passes_of(log: &Log, timeline: &Timeline) -> Option<(usize, usize)> {
    let frame = Frame::around(&log.lon, &log.lat).ok()?;
    let (x, y) = frame.forward(&log.lon, &log.lat);
    let params = passes::Params::new(log.machines.len()).check().ok()?;
    let found = passes::estimate(&params, log, timeline, &x, &y);
    let at_work = found.pass_of.iter().filter(|p| p.is_some()).count();
    Some((found.passes.len(), at_work))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_thinned_evenly_and_bounded() {
        let mut tally = Tally::default();
        let n = 3 * PLACES + 5;
        let log = Log {
            lon: (0..n).map(|k| k as f64).collect(),
            lat: vec![0.0; n],
            ..Log::default()
        };
        tally.keep_places(&log);
        assert!(tally.places.len() < PLACES && tally.places.len() >= PLACES / 2);
        let step = tally.places[1][0] - tally.places[0][0];
        assert!(
            tally.places.windows(2).all(|w| w[1][0] - w[0][0] == step),
            "{step}"
        );
    }
}
