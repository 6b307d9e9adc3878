//! A crop's loads in parts that nothing ties to each other: for some sds of days, drift and loads, each part's equations
//! stand by themselves. So only one part's are in memory at once, however many machines a batch has.

use std::sync::Arc;

use super::Links;
use super::equations::{Linear, OfPart, Unknowns, flows, linearise, sum_links, unknowns};
use super::known::Known;
use super::nodes::{LoadNode, TicketNode};

/// Loads that machines, links and tickets tie to each other, numbered among themselves, as are their machines, classes and
/// days.
pub(super) struct Part<'a> {
    loads: Vec<LoadNode>,
    links: Vec<(Vec<usize>, &'a Links)>,
    tickets: Vec<TicketNode>,
    pub unknowns: Arc<Unknowns>,
    /// Log flow of each load about its machine's mean.
    flow: Vec<f64>,
}

/// All parts, and where everything is among them.
pub(super) struct Parts<'a> {
    pub all: Vec<Part<'a>>,
    /// Part, and number in it, of each load and of each moisture class.
    pub of_load: Vec<(usize, usize)>,
    pub of_class: Vec<(usize, usize)>,
    /// The part of each ticket, where it weighed anything, and the ticket's number in it.
    pub of_ticket: Vec<Option<(usize, usize)>>,
}

/// Numbers of some of all things, given out in the order in which they are met.
struct Numbers(Vec<Option<(usize, usize)>>);

impl Numbers {
    fn of(&mut self, thing: usize, part: usize, next: &mut usize) -> usize {
        let number = self.0[thing].get_or_insert_with(|| {
            *next += 1;
            (part, *next - 1)
        });
        number.1
    }

    fn all(self) -> Vec<(usize, usize)> {
        self.0.into_iter().flatten().collect()
    }
}

impl<'a> Parts<'a> {
    /// `None` where there are no loads.
    pub fn new(
        loads: &[LoadNode],
        links: &[(Vec<usize>, &'a Links)],
        tickets: &[TicketNode],
    ) -> Option<Self> {
        let machines = loads.iter().map(|l| l.machine + 1).max()?;
        let classes = loads.iter().map(|l| l.class + 1).max()?;
        let days = loads.iter().map(|l| l.day + 1).max()?;
        let part_of_machine = tied(loads, machines, links, tickets);
        let count = part_of_machine.iter().map(|p| p + 1).max()?;
        let part_of = |l: usize| part_of_machine[loads[l].machine];
        let mut nodes: Vec<Vec<LoadNode>> = vec![Vec::new(); count];
        let mut next = vec![[0; 4]; count];
        let [mut of_load, mut of_machine, mut of_class, mut of_day] =
            [loads.len(), machines, classes, days].map(|n| Numbers(vec![None; n]));
        // The least number first, so that parts keep the order of the whole.
        for (numbers, of, k) in [
            (
                &mut of_machine,
                (|l| l.machine) as fn(&LoadNode) -> usize,
                1,
            ),
            (&mut of_class, |l| l.class, 2),
            (&mut of_day, |l| l.day, 3),
        ] {
            let mut things: Vec<(usize, usize)> = (0..loads.len())
                .map(|l| (of(&loads[l]), part_of(l)))
                .collect();
            things.sort_unstable();
            things.dedup();
            for (thing, part) in things {
                numbers.of(thing, part, &mut next[part][k]);
            }
        }
        for l in 0..loads.len() {
            let part = part_of(l);
            of_load.of(l, part, &mut next[part][0]);
        }
        let [of_load, of_machine, of_class, of_day] =
            [of_load, of_machine, of_class, of_day].map(Numbers::all);
        for (l, load) in loads.iter().enumerate() {
            nodes[part_of(l)].push(LoadNode {
                machine: of_machine[load.machine].1,
                class: of_class[load.class].1,
                day: of_day[load.day].1,
                before: load.before.map(|b| of_load[b].1),
                ..*load
            });
        }
        let local = |group: &[usize]| -> Option<(usize, Vec<usize>)> {
            let part = of_load[*group.first()?].0;
            Some((part, group.iter().map(|&l| of_load[l].1).collect()))
        };
        let mut own_links: Vec<Vec<(Vec<usize>, &'a Links)>> = vec![Vec::new(); count];
        for (group, links) in links {
            if let Some((part, group)) = local(group) {
                own_links[part].push((group, links));
            }
        }
        let mut own_tickets: Vec<Vec<TicketNode>> = vec![Vec::new(); count];
        let of_ticket = (tickets.iter())
            .map(|ticket| {
                let (part, parts) = local(&ticket.parts)?;
                own_tickets[part].push(TicketNode {
                    parts,
                    ..ticket.clone()
                });
                Some((part, own_tickets[part].len() - 1))
            })
            .collect();
        let all: Option<Vec<Part>> = (nodes.into_iter().zip(own_links).zip(own_tickets))
            .map(|((loads, links), tickets)| {
                let unknowns = Arc::new(unknowns(&loads, &links, &tickets)?);
                Some(Part {
                    flow: flows(&loads, unknowns.machines),
                    loads,
                    links,
                    tickets,
                    unknowns,
                })
            })
            .collect();
        Some(Self {
            all: all?,
            of_load,
            of_class,
            of_ticket,
        })
    }

    /// What links add to each part's equations, see [`sum_links`].
    pub fn sum_links(&self, trust: f64) -> Option<Vec<(Vec<f64>, Vec<f64>)>> {
        let of = |p: &Part| sum_links(&p.loads, &p.links, trust, &p.unknowns);
        self.all.iter().map(of).collect()
    }

    /// The tickets that are used, made linear about some log factors, by part.
    pub fn linear(&self, used: &[bool], about: &[f64]) -> Vec<Vec<Option<Linear>>> {
        let mut own_about: Vec<Vec<f64>> = vec![Vec::new(); self.all.len()];
        for (&(part, _), about) in self.of_load.iter().zip(about) {
            own_about[part].push(*about);
        }
        let mut out: Vec<Vec<Option<Linear>>> = vec![Vec::new(); self.all.len()];
        for (place, used) in self.of_ticket.iter().zip(used) {
            let Some((part, number)) = *place else {
                continue;
            };
            let of = &self.all[part];
            let linear = used.then(|| linearise(&of.tickets[number], &of.loads, &own_about[part]));
            out[part].push(linear.flatten());
        }
        out
    }
}

impl Part<'_> {
    /// Its equations.
    pub fn equations<'p>(
        &'p self,
        known: &'p Known,
        linear: &'p [Option<Linear>],
        from_links: &'p (Vec<f64>, Vec<f64>),
    ) -> OfPart<'p> {
        OfPart {
            loads: &self.loads,
            known,
            linear,
            unknowns: &self.unknowns,
            flow: &self.flow,
            from_links,
        }
    }
}

