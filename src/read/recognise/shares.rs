//! What the row of a section counts: the section's own part, or the whole header's, repeated.

use super::Recognised;
use super::motion::median;
use super::sample::Sample;
use crate::job::{LogColumn, LogSettings, SectionShare};
use crate::log::WorkState;
use crate::read::log_row::work_state;
use crate::units::{Quantity, Unit};

/// How near to a section's or the header's width a width must be, as a natural logarithm (our choice: positions of
/// sections are computed from their widths, so that they agree within rounding).
const ALIKE: f64 = 0.15;

/// How near to the distance between passes (our choice: drivers overlap by up to a tenth; two sections differ by 0.69).
const ALIKE_PASSES: f64 = 0.3;

/// Rows of the sample whose section is not said to be off.
pub(super) fn at_work(sample: &Sample, first: &Recognised) -> Vec<bool> {
    let state = first.get(LogColumn::WorkState).map(|f| f.index);
    let width = first.get(LogColumn::Width).map(|f| f.index);
    let off = if first.work_inverted {
        WorkState::Working
    } else {
        WorkState::NotWorking
    };
    (0..sample.rows)
        .map(|k| {
            state.is_none_or(|s| work_state(sample.columns[s].text(k).as_bytes()) != Some(off))
                && width.is_none_or(|w| sample.columns[w].numbers[k] != 0.0)
        })
        .collect()
}

/// Whether sections at work have parts of their own: in half of the moments they differ.
pub(super) fn parts_differ(
    sample: &Sample,
    index: usize,
    groups: &[Vec<u32>],
    works: &[bool],
) -> bool {
    let values = &sample.columns[index].numbers;
    let (mut told, mut differing) = (0usize, 0usize);
    for g in groups {
        let mut parts = g
            .iter()
            .map(|k| *k as usize)
            .filter(|k| works[*k] && values[*k] > 0.0)
            .map(|k| values[k]);
        let Some(first) = parts.next() else { continue };
        let rest: Vec<f64> = parts.collect();
        if !rest.is_empty() {
            told += 1;
            differing += usize::from(rest.iter().any(|v| *v != first));
        }
    }
    told > 0 && differing * 2 > told
}

/// Whose the width in the rows is; `None` where nothing tells. `sections`: how many there are; `apart`: how far they lie
/// apart, m; `passes`: how far passes do.
pub(super) fn whose_width(
    (sections, apart): (usize, Option<f64>),
    sample: &Sample,
    column: usize,
    first: &Recognised,
    settings: &LogSettings,
    passes: Option<f64>,
) -> Option<SectionShare> {
    if settings.section_width.is_some() {
        return settings.section_width;
    }
    let usual = median(
        sample.columns[column]
            .numbers
            .iter()
            .copied()
            .filter(|w| *w > 0.0),
    )?;
    let n = sections as f64;
    let stated = first.get(LogColumn::Width).and_then(|f| f.unit);
    let units = || {
        Quantity::Length
            .units()
            .filter(move |u: &&'static Unit| stated.is_none_or(|s| s == *u))
    };
    let fits = |width: f64, within: f64| {
        units().any(|u| (usual * u.factor(f64::NAN) / width).ln().abs() < within)
    };
    let told = |one: f64, all: f64, within: f64| match (fits(one, within), fits(all, within)) {
        (true, false) => Some(SectionShare::Own),
        (false, true) => Some(SectionShare::Whole),
        _ => None,
    };
    let by_sections = apart.and_then(|apart| told(apart, n * apart, ALIKE));
    let by_passes = || passes.and_then(|p| told(p / n, p, ALIKE_PASSES));
    // 1 to 20 m, as everywhere: no header is narrower or wider.
    let possible = |w: f64| units().any(|u| (1.0..20.0).contains(&(w * u.factor(f64::NAN))));
    let by_size = || match (possible(usual * n), possible(usual)) {
        (true, false) => Some(SectionShare::Own),
        (false, true) => Some(SectionShare::Whole),
        _ => None,
    };
    by_sections.or_else(by_passes).or_else(by_size)
}
