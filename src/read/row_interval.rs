//! How long rows last where neither a clock nor an interval says it: from the way between them and the logged speed.

use geo::{Distance, Geodesic, Point};

use super::layout::NUMBERS;
use super::log_file::LogFile;
use super::position::Positions;
use crate::job::LogColumn;
use crate::summary::Remark;

/// Slowest speed, m/s, and longest step, m, that count (our choice: slower a receiver's noise is as long as the way).
const SLOWEST_M_S: f64 = 0.5;
const LONGEST_STEP_M: f64 = 90.0;

/// Steps from which an interval is read (our choice).
const FEWEST: usize = 10;

/// How near an interval must be to whole seconds to be them (our choice: receivers log at whole seconds or parts of one).
const WHOLE: f64 = 0.03;

/// Gives rows an interval where nothing else does, and says so; where it cannot be told either, says that 1 s is taken.
/// `given`: the job's interval.
pub(super) fn derive(log: &mut LogFile, positions: &Positions, given: Option<f64>) {
    let slot = |column| NUMBERS.iter().position(|c| *c == column);
    let (Some(interval), Some(speed)) = (slot(LogColumn::Interval), slot(LogColumn::Speed)) else {
        return;
    };
    let known = |values: &[f64]| values.iter().any(|v| v.is_finite());
    if given.is_some() || known(&log.time) || known(&log.numbers[interval]) {
        return;
    }
    let place = |k: usize| Point::new(positions.lon[k], positions.lat[k]);
    let mut seconds: Vec<f64> = (1..log.row.len())
        .filter_map(|k| {
            let speed = log.numbers[speed]
                .get(k)
                .copied()
                .filter(|v| *v > SLOWEST_M_S)?;
            let both = positions.lon[k].is_finite() && positions.lon[k - 1].is_finite();
            let step = both.then(|| Geodesic.distance(place(k - 1), place(k)))?;
            (step > 0.0 && step < LONGEST_STEP_M).then_some(step / speed)
        })
        .collect();
    seconds.sort_by(f64::total_cmp);
    if seconds.len() < FEWEST {
        // A mass needs no time, and a few rows show nothing of a log.
        let flows = slot(LogColumn::Flow).is_some_and(|s| known(&log.numbers[s]));
        if !flows || log.row.len() < FEWEST {
            return;
        }
        log.warnings.push(Remark::new(
            "no-interval",
            format!(
                "{}: neither a clock nor an interval, and no speed to tell it from: rows are taken to last 1 s each. If not: [log] interval = \"2 s\"",
                log.path
            ),
        ));
        return;
    }
    let middle = seconds[seconds.len() / 2];
    let unit = if middle < 0.9 { 0.1 } else { 1.0 };
    let whole = (middle / unit).round() * unit;
    let each = if (middle / whole - 1.0).abs() < WHOLE {
        whole
    } else {
        middle
    };
    log.numbers[interval] = vec![each; log.row.len()];
    log.warnings.push(Remark::new(
        "interval-derived",
        format!(
            "{}: neither a clock nor an interval: rows last {each:.2} s by the way between them and the logged speed. If not: [log] interval = \"{each:.2} s\"",
            log.path
        ),
    ));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A degree of latitude at the equator is 110,574 m (WGS 84, from memory): 0.00004° are 4.423 m, at 1.474 m/s 3 s.
    #[test]
    fn the_way_over_the_speed_is_the_interval() {
        let n = 30;
        let mut log = LogFile::of_rows("a.csv", n);
        let positions = Positions {
            lon: vec![10.0; n as usize],
            lat: (0..n).map(|k| f64::from(k) * 0.00004).collect(),
            ..Positions::default()
        };
        let at = |c| NUMBERS.iter().position(|x| *x == c).expect("a column");
        derive(&mut log, &positions, None);
        assert_eq!(log.warnings, []);
        log.numbers[at(LogColumn::Flow)] = vec![8.0; n as usize];
        derive(&mut log, &positions, None);
        assert_eq!(log.warnings[0].code, "no-interval");
        log.numbers[at(LogColumn::Speed)] = vec![1.474; n as usize];
        derive(&mut log, &positions, None);
        assert_eq!(log.numbers[at(LogColumn::Interval)][5], 3.0);
        assert_eq!(log.warnings[1].code, "interval-derived");
        derive(&mut log, &positions, Some(1.0));
        assert_eq!(log.warnings.len(), 2);
    }
}
