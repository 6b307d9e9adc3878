//! Logs in which the rows of two machines take turns, and no column says whose a row is: told, and refused.
//!
//! Read one after the other they would be one machine that leaps from place to place with every row, and nothing that is
//! found out about delays, widths or passes would mean anything.

use super::error::{ReadError, ReadErrorKind};
use super::log_file::LogFile;
use super::position::Positions;
use crate::place::Place;

/// Mean radius of the Earth, m (IUGG).
const EARTH_M: f64 = 6_371_008.8;

/// A leap, m, and how many times the way since the rows before the one before it must be (our choice: no machine goes 30 m
/// from row to row and back).
const LEAP_M: f64 = 30.0;
const BACK: f64 = 4.0;

/// Share of rows that leap and come back, from which two machines are seen (our choice: receivers leap now and then).
const SHARE: f64 = 0.25;

/// Refuses a log of whose rows a quarter leap away from the row before to where the rows before that were.
pub(super) fn refuse(log: &LogFile, positions: &Positions) -> Result<(), ReadError> {
    let (lon, lat) = (&positions.lon, &positions.lat);
    let machine = |k: usize| log.machine.index.get(k).copied().flatten();
    let way = |a: usize, b: usize| {
        let north = (lat[a] - lat[b]).to_radians();
        let east = (lon[a] - lon[b]).to_radians() * lat[a].to_radians().cos();
        EARTH_M * (north * north + east * east).sqrt()
    };
    let mut rows: std::collections::HashMap<Option<u32>, [usize; 4]> =
        std::collections::HashMap::new();
    let (mut told, mut leaps) = (0usize, 0usize);
    for k in (0..lon.len()).filter(|k| lon[*k].is_finite()) {
        // The last rows of this machine, the latest first.
        let last = rows.entry(machine(k)).or_insert([usize::MAX; 4]);
        let [one, two, three, four] = *last;
        *last = [k, one, two, three];
        if two == usize::MAX {
            continue;
        }
        told += 1;
        let step = way(k, one);
        let back = |row: usize| row != usize::MAX && way(k, row) * BACK < step;
        leaps += usize::from(step > LEAP_M && (back(two) || back(three) || back(four)));
    }
    if told < 40 || (leaps as f64) < SHARE * told as f64 {
        return Ok(());
    }
    let found =
        format!("{leaps} rows that leap to another place and back, as if two machines took turns");
    let hint = "say which column names the machine: [log] columns = { machine = \"HEADER\" }; or export each machine into a file of its own";
    Err(ReadError::new(
        ReadErrorKind::Format,
        Place::file(&log.path),
        "the rows of one machine after each other",
        found,
    )
    .hinted(hint))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(lat: Vec<f64>, machines: Option<Vec<Option<u32>>>) -> bool {
        let mut log = LogFile::of_rows("a.csv", lat.len() as u32);
        log.machine.index = machines.unwrap_or_default();
        let positions = Positions {
            lon: vec![10.0; lat.len()],
            lat,
            ..Positions::default()
        };
        refuse(&log, &positions).is_err()
    }

    #[test]
    fn rows_of_two_machines_are_told_from_those_of_one() {
        let step = 1.5e-5;
        let one: Vec<f64> = (0..100).map(|k| 54.0 + step * f64::from(k)).collect();
        let turns: Vec<f64> = (0..100)
            .map(|k| 54.0 + step * f64::from(k / 2) + if k % 2 == 0 { 0.0 } else { 0.01 })
            .collect();
        let uneven: Vec<f64> = (0..100)
            .map(|k| 54.0 + step * f64::from(k) + if k % 3 == 0 { 0.0 } else { 0.01 })
            .collect();
        assert!(!refused(one, None));
        assert!(refused(turns.clone(), None));
        assert!(refused(uneven, None));
        assert!(!refused(
            turns,
            Some((0..100).map(|k| Some(k % 2)).collect())
        ));
        // A receiver that leaps once in a while.
        let leaps: Vec<f64> = (0..100)
            .map(|k| 54.0 + step * f64::from(k) + if k % 20 == 9 { 0.01 } else { 0.0 })
            .collect();
        assert!(!refused(leaps, None));
    }
}
