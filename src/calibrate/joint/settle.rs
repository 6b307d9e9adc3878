//! Which tickets and which links are believed, and the adjustment with those.

use super::Links;
use super::doubt::{DOUBT_FEWEST, Doubt, Risk, Tried, if_right, if_wrong, odd_untried};
use super::known::Known;
use super::nodes::{LoadNode, TicketNode};
use super::wander::{Adjusted, Case, adjust};
use crate::read::TicketUse;

/// What part of a field's information on its loads is believed. On simulated fields its errors are 1 to 1.5 times what it
/// says (poor headlands, bent sensors: `examples/scale_study.rs`), and real fields have old boundaries and strips of other
/// varieties beside; so sds are doubled (our choice).
const TRUST: f64 = 0.25;
/// What is believed where tickets contradict: enough to tell machines apart, too little to move a load.
const LITTLE_TRUST: f64 = 1.0 / 16.0;
/// Fewest tickets that judge links.
const FEWEST_JUDGES: usize = 4;
/// One factor for a machine, against the joint adjustment: what each makes of every ticket left out in turn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneFactor {
    /// Log of weighed over logged mass.
    pub ln_factor: f64,
    /// Root mean square error with one factor; a load whose ends are unsure counts for less.
    pub error: f64,
    /// The same with the joint adjustment.
    pub joint_error: f64,
}

impl OneFactor {
    /// Whether it is taken: the simpler wherever it predicts the machine's tickets better.
    pub fn wins(&self) -> bool {
        self.error < self.joint_error
    }
}

/// The adjustment with what is believed.
#[derive(Debug)]
pub struct Settlement {
    /// Every load's factor.
    pub adjusted: Adjusted,
    /// Sd of each load's log factor had no field said anything; as long as the loads.
    pub sd_without_links: Vec<f64>,
    /// Which tickets are obeyed for their own loads.
    pub used: Vec<bool>,
    /// Tickets that the others contradict.
    pub doubts: Vec<Doubt>,
    /// Tickets that are obeyed though they may well be wrong, or nothing tells whether they are.
    pub odd: Vec<Doubt>,
    /// Tickets that may be wrong and are obeyed, or right and held out.
    pub risks: Vec<Risk>,
    /// Whether links are believed as far as they can be; otherwise tickets contradict them.
    pub links_hold: bool,
    /// One factor beside the joint adjustment, by machine; `None` where too few tickets can judge.
    pub one_factor: Vec<Option<OneFactor>>,
    /// Root mean square relative error of each used ticket predicted from all else, by the method that is taken for its
    /// machine; `None` with fewer than two.
    pub leave_one_out: Option<f64>,
}

