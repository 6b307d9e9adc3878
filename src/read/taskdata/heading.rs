//! Where a machine heads, by the positions around each row.

use geo::{Bearing, Geodesic, Point};

/// Way over which a heading is taken, m (our choice: far beyond a receiver's noise, short enough for turns).
const HEADING_OVER_M: f64 = 2.0;
/// Rows that are looked at for it to either side (our choice).
const HEADING_ROWS: usize = 15;

/// Where the machine heads in each row, degrees clockwise from north; NaN where it has no position or goes nowhere.
pub(super) fn headings(lon: &[f64], lat: &[f64]) -> Vec<f64> {
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
