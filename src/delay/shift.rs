//! Moves what was logged back to the ground it came from. No amount is lost or made.

use crate::log::Track;

/// An amount per row of a track, moved to the rows whose ground it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct Shifted {
    /// Amount that each row's ground receives.
    pub amount: Vec<f64>,
    /// Share (0–1) of each row's shifted interval that was logged at all; 0: the log says nothing of this ground.
    pub covered: Vec<f64>,
    /// Amount whose ground is not in the log: before its first row, after its last, or in a gap.
    pub unplaced: f64,
}

/// Shifts `amount` (per row of the track, spread over the row's interval) by `delay` seconds: the ground of row k
/// receives what was logged from `start[k] + delay` to `end[k] + delay`.
///
/// A row whose amount is NaN was not logged: its ground is not covered. A row that stands for no time (a repeated stamp) has its amount taken at that instant. `delay` may be negative.
pub fn shift(track: &Track, amount: &[f64], delay: f64) -> Shifted {
    let [one] = shift_all(track, [amount], delay);
    one
}

/// Shifts several amounts by the same delay; see [`shift`].
pub fn shift_all<const N: usize>(track: &Track, amounts: [&[f64]; N], delay: f64) -> [Shifted; N] {
    let n = track.len();
    let mut out = [(); N].map(|()| Shifted {
        amount: vec![0.0; n],
        covered: vec![0.0; n],
        unplaced: 0.0,
    });
    let mut g = 0; // first ground interval that may still overlap
    for k in 0..n {
        let totals = amounts.map(|a| Some(a[k]).filter(|a| a.is_finite()));
        if totals.iter().all(Option::is_none) {
            continue; // not logged
        }
        let (from, to) = (track.start[k] - delay, track.end[k] - delay);
        while g < n && track.end[g] <= from {
            g += 1;
        }
        let span = to - from;
        let mut placed = [0.0; N];
        let mut j = g;
        while j < n && track.start[j] < to.max(from + f64::MIN_POSITIVE) {
            let overlap = track.end[j].min(to) - track.start[j].max(from);
            let columns = out.iter_mut().zip(&mut placed).zip(&totals);
            if overlap > 0.0 && span > 0.0 {
                // The last piece takes what is left, so that the pieces sum to the whole.
                let is_whole = track.end[j] >= to && track.start[j] <= from;
                let covers = overlap / track.interval(j);
                for ((out, placed), total) in columns {
                    let Some(total) = *total else { continue };
                    let part = if is_whole {
                        total
                    } else {
                        total * overlap / span
                    };
                    out.amount[j] += part;
                    *placed += part;
                    out.covered[j] += covers;
                }
            } else if span <= 0.0 && track.start[j] <= from && from < track.end[j] {
                for ((out, placed), total) in columns {
                    let Some(total) = *total else { continue };
                    out.amount[j] += total;
                    *placed = total;
                }
            }
            j += 1;
        }
        for ((out, placed), total) in out.iter_mut().zip(placed).zip(totals) {
            out.unplaced += total.map_or(0.0, |total| total - placed);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn track(intervals: &[(f64, f64)]) -> Track {
        Track {
            machine: 0,
            rows: (0..intervals.len() as u32).collect(),
            start: intervals.iter().map(|i| i.0).collect(),
            end: intervals.iter().map(|i| i.1).collect(),
            usual_interval: 1.0,
            usual_step: 1.0,
        }
    }

    #[test]
    fn whole_and_half_rows_move_by_hand() {
        let t = track(&[(0.0, 1.0), (1.0, 2.0), (2.0, 3.0), (3.0, 4.0)]);
        let a = [1.0, 2.0, 4.0, 8.0];
        assert_eq!(shift(&t, &a, 0.0).amount, a);
        let s = shift(&t, &a, 2.0);
        assert_eq!((s.amount, s.unplaced), (vec![4.0, 8.0, 0.0, 0.0], 3.0));
        assert_eq!(s.covered, [1.0, 1.0, 0.0, 0.0]);
        let s = shift(&t, &a, 0.5);
        assert_eq!((s.amount, s.unplaced), (vec![1.5, 3.0, 6.0, 4.0], 0.5));
        let s = shift(&t, &a, -1.0);
        assert_eq!((s.amount, s.unplaced), (vec![0.0, 1.0, 2.0, 4.0], 8.0));
    }

    #[test]
    fn what_was_not_logged_covers_no_ground() {
        let t = track(&[(0.0, 1.0), (1.0, 2.0)]);
        let s = shift(&t, &[f64::NAN, 2.0], 0.0);
        assert_eq!(
            (s.amount, s.covered, s.unplaced),
            (vec![0.0, 2.0], vec![0.0, 1.0], 0.0)
        );
    }

    #[test]
    fn nothing_is_placed_in_a_gap_and_nothing_is_lost() {
        let t = track(&[
            (0.0, 1.0),
            (1.0, 2.0),
            (9.0, 12.0),
            (12.0, 12.0),
            (12.0, 13.0),
        ]);
        let a = [1.0, 2.0, 3.0, 0.7, 5.0];
        for d in [-3.3, -0.25, 0.0, 0.4, 1.7, 7.5, 100.0] {
            let s = shift(&t, &a, d);
            let total: f64 = s.amount.iter().sum::<f64>() + s.unplaced;
            assert!((total - 11.7).abs() < 1e-12, "{d}: {s:?}");
        }
        assert_eq!(shift(&track(&[]), &[], 3.0).unplaced, 0.0);
    }
}
