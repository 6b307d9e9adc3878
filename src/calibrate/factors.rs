//! One factor per machine and crop, its spread over loads, and tickets that do not belong.

use crate::read::TicketUse;
use crate::stats::student_quantile;

/// Spread of load factors where too few tickets tell, relative sd. A poorly calibrated monitor errs by up to ±10 %
/// (extension literature), so its loads by about half of that.
pub const UNKNOWN_SPREAD: f64 = 0.05;
/// Least spread of load factors, relative sd: average load errors of the best monitors are about 1 % (published).
pub const LEAST_SPREAD: f64 = 0.005;
/// A ticket this far off the machine's others may be doubted at all (loads agree within ±3 %: common practice).
const DOUBT_BEYOND: f64 = 0.03;
/// And only if chance would do it to a given ticket less often than this.
const DOUBT_P: f64 = 0.001;
/// And to any of a machine's tickets less often than this (our choice; Bonferroni's bound): of a hundred machines whose
/// tickets are all good, one loses one.
const DOUBT_P_OF_ANY: f64 = 0.01;
/// Fewest tickets of which one can be doubted.
const DOUBT_FEWEST: usize = 4;

/// One ticket against what the machine logged for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TicketFit {
    /// Weighed mass, kg.
    pub weighed: f64,
    /// Logged mass with faults replaced, kg.
    pub logged: f64,
    /// What the user says of it.
    pub usage: TicketUse,
}

/// Why a ticket is held out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubt {
    /// Index of the ticket among those given.
    pub ticket: usize,
    /// Its factor over that of the others.
    pub ratio: f64,
}

/// The factor of a machine in a crop.
#[derive(Debug, Clone, PartialEq)]
pub struct MachineFactor {
    /// True over logged mass.
    pub factor: f64,
    /// Relative sd of single loads about it.
    pub spread: f64,
    /// Tickets behind it.
    pub tickets: usize,
    /// Root mean square relative error of each used ticket predicted from the others; `None` with fewer than two.
    pub leave_one_out: Option<f64>,
    /// Which of the tickets given are used.
    pub used: Vec<bool>,
    /// Tickets held out because the others contradict them.
    pub doubts: Vec<Doubt>,
}

/// Estimates a machine's factor from its tickets. `None` where no ticket can be used.
pub fn machine_factor(tickets: &[TicketFit]) -> Option<MachineFactor> {
    let mut used: Vec<bool> = tickets
        .iter()
        .map(|t| t.usage != TicketUse::No && t.weighed > 0.0 && t.logged > 0.0)
        .collect();
    let doubts = doubtful(tickets, &used);
    for d in &doubts {
        if tickets[d.ticket].usage != TicketUse::Yes {
            used[d.ticket] = false;
        }
    }
    // A ticket that the user forces but the others contradict is obeyed for its own load, and teaches no other.
    let teaches: Vec<usize> = (0..tickets.len())
        .filter(|&k| used[k] && doubts.iter().all(|d| d.ticket != k))
        .collect();
    if teaches.is_empty() {
        return None;
    }
    let sums = |skip: Option<usize>| {
        teaches
            .iter()
            .filter(|&&k| Some(k) != skip)
            .fold((0.0, 0.0), |(w, m), &k| {
                (w + tickets[k].weighed, m + tickets[k].logged)
            })
    };
    let (weighed, logged) = sums(None);
    let factor = weighed / logged;
    let n = teaches.len();
    let (spread, leave_one_out) = if n < 2 {
        (UNKNOWN_SPREAD, None)
    } else {
        let squares: f64 = teaches
            .iter()
            .map(|&k| {
                (tickets[k].weighed / (tickets[k].logged * factor))
                    .ln()
                    .powi(2)
            })
            .sum();
        let left: f64 = teaches
            .iter()
            .map(|&k| {
                let (w, m) = sums(Some(k));
                (tickets[k].logged * w / m / tickets[k].weighed - 1.0).powi(2)
            })
            .sum();
        (
            (squares / (n - 1) as f64).sqrt().max(LEAST_SPREAD),
            Some((left / n as f64).sqrt()),
        )
    };
    Some(MachineFactor {
        factor,
        spread,
        tickets: n,
        leave_one_out,
        used,
        doubts,
    })
}

