//! Every machine over its crops: what it gets wrong alike in all of them is the machine's, not a crop's.

use serde::Serialize;

use super::join::Group;
use super::level::Level;
use crate::calibrate::course::Course;

/// A machine over its crops.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MachineOverall {
    /// Machine.
    pub machine: String,
    /// Its crops with tickets, in order of their names.
    pub crops: Vec<CropLevel>,
    /// Whether the crops differ by no more than is uncertain; null with fewer than two, and where a crop has several levels.
    pub alike: Option<bool>,
    /// In words.
    pub text: String,
}

/// What a machine reads in a crop.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CropLevel {
    /// Crop.
    pub crop: String,
    /// Logged over weighed less one, %: + where the machine reads high.
    pub reads_pct: f64,
    /// Half of its 95 % interval, points.
    pub ci95_pct: Option<f64>,
    /// Whether its factors in this crop step or slide, so that this is the mean of several levels.
    pub changes: bool,
}

/// Machines that have a factor in any crop, in order of their names.
pub(super) fn audit(groups: &[(Group, Level)]) -> Vec<MachineOverall> {
    let mut out: Vec<MachineOverall> = Vec::new();
    for (group, level) in groups {
        let Some(factor) = level.factor() else {
            continue;
        };
        let crop = CropLevel {
            crop: group.crop.to_owned(),
            reads_pct: 100.0 * (1.0 / factor - 1.0),
            ci95_pct: level.interval().map(|i| 100.0 * i.half.exp_m1() / factor),
            changes: level.course != Course::Steady,
        };
        match out.last_mut().filter(|m| m.machine == group.machine) {
            Some(machine) => machine.crops.push(crop),
            None => out.push(MachineOverall {
                machine: group.machine.to_owned(),
                crops: vec![crop],
                alike: None,
                text: String::new(),
            }),
        }
    }
    for machine in &mut out {
        machine.alike = alike(&machine.crops);
        machine.text = text(machine);
    }
    out
}

/// Whether no two crops differ by more than both their intervals together.
fn alike(crops: &[CropLevel]) -> Option<bool> {
    if crops.iter().any(|c| c.changes) {
        return None;
    }
    let near = |a: &CropLevel, b: &CropLevel| {
        let both = a.ci95_pct?.hypot(b.ci95_pct?);
        Some((a.reads_pct - b.reads_pct).abs() <= both)
    };
    let pairs = || {
        (crops.iter().enumerate()).flat_map(|(k, a)| crops[k + 1..].iter().map(move |b| near(a, b)))
    };
    let all: Option<Vec<bool>> = pairs().collect();
    all.filter(|all| !all.is_empty())
        .map(|all| all.into_iter().all(|near| near))
}

fn text(m: &MachineOverall) -> String {
    let each: Vec<String> = (m.crops.iter())
        .map(|c| {
            let side = if c.reads_pct < 0.0 { "low" } else { "high" };
            let mean = if c.changes { " on average" } else { "" };
            format!("{:.1} % {side} in {}{mean}", c.reads_pct.abs(), c.crop)
        })
        .collect();
    let judged = match m.alike {
        None if m.crops.len() > 1 && m.crops.iter().any(|c| c.changes) => {
            ": its factors change within a crop (see there), so its crops cannot be compared as wholes"
        }
        None => "",
        Some(true) => {
            ": alike in all its crops, so look for the cause in the machine, not in a crop"
        }
        Some(false) => ": not alike, so calibrate it in each crop by itself",
    };
    format!("{} reads {}{judged}", m.machine, each.join(", "))
}