/// Adjusts the loads of a crop. `usage`: what the user says of each ticket.
pub fn settle(
    loads: &[LoadNode],
    links: &[(Vec<usize>, &Links)],
    tickets: &[TicketNode],
    usage: &[TicketUse],
) -> Option<Settlement> {
    let grain = |t: &TicketNode| t.parts.iter().map(|&l| loads[l].logged).sum::<f64>();
    let mut used: Vec<bool> = (tickets.iter().zip(usage))
        .map(|(t, u)| *u != TicketUse::No && t.net > 0.0 && grain(t) > 0.0)
        .collect();
    // A ticket that is obeyed though the others contradict it teaches no other load.
    let mut teaches = used.clone();
    let believed = Known::with_trust(TRUST);
    let little = Known::with_trust(LITTLE_TRUST);
    let mut case = Case::new(loads, links, tickets, &believed)?;
    let mut adjusted = case.adjust(&teaches)?;
    let (mut doubts, mut odd, mut risks) = (Vec::new(), Vec::new(), Vec::new());
    while teaches.iter().filter(|t| **t).count() >= DOUBT_FEWEST {
        let tried = case.tried(&adjusted, &teaches)?;
        let Some(worst) = tried.first().filter(|t| t.is_doubtful()) else {
            // What is obeyed may be wrong all the same, unless the user vouches for it.
            let auto: Vec<&Tried> = (tried.iter())
                .filter(|t| usage[t.ticket] != TicketUse::Yes)
                .collect();
            risks.extend(if_wrong(&case, &adjusted, &auto));
            odd.extend(auto.iter().filter(|t| t.is_odd()).map(|t| t.doubt()));
            let is_asked = |t: usize| {
                usage[t] == TicketUse::Auto && tried.iter().all(|tried| tried.ticket != t)
            };
            for (doubt, risk) in odd_untried(&case, &adjusted, is_asked) {
                odd.push(doubt);
                risks.push(risk);
            }
            break;
        };
        doubts.push(worst.doubt());
        teaches[worst.ticket] = false;
        if usage[worst.ticket] != TicketUse::Yes {
            used[worst.ticket] = false;
            // What an earlier look made of it is settled now.
            risks.retain(|r: &Risk| r.ticket != worst.ticket);
            risks.extend(if_right(&case, &adjusted, &tried));
            odd.extend(
                tried[1..]
                    .iter()
                    .filter(|t| t.rivals(worst))
                    .map(Tried::doubt),
            );
        }
        adjusted = tried.into_iter().next()?.others;
        case.refill(&mut adjusted)?;
    }
    odd.retain(|o: &Doubt| {
        usage[o.ticket] == TicketUse::Auto && doubts.iter().all(|d: &Doubt| d.ticket != o.ticket)
    });
    odd.sort_by_key(|o| o.ticket);
    odd.dedup_by_key(|o| o.ticket);
    // Where no field says anything, that is what was adjusted already.
    let (sd_without_links, links_hold) = if links.is_empty() {
        (adjusted.sd.clone(), true)
    } else {
        // One adjustment's equations at a time: those of a large batch take tens of megabytes.
        adjusted.lighten();
        case.rest();
        let alone = adjust(loads, &[], tickets, &teaches, &Known::with_trust(0.0))?;
        let hold = hold(&adjusted, &alone);
        (alone.sd, hold)
    };
    if !links_hold {
        case = case.knowing(&little)?;
        adjusted = case.adjust(&teaches)?;
    } else if !links.is_empty() {
        case = case.knowing(&believed)?;
        case.refill(&mut adjusted)?;
    }
    drop(case);
    let machines = loads.iter().map(|l| l.machine + 1).max().unwrap_or(0);
    let judged: Vec<Vec<Judged>> = (0..machines)
        .map(|m| errors_of(m, loads, tickets, &adjusted))
        .collect();
    let one_factor: Vec<Option<OneFactor>> = (judged.iter().enumerate())
        .map(|(m, errors)| {
            (errors.len() >= FEWEST_JUDGES).then(|| OneFactor {
                ln_factor: sums_of(&taught(m, loads, tickets, &adjusted), loads, tickets, None)
                    .ln(),
                error: weighted_rms(errors, |e| e.one),
                joint_error: weighted_rms(errors, |e| e.joint),
            })
        })
        .collect();
    // Tickets over several machines are the joint adjustment's to predict.
    let mut errors: Vec<f64> = Vec::new();
    for (t, e) in adjusted.left_out.iter().enumerate() {
        if e.0.is_finite() && machine_of(&tickets[t], loads).is_none() {
            errors.push((-e.0).exp() - 1.0);
        }
    }
    for (own, one) in judged.iter().zip(&one_factor) {
        let simple = one.is_some_and(|o| o.wins());
        errors.extend(own.iter().map(|e| if simple { e.one } else { e.joint }));
    }
    Some(Settlement {
        sd_without_links,
        used,
        doubts,
        odd,
        risks,
        links_hold,
        leave_one_out: (errors.len() > 1).then(|| rms(errors.iter().copied())),
        one_factor,
        adjusted,
    })
}

impl Settlement {
    /// Variance of a load's log factor, because tickets may be wrong and are obeyed, or right and held out.
    pub fn risk_of_load(&self, load: usize) -> f64 {
        (self.risks.iter())
            .map(|r| r.probability * r.shift[load].powi(2))
            .sum()
    }

    /// The same of a ticket that is obeyed: only if it is wrong itself.
    pub fn risk_of_ticket(&self, ticket: usize, node: &TicketNode) -> f64 {
        let own = (self.risks.iter()).filter(|r| r.ticket == ticket && self.used[ticket]);
        own.filter_map(|r| Some(r.probability * r.shift[*node.parts.first()?].powi(2)))
            .sum()
    }
}

fn rms(errors: impl ExactSizeIterator<Item = f64>) -> f64 {
    let n = errors.len() as f64;
    (errors.map(|e| e * e).sum::<f64>() / n).sqrt()
}

/// Relative errors of a ticket that was left out, with one factor and with the joint adjustment, and what they count for.
struct Judged {
    one: f64,
    joint: f64,
    weight: f64,
}

