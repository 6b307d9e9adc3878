//! Grain that a log counts at another moisture than it was harvested at, back to wet grain.

use super::error::{ReadError, ReadErrorKind};
use super::layout::slot;
use super::log_file::LogFile;
use crate::crop::Crop;
use crate::job::{GrainMoisture, LogColumn, LogSettings};
use crate::place::Place;

/// Brings flow, mass and yield from the moisture at which the log counts them to that of each row:
///
///   wet = counted · (100 − M_at) / (100 − M)
///
/// because dry matter is the same at both. A row without a moisture takes the file's median.
///
/// # Errors
/// Where neither the file nor the job has a moisture.
pub(super) fn restore(
    file: &mut LogFile,
    crop: &Crop,
    settings: &LogSettings,
) -> Result<(), ReadError> {
    let at = match file.recognised.grain_moisture {
        GrainMoisture::Harvest => return Ok(()),
        GrainMoisture::Reference => crop.reference_moisture,
        GrainMoisture::At(pct) => pct,
    };
    let logged = &file.numbers[slot(LogColumn::Moisture)];
    let believed = |m: &f64| *m > 0.0 && *m < 80.0;
    let mut sorted: Vec<f64> = logged.iter().copied().filter(believed).collect();
    sorted.sort_by(f64::total_cmp);
    let usual = sorted.get(sorted.len() / 2).copied().or(settings.moisture);
    let Some(usual) = usual else {
        let error = ReadError::new(
            ReadErrorKind::NoColumn,
            Place::file(&file.path),
            format!("the moisture of each row, as its grain is counted at {at} %"),
            "no moisture",
        );
        return Err(error.hinted(
            "write in the job file: [log] moisture = \"15 %\" (as harvested), or at_moisture = \"harvest\" if the grain is counted wet",
        ));
    };
    let moisture: Vec<f64> = (0..file.row.len())
        .map(|k| logged.get(k).copied().filter(believed).unwrap_or(usual))
        .collect();
    for column in [LogColumn::Flow, LogColumn::Mass, LogColumn::Yield] {
        for (value, m) in file.numbers[slot(column)].iter_mut().zip(&moisture) {
            *value *= (100.0 - at) / (100.0 - m);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(columns: &[(LogColumn, Vec<f64>)], at: GrainMoisture) -> LogFile {
        let mut file = LogFile::default();
        for (column, values) in columns {
            file.row = (1..=values.len() as u32).collect();
            file.numbers[slot(*column)].clone_from(values);
        }
        file.recognised.grain_moisture = at;
        file
    }

    /// By hand: 100 kg at 13.5 % are 86.5 kg of dry matter, which at 20 % weigh 108.125 kg.
    #[test]
    fn dry_grain_gets_its_water_back() {
        let wheat = Crop::built_in("wheat").expect("in the table");
        let masses = (LogColumn::Mass, vec![100.0; 2]);
        let moisture = (LogColumn::Moisture, vec![20.0, f64::NAN]);
        let mut f = file(&[masses, moisture], GrainMoisture::Reference);
        restore(&mut f, &wheat, &LogSettings::default()).expect("moisture is known");
        for mass in &f.numbers[slot(LogColumn::Mass)] {
            assert!((mass - 108.125).abs() < 1e-9, "{mass}");
        }
        let mut dry = file(&[(LogColumn::Flow, vec![1.0])], GrainMoisture::At(0.0));
        let refused = restore(&mut dry, &wheat, &LogSettings::default()).expect_err("no moisture");
        assert!(refused.to_string().contains("counted at 0 %"), "{refused}");
    }
}
