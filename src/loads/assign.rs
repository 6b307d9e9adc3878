use std::collections::BTreeMap;

use crate::log::{Clock, Log};
use crate::read::Ticket;

/// One load of one machine in a field; rows outside every load have a key without name.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
pub struct LoadKey {
    /// Index into the log's machines.
    pub machine: u32,
    /// The load's id; the ticket's where only a time window defines it. `None`: grain outside every load.
    pub name: Option<String>,
    /// Index into the field's tickets, where one weighed it.
    pub ticket: Option<usize>,
}

/// The loads of a field.
#[derive(Debug, Clone, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Loads {
    /// Every load that has rows, in order of machine and name.
    pub keys: Vec<LoadKey>,
    /// Index into `keys` per row of the log.
    pub of_row: Vec<u32>,
}

/// Gives every row its load: by the log's load column, by tickets' time windows, or, for a ticket that names neither,
/// the whole of what has no load.
pub fn assign(log: &Log, tickets: &[Ticket]) -> Loads {
    let mut found: BTreeMap<LoadKey, u32> = BTreeMap::new();
    let mut keys: Vec<LoadKey> = Vec::new();
    let mut of_row = Vec::with_capacity(log.len());
    // Which ticket names which load of which machine, looked up once per load and not per row.
    let by_name: Vec<Vec<Option<usize>>> = log
        .machines
        .iter()
        .map(|machine| {
            log.loads
                .iter()
                .map(|load| named(tickets, machine, load))
                .collect()
        })
        .collect();
    let windows: Vec<usize> = (0..tickets.len())
        .filter(|&t| windowed(&tickets[t]))
        .collect();
    let whole: Vec<Option<usize>> = log
        .machines
        .iter()
        .map(|m| whole_field(tickets, m))
        .collect();
    let mut last: Option<(LoadKey, u32)> = None;
    for i in 0..log.len() {
        let machine = log.machine[i];
        let m = machine as usize;
        let load = log.load[i].map(|l| l as usize);
        let in_window = || {
            windows
                .iter()
                .copied()
                .find(|&t| covers(&tickets[t], log, i) && of_machine(&tickets[t], &log.machines[m]))
        };
        let ticket = if windows.is_empty() {
            None
        } else {
            in_window()
        }
        .or_else(|| load.map_or(whole[m], |l| by_name[m][l]));
        let name = match (load, ticket) {
            (Some(l), _) => Some(log.loads[l].as_str()),
            (None, Some(t)) => Some(tickets[t].id.as_str()),
            (None, None) => None,
        };
        if let Some((key, index)) = &last
            && key.machine == machine
            && key.ticket == ticket
            && key.name.as_deref() == name
        {
            of_row.push(*index);
            continue;
        }
        let key = LoadKey {
            machine,
            name: name.map(str::to_owned),
            ticket,
        };
        let index = *found.entry(key.clone()).or_insert_with(|| {
            keys.push(key.clone());
            keys.len() as u32 - 1
        });
        of_row.push(index);
        last = Some((key, index));
    }
    // In order of machine and name, whatever the order in which they were met.
    let mut order: Vec<u32> = (0..keys.len() as u32).collect();
    order.sort_by(|&a, &b| keys[a as usize].cmp(&keys[b as usize]));
    let mut rank = vec![0u32; keys.len()];
    for (r, &k) in order.iter().enumerate() {
        rank[k as usize] = r as u32;
    }
    of_row.iter_mut().for_each(|k| *k = rank[*k as usize]);
    let keys = order.iter().map(|&k| keys[k as usize].clone()).collect();
    Loads { keys, of_row }
}

fn windowed(t: &Ticket) -> bool {
    t.start.is_some() || t.end.is_some()
}

fn of_machine(t: &Ticket, machine: &str) -> bool {
    t.machine.as_deref().is_none_or(|m| m == machine)
}

fn named(tickets: &[Ticket], machine: &str, load: &str) -> Option<usize> {
    tickets
        .iter()
        .position(|t| !windowed(t) && of_machine(t, machine) && t.loads.iter().any(|l| l == load))
}

fn whole_field(tickets: &[Ticket], machine: &str) -> Option<usize> {
    tickets
        .iter()
        .position(|t| !windowed(t) && t.loads.is_empty() && of_machine(t, machine))
}

/// Windows are half-open, [start, end); load ids may stand beside them.
fn covers(t: &Ticket, log: &Log, i: usize) -> bool {
    let time = log.time[i];
    log.sources[log.source[i] as usize].clock == Clock::Unix
        && t.start.is_none_or(|s| time >= s)
        && t.end.is_none_or(|e| time < e)
        && (t.loads.is_empty()
            || log.load[i].is_some_and(|l| t.loads.contains(&log.loads[l as usize])))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::Source;
    use crate::place::Place;
    use crate::read::TicketUse;

    fn ticket(
        id: &str,
        loads: &[&str],
        window: Option<(f64, f64)>,
        machine: Option<&str>,
    ) -> Ticket {
        Ticket {
            id: id.into(),
            place: Place::file("t.csv").row(1),
            loads: loads.iter().map(|s| (*s).to_owned()).collect(),
            net_kg: 1000.0,
            moisture_pct: None,
            field: None,
            machine: machine.map(str::to_owned),
            start: window.map(|w| w.0),
            end: window.map(|w| w.1),
            scale: None,
            usage: TicketUse::Auto,
        }
    }

    fn log(loads: &[Option<u32>], machine: &[u32]) -> Log {
        let n = loads.len();
        Log {
            sources: vec![Source {
                path: "a".into(),
                clock: Clock::Unix,
            }],
            machines: vec!["C1".into(), "C2".into()],
            loads: vec!["L1".into(), "L2".into()],
            source: vec![0; n],
            row: (1..=n as u32).collect(),
            machine: machine.to_vec(),
            load: loads.to_vec(),
            time: (0..n).map(|t| t as f64).collect(),
            ..Log::default()
        }
    }

    #[test]
    fn a_ticket_without_machine_weighs_the_load_of_both() {
        let l = assign(
            &log(&[Some(0), Some(0), Some(1), None], &[0, 1, 0, 0]),
            &[ticket("T1", &["L1"], None, None)],
        );
        let named: Vec<_> = l
            .keys
            .iter()
            .map(|k| (k.machine, k.name.as_deref(), k.ticket))
            .collect();
        assert_eq!(
            named,
            [
                (0, None, None),
                (0, Some("L1"), Some(0)),
                (0, Some("L2"), None),
                (1, Some("L1"), Some(0))
            ]
        );
        assert_eq!(l.of_row, [1, 3, 2, 0]);
    }

    #[test]
    fn windows_are_half_open_and_name_their_grain() {
        let l = assign(
            &log(&[None; 4], &[0, 0, 0, 1]),
            &[ticket("T9", &[], Some((1.0, 3.0)), Some("C1"))],
        );
        let of: Vec<_> = l
            .of_row
            .iter()
            .map(|&k| l.keys[k as usize].name.as_deref())
            .collect();
        assert_eq!(of, [None, Some("T9"), Some("T9"), None]);
    }

    #[test]
    fn a_ticket_that_names_nothing_weighs_what_has_no_load() {
        let l = assign(
            &log(&[None, Some(1)], &[0, 0]),
            &[ticket("T2", &[], None, None)],
        );
        let of: Vec<_> = l
            .of_row
            .iter()
            .map(|&k| l.keys[k as usize].ticket)
            .collect();
        assert_eq!(of, [Some(0), None]);
        assert!(assign(&log(&[], &[]), &[]).keys.is_empty());
    }
}
