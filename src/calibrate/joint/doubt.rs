//! Tickets that all others contradict.

use super::wander::{Adjusted, Case};
use crate::stats::{normal_two_sided, student_two_sided};

/// A ticket this far off what the others lead to expect may be wrong at all, as a log ratio (loads agree within ±3 %: common
/// practice).
const DOUBT_BEYOND: f64 = 0.03;
/// Held out beyond this, as a log ratio (field means are published within 2–5 %: Doerge 1997; what a poor sensor does by itself is no
/// reason to lose a weight) …
const HELD_OUT_BEYOND: f64 = 0.05;
/// … if chance would do it to any of a crop's tickets less often than this (our choice, Bonferroni's bound: once in twenty, as the
/// audit asks for a look at the paper).
const DOUBT_P_OF_ANY: f64 = 0.05;
/// A ticket that is obeyed is said to be odd if it is that far off, however loosely all else tells it, or nearer and from this
/// probability of being wrong on (our choice: twenty papers looked at for a wrong one are worth it, since a wrong one that stays
/// costs a map).
const ODD_WRONG: f64 = 0.05;
/// Where all else tells a ticket so loosely that not even this log ratio (a tenth) would look odd, whatever is beyond
/// [`DOUBT_BEYOND`] is said (our choice: nothing checks such a ticket).
const A_TENTH: f64 = 0.0953;
/// Loads stray farther than normal ones now and then (a reading that was stuck, a fault that was not seen), so the logarithm of
/// their sd is never taken to be known better than this: as well as ten degrees of freedom tell it (our choice).
const LEAST_UNKNOWN: f64 = 0.224;
/// A ticket that would be so many sds off what all others expect (about where [`ODD_WRONG`] begins, among loads that all else
/// tells to 2–4 %) …
const ODD_Z: f64 = 2.5;
/// … is z/√(1 + z²/n) of them off as long as it takes part as one of n and widens the sd that it is judged by. From this part
/// of that on it is tried without itself (our choice: it may also make another look worse; each trial costs an adjustment) …
const SUSPECT: f64 = 0.8;
/// … or this part of the most that one of n can be off by when it is part of the sd, (n − 1)/√n (Grubbs 1969, Technometrics
/// 11:1; the part is our choice) …
const NEAR_MOST: f64 = 0.9;
/// … and of several such the worst few, each by itself (our choice; each costs an adjustment).
const MOST_SUSPECTS: usize = 3;
/// Fewest tickets of which one can be doubted.
pub(super) const DOUBT_FEWEST: usize = 4;
/// Of two tickets that chance throws so far about alike, within this factor, either may be the wrong one (our choice).
const RIVAL: f64 = 10.0;
/// How often a ticket is wrong before anything is known of it (our choice) …
const WRONG: f64 = 0.02;
/// … how often a load's log lost or made as much grain, so that a right ticket looks wrong (our choice: a quarter as often) …
const LOG_WRONG: f64 = 0.005;
/// … and by how much: anything from 3 % to this factor, alike in the logarithm of the difference (our choice: a slip of the pen
/// knows no scale).
const MOST_WRONG: f64 = 3.0;

/// A ticket that the others contradict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubt {
    /// Index of the ticket among those given.
    pub ticket: usize,
    /// Weighed over expected mass.
    pub ratio: f64,
}

/// What would be otherwise if a ticket that is obeyed were wrong, or one that is held out were right.
#[derive(Debug, Clone, PartialEq)]
pub struct Risk {
    /// Index of the ticket.
    pub ticket: usize,
    /// How probable that is.
    pub probability: f64,
    /// By how much every load's log factor would then be off; of the ticket's own loads as the ticket is.
    pub shift: Vec<f64>,
}

/// A ticket against everything estimated without it.
pub(super) struct Tried {
    pub ticket: usize,
    /// Log of weighed over expected mass.
    pub off: f64,
    /// Its sd, and the sd of the logarithm of that.
    sd: f64,
    unknown: f64,
    /// What part of it the unsure ends of its loads make.
    edges: f64,
    /// How often chance throws a given ticket so far.
    chance: f64,
    /// Tickets that took part, itself among them.
    of: usize,
    /// The adjustment without it.
    pub others: Adjusted,
}

impl Case<'_> {
    /// The tickets that look worst, each tried without itself; the one that chance does least to stands first.
    pub fn tried(&self, adjusted: &Adjusted, teaches: &[bool]) -> Option<Vec<Tried>> {
        let of = teaches.iter().filter(|t| **t).count();
        let mut out = Vec::new();
        for ticket in suspects(adjusted, teaches) {
            let mut without = teaches.to_vec();
            without[ticket] = false;
            let mut others = self.adjust_near(adjusted, &without)?;
            let Some((off, sd)) = others.predict(&self.tickets[ticket], self.loads) else {
                continue;
            };
            others.lighten();
            let unknown = others.load_sd_sd;
            out.push(Tried {
                ticket,
                off,
                sd,
                unknown,
                edges: self.tickets[ticket].edges,
                chance: chance(off.abs() / sd, unknown),
                of,
                others,
            });
        }
        out.sort_by(|a, b| {
            (a.chance.total_cmp(&b.chance))
                .then((b.off / b.sd).abs().total_cmp(&(a.off / a.sd).abs()))
        });
        Some(out)
    }
}