/// Tickets that the machine's others contradict: beyond 3 % and, against the others' spread about their median,
/// beyond what chance does once in a thousand. Worst first, one at a time, while at least four are left.
fn doubtful(tickets: &[TicketFit], used: &[bool]) -> Vec<Doubt> {
    let mut left: Vec<usize> = (0..tickets.len()).filter(|&k| used[k]).collect();
    let log_factor = |k: usize| (tickets[k].weighed / tickets[k].logged).ln();
    let mut doubts = Vec::new();
    while left.len() >= DOUBT_FEWEST {
        let judged = left.iter().map(|&k| {
            let others: Vec<f64> = left
                .iter()
                .filter(|&&j| j != k)
                .map(|&j| log_factor(j))
                .collect();
            let n = others.len() as f64;
            let mean = others.iter().sum::<f64>() / n;
            let sd = (others.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0))
                .sqrt()
                .max(LEAST_SPREAD);
            let off = log_factor(k) - mean;
            (k, off, off.abs() / (sd * (1.0 + 1.0 / n).sqrt()), n - 1.0)
        });
        let Some((k, off, t, degrees)) = judged.max_by(|a, b| a.2.total_cmp(&b.2)) else {
            break;
        };
        let p = DOUBT_P.min(DOUBT_P_OF_ANY / left.len() as f64);
        let bound = student_quantile(1.0 - 0.5 * p, degrees);
        if !(t > bound && off.abs() > DOUBT_BEYOND) {
            break;
        }
        doubts.push(Doubt {
            ticket: k,
            ratio: off.exp(),
        });
        left.retain(|&j| j != k);
    }
    doubts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fit(weighed: f64, logged: f64) -> TicketFit {
        TicketFit {
            weighed,
            logged,
            usage: TicketUse::Auto,
        }
    }

    #[test]
    fn the_factor_is_a_ratio_of_sums() {
        let m = machine_factor(&[fit(9_000.0, 10_000.0), fit(22_000.0, 20_000.0)]).unwrap();
        assert!((m.factor - 31_000.0 / 30_000.0).abs() < 1e-12);
        // Each predicted from the other: 11,000 for 9,000 and 18,000 for 22,000.
        let expected =
            (((11.0f64 / 9.0 - 1.0).powi(2) + (18.0f64 / 22.0 - 1.0).powi(2)) / 2.0).sqrt();
        assert!((m.leave_one_out.unwrap() - expected).abs() < 1e-12);
        assert_eq!(m.used, [true, true]);
    }

    #[test]
    fn a_ticket_that_the_others_contradict_is_held_out_unless_forced() {
        let mut t = vec![
            fit(9_700.0, 10_000.0),
            fit(9_650.0, 10_000.0),
            fit(9_720.0, 10_000.0),
            fit(9_690.0, 10_000.0),
            fit(9_660.0, 10_000.0),
            fit(10_860.0, 10_000.0),
        ];
        let m = machine_factor(&t).unwrap();
        assert_eq!(m.doubts.iter().map(|d| d.ticket).collect::<Vec<_>>(), [5]);
        assert!(!m.used[5] && (m.factor - 0.9684).abs() < 1e-9);
        t[5].usage = TicketUse::Yes;
        let m = machine_factor(&t).unwrap();
        assert!(m.used[5] && (m.factor - 0.9684).abs() < 1e-9);
        t[5].usage = TicketUse::No;
        assert!(machine_factor(&t).unwrap().doubts.is_empty());
    }

    #[test]
    fn a_wrong_ticket_shows_among_loads_that_scatter() {
        // Eleven loads that scatter by 2.19 % (sd of logs, mean −0.0020) and one ticket 12 % off: t =
        // (ln 1.12 + 0.0020) / (0.0219 √(12/11)) = 5.03 with ten degrees of freedom. Two-sided p = 0.001 is at 4.587,
        // 0.0005 at 5.049 (tables of Student's t); 0.01 shared among twelve is 0.00083, at 4.71.
        let factors = [
            1.03, 1.02, 1.02, 1.01, 1.0, 1.0, 1.0, 0.99, 0.98, 0.97, 0.96,
        ];
        let mut t: Vec<_> = factors.iter().map(|k| fit(k * 8e3, 8e3)).collect();
        t.push(fit(1.12 * 8e3, 8e3));
        let m = machine_factor(&t).unwrap();
        assert_eq!(m.doubts.iter().map(|d| d.ticket).collect::<Vec<_>>(), [11]);
        t[11] = fit(1.1 * 8e3, 8e3); // t = 4.25
        assert!(machine_factor(&t).unwrap().doubts.is_empty());
    }

    #[test]
    fn good_sets_and_small_sets_raise_no_doubt() {
        let good: Vec<_> = [1.01, 0.99, 1.02, 0.985, 1.0, 1.015]
            .iter()
            .map(|k| fit(k * 9e3, 9e3))
            .collect();
        assert!(machine_factor(&good).unwrap().doubts.is_empty());
        assert!(
            machine_factor(&[fit(1.0, 1.0), fit(1.0, 1.0), fit(1.3, 1.0)])
                .unwrap()
                .doubts
                .is_empty()
        );
        assert!(machine_factor(&[]).is_none());
        assert!(machine_factor(&[fit(f64::NAN, 1.0), fit(1.0, 0.0)]).is_none());
        assert_eq!(
            machine_factor(&[fit(9.0, 10.0)]).unwrap().spread,
            UNKNOWN_SPREAD
        );
    }
}