fn weighted_rms(of: &[Judged], error: impl Fn(&Judged) -> f64) -> f64 {
    let weight: f64 = of.iter().map(|e| e.weight).sum();
    let squares: f64 = of.iter().map(|e| e.weight * error(e).powi(2)).sum();
    (squares / weight).sqrt()
}

/// The machine all of whose parts a ticket weighed.
fn machine_of(ticket: &TicketNode, loads: &[LoadNode]) -> Option<usize> {
    let first = loads[*ticket.parts.first()?].machine;
    (ticket.parts.iter().all(|&l| loads[l].machine == first)).then_some(first)
}

/// A machine's tickets that teach.
fn taught(
    machine: usize,
    loads: &[LoadNode],
    tickets: &[TicketNode],
    adjusted: &Adjusted,
) -> Vec<usize> {
    let teaches = |t: &usize| {
        adjusted.left_out[*t].0.is_finite() && machine_of(&tickets[*t], loads) == Some(machine)
    };
    (0..tickets.len()).filter(teaches).collect()
}

/// Weighed over logged mass of some tickets, but for one.
fn sums_of(
    own: &[usize],
    loads: &[LoadNode],
    tickets: &[TicketNode],
    without: Option<usize>,
) -> f64 {
    let (mut weighed, mut logged) = (0.0, 0.0);
    for &t in own.iter().filter(|t| Some(**t) != without) {
        let ticket = &tickets[t];
        weighed += ticket.net;
        logged += ticket.parts.iter().map(|&l| loads[l].logged).sum::<f64>();
    }
    weighed / logged
}

/// Relative errors of a machine's tickets, each left out in turn: with one factor, and with the joint adjustment. A ticket
/// that is its machine's only one tells nothing of one factor.
fn errors_of(
    machine: usize,
    loads: &[LoadNode],
    tickets: &[TicketNode],
    adjusted: &Adjusted,
) -> Vec<Judged> {
    let load = adjusted.wander.load.powi(2);
    let own = taught(machine, loads, tickets, adjusted);
    (own.iter().map(|&t| (t, &tickets[t])))
        .map(|(t, ticket)| {
            let others = sums_of(&own, loads, tickets, Some(t));
            let logged: f64 = ticket.parts.iter().map(|&l| loads[l].logged).sum();
            Judged {
                one: logged * others / ticket.net - 1.0,
                joint: (-adjusted.left_out[t].0).exp() - 1.0,
                weight: load / (load + ticket.edges.powi(2)),
            }
        })
        .collect()
}