/// Where all that were tried are obeyed: what is off if one of them is wrong.
pub(super) fn if_wrong(case: &Case, with: &Adjusted, tried: &[&Tried]) -> Vec<Risk> {
    let sum: f64 = tried.iter().map(|t| t.odds()).sum();
    (tried.iter())
        .map(|t| t.risk(case, with, t.odds() / (1.0 + sum)))
        .collect()
}

/// The tickets that look odd among those that were not tried, because others look worse: as they stand beside all, among so many
/// that one ticket hardly widens the sd that it is judged by. If one is wrong its own loads are off; what else it would move is
/// not known without a trial.
pub(super) fn odd_untried(
    case: &Case,
    with: &Adjusted,
    is_asked: impl Fn(usize) -> bool,
) -> Vec<(Doubt, Risk)> {
    let of = |(ticket, e): (usize, &(f64, f64))| {
        let (off, sd, unknown) = (e.0, with.usual_sd(ticket, e.1), with.load_sd_sd);
        let edges = case.tickets[ticket].edges;
        (off.is_finite() && is_asked(ticket) && is_odd(off, sd, unknown, edges)).then(|| {
            let mut shift = vec![0.0; case.loads.len()];
            let parts = &case.tickets[ticket].parts;
            parts.iter().for_each(|&l| shift[l] = off);
            let risk = Risk {
                ticket,
                probability: wrong(off.abs(), sd, unknown),
                shift,
            };
            let ratio = off.exp();
            (Doubt { ticket, ratio }, risk)
        })
    };
    with.left_out.iter().enumerate().filter_map(of).collect()
}

/// Where the first of those that were tried is held out: what is off if all are right, or if one of the others is wrong in
/// its place.
pub(super) fn if_right(case: &Case, with: &Adjusted, tried: &[Tried]) -> Vec<Risk> {
    let Some((out, others)) = tried.split_first() else {
        return Vec::new();
    };
    let sum: f64 = tried.iter().map(Tried::odds).sum();
    let instead = others.iter().map(|t| {
        let mut risk = t.risk(case, &out.others, t.odds() / (1.0 + sum));
        let parts = &case.tickets[out.ticket].parts;
        parts.iter().for_each(|&l| risk.shift[l] = -out.off);
        risk
    });
    std::iter::once(out.risk(case, with, 1.0 / (1.0 + sum)))
        .chain(instead)
        .collect()
}

impl Tried {
    /// Whether it is held out.
    pub fn is_doubtful(&self) -> bool {
        self.off.abs() > HELD_OUT_BEYOND && self.chance < DOUBT_P_OF_ANY / self.of as f64
    }

    /// Whether it is to be looked up.
    pub fn is_odd(&self) -> bool {
        is_odd(self.off, self.sd, self.unknown, self.edges)
    }

    /// What is off between an adjustment with this ticket and the one without it.
    fn risk(&self, case: &Case, with: &Adjusted, probability: f64) -> Risk {
        let mut shift: Vec<f64> = (with.factor.iter().zip(&self.others.factor))
            .map(|(a, b)| a - b)
            .collect();
        let parts = &case.tickets[self.ticket].parts;
        parts.iter().for_each(|&l| shift[l] = self.off);
        Risk {
            ticket: self.ticket,
            probability,
            shift,
        }
    }

    /// Whether it is nearly as good a candidate for the wrong one as another is.
    pub fn rivals(&self, other: &Tried) -> bool {
        self.is_odd() && self.chance < RIVAL * other.chance
    }

    /// Odds that it is wrong, against all being right.
    fn odds(&self) -> f64 {
        let wrong = self.wrong();
        wrong / (1.0 - wrong).max(1e-9)
    }

    pub fn doubt(&self) -> Doubt {
        Doubt {
            ticket: self.ticket,
            ratio: self.off.exp(),
        }
    }

    fn wrong(&self) -> f64 {
        wrong(self.off.abs(), self.sd, self.unknown)
    }
}

/// Whether a ticket that is obeyed is to be looked up: not where the unsure ends of its loads (`edges`, part of `sd`) may be
/// all of it.
fn is_odd(off: f64, sd: f64, unknown: f64, edges: f64) -> bool {
    let off = off.abs();
    let is_unchecked = || {
        let but_for_ends = (sd * sd - edges * edges).max(0.0).sqrt();
        wrong(A_TENTH, but_for_ends, unknown) < ODD_WRONG
    };
    off > HELD_OUT_BEYOND + 2.0 * edges
        || wrong(off, sd, unknown) >= ODD_WRONG
        || (off > DOUBT_BEYOND && is_unchecked())
}