/// The part of each machine, numbered in the order of the machines.
fn tied(
    loads: &[LoadNode],
    machines: usize,
    links: &[(Vec<usize>, &Links)],
    tickets: &[TicketNode],
) -> Vec<usize> {
    let mut above: Vec<usize> = (0..machines).collect();
    fn top(above: &mut [usize], mut m: usize) -> usize {
        while above[m] != m {
            above[m] = above[above[m]];
            m = above[m];
        }
        m
    }
    let groups = (links.iter().map(|(g, _)| g)).chain(tickets.iter().map(|t| &t.parts));
    for group in groups {
        for pair in group.windows(2) {
            let [a, b] = [pair[0], pair[1]].map(|l| top(&mut above, loads[l].machine));
            above[a.max(b)] = a.min(b);
        }
    }
    let mut number = vec![None; machines];
    let mut next = 0;
    (0..machines)
        .map(|m| {
            *number[top(&mut above, m)].get_or_insert_with(|| {
                next += 1;
                next - 1
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::known::Wander;
    use super::super::wander::adjust;
    use super::*;

    fn load(machine: usize, day: usize, before: Option<usize>) -> LoadNode {
        LoadNode {
            machine,
            class: machine,
            day,
            before,
            logged: 8_000.0 + 500.0 * day as f64,
            ln_flow: 2.5 + 0.1 * day as f64,
        }
    }

    fn ticket(parts: &[usize], net: f64) -> TicketNode {
        TicketNode {
            parts: parts.to_vec(),
            net,
            sd: 0.001,
            edges: 0.0,
            scale: 0,
        }
    }

    /// Machines 0 and 2 share a ticket, machine 1 stands alone: by itself it comes out as in the whole.
    #[test]
    fn what_nothing_ties_is_adjusted_by_itself() {
        let loads = [
            load(0, 0, None),
            load(1, 1, None),
            load(0, 0, Some(0)),
            load(1, 2, Some(1)),
            load(2, 3, None),
        ];
        let tickets = [
            ticket(&[1], 8_900.0),
            ticket(&[2, 4], 17_000.0),
            ticket(&[], 5_000.0),
            ticket(&[0], 8_300.0),
        ];
        let parts = Parts::new(&loads, &[], &tickets).unwrap();
        assert_eq!(parts.of_load, [(0, 0), (1, 0), (0, 1), (1, 1), (0, 2)]);
        assert_eq!(parts.of_class, [(0, 0), (1, 0), (0, 1)]);
        assert_eq!(
            parts.of_ticket,
            [Some((1, 0)), Some((0, 0)), None, Some((0, 1))]
        );
        let known = Known {
            wander: Some(Wander {
                load: 0.02,
                day: 0.01,
                drift: 0.005,
            }),
            ..Known::with_trust(0.0)
        };
        let whole = adjust(&loads, &[], &tickets, &[true; 4], &known).unwrap();
        let alone = [load(0, 0, None), load(0, 1, Some(0))].map(|l| LoadNode {
            class: 0,
            logged: l.logged + 500.0,
            ln_flow: l.ln_flow + 0.1,
            ..l
        });
        let alone = adjust(&alone, &[], &[ticket(&[0], 8_900.0)], &[true], &known).unwrap();
        for (l, k) in [(1, 0), (3, 1)] {
            assert!((whole.factor[l] - alone.factor[k]).abs() < 1e-12);
            assert!((whole.sd[l] - alone.sd[k]).abs() < 1e-12);
        }
        assert!(whole.left_out[2].0.is_nan());
        // Nothing is shared, so variances of a difference add up.
        let widest = whole.widest().unwrap();
        let of = |shares: &[(usize, f64)]| whole.variance(&widest, shares);
        let apart = of(&[(0, 1.0)]) + of(&[(3, 1.0)]);
        assert!((of(&[(0, 1.0), (3, -1.0)]) - apart).abs() < 1e-12);
        assert!((of(&[(0, 1.0), (4, -1.0)]) - of(&[(0, 1.0)]) - of(&[(4, 1.0)])).abs() > 1e-9);
    }
}
