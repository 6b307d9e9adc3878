//! Which load would be worth weighing next time: where the tickets carry least.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::Serialize;

use super::join::{At, Batch, Group};
use super::level::Level;
use super::machines::{range, target_flow};
use super::{FEWEST_LOADS, FLOW_SPREAD, MOISTURE_CLASS};
use crate::stats::median;

/// Least grain that is worth a thought, kg (common practice: the least load that is worth weighing).
const LEAST_KG: f64 = super::LEAST_LOAD_KG;

/// A monitor without tickets errs by ± 10 % (extension literature).
const WITHOUT_TICKETS: f64 = 0.10;
/// What grain in another class of moisture may be off by under the wrong factor (our choice: half of the former).
const OTHER_MOISTURE: f64 = 0.05;
/// What an error that depends on flow may move from thin to thick crop within loads that all agree (our choice: what
/// loads may be off and still be said to agree).
const BENT: f64 = super::AGREE;

/// Why a load would be worth weighing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum NextReason {
    /// Nothing of the machine in this crop was weighed.
    Machine,
    /// Too few of its loads were.
    Count,
    /// Much wetter or drier grain than any that was weighed.
    Moisture,
    /// All loads weighed were cut at one flow.
    Flow,
    /// A day on which none was weighed.
    Day,
}

/// A load that would teach more than others.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NextLoad {
    /// Why.
    pub reason: NextReason,
    /// Machine.
    pub machine: String,
    /// Crop.
    pub crop: String,
    /// Logged grain that would rest on it, kg.
    pub rests_on_it_kg: f64,
    /// What of that may be in the wrong place or amount as long as it is not weighed, kg: the need for it.
    pub may_be_off_kg: f64,
    /// In words.
    pub text: String,
}

/// By need: the grain that may be in the wrong place or amount without it.
pub(super) fn worth_weighing(batch: &Batch, groups: &[(Group, Level)]) -> Vec<NextLoad> {
    let mut out = Vec::new();
    for (group, level) in groups {
        let gap = Gap {
            batch,
            group,
            level,
            weighed: (level.trusted.iter())
                .flat_map(|&w| batch.weighings[w].parts.iter().copied())
                .collect(),
        };
        out.extend(
            [
                gap.machine(),
                gap.count(),
                gap.moisture(),
                gap.flow(),
                gap.day(),
            ]
            .into_iter()
            .flatten()
            .filter(|n| n.rests_on_it_kg >= LEAST_KG),
        );
    }
    out.sort_by(|a, b| {
        (b.may_be_off_kg.total_cmp(&a.may_be_off_kg))
            .then(a.reason.cmp(&b.reason))
            .then_with(|| (&a.machine, &a.crop).cmp(&(&b.machine, &b.crop)))
    });
    out
}

/// A machine in a crop, with the loads that its trusted tickets weighed.
struct Gap<'a, 'b> {
    batch: &'a Batch<'b>,
    group: &'a Group<'b>,
    level: &'a Level,
    weighed: Vec<At>,
}

impl Gap<'_, '_> {
    /// `share`: what of the grain that rests on it may be off.
    fn next(&self, reason: NextReason, rests_on_it_kg: f64, share: f64, text: String) -> NextLoad {
        NextLoad {
            reason,
            machine: self.group.machine.to_owned(),
            crop: self.group.crop.to_owned(),
            rests_on_it_kg,
            may_be_off_kg: share * rests_on_it_kg,
            text,
        }
    }

    /// `a load of C1 in wheat (about 8 t)`: as large as the machine's loads are.
    fn a_load(&self) -> String {
        let sizes: Vec<f64> = (self.group.loads.iter())
            .filter(|at| self.batch.load(**at).evidence.load.is_some())
            .map(|at| self.batch.load(*at).evidence.mass_kg)
            .filter(|kg| *kg >= LEAST_KG)
            .map(|kg| self.level.factor().map_or(kg, |k| k * kg))
            .collect();
        let size =
            median(&sizes).map_or_else(String::new, |kg| format!(" (about {:.0} t)", kg / 1000.0));
        format!(
            "a full load of {} in {}{size}",
            self.group.machine, self.group.crop
        )
    }

