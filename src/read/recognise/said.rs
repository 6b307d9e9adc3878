//! What a header says of the moisture at which its grain is counted.

use super::grain::Evidence;
use super::roles::{Role, SaidMoisture};
use super::{Recognised, Severity};
use crate::job::{GrainMoisture, LogColumn, LogSettings};
use crate::units::Quantity;

/// At which moisture the grain is counted.
pub(super) fn moisture(
    role: &Role,
    settings: &LogSettings,
    e: &Evidence<'_>,
    out: &mut Recognised,
) {
    let header = &e.sample.columns[role.index].header;
    let name = role.column.name();
    let said = match role.moisture {
        SaidMoisture::Wet => Some(GrainMoisture::Harvest),
        SaidMoisture::At(pct) => Some(GrainMoisture::At(pct)),
        SaidMoisture::Dry => Some(GrainMoisture::Reference),
        SaidMoisture::Nothing => None,
    };
    out.grain_moisture = settings
        .at_moisture
        .or(said)
        .unwrap_or(GrainMoisture::Harvest);
    // A yield at the crop's reference moisture is a column of its own, unless the job says at which it is.
    let dry = matches!(role.moisture, SaidMoisture::Dry)
        && role.column.quantity() == Some(Quantity::Yield);
    for found in &mut out.columns {
        if found.index == role.index && found.column.quantity() == Some(Quantity::Yield) {
            found.column = match dry && settings.at_moisture.is_none() {
                true => LogColumn::DryYield,
                false => LogColumn::Yield,
            };
        }
    }
    if settings.at_moisture.is_some() {
        return;
    }
    if dry {
        out.grain_moisture = GrainMoisture::Harvest; // turned back with its area
    }
    if role.column == LogColumn::DryYield {
        return; // the job says so
    }
    match role.moisture {
        SaidMoisture::Dry => out.remark(
            Severity::Warn,
            "moisture-already-corrected",
            format!(
                "the {name} is said to be dry or corrected; it is taken to be at the crop's reference moisture and brought back to the moisture of each row. If it is at another: [log] at_moisture = \"0 %\" (dry matter), \"14 %\" or \"harvest\""
            ),
            Some(role.index),
        ),
        SaidMoisture::At(pct) => out.remark(
            Severity::Warn,
            "moisture-already-corrected",
            format!("the {name} is at {pct} % moisture and is brought back to the moisture of each row. If not: [log] at_moisture = \"harvest\""),
            Some(role.index),
        ),
        SaidMoisture::Nothing if role.column == LogColumn::Yield => out.ask(
            role.index,
            format!("\"{header}\" does not say whether its yield is as harvested or at the crop's reference moisture; it is read as harvested"),
            vec!["at_moisture = \"harvest\"".to_owned(), "at_moisture = \"reference\"".to_owned()],
            false,
        ),
        _ => {}
    }
}
