//! Tickets with all that they weighed, over the batch.

use std::collections::{BTreeMap, BTreeSet};

use super::{AuditField, AuditLoad};
use crate::loads::TicketRef;
use crate::read::{Ticket, TicketUse};

/// A load is an opening load where at least this share of its grain was cut across the field (our choice: of a round
/// of the headland about a third lies across) …
const OPENING_CROSSING: f64 = 0.3;
/// … and less than this share of the field had been cut before it (our choice).
const OPENING_BEFORE: f64 = 0.3;

/// A load of the batch: index of its field, index in it.
pub(super) type At = (usize, usize);

/// A ticket with all its parts.
pub(super) struct Weighing<'a> {
    pub ticket: &'a Ticket,
    /// Loads that it weighed.
    pub parts: Vec<At>,
    /// Fields that know of it.
    pub fields: Vec<usize>,
    /// Grain that was logged for it, faults replaced, kg.
    pub logged_kg: f64,
    /// Variance of that from the ends of its loads, kg².
    edges: f64,
}

impl Weighing<'_> {
    /// Whether its weight can be held against what was logged.
    pub fn comparable(&self) -> bool {
        let factor = self.factor();
        factor.is_finite() && factor > 0.0
    }

    /// Whether it says something of its machine: comparable, and the user does not forbid it.
    pub fn usable(&self) -> bool {
        self.comparable() && self.ticket.usage != TicketUse::No
    }

    /// Weighed over logged mass.
    pub fn factor(&self) -> f64 {
        self.ticket.net_kg / self.logged_kg
    }

    /// Relative sd of the logged mass, because nobody knows to the second where its loads end.
    pub fn edges(&self) -> f64 {
        self.edges.sqrt() / self.logged_kg
    }
}

/// A machine in a crop.
pub(super) struct Group<'a> {
    pub machine: &'a str,
    pub crop: &'a str,
    /// Tickets whose every part is this machine's in this crop.
    pub weighings: Vec<usize>,
    /// All its loads.
    pub loads: Vec<At>,
}

/// The fields with their tickets joined.
pub(super) struct Batch<'a> {
    pub fields: &'a [AuditField],
    pub weighings: Vec<Weighing<'a>>,
}

impl<'a> Batch<'a> {
    pub fn new(fields: &'a [AuditField]) -> Self {
        let mut all: BTreeMap<TicketRef, Weighing<'a>> = BTreeMap::new();
        for (f, field) in fields.iter().enumerate() {
            for ticket in &field.tickets {
                all.entry(TicketRef::of(ticket))
                    .or_insert_with(|| Weighing {
                        ticket,
                        parts: Vec::new(),
                        fields: Vec::new(),
                        logged_kg: 0.0,
                        edges: 0.0,
                    })
                    .fields
                    .push(f);
            }
            for (l, load) in field.loads.iter().enumerate() {
                let ticket = load.evidence.ticket.as_ref();
                if let Some(weighing) = ticket.and_then(|t| all.get_mut(t)) {
                    weighing.parts.push((f, l));
                    weighing.logged_kg += load.evidence.mass_kg;
                    weighing.edges += load.evidence.edges_kg.powi(2);
                }
            }
        }
        Self {
            fields,
            weighings: all.into_values().collect(),
        }
    }

    pub fn load(&self, at: At) -> &'a AuditLoad {
        &self.fields[at.0].loads[at.1]
    }

    /// Machines in crops that logged grain, in order of their names.
    pub fn groups(&self) -> Vec<Group<'a>> {
        let mut groups: BTreeMap<(&str, &str), Group<'a>> = BTreeMap::new();
        for (f, field) in self.fields.iter().enumerate() {
            for (l, load) in field.loads.iter().enumerate() {
                let (machine, crop) = (load.evidence.machine.as_str(), field.crop.as_str());
                groups
                    .entry((machine, crop))
                    .or_insert_with(|| Group {
                        machine,
                        crop,
                        weighings: Vec::new(),
                        loads: Vec::new(),
                    })
                    .loads
                    .push((f, l));
            }
        }
        for (w, weighing) in self.weighings.iter().enumerate() {
            if let [only] = self.keys(weighing).as_slice()
                && let Some(group) = groups.get_mut(only)
            {
                group.weighings.push(w);
            }
        }
        groups.into_values().collect()
    }

    /// The machines and crops that a ticket weighed.
    pub fn keys(&self, weighing: &Weighing<'a>) -> Vec<(&'a str, &'a str)> {
        let key = |&(f, l): &At| {
            let field = &self.fields[f];
            (
                field.loads[l].evidence.machine.as_str(),
                field.crop.as_str(),
            )
        };
        let keys: BTreeSet<(&str, &str)> = weighing.parts.iter().map(key).collect();
        keys.into_iter().collect()
    }

    /// Logged moisture over loads, weighted by the grain that it was measured in, %.
    pub fn logged_moisture(&self, parts: &[At]) -> Option<f64> {
        let (mut wet, mut mass) = (0.0, 0.0);
        for &at in parts {
            let load = &self.load(at).evidence;
            if let Some(moisture) = load.moisture_pct {
                let with = load.mass_kg * load.moisture_share;
                wet += moisture * with;
                mass += with;
            }
        }
        (mass > 0.0).then(|| wet / mass)
    }

    /// 10th, 50th and 90th percentile of flow over loads: the lowest, the mean by grain, the highest, kg/s.
    pub fn flow(&self, parts: &[At]) -> Option<[f64; 3]> {
        let loads = || parts.iter().map(|&at| &self.load(at).evidence);
        let mass: f64 = loads()
            .filter(|e| e.flow_kg_s.is_some())
            .map(|e| e.mass_kg)
            .sum();
        let middle: f64 = loads()
            .filter_map(|e| Some(e.flow_kg_s?[1] * e.mass_kg))
            .sum();
        let low = loads()
            .filter_map(|e| Some(e.flow_kg_s?[0]))
            .min_by(f64::total_cmp)?;
        let high = loads()
            .filter_map(|e| Some(e.flow_kg_s?[2]))
            .max_by(f64::total_cmp)?;
        (mass > 0.0).then(|| [low, middle / mass, high])
    }

    /// When the first of some loads began, in the job's time zone.
    pub fn begins(&self, parts: &[At]) -> Option<jiff::civil::DateTime> {
        parts.iter().filter_map(|&at| self.load(at).begins).min()
    }

    /// First day of loads.
    pub fn date(&self, parts: &[At]) -> Option<jiff::civil::Date> {
        self.begins(parts).map(|t| t.date())
    }

    /// First instant of loads, Unix s.
    pub fn start(&self, parts: &[At]) -> Option<f64> {
        let starts = parts.iter().filter_map(|&at| self.load(at).start);
        starts.min_by(f64::total_cmp)
    }

    /// Share of the grain of a ticket that was cut across its field's main direction, where that was early in the
    /// field, and much: grain of the first rounds.
    pub fn opening_share(&self, parts: &[At]) -> Option<f64> {
        let (mut crossing, mut mass) = (0.0, 0.0);
        let mut earlier = f64::INFINITY;
        for &at in parts {
            let load = self.load(at);
            crossing += load.crossing_share? * load.evidence.mass_kg;
            mass += load.evidence.mass_kg;
            earlier = earlier.min(load.earlier_share?);
        }
        (crossing >= OPENING_CROSSING * mass && earlier < OPENING_BEFORE).then(|| crossing / mass)
    }
}
