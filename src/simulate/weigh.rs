//! The scale: which loads are weighed and what their tickets say.

use rand::RngExt;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use serde::Serialize;

use super::spec::{FieldSpec, Weighed};
use crate::place::Place;
use crate::read::{Ticket, TicketUse};

/// What is true of a load.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoadTruth {
    /// Its name in the log.
    pub load: String,
    /// Machine.
    pub machine: String,
    /// Wet mass that passed the sensor while the load lasted, kg.
    pub sensor_kg: f64,
    /// Its moisture, %.
    pub moisture_pct: f64,
    /// Σ flow·Δt of its rows before faults, kg.
    pub logged_kg: f64,
    /// The ticket that weighed it.
    pub ticket: Option<String>,
}

/// Least load that goes over a scale, kg: an empty wagon does not.
const LEAST_LOAD: f64 = 1.0;

/// Weighs the loads; notes in each load which ticket has it. The ids of wrong tickets are returned too.
pub(super) fn weigh(
    field: &FieldSpec,
    loads: &mut [LoadTruth],
    rng: &mut ChaCha8Rng,
) -> (Vec<Ticket>, Vec<String>) {
    let spec = &field.weighing;
    let chosen = choose(field, loads, rng);
    let groups = group(&chosen, loads, spec.joint_tickets);
    let mut tickets: Vec<Ticket> = Vec::new();
    for members in groups {
        let id = format!("{}-{}", field.key, 101 + tickets.len());
        let mass: f64 = members.iter().map(|&l| loads[l].sensor_kg).sum();
        let moisture = members
            .iter()
            .map(|&l| loads[l].sensor_kg * loads[l].moisture_pct)
            .sum::<f64>()
            / mass;
        for &l in &members {
            loads[l].ticket = Some(id.clone());
        }
        let (scale, tester): (f64, f64) = (rng.sample(StandardNormal), rng.sample(StandardNormal));
        tickets.push(Ticket {
            place: Place::file("tickets.csv").row(tickets.len() as u32 + 1),
            id,
            loads: members.iter().map(|&l| loads[l].load.clone()).collect(),
            net_kg: (mass * (1.0 + spec.scale_sd * scale)).round(),
            moisture_pct: Some(((moisture + spec.tester_sd * tester) * 10.0).round() / 10.0),
            field: Some(field.name.clone()),
            machine: None,
            start: None,
            end: None,
            scale: Some(spec.scale.clone()),
            usage: TicketUse::Auto,
        });
    }
    let mut wrong = Vec::new();
    if spec.wrong_ticket != 0.0 {
        let single: Vec<usize> = (0..tickets.len())
            .filter(|&t| tickets[t].loads.len() == 1)
            .collect();
        if !single.is_empty() {
            let t = &mut tickets[single[rng.random_range(0..single.len())]];
            t.net_kg = (t.net_kg * (1.0 + spec.wrong_ticket)).round();
            wrong.push(t.id.clone());
        }
    }
    (tickets, wrong)
}

/// Indices of the loads that are weighed, in order.
fn choose(field: &FieldSpec, loads: &[LoadTruth], rng: &mut ChaCha8Rng) -> Vec<usize> {
    let mut chosen = Vec::new();
    for machine in &field.machines {
        let mut of: Vec<usize> = (0..loads.len())
            .filter(|&l| loads[l].machine == machine.name && loads[l].sensor_kg >= LEAST_LOAD)
            .collect();
        let part = |share: f64| (share * of.len() as f64).round() as usize;
        match field.weighing.weighed {
            Weighed::All => {}
            Weighed::None => of.clear(),
            Weighed::First { share } => of.truncate(part(share)),
            Weighed::Random { share } => {
                let n = part(share);
                of.shuffle(rng);
                of.truncate(n);
            }
            Weighed::Machines(ref names) => {
                if !names.contains(&machine.name) {
                    of.clear();
                }
            }
        }
        chosen.extend(of);
    }
    chosen.sort_unstable();
    chosen
}

/// Joins the first loads of one machine in pairs; all others stand alone.
fn group(chosen: &[usize], loads: &[LoadTruth], joint: usize) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut pairs = 0;
    for &l in chosen {
        match groups.last_mut() {
            Some(g) if pairs < joint && g.len() == 1 && loads[g[0]].machine == loads[l].machine => {
                g.push(l);
                pairs += 1;
            }
            _ => groups.push(vec![l]),
        }
    }
    groups
}
