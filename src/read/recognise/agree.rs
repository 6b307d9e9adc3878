//! Two columns of grain beside each other: a flow and a yield of the same rows prove each other's units.

use super::assign::stated_unit;
use super::grain::{DISBELIEVED, Evidence, Reading, believable, common, yield_of};
use super::roles::{Role, SaidMoisture};
use crate::job::LogSettings;

/// How near two yields must be to be one, as a natural logarithm (our choice: the nearest two units of yield, 1 kg/ha and
/// 1 lb/ac, differ by 11 %, and medians of rows and of windows by 2 %).
const ONE: f64 = 0.05;

/// What a reading loses that no reading of the other column agrees with, where another does: 1 to 30 (our choice).
const ALONE: f64 = -3.4;

/// Weighs the readings of one header by those of others: where one of another kind of grain gives the same yield in
/// units that both can have, readings that give another are less likely. Only usual units and yields that a field has
/// count, so that few agree by chance.
pub(super) fn weigh(
    readings: &mut [Reading],
    header: usize,
    candidates: &[Role],
    settings: &LogSettings,
    e: &Evidence<'_>,
) {
    let wet = |r: &Role| matches!(r.moisture, SaidMoisture::Nothing | SaidMoisture::Wet);
    let agrees = |reading: &Reading| {
        let Some(ours) = reading
            .yields
            .filter(|y| believable(Some(*y), e.crop, e.crop_known) > DISBELIEVED)
        else {
            return false;
        };
        candidates
            .iter()
            .filter(|o| o.index != header && o.column != reading.role.column && wet(o))
            .any(|other| {
                let stated = stated_unit(other, settings);
                let Some(quantity) = other.column.quantity() else {
                    return false;
                };
                quantity
                    .units()
                    .filter(|u| stated.map_or(common(u) > -1.0, |s| s == *u))
                    .filter_map(|u| yield_of(other, u, e))
                    .any(|theirs| (ours / theirs).ln().abs() < ONE)
            })
    };
    let agree: Vec<bool> = readings.iter().map(|r| wet(&r.role) && agrees(r)).collect();
    if agree.iter().any(|a| *a) {
        for (reading, agrees) in readings.iter_mut().zip(agree) {
            reading.score += if agrees { 0.0 } else { ALONE };
        }
    }
}
