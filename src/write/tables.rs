//! Tables over the whole batch: `summary.csv`, a row per field season, and `loads.csv`, a row per load.

use std::path::{Path, PathBuf};

use super::digits::push_decimal;
use super::run::{FieldOutcome, Status};
use super::{WriteError, atomic};
use crate::summary::{DelayBasis, FactorBasis, LoadSummary, Remark, Summary};

/// Name of the table of field seasons.
pub const FIELDS: &str = "summary.csv";
/// Name of the table of loads.
pub const LOADS: &str = "loads.csv";

/// Decimals of numbers in tables. Our choice: a milligram in a kilogram, so that sums close to 1e-9.
const DECIMALS: usize = 6;

/// A column of the table of field seasons: its name, and its text (empty: missing).
type FieldColumn = (&'static str, fn(&FieldOutcome) -> String);

/// A column of the table of loads.
type LoadColumn = (&'static str, fn(&FieldOutcome, &LoadSummary) -> String);

const FIELD_COLUMNS: &[FieldColumn] = &[
    ("client", |f| f.client.clone()),
    ("farm", |f| f.farm.clone()),
    ("field", |f| f.field.clone()),
    ("season", |f| f.season.to_string()),
    ("crop", |f| f.crop.clone()),
    ("status", |f| {
        if f.status() == Status::Done {
            "done"
        } else {
            "failed"
        }
        .into()
    }),
    ("rows", |f| of(f, |s| s.points.rows.to_string())),
    ("kept", |f| of(f, |s| s.points.kept.to_string())),
    ("set_aside", |f| {
        of(f, |s| s.points.set_aside.values().sum::<u64>().to_string())
    }),
    ("unreadable", |f| of(f, |s| s.points.unreadable.to_string())),
    ("area_ha", |f| of(f, |s| number(s.area_ha))),
    ("yield_unit", |f| of(f, |s| s.yields.unit.clone())),
    ("yield_mean", |f| of(f, |s| optional(s.yields.mean))),
    ("ci95_low", |f| of(f, |s| optional(s.yields.ci95_low))),
    ("ci95_high", |f| of(f, |s| optional(s.yields.ci95_high))),
    ("logged_mean", |f| of(f, |s| optional(s.logged.mean))),
    ("logged_kg", |f| of(f, |s| number(s.grain.logged_kg))),
    ("corrected_kg", |f| of(f, |s| number(s.grain.corrected_kg))),
    ("weighed_kg", |f| of(f, |s| number(s.grain.weighed_kg))),
    ("reference_kg", |f| of(f, |s| number(s.grain.reference_kg))),
    ("closure_pct", |f| {
        of(f, |s| optional(s.quality.closure_pct))
    }),
    ("opposite_pass_before_pct", |f| {
        of(f, |s| optional(s.quality.before.opposite_pass_pct))
    }),
    ("opposite_pass_after_pct", |f| {
        of(f, |s| optional(s.quality.after.opposite_pass_pct))
    }),
    ("machines", |f| {
        of(f, |s| joined(s.machines.iter().map(|m| m.name.as_str())))
    }),
    ("delay_s", |f| {
        of(f, |s| {
            s.machines
                .first()
                .map(|m| number(m.delay_s.value))
                .unwrap_or_default()
        })
    }),
    ("delay_basis", |f| {
        of(f, |s| {
            s.machines
                .first()
                .map(|m| delay_basis(m.delay_s.basis).into())
                .unwrap_or_default()
        })
    }),
    ("tickets_used", |f| {
        of(f, |s| s.calibration.tickets_used.to_string())
    }),
    ("warnings", |f| of(f, |s| s.warnings.len().to_string())),
    ("warning_codes", |f| of(f, |s| codes(&s.warnings))),
    ("folder", |f| f.folder.clone()),
    ("error", |f| f.error().unwrap_or_default().to_owned()),
];

const LOAD_COLUMNS: &[LoadColumn] = &[
    ("client", |f, _| f.client.clone()),
    ("farm", |f, _| f.farm.clone()),
    ("field", |f, _| f.field.clone()),
    ("season", |f, _| f.season.to_string()),
    ("crop", |f, _| f.crop.clone()),
    ("load", |_, l| l.load.clone().unwrap_or_default()),
    ("machine", |_, l| l.machine.clone()),
    ("ticket", |_, l| l.ticket.clone().unwrap_or_default()),
    ("logged_kg", |_, l| number(l.logged_kg)),
    ("weighed_kg", |_, l| optional(l.weighed_kg)),
    ("held_out_kg", |_, l| optional(l.held_out_kg)),
    ("corrected_kg", |_, l| number(l.corrected_kg)),
    ("factor", |_, l| optional(l.factor)),
    ("ci95_low", |_, l| optional(l.ci95_low)),
    ("ci95_high", |_, l| optional(l.ci95_high)),
    ("basis", |_, l| factor_basis(l.basis).into()),
    ("moisture_offset_pct", |_, l| {
        optional(l.moisture_offset_pct)
    }),
    ("remarks", |_, l| codes(&l.remarks)),
];

/// Writes `summary.csv` into the results folder, in the order of the job.
pub fn write_fields(results: &Path, fields: &[FieldOutcome]) -> Result<PathBuf, WriteError> {
    let rows = fields
        .iter()
        .map(|f| FIELD_COLUMNS.iter().map(|(_, text)| text(f)).collect());
    write(
        &results.join(FIELDS),
        FIELD_COLUMNS.iter().map(|c| c.0),
        rows,
    )
}

/// Writes `loads.csv` into the results folder, in the order of the job.
pub fn write_loads(results: &Path, fields: &[FieldOutcome]) -> Result<PathBuf, WriteError> {
    let loads = fields
        .iter()
        .filter_map(|f| Some((f, f.summary()?)))
        .flat_map(|(f, s)| s.loads.iter().map(move |l| (f, l)));
    let rows = loads.map(|(f, l)| LOAD_COLUMNS.iter().map(|(_, text)| text(f, l)).collect());
    write(&results.join(LOADS), LOAD_COLUMNS.iter().map(|c| c.0), rows)
}

fn write(
    path: &Path,
    header: impl Iterator<Item = &'static str>,
    rows: impl Iterator<Item = Vec<String>>,
) -> Result<PathBuf, WriteError> {
    atomic::make_folder(path.parent().unwrap_or(Path::new(".")))?;
    atomic::remove_drafts(path)?;
    atomic::write_whole(path, |out| {
        let error = |source| WriteError::Table {
            path: path.to_owned(),
            source,
        };
        let mut table = csv::Writer::from_writer(out);
        table.write_record(header).map_err(error)?;
        for row in rows {
            table.write_record(row).map_err(error)?;
        }
        table.flush().map_err(WriteError::file(path))
    })
}

fn of(field: &FieldOutcome, text: impl FnOnce(&Summary) -> String) -> String {
    field.summary().map(text).unwrap_or_default()
}

fn number(value: f64) -> String {
    let mut text = vec![];
    push_decimal(&mut text, value, DECIMALS);
    text.into_iter().map(char::from).collect() // digits alone
}

fn optional(value: Option<f64>) -> String {
    value.map(number).unwrap_or_default()
}

fn codes(remarks: &[Remark]) -> String {
    joined(remarks.iter().map(|r| r.code.as_str()))
}

fn joined<'a>(parts: impl Iterator<Item = &'a str>) -> String {
    parts.collect::<Vec<_>>().join(";")
}

/// The word for where a delay comes from, as `summary.json` has it.
pub(crate) fn delay_basis(basis: DelayBasis) -> &'static str {
    match basis {
        DelayBasis::Field => "field",
        DelayBasis::Machine => "machine",
        DelayBasis::Default => "default",
        DelayBasis::Fixed => "fixed",
    }
}

/// The word for where a load's factor comes from, as `summary.json` has it.
pub(crate) fn factor_basis(basis: FactorBasis) -> &'static str {
    match basis {
        FactorBasis::Ticket => "ticket",
        FactorBasis::Neighbours => "neighbours",
        FactorBasis::Machine => "machine",
        FactorBasis::None => "none",
    }
}
