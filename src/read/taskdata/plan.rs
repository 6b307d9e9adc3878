//! Which values of a log are which column: by their identifiers and the elements that they belong to.

use super::ddi::Ddi;
use super::header::TlgHeader;
use super::set::{DeviceElement, TaskMachine, TaskSet};
use crate::job::LogColumn;

/// How a log says how much grain there was, the best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Grain {
    /// Wet mass per time.
    Flow,
    /// Volume per time, with a density.
    VolumeFlow,
    /// Dry mass per time, with a reference moisture.
    DryFlow,
    /// Wet mass per area.
    Yield,
    /// Volume per area, with a density.
    VolumeYield,
    /// Dry mass per area.
    DryYield,
    /// A total that runs on.
    Total,
}

impl Grain {
    /// All, the best first: a flow is what the sensor gave; a yield divides by a width that may be wrong; a total is
    /// in whole kilograms.
    pub const ALL: [Grain; 7] = [
        Grain::Flow,
        Grain::VolumeFlow,
        Grain::DryFlow,
        Grain::Yield,
        Grain::VolumeYield,
        Grain::DryYield,
        Grain::Total,
    ];

    pub fn ddi(self) -> Ddi {
        match self {
            Grain::Flow => Ddi::MASS_PER_TIME,
            Grain::VolumeFlow => Ddi::VOLUME_PER_TIME,
            Grain::DryFlow => Ddi::DRY_MASS_PER_TIME,
            Grain::Yield => Ddi::MASS_PER_AREA,
            Grain::VolumeYield => Ddi::VOLUME_PER_AREA,
            Grain::DryYield => Ddi::DRY_MASS_PER_AREA,
            Grain::Total => Ddi::TOTAL_MASS,
        }
    }

    /// The column of ours, and its unit.
    pub fn column(self) -> (LogColumn, &'static str) {
        match self {
            Grain::Flow | Grain::VolumeFlow | Grain::DryFlow => (LogColumn::Flow, "kg/s"),
            Grain::Yield | Grain::VolumeYield => (LogColumn::Yield, "kg/ha"),
            Grain::DryYield => (LogColumn::DryYield, "kg/ha"),
            Grain::Total => (LogColumn::Mass, "kg"),
        }
    }
}

/// Places of values in the header.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Plan {
    pub grain: Option<Grain>,
    /// Summed.
    pub grain_at: Vec<usize>,
    /// Summed: the sections' widths are the header's.
    pub width_at: Vec<usize>,
    /// Averaged.
    pub moisture_at: Vec<usize>,
    /// Any of them at work.
    pub work_at: Vec<usize>,
    pub condensed_at: Vec<usize>,
    pub speed_at: Option<usize>,
    pub density_at: Option<usize>,
    pub reference_at: Option<usize>,
    pub hold_at: Option<usize>,
    pub load_at: Option<usize>,
    /// Id of the element that carries the header.
    pub header_element: Option<String>,
    /// Id of the element that measures the grain.
    pub grain_element: Option<String>,
}

impl Plan {
    pub fn new(header: &TlgHeader, set: &TaskSet) -> Plan {
        let all = |ddi: Ddi| -> Vec<usize> {
            let values = header.values.iter().enumerate();
            values
                .filter(|(_, v)| v.ddi == Some(ddi))
                .map(|(k, _)| k)
                .collect()
        };
        // The machine as a whole (or its function) stands above its sections.
        let whole = |ddi: Ddi| -> Vec<usize> {
            let found = all(ddi);
            let kind = |k: usize| set.element(&header.values[k].element).map(|(_, e)| e.kind);
            match found
                .iter()
                .copied()
                .find(|&k| matches!(kind(k), Some(1 | 2)))
            {
                Some(one) => vec![one],
                None => found,
            }
        };
        let first = |ddi: Ddi| whole(ddi).first().copied();
        let (density_at, reference_at) = (first(Ddi::DENSITY), first(Ddi::REFERENCE_MOISTURE));
        let moisture_at = whole(Ddi::MOISTURE);
        let grain = Grain::ALL.into_iter().find(|g| {
            let complete = match g {
                Grain::VolumeFlow | Grain::VolumeYield => density_at.is_some(),
                Grain::DryFlow => reference_at.is_some() && !moisture_at.is_empty(),
                _ => true,
            };
            complete && !all(g.ddi()).is_empty()
        });
        let grain_at = grain.map(|g| whole(g.ddi())).unwrap_or_default();
        let width_at = [Ddi::WIDTH_ACTUAL, Ddi::WIDTH_DEFAULT, Ddi::WIDTH_MAXIMUM]
            .into_iter()
            .map(whole)
            .find(|found| !found.is_empty())
            .unwrap_or_default();
        let condensed = header.values.iter().enumerate();
        let condensed = condensed.filter(|(_, v)| v.ddi.is_some_and(Ddi::is_condensed));
        let work_at = whole(Ddi::WORK_STATE);
        let element = |at: &[usize]| {
            at.first()
                .map(|&k| header.values[k].element.clone())
                .filter(|e| !e.is_empty())
        };
        Plan {
            header_element: element(&width_at)
                .or_else(|| element(&work_at))
                .or_else(|| element(&grain_at)),
            grain_element: element(&grain_at),
            grain,
            grain_at,
            width_at,
            moisture_at,
            work_at,
            condensed_at: condensed.map(|(k, _)| k).collect(),
            speed_at: first(Ddi::SPEED),
            density_at,
            reference_at,
            hold_at: first(Ddi::YIELD_HOLD),
            load_at: first(Ddi::LOADED_ID),
        }
    }

    /// The machine that logged.
    pub fn machine<'a>(&self, header: &TlgHeader, set: &'a TaskSet) -> Option<&'a TaskMachine> {
        let of = |id: &String| set.element(id).map(|(machine, _)| machine);
        let stated = self.grain_element.as_ref().and_then(of);
        stated.or_else(|| header.values.iter().find_map(|v| of(&v.element)))
    }
}

/// A fixed value of an element, or of the elements it is part of.
pub(super) fn inherited(machine: &TaskMachine, element: &DeviceElement, ddi: Ddi) -> Option<i32> {
    let mut here = element;
    // As many steps as elements: parts that contain each other end too.
    for _ in 0..=machine.elements.len() {
        if let Some(value) = here.property(ddi) {
            return Some(value);
        }
        here = machine
            .elements
            .iter()
            .find(|e| e.object == here.parent && e.object != here.object)?;
    }
    None
}