/// Whether tickets bear the links out: predicted with them they must not come out worse than without, by more than one
/// standard error of the difference of their log scores.
fn hold(with: &Adjusted, without: &Adjusted) -> bool {
    let score = |e: &(f64, f64)| -0.5 * (e.0 / e.1).powi(2) - e.1.ln();
    let gains: Vec<f64> = (with.left_out.iter().zip(&without.left_out))
        .filter(|(a, b)| a.0.is_finite() && b.0.is_finite())
        .map(|(a, b)| score(a) - score(b))
        .collect();
    let n = gains.len() as f64;
    if gains.len() < FEWEST_JUDGES {
        return true;
    }
    let mean = gains.iter().sum::<f64>() / n;
    let variance = gains.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / (n - 1.0);
    mean > -(variance / n).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn loads(n: usize) -> Vec<LoadNode> {
        (0..n)
            .map(|l| LoadNode {
                machine: 0,
                class: 0,
                day: 0,
                before: l.checked_sub(1),
                logged: 8_000.0,
                ln_flow: 2.7,
            })
            .collect()
    }

    fn tickets(factors: &[f64]) -> Vec<TicketNode> {
        (factors.iter().enumerate())
            .map(|(l, f)| TicketNode {
                parts: vec![l],
                net: f * 8_000.0,
                sd: 0.001,
                edges: 0.0,
                scale: 0,
            })
            .collect()
    }

    fn run(factors: &[f64], usage: &[TicketUse]) -> Settlement {
        settle(&loads(factors.len() + 2), &[], &tickets(factors), usage).unwrap()
    }

    #[test]
    fn a_ticket_that_the_others_contradict_is_held_out_unless_forced() {
        let factors = [
            0.970, 0.965, 0.972, 0.969, 0.966, 0.968, 0.971, 0.967, 1.086,
        ];
        let mut usage = vec![TicketUse::Auto; 9];
        let s = run(&factors, &usage);
        assert_eq!(s.doubts.iter().map(|d| d.ticket).collect::<Vec<_>>(), [8]);
        assert!(!s.used[8] && (s.doubts[0].ratio - 1.086 / 0.9685).abs() < 0.02);
        // A load without a ticket has the others' factor.
        assert!((s.adjusted.factor[9].exp() - 0.9685).abs() < 0.005);
        let open = s.adjusted.factor[9];
        usage[8] = TicketUse::Yes;
        let s = run(&factors, &usage);
        assert!(s.used[8] && s.doubts.len() == 1 && (s.adjusted.factor[9] - open).abs() < 1e-12);
        usage[8] = TicketUse::No;
        let s = run(&factors, &usage);
        assert!(!s.used[8] && s.doubts.is_empty());
    }

    #[test]
    fn a_ticket_that_may_be_wrong_widens_what_rests_on_it() {
        let factors = [
            0.970, 0.955, 0.982, 0.961, 0.966, 0.978, 0.951, 0.967, 1.012,
        ];
        let mut usage = vec![TicketUse::Auto; 9];
        let s = run(&factors, &usage);
        // Too near to be held out, too far to be passed over.
        assert!(s.doubts.is_empty() && s.used[8]);
        assert_eq!(s.odd.iter().map(|d| d.ticket).collect::<Vec<_>>(), [8]);
        let node = &tickets(&factors)[8];
        let risk = s.risk_of_ticket(8, node);
        let off = s.odd[0].ratio.ln();
        assert!(risk > 0.0 && risk < off * off, "{risk}");
        // A load that was not weighed would be off with it, by less.
        assert!(s.risk_of_load(10) > 0.0 && s.risk_of_load(10) < 0.1 * risk);
        // Who vouches for it is believed.
        usage[8] = TicketUse::Yes;
        let s = run(&factors, &usage);
        assert!(s.odd.is_empty() && s.risk_of_ticket(8, node) == 0.0);
        // What is held out may be right: its own load is less sure for it.
        let mut gross = factors;
        gross[8] = 1.086;
        let s = run(&gross, &[TicketUse::Auto; 9]);
        assert_eq!(s.doubts.len(), 1);
        assert!(s.risk_of_load(8) > 0.0 && s.risk_of_ticket(8, node) == 0.0);
    }

    #[test]
    fn a_load_whose_ends_are_unsure_is_no_ground_to_doubt_its_ticket() {
        let mut factors = vec![0.970, 0.965, 0.972, 0.969, 0.966, 0.968, 0.971, 0.967];
        factors.push(0.88);
        let mut t = tickets(&factors);
        let settled = |t: &[TicketNode]| settle(&loads(9), &[], t, &[TicketUse::Auto; 9]).unwrap();
        assert_eq!(settled(&t).doubts.len(), 1);
        t[8].edges = 0.09;
        let s = settled(&t);
        assert!(s.doubts.is_empty() && s.odd.is_empty());
        // It teaches the others next to nothing, and is as sure as its ends are.
        assert!((s.adjusted.factor[7].exp() - 0.968).abs() < 0.003);
        assert!(s.adjusted.ticket_sd[8] > 0.09 && s.adjusted.scale_sd[8] < 0.02);
    }

    #[test]
    fn good_sets_and_small_sets_raise_no_doubt() {
        let auto = [TicketUse::Auto; 12];
        assert!(
            run(&[1.01, 0.99, 1.02, 0.985, 1.0, 1.015], &auto[..6])
                .doubts
                .is_empty()
        );
        assert!(run(&[1.0, 1.0, 1.3], &auto[..3]).doubts.is_empty());
        let s = run(&[], &[]);
        assert!(s.doubts.is_empty() && s.leave_one_out.is_none() && s.links_hold);
        assert!(settle(&[], &[], &[], &[]).is_none());
        let odd = tickets(&[f64::NAN, 0.0, 1.0]);
        let s = settle(&loads(3), &[], &odd, &auto[..3]).unwrap();
        assert_eq!(s.used, [false, false, true]);
    }

    #[test]
    fn each_scale_has_its_own_scatter() {
        // Loads of one machine in turn over a truck scale, within 0.1 %, and in a cart, up to 2 % off.
        let of = |k: usize| {
            let off = [1.0, -0.4, -1.0, 0.7, 0.2, -0.8][k / 2 % 6];
            0.97 + off * if k.is_multiple_of(2) { 0.001 } else { 0.02 }
        };
        let factors: Vec<f64> = (0..24).map(of).collect();
        let mut t = tickets(&factors);
        (t.iter_mut().enumerate()).for_each(|(k, t)| t.scale = k % 2);
        let s = settle(&loads(26), &[], &t, &[TicketUse::Auto; 24]).unwrap();
        let sd = &s.adjusted.ticket_sd;
        assert!(sd[1] > 2.0 * sd[0], "{sd:?}");
        // Never better than a certified scale, and no better known than a few tickets allow.
        assert!(sd[0] >= 0.001);
        let few = run(&[0.97, 0.971, 0.969], &[TicketUse::Auto; 3]);
        assert!((0.001..0.01).contains(&few.adjusted.ticket_sd[0]));
        // The truck scale's word counts for more.
        assert!((s.adjusted.factor[25].exp() - 0.97).abs() < 0.003);
    }

    #[test]
    fn wet_grain_has_a_level_of_its_own_near_the_dry_ones() {
        // Ten loads in turn dry (0.97) and wet (0.94); two more of either kind, not weighed.
        let of = |l: usize| if l.is_multiple_of(2) { 0.97 } else { 0.94 };
        let mut nodes = loads(12);
        nodes
            .iter_mut()
            .enumerate()
            .for_each(|(l, n)| n.class = l % 2);
        let told = |n: usize| {
            let factors: Vec<f64> = (0..n).map(of).collect();
            let s = settle(&nodes, &[], &tickets(&factors), &[TicketUse::Auto; 10][..n]).unwrap();
            [10, 11].map(|l| (s.adjusted.factor[l].exp(), s.adjusted.sd[l]))
        };
        let [dry, wet] = told(10);
        assert!(
            (dry.0 - 0.97).abs() < 0.004 && (wet.0 - 0.94).abs() < 0.007,
            "{dry:?} {wet:?}"
        );
        // Where no wet load was weighed, wet grain has the dry factor and is less sure.
        let dry_only: Vec<TicketNode> = (tickets(&[0.97; 9]).into_iter().enumerate())
            .filter(|(l, _)| l % 2 == 0)
            .map(|(_, t)| t)
            .collect();
        let s = settle(&nodes, &[], &dry_only, &[TicketUse::Auto; 5]).unwrap();
        assert!((s.adjusted.factor[11].exp() - 0.97).abs() < 0.004);
        assert!(
            s.adjusted.sd[11] > 1.2 * s.adjusted.sd[10],
            "{:?}",
            s.adjusted.sd
        );
    }

    #[test]
    fn the_simpler_is_taken_where_it_predicts_better() {
        // Loads that scatter about one factor, neighbours in time on different sides: what comes before tells nothing.
        let around: Vec<f64> = (0..10)
            .map(|k| if k % 2 == 0 { 1.015 } else { 0.985 })
            .collect();
        let one = run(&around, &[TicketUse::Auto; 10]).one_factor[0].unwrap();
        assert!(one.wins(), "{one:?}");
        assert!(one.ln_factor.abs() < 1e-3);
        // Each is predicted by the other nine: 1 % and a ninth of it off.
        assert!((one.error - 0.015 * 10.0 / 9.0).abs() < 5e-4, "{one:?}");
        // A drift that goes on is told by neighbours in time.
        let drift: Vec<f64> = (0..10).map(|k| 1.0 + 0.01 * k as f64).collect();
        let s = run(&drift, &[TicketUse::Auto; 10]);
        let one = s.one_factor[0].unwrap();
        assert!(
            !one.wins() && s.leave_one_out.unwrap() < one.error,
            "{one:?}"
        );
        assert!(s.adjusted.factor[11] > s.adjusted.factor[5]);
        // Three tickets judge nothing.
        assert!(run(&around[..3], &[TicketUse::Auto; 3]).one_factor[0].is_none());
    }

    #[test]
    fn a_ticket_a_third_off_is_held_out_among_five() {
        let s = run(&[0.954, 0.941, 0.961, 0.939, 1.281], &[TicketUse::Auto; 5]);
        assert_eq!(s.doubts.iter().map(|d| d.ticket).collect::<Vec<_>>(), [4]);
    }

    #[test]
    fn a_wrong_ticket_shows_among_loads_that_scatter() {
        let mut factors = vec![
            1.03, 1.02, 0.97, 1.01, 1.0, 0.96, 1.0, 1.02, 0.98, 0.99, 1.0,
        ];
        factors.push(1.15);
        let s = run(&factors, &[TicketUse::Auto; 12]);
        assert_eq!(s.doubts.iter().map(|d| d.ticket).collect::<Vec<_>>(), [11]);
    }
}
