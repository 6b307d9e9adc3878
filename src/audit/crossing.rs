//! Which grain was cut across the field's main direction: headlands and the rounds that open a field.

use crate::log::{Log, Timeline};

/// Width of a bin of directions, degrees.
const BIN_DEG: f64 = 10.0;
const BINS: usize = 18;
/// A direction this far from the main one crosses it (our choice: contours bend by less, headlands by more).
const CROSSING_DEG: f64 = 30.0;
/// A field has a main direction where at least this share of its grain was cut along it (our choice).
const MAIN_SHARE: f64 = 0.6;

/// Per row of the log, whether its grain was cut across the field's main direction; `None` where that cannot be told,
/// and for every row of a field that has no main direction. `mass`: wet mass per row, kg.
pub(super) fn crossing(log: &Log, timeline: &Timeline, mass: &[f64]) -> Vec<Option<bool>> {
    let directions = directions(log, timeline);
    let mut sums = [0.0; BINS];
    let grain = |i: usize| if mass[i] > 0.0 { mass[i] } else { 0.0 };
    for (i, direction) in directions.iter().enumerate() {
        if let Some(d) = direction {
            sums[(d / BIN_DEG) as usize % BINS] += grain(i);
        }
    }
    // Three bins together, so that a direction on the edge of two is found.
    let around = |b: usize| sums[(b + BINS - 1) % BINS] + sums[b] + sums[(b + 1) % BINS];
    let Some(mode) = (0..BINS).max_by(|&a, &b| around(a).total_cmp(&around(b)).then(b.cmp(&a)))
    else {
        return vec![None; log.len()];
    };
    let main = (mode as f64 + 0.5) * BIN_DEG;
    let crosses = |d: f64| {
        let apart = (d - main).abs() % 180.0;
        apart.min(180.0 - apart) > CROSSING_DEG
    };
    let (mut along, mut all) = (0.0, 0.0);
    for (i, direction) in directions.iter().enumerate() {
        if let Some(d) = *direction {
            all += grain(i);
            along += if crosses(d) { 0.0 } else { grain(i) };
        }
    }
    if !(along >= MAIN_SHARE * all) || all == 0.0 {
        return vec![None; log.len()];
    }
    directions.into_iter().map(|d| d.map(crosses)).collect()
}

/// Direction of travel per row without its sign, 0 to 180 degrees, from the row before of the same machine.
fn directions(log: &Log, timeline: &Timeline) -> Vec<Option<f64>> {
    let mut out = vec![None; log.len()];
    for track in &timeline.tracks {
        for k in (1..track.len()).filter(|&k| track.continues(k)) {
            let (a, b) = (track.rows[k - 1] as usize, track.rows[k] as usize);
            // Over a few metres a degree of longitude is cos(latitude) of one of latitude.
            let east = (log.lon[b] - log.lon[a]) * log.lat[b].to_radians().cos();
            let north = log.lat[b] - log.lat[a];
            if east.hypot(north) > 0.0 {
                out[b] = Some(east.atan2(north).to_degrees().rem_euclid(180.0));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::{Clock, Source};

    /// A machine that drives `north` rows to the north and `east` to the east, 2 m a second.
    fn log(north: usize, east: usize) -> Log {
        let n = north + east;
        let step = 2.0 / 111_300.0;
        let at = |k: usize| (k.min(north) as f64, k.saturating_sub(north) as f64);
        Log {
            sources: vec![Source {
                path: "a".into(),
                clock: Clock::Unix,
            }],
            machines: vec!["C1".into()],
            source: vec![0; n],
            machine: vec![0; n],
            row: (1..=n as u32).collect(),
            time: (0..n).map(|t| t as f64).collect(),
            interval: vec![1.0; n],
            lat: (0..n).map(|k| 50.0 + at(k).0 * step).collect(),
            lon: (0..n)
                .map(|k| 10.0 + at(k).1 * step / 50f64.to_radians().cos())
                .collect(),
            ..Log::default()
        }
    }

    #[test]
    fn what_leaves_the_main_direction_crosses_it() {
        let log = log(30, 10);
        let found = crossing(&log, &Timeline::new(&log), &[1.0; 40]);
        assert_eq!(found[0], None);
        assert_eq!((found[5], found[35]), (Some(false), Some(true)));
    }

    #[test]
    fn a_field_without_a_main_direction_has_no_crossing() {
        let log = log(20, 20);
        let found = crossing(&log, &Timeline::new(&log), &[1.0; 40]);
        assert!(found.iter().all(Option::is_none));
        // Nor has one without grain.
        let none = crossing(&log, &Timeline::new(&log), &[f64::NAN; 40]);
        assert!(none.iter().all(Option::is_none));
    }
}