    /// Loads that no trusted ticket weighed.
    fn unweighed(&self) -> impl Iterator<Item = At> + '_ {
        (self.group.loads.iter().copied()).filter(|at| !self.weighed.contains(at))
    }

    fn mass(&self, loads: impl Iterator<Item = At>) -> f64 {
        loads
            .map(|at| self.batch.load(at).evidence.mass_kg)
            .filter(|m| *m > 0.0)
            .sum()
    }

    fn machine(&self) -> Option<NextLoad> {
        let mass = self.mass(self.group.loads.iter().copied());
        self.level.trusted.is_empty().then(|| {
            self.next(
                NextReason::Machine,
                mass,
                WITHOUT_TICKETS,
                format!(
                    "{}, better four: {:.0} t were logged, and no ticket of that machine and crop alone can be relied on",
                    self.a_load(),
                    mass / 1000.0
                ),
            )
        })
    }

    fn count(&self) -> Option<NextLoad> {
        let n = self.level.trusted.len();
        (1..FEWEST_LOADS).contains(&n).then(|| {
            self.next(
                NextReason::Count,
                self.mass(self.group.loads.iter().copied()),
                (self.level.interval()).map_or(WITHOUT_TICKETS, |i| i.half.min(WITHOUT_TICKETS)),
                format!(
                    "{}: {} more than this season, each at another flow, so that a wrong ticket would show",
                    self.a_load(),
                    FEWEST_LOADS - n
                ),
            )
        })
    }

    fn moisture(&self) -> Option<NextLoad> {
        let logged = |at: At| self.batch.load(at).evidence.moisture_pct;
        let [low, high] = range(self.weighed.iter().filter_map(|&at| logged(at)))?;
        let beyond: Vec<At> = self
            .unweighed()
            .filter(|&at| {
                logged(at).is_some_and(|m| m < low - MOISTURE_CLASS || m > high + MOISTURE_CLASS)
            })
            .collect();
        let [from, to] = range(beyond.iter().filter_map(|&at| logged(at)))?;
        Some(self.next(
            NextReason::Moisture,
            self.mass(beyond.iter().copied()),
            OTHER_MOISTURE,
            format!(
                "{} as moist as those logged at {from:.0} to {to:.0} %: all that were weighed were logged at {low:.0} to {high:.0} %",
                self.a_load()
            ),
        ))
    }

    fn flow(&self) -> Option<NextLoad> {
        let flow = |at: At| Some(self.batch.load(at).evidence.flow_kg_s?[1]);
        let [low, high] = range(self.weighed.iter().filter_map(|&at| flow(at)))?;
        if self.level.trusted.len() < FEWEST_LOADS || high >= FLOW_SPREAD * low {
            return None;
        }
        Some(self.next(
            NextReason::Flow,
            self.mass(self.group.loads.iter().copied()),
            BENT * (1.0 - (high / low).ln() / FLOW_SPREAD.ln()),
            format!(
                "{} at about {} kg/s, driving slower or where the crop is thin: weighed so far {low:.1} to {high:.1} kg/s",
                self.a_load(),
                target_flow(low)
            ),
        ))
    }

    /// The day with most grain among those without a ticket.
    fn day(&self) -> Option<NextLoad> {
        if self.weighed.is_empty() {
            return None;
        }
        let mut days: BTreeMap<Date, f64> = BTreeMap::new();
        let seen: Vec<Date> = (self.weighed.iter())
            .filter_map(|&at| self.batch.load(at).date())
            .collect();
        for at in self.unweighed() {
            let load = self.batch.load(at);
            if let Some(day) = load.date().filter(|d| !seen.contains(d)) {
                *days.entry(day).or_default() += load.evidence.mass_kg;
            }
        }
        let (day, mass) = days
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))?;
        Some(self.next(
            NextReason::Day,
            mass,
            self.level.spread().unwrap_or(WITHOUT_TICKETS),
            format!(
                "{} on every day of harvest, because sensors stray from day to day: this season none was weighed on {}, when {:.0} t were logged",
                self.a_load(),
                day.strftime("%-d %b"),
                mass / 1000.0
            ),
        ))
    }
}