/// Probability that a ticket is wrong, by Bayes' rule from what happens to tickets and logs at all. `off`: its distance from
/// what is expected, whose sd is `sd`, and the sd of the logarithm of that `unknown`.
fn wrong(off: f64, sd: f64, unknown: f64) -> f64 {
    if !(off > DOUBT_BEYOND && off < MOST_WRONG.ln()) {
        return if off > DOUBT_BEYOND { 1.0 } else { 0.0 };
    }
    let z = off / sd;
    let step = 0.05;
    // Two tails of chance, one side of the density.
    let right =
        (chance((z - step).max(0.0), unknown) - chance(z + step, unknown)) / (4.0 * step * sd);
    let astray = 0.5 / (off * (MOST_WRONG.ln() / DOUBT_BEYOND).ln());
    let right = (1.0 - WRONG - LOG_WRONG) * right.max(0.0);
    WRONG * astray / (right + (WRONG + LOG_WRONG) * astray)
}

/// How often chance throws a load so far (in root mean square sds) where the logarithm of its sd is known to an sd of
/// `unknown`: a normal over a log-normal scale, whose root mean square is e^(unknown²) times its middle.
fn chance(off: f64, unknown: f64) -> f64 {
    let steps = 60;
    let unknown = unknown.max(LEAST_UNKNOWN);
    // The t whose variance of the sd's logarithm is the same, 1/(2·degrees). It is the nearer of the two while degrees are
    // several, and knows nothing with one or two; either is taken where it says less of chance (our choice).
    let students = student_two_sided(off, (0.5 / (unknown * unknown)).max(1.0));
    let (mut sum, mut weight) = (0.0, 0.0);
    for k in 0..=steps {
        let z = 10.0 * k as f64 / steps as f64 - 5.0;
        let w = (-0.5 * z * z).exp();
        let t = off * (unknown * unknown - unknown * z).exp();
        sum += w * normal_two_sided(t);
        weight += w;
    }
    (sum / weight).min(students)
}

/// The tickets that look worst beside the others, the worst first.
fn suspects(adjusted: &Adjusted, teaches: &[bool]) -> Vec<usize> {
    let n = teaches.iter().filter(|t| **t).count() as f64;
    let least =
        (SUSPECT * ODD_Z / (1.0 + ODD_Z * ODD_Z / n).sqrt()).min(NEAR_MOST * (n - 1.0) / n.sqrt());
    let mut out: Vec<(usize, f64)> = (adjusted.left_out.iter().enumerate())
        .filter(|(t, e)| teaches[*t] && e.0.abs() > DOUBT_BEYOND)
        .map(|(t, e)| (t, (e.0 / adjusted.usual_sd(t, e.1)).abs()))
        .filter(|(_, z)| *z > least)
        .collect();
    out.sort_by(|a, b| b.1.total_cmp(&a.1));
    out.into_iter().take(MOST_SUSPECTS).map(|s| s.0).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chance_is_no_more_than_students_and_wider_where_the_sd_is_not_known() {
        // Tables of Student's t: 0.001 in both tails at ten degrees of freedom, whose sd is known as well, is 4.587: no more.
        assert!(
            (0.0001..0.00101).contains(&chance(4.587, 0.0)),
            "{}",
            chance(4.587, 0.0)
        );
        assert!(chance(4.587, 0.5) > chance(4.587, 0.3) && chance(12.0, 0.5) < 0.001);
        assert!(chance(0.0, 0.7) > 0.999);
    }

    #[test]
    fn a_ticket_is_as_probably_wrong_as_bayes_rule_has_it() {
        // Nothing within 3 %, all beyond any log's fault.
        assert_eq!((wrong(0.02, 0.001, 0.3), wrong(1.5, 0.3, 0.3)), (0.0, 1.0));
        // 12 % off among loads of 1 %: four in five that it is the ticket, one that it is the log.
        assert!((wrong(0.12, 0.01, 0.2) - 0.8).abs() < 0.01);
        // By hand, for a normal of known sd (10 degrees stand in for it): 10 % off at sd 2.5 % is z = 4. Student's t(10) has a
        // density of 0.0021 there (tables), so 0.083 of being right; astray 0.5/(0.1·ln(ln 3/0.03)) = 1.39.
        let p = wrong(0.1, 0.025, 0.0);
        let by_hand = 0.02 * 1.39 / (0.975 * 0.0021 / 0.025 + 0.025 * 1.39);
        assert!(p > 0.7 * by_hand && p < 2.5 * by_hand, "{p} {by_hand}");
        // The farther off, and the better the others agree, the likelier.
        assert!(wrong(0.12, 0.03, 0.3) > wrong(0.09, 0.03, 0.3));
        assert!(wrong(0.12, 0.02, 0.3) > wrong(0.12, 0.03, 0.3));
    }
}
