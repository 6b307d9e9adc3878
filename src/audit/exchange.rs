//! Whether two tickets would fit better exchanged, and what that is worth among all the pairs that could be tried.
//!
//! Take log weights w and log masses m, and factors that scatter with standard deviation s. Exchanging the tickets of two
//! loads lowers the sum of squared residuals by 2(w₁ − w₂)(m₂ − m₁), so the log likelihood ratio for the exchange is
//! c = −(w₁ − w₂)(m₁ − m₂)/s². Where the tickets are right, w₁ − w₂ is m₁ − m₂ plus noise of √2·s, so with d = |m₁ − m₂|/s
//! the ratio is −d² − √2·d·z, and luck makes it reach c with the probability that z is beyond (c + d²)/(√2·d). The sum of
//! that over the pairs is how many of them luck would make look so well: it has to be small, whatever the number of
//! pairs (our own derivation).

use std::collections::BTreeMap;

use serde::Serialize;

use super::join::Batch;
use super::level::{Level, USUAL_DEGREES, USUAL_SD};
use super::{is_beyond, off_pct};
use crate::loads::TicketRef;
use crate::stats::student_two_sided;

/// Pairs that luck may make look so well, at most (our choice: what is said of two tickets that are looked up anyway
/// costs nobody a way, and it is said how often luck does it).
const MOST_LUCK: f64 = 0.2;
/// Where luck does it more often than this, the exchange is called weak (our choice: as for a ticket that the others
/// contradict).
pub(crate) const WEAK_LUCK: f64 = 0.05;
/// With more tickets than this only neighbours are tried: what has to beat a thousand pairs never does (our choice).
const MOST_TICKETS: usize = 60;

/// Another ticket with which this one may be exchanged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Exchange {
    /// The other ticket.
    pub with: String,
    /// What the weight of the other would be off for this ticket's loads, %.
    pub off_expected_pct: f64,
    /// What this weight would be off for the loads of the other, %.
    pub other_off_expected_pct: f64,
    /// How many pairs of the machine's tickets luck would make look so well.
    pub luck: f64,
}

impl Exchange {
    /// In words, from the ticket whose name is given.
    pub fn text(&self, ticket: &str) -> String {
        let often = if self.luck < 0.01 {
            "1".to_owned()
        } else {
            format!("{:.0}", 100.0 * self.luck)
        };
        let weak = if self.luck > WEAK_LUCK {
            "weak, because "
        } else {
            ""
        };
        format!(
            "{ticket} and {} would both fit with their weights exchanged ({:+.1} and {:+.1} % off); {weak}luck alone makes such a pair in up to {often} of a hundred sets of tickets like this",
            self.with, self.off_expected_pct, self.other_off_expected_pct
        )
    }
}

/// A ticket of the machine.
struct One {
    w: usize,
    side: usize,
    place: TicketRef,
    weight: f64,
    mass: f64,
    /// What the others lead to expect, kg.
    expected: f64,
}

/// The exchanges that a machine's trusted tickets suggest, by ticket.
pub(super) fn exchanges(batch: &Batch, level: &Level) -> BTreeMap<usize, Exchange> {
    let mut out = BTreeMap::new();
    let Some(spread) = level.spread() else {
        return out;
    };
    // Moderated as for the tickets that the others contradict.
    let degrees = level.trusted.len() as f64 - 1.0 + USUAL_DEGREES;
    let variance =
        (spread.powi(2) * (degrees - USUAL_DEGREES) + USUAL_SD.powi(2) * USUAL_DEGREES) / degrees;
    let all: Vec<One> = (level.trusted.iter())
        .filter_map(|&w| {
            let weighing = &batch.weighings[w];
            Some(One {
                w,
                side: level.side(w).unwrap_or(0),
                place: TicketRef::of(weighing.ticket),
                weight: weighing.ticket.net_kg,
                mass: weighing.logged_kg,
                expected: level.factor_without(batch, w)? * weighing.logged_kg,
            })
        })
        .collect();
    // Papers are mixed up with their neighbours: those pairs get half of what luck may do, all others the other half.
    let neighbours = |a: &One, b: &One| {
        (a.place.file == b.place.file && a.place.row.abs_diff(b.place.row) == 1)
            || level.follow(a.w, b.w)
    };
    let pairs = || {
        (all.iter().enumerate())
            .flat_map(|(k, a)| all[k + 1..].iter().map(move |b| (a, b)))
            .filter(|(a, b)| a.side == b.side && a.mass != b.mass)
            .filter(|(a, b)| all.len() <= MOST_TICKETS || neighbours(a, b))
    };
    let luck = |evidence: f64, near: bool| -> f64 {
        let each = pairs().filter(|(a, b)| neighbours(a, b) == near);
        2.0 * each
            .map(|(a, b)| {
                let d = (a.mass / b.mass).ln().abs() / variance.sqrt();
                let z = (evidence + d * d) / (std::f64::consts::SQRT_2 * d);
                0.5 * student_two_sided(z, degrees)
            })
            .sum::<f64>()
    };
    for (a, b) in pairs() {
        let evidence = -(a.weight / b.weight).ln() * (a.mass / b.mass).ln() / variance;
        let off = |of: &One, by: &One| off_pct(by.weight, of.expected);
        let are_off = is_beyond(off(a, a)) || is_beyond(off(b, b));
        let mended = [(a, b), (b, a)]
            .iter()
            .all(|(of, by)| !is_beyond(off(of, by)) && off(of, by).abs() < off(of, of).abs());
        if !(evidence > 0.0 && are_off && mended) {
            continue;
        }
        let luck = luck(evidence, neighbours(a, b));
        if luck > MOST_LUCK {
            continue;
        }
        for (of, by) in [(a, b), (b, a)] {
            let exchange = Exchange {
                with: batch.weighings[by.w].ticket.id.clone(),
                off_expected_pct: off(of, by),
                other_off_expected_pct: off(by, of),
                luck,
            };
            let best = out.entry(of.w).or_insert_with(|| exchange.clone());
            if exchange.luck < best.luck {
                *best = exchange;
            }
        }
    }
    out
}
