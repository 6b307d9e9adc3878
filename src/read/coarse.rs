//! Clocks that are coarser than their rows: several rows share a stamp and are spread over its time.

use std::collections::BTreeMap;

/// Share of rows that repeat the stamp before them from which a clock is coarse (our choice: a duplicated record now
/// and then is a fault, every second row is not).
const COARSE: f64 = 0.4;

/// Spreads rows that share a stamp evenly over the time until the next one. `moved`: whether the machine moved since
/// the row before (a repeated record does not). Returns how many rows got a time of their own.
fn spread(time: &mut [f64], moved: impl Fn(usize) -> bool) -> usize {
    let same = |t: &[f64], k: usize| k > 0 && t[k] == t[k - 1];
    let steps = time.len().saturating_sub(1);
    let repeated = (1..time.len()).filter(|&k| same(time, k)).count();
    let moving = (1..time.len())
        .filter(|&k| same(time, k) && moved(k))
        .count();
    if steps < 20 || (repeated as f64) < COARSE * steps as f64 || moving * 2 < repeated {
        return 0;
    }
    let mut starts: Vec<usize> = (0..time.len()).filter(|&k| !same(time, k)).collect();
    starts.push(time.len());
    let mut per_row: Vec<f64> = starts
        .windows(3)
        .map(|w| (time[w[1]] - time[w[0]]) / (w[1] - w[0]) as f64)
        .filter(|d| *d > 0.0)
        .collect();
    per_row.sort_by(f64::total_cmp);
    let Some(&usual) = per_row.get(per_row.len() / 2) else {
        return 0;
    };
    let stamps: Vec<f64> = starts[..starts.len() - 1]
        .iter()
        .map(|&k| time[k])
        .collect();
    for (s, w) in starts.windows(2).enumerate() {
        let (from, n) = (w[0], (w[1] - w[0]) as f64);
        let until_next = stamps.get(s + 1).map_or(f64::NAN, |next| next - stamps[s]);
        // Before a gap, and where the clock steps back, a row lasts as long as usual.
        let each = if until_next > 0.0 && until_next / n <= 2.5 * usual {
            until_next / n
        } else {
            usual
        };
        for (k, t) in time[from..w[1]].iter_mut().enumerate() {
            *t = stamps[s] + each * k as f64;
        }
    }
    repeated
}

/// The same where rows are several machines': each has a clock of its own. `machine`: whose a row is.
pub(super) fn spread_each(
    time: &mut [f64],
    machine: &[Option<u32>],
    moved: impl Fn(usize, usize) -> bool,
) -> usize {
    let mut of: BTreeMap<Option<u32>, Vec<usize>> = BTreeMap::new();
    for k in 0..time.len() {
        of.entry(machine.get(k).copied().flatten())
            .or_default()
            .push(k);
    }
    if of.len() < 2 {
        return spread(time, |k| moved(k, k - 1));
    }
    let mut spread_rows = 0;
    for rows in of.into_values() {
        let mut own: Vec<f64> = rows.iter().map(|k| time[*k]).collect();
        spread_rows += spread(&mut own, |k| moved(rows[k], rows[k - 1]));
        for (k, t) in rows.iter().zip(own) {
            time[*k] = t;
        }
    }
    spread_rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn machines_that_share_stamps_have_clocks_of_their_own() {
        let clock: Vec<f64> = (0..100).map(|k| f64::from(k / 2)).collect();
        let machine: Vec<Option<u32>> = (0..100).map(|k| Some(k % 2)).collect();
        let mut t = clock.clone();
        assert_eq!(spread_each(&mut t, &machine, |_, _| true), 0);
        assert_eq!(t, clock);
        assert!(spread_each(&mut t, &[], |_, _| true) > 0);
    }

    #[test]
    fn rows_of_a_minute_share_it() {
        let mut t: Vec<f64> = (0..180).map(|k| f64::from(k / 60) * 60.0).collect();
        assert_eq!(spread(&mut t, |_| true), 177);
        assert!(t.windows(2).all(|w| (w[1] - w[0] - 1.0).abs() < 1e-9));
    }

    #[test]
    fn repeated_records_keep_their_stamp() {
        let clock: Vec<f64> = (0..100).map(|k| f64::from(k / 2)).collect();
        let mut t = clock.clone();
        assert_eq!(spread(&mut t, |_| false), 0);
        assert_eq!(t, clock);
        let mut fine: Vec<f64> = (0..100).map(f64::from).collect();
        assert_eq!(spread(&mut fine, |_| true), 0);
        assert_eq!(spread(&mut [], |_| true), 0);
    }
}
