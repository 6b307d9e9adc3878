//! The order of rows whose table has lost it: sorted by something else, shuffled, or written backward.

use super::Log;

/// Backward steps of the clock from which an order is doubted, as a share of rows (our choice: a receiver that corrects
/// its clock steps back a few times a day).
const DOUBTED: f64 = 0.05;
/// How much shorter the way must get for the clock's order to be believed (our choice).
const SHORTER: f64 = 0.8;
/// Fewest rows that are judged.
const FEWEST: usize = 20;

/// What was found of the order of some rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    /// As the log has them.
    AsLogged,
    /// Restored from the clock.
    Restored,
    /// The clock contradicts their order, and in the clock's order the machine would not drive a shorter way.
    Contradicted,
}

/// Puts the rows of one file and machine into the clock's order, where that is the order of work: the clock runs
/// backward all along, or the way from row to row becomes much shorter.
pub(super) fn restore(log: &Log, rows: &mut [u32]) -> Order {
    if rows.len() < FEWEST {
        return Order::AsLogged;
    }
    let time = |i: u32| log.time[i as usize];
    let (mut back, mut forth) = (0usize, 0usize);
    for w in rows.windows(2) {
        let step = time(w[1]) - time(w[0]);
        back += usize::from(step < 0.0);
        forth += usize::from(step > 0.0);
    }
    if (back as f64) < DOUBTED * rows.len() as f64 {
        return Order::AsLogged;
    }
    let backward = back > 9 * forth;
    let mut sorted: Vec<u32> = if backward {
        rows.iter().rev().copied().collect()
    } else {
        rows.to_vec()
    };
    // A row without a time keeps its place behind the row before it.
    let mut last = f64::NEG_INFINITY;
    let mut keyed: Vec<(f64, u32)> = sorted
        .iter()
        .map(|&i| {
            if time(i).is_finite() {
                last = time(i);
            }
            (last, i)
        })
        .collect();
    keyed.sort_by(|a, b| a.0.total_cmp(&b.0)); // stable: rows of one stamp stay as they were
    sorted.clear();
    sorted.extend(keyed.iter().map(|k| k.1));
    if backward || way(log, &sorted) < SHORTER * way(log, rows) {
        rows.copy_from_slice(&sorted);
        Order::Restored
    } else {
        Order::Contradicted
    }
}

/// Length of the way through these rows, in degrees of latitude.
fn way(log: &Log, rows: &[u32]) -> f64 {
    let at = |i: u32| {
        (
            log.lon[i as usize] * log.lat[i as usize].to_radians().cos(),
            log.lat[i as usize],
        )
    };
    let placed: Vec<(f64, f64)> = rows
        .iter()
        .map(|&i| at(i))
        .filter(|p| p.0.is_finite() && p.1.is_finite())
        .collect();
    placed
        .windows(2)
        .map(|w| (w[1].0 - w[0].0).hypot(w[1].1 - w[0].1))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(time: Vec<f64>) -> Log {
        let n = time.len();
        // A straight line in the order of the clock.
        let lat = time.iter().map(|t| 54.0 + 1e-5 * t).collect();
        Log {
            lon: vec![10.0; n],
            lat,
            time,
            row: (1..=n as u32).collect(),
            ..Log::default()
        }
    }

    fn restored(time: Vec<f64>) -> (Order, Vec<f64>) {
        let log = log(time);
        let mut rows: Vec<u32> = (0..log.time.len() as u32).collect();
        let order = restore(&log, &mut rows);
        (order, rows.iter().map(|&i| log.time[i as usize]).collect())
    }

    #[test]
    fn shuffled_and_reversed_rows_come_back_into_order() {
        let sorted: Vec<f64> = (0..97).map(f64::from).collect();
        let shuffled: Vec<f64> = (0..97).map(|k| f64::from(k * 31 % 97)).collect();
        assert_eq!(restored(shuffled), (Order::Restored, sorted.clone()));
        assert_eq!(
            restored(sorted.iter().rev().copied().collect()),
            (Order::Restored, sorted.clone())
        );
        assert_eq!(restored(sorted.clone()), (Order::AsLogged, sorted));
    }

    #[test]
    fn a_clock_that_contradicts_the_way_is_not_obeyed() {
        let mut log = log((0..97).map(f64::from).collect());
        log.time = (0..97).map(|k| f64::from(k * 31 % 97)).collect();
        let mut rows: Vec<u32> = (0..97).collect();
        assert_eq!(restore(&log, &mut rows), Order::Contradicted);
        assert_eq!(rows, (0..97).collect::<Vec<u32>>());
        assert_eq!(restore(&log, &mut []), Order::AsLogged);
    }
}
