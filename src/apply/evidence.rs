//! What the figures rest on, gathered for the pages.

use super::ground::Ground;
use super::map::Columns;
use super::parts;
use crate::checks::Limits;
use crate::evidence::{
    BeforeAfter, Evidence, Histogram, LimitsUsed, LoadGrounds, MachineGrounds, RampGrounds,
    SpacingGrounds,
};
use crate::map::YieldMap;
use crate::pool::{LoadDecision, MachineDecision, ScaleDecision};
use crate::prepare::Prepared;
use crate::ramps::Ramp;
use crate::stats::quantile;
use crate::summary::FactorBasis;
use crate::units::HECTARE_M2;

/// Classes that a distribution is shown in, about.
const CLASSES: f64 = 36.0;
/// Values looked at for where a distribution begins and ends (our choice: its ends need no more).
const LOOKED_AT: usize = 4_000;
/// Part of the values beyond either end of the classes; they are in the class at that end.
const BEYOND: f64 = 0.005;

pub(super) fn collect(
    field: &Prepared,
    machines: &[MachineDecision],
    scale: &ScaleDecision,
    ground: &Ground,
    columns: Columns,
    map: &YieldMap,
    limits: &Limits,
) -> Evidence {
    let kept = |i: usize| map.verdicts.is_kept(i);
    let area = |i: usize| field.width.new_area[i] / HECTARE_M2;
    let rows = 0..map.verdicts.len();
    let moisture = rows
        .clone()
        .filter(|&i| ground.corrected[i] > 0.0)
        .map(|i| (ground.moisture[i], ground.corrected[i] / 1000.0));
    let shares = rows
        .filter(|&i| field.passes.pass_of[i].is_some())
        .map(|i| (100.0 * field.width.share[i], area(i)));
    Evidence {
        machines: machines.iter().map(machine).collect(),
        loads: loads(field, scale, ground),
        yields: yields(map, &columns, &kept, &area),
        moisture: Histogram::over(moisture.collect(), None),
        cut_share: Histogram::over(shares.collect(), Some((0.0, 100.0))),
        parts: parts::of(field, ground, &columns, map),
        limits: Some(LimitsUsed {
            speed: limits.speed,
            yield_kg_ha: limits.yields,
            moisture: limits.moisture,
            cut_share: limits.cut_share.unwrap_or(field.width.least_share),
        }),
        spacing: spacing(field),
        boundary: boundary(field),
        x: columns.x,
        y: columns.y,
    }
}

fn machine(m: &MachineDecision) -> MachineGrounds {
    let ramp = |r: &Ramp| RampGrounds {
        seconds: r.seconds,
        from_data: r.from_data,
        passes: r.passes as u64,
        profile: r.profile.clone(),
    };
    MachineGrounds {
        name: m.machine.clone(),
        delay: Some(m.curve.clone()).filter(|c| !(c.field.is_empty() && c.machine.is_empty())),
        entry: ramp(&m.ramps.entry),
        exit: ramp(&m.ramps.exit),
    }
}

fn loads(field: &Prepared, scale: &ScaleDecision, ground: &Ground) -> Vec<LoadGrounds> {
    let keys = &field.loads.keys;
    let mut mass = vec![0.0; keys.len()];
    for (i, &l) in field.loads.of_row.iter().enumerate() {
        if field.faults.mass[i].is_finite() {
            mass[l as usize] += field.faults.mass[i];
        }
    }
    let mut reference = vec![(0.0, 0.0); keys.len()];
    for (i, &l) in ground.load.iter().enumerate() {
        reference[l as usize].0 += ground.reference[i];
        reference[l as usize].1 += ground.corrected[i];
    }
    let by_ticket = |d: &LoadDecision| d.basis == FactorBasis::Ticket;
    (0..keys.len())
        .map(|l| {
            let (mut weighed, mut logged) = (0.0, 0.0);
            for (k, d) in scale.loads.iter().enumerate() {
                if by_ticket(d) && keys[k].machine == keys[l].machine {
                    weighed += d.factor * mass[k];
                    logged += mass[k];
                }
            }
            LoadGrounds {
                machine_factor: (logged > 0.0).then(|| weighed / logged),
                doubt: scale.loads[l].doubt,
                reference_share: (reference[l].1 > 0.0).then(|| reference[l].0 / reference[l].1),
            }
        })
        .collect()
}

fn yields(
    map: &YieldMap,
    columns: &Columns,
    kept: &impl Fn(usize) -> bool,
    area: &impl Fn(usize) -> f64,
) -> Option<BeforeAfter> {
    let rows = 0..map.verdicts.len();
    let before: Vec<(f64, f64)> = rows
        .clone()
        .filter(|&i| map.yield_log[i] > 0.0)
        .map(|i| (map.yield_log[i], columns.log_area[i] / HECTARE_M2))
        .collect();
    let after: Vec<(f64, f64)> = rows
        .filter(|&i| kept(i))
        .map(|i| (map.yields[i], area(i)))
        .collect();
    let (a, b) = (ends(&before)?, ends(&after)?);
    let bounds = (a.0.min(b.0), a.1.max(b.1));
    Some(BeforeAfter {
        before: Histogram::over(before, Some(bounds))?,
        after: Histogram::over(after, Some(bounds))?,
    })
}

impl Histogram {
    /// (value, amount) in classes between `bounds`, or between where almost all values lie. Missing values and amounts
    /// count nothing. `None` where nothing is left.
    pub(super) fn over(values: Vec<(f64, f64)>, bounds: Option<(f64, f64)>) -> Option<Self> {
        let (low, high) = bounds.or_else(|| ends(&values))?;
        let step = round_step((high - low) / CLASSES)?;
        let from = (low / step).floor() * step;
        let classes = (((high - from) / step).ceil() as usize).clamp(1, 200);
        let mut amounts = vec![0.0; classes];
        for (value, amount) in values {
            if value.is_finite() && amount > 0.0 {
                let class = ((value - from) / step).floor().max(0.0) as usize;
                amounts[class.min(classes - 1)] += amount;
            }
        }
        Some(Self {
            from,
            step,
            amounts,
        })
    }
}

/// Where almost all values lie.
fn ends(values: &[(f64, f64)]) -> Option<(f64, f64)> {
    let stride = values.len().div_ceil(LOOKED_AT).max(1);
    let looked: Vec<f64> = values
        .iter()
        .step_by(stride)
        .map(|v| v.0)
        .filter(|v| v.is_finite())
        .collect();
    let low = quantile(&looked, BEYOND)?;
    let high = quantile(&looked, 1.0 - BEYOND)?;
    Some(if high > low {
        (low, high)
    } else {
        (low - 0.5, low + 0.5)
    })
}

/// 1, 2 or 5 times a power of ten, not below `least`.
fn round_step(least: f64) -> Option<f64> {
    if !(least > 0.0 && least.is_finite()) {
        return None;
    }
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .map(|m| m * power)
        .into_iter()
        .find(|s| *s >= least * 0.999)
}

fn spacing(field: &Prepared) -> SpacingGrounds {
    let widths: Vec<f64> = (0..field.input.log.len())
        .filter(|&i| field.passes.pass_of[i].is_some())
        .step_by(field.input.log.len().div_ceil(LOOKED_AT).max(1))
        .map(|i| field.passes.header_width[i])
        .collect();
    let spacing = &field.width.spacing;
    SpacingGrounds {
        header_m: quantile(&widths, 0.5),
        // Where the header is doubted, the distance that the doubt speaks of.
        gap_m: match &spacing.header_width_check {
            Some(c) => Some(c.spacing - c.entered),
            None => (spacing.offsets > 0).then_some(spacing.usual),
        },
        cross_track_sd_m: spacing.cross_track_sd,
    }
}

fn boundary(field: &Prepared) -> Vec<Vec<[f64; 2]>> {
    let Some(boundary) = &field.boundary else {
        return Vec::new();
    };
    let ring = |r: &geo::LineString<f64>| r.coords().map(|c| [c.x, c.y]).collect();
    (boundary.shape().iter())
        .flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()).map(ring))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_are_all_there_and_ends_hold_what_lies_beyond() {
        let mut values: Vec<(f64, f64)> = (0..1000).map(|i| (f64::from(i) / 100.0, 0.5)).collect();
        values.push((900.0, 2.0));
        values.push((f64::NAN, 7.0));
        values.push((1.0, f64::NAN));
        let h = Histogram::over(values, None).expect("values");
        assert!((h.amounts.iter().sum::<f64>() - 502.0).abs() < 1e-9);
        assert_eq!(h.step, 0.5);
        assert!(*h.amounts.last().expect("a class") > 2.0);
        assert!(h.amounts.len() < 40);
    }

    #[test]
    fn nothing_and_one_value_are_defined() {
        assert_eq!(Histogram::over(vec![], None), None);
        assert_eq!(Histogram::over(vec![(f64::NAN, 1.0)], None), None);
        let one = Histogram::over(vec![(3.0, 1.0); 5], None).expect("a value");
        assert!((one.amounts.iter().sum::<f64>() - 5.0).abs() < 1e-12);
    }

    #[test]
    fn steps_are_round() {
        for (least, step) in [
            (0.3, 0.5),
            (1.0, 1.0),
            (1.1, 2.0),
            (6.0, 10.0),
            (0.02, 0.02),
        ] {
            let found = round_step(least).expect("a step");
            assert!((found - step).abs() < 1e-12 * step, "{least}: {found}");
        }
        assert_eq!(round_step(0.0), None);
        assert_eq!(round_step(f64::NAN), None);
    }
}
