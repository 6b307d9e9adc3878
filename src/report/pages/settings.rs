//! Every setting that a field was worked with, and where it came from.

use crate::crop::Crop;
use crate::evidence::Evidence;
use crate::job::{FieldSeason, Job, Layer, OutputCrs};
use crate::map::YieldMap;
use crate::report::numbers::{counted, optional, rounded};
use crate::summary::{DelayBasis, Summary};
use crate::units::POUND_KG;

/// A setting, its value, and who gave it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Setting {
    pub name: String,
    pub value: String,
    pub source: &'static str,
}

const JOB: &str = "job file";
const DATA: &str = "this field's data";
const TABLE: &str = "crop table";
const CHOICE: &str = "default";

fn setting(name: impl Into<String>, value: impl Into<String>, source: &'static str) -> Setting {
    Setting {
        name: name.into(),
        value: value.into(),
        source,
    }
}

/// All of them, in the order in which they are used.
pub(super) fn of(
    job: &Job,
    field: &FieldSeason,
    map: &YieldMap,
    s: &Summary,
    evidence: &Evidence,
) -> Vec<Setting> {
    let mut out = vec![
        setting(
            "Version",
            concat!("fanmill ", env!("CARGO_PKG_VERSION")),
            "program",
        ),
        setting("Job", format!("{} ({})", job.name, job.file), JOB),
        setting("Logs", map.logs.join(", "), JOB),
        setting(
            "Boundary",
            field.boundary.clone().unwrap_or_else(|| "none".to_owned()),
            JOB,
        ),
        setting(
            "Tickets",
            if field.tickets.is_empty() {
                "none".to_owned()
            } else {
                field.tickets.join(", ")
            },
            JOB,
        ),
        setting("Time zone of times without one", &job.timezone, JOB),
    ];
    out.extend(machines(job, s, evidence));
    out.extend(crop(job, field));
    out.extend(limits(job, evidence));
    let calibration = &s.calibration;
    out.push(setting(
        "Calibration",
        format!(
            "{}; {}; leave-one-out error {} %",
            calibration.method,
            counted(calibration.tickets_used, "ticket used", "tickets used"),
            optional(calibration.leave_one_out_pct, 1)
        ),
        if calibration.tickets_used > 0 {
            "tickets"
        } else {
            CHOICE
        },
    ));
    if job.layers.contains(&Layer::Grid) {
        let cell = s.grid.as_ref().map_or(job.grid_cell, |g| g.cell_m);
        let source = if cell == job.grid_cell { JOB } else { DATA };
        out.push(setting(
            "Grid: side of a cell",
            format!("{} m", rounded(cell, 1)),
            source,
        ));
    }
    let crs = match &job.crs {
        OutputCrs::Code(code) => code.as_str(),
        OutputCrs::Utm => "UTM zone of the field",
    };
    out.push(setting(
        "Layers: CRS where a format can carry one",
        crs,
        JOB,
    ));
    out
}

fn machines(job: &Job, s: &Summary, evidence: &Evidence) -> Vec<Setting> {
    let mut out = Vec::new();
    for (m, grounds) in s.machines.iter().zip(&evidence.machines) {
        let own = job.machines.iter().find(|j| j.name == m.name);
        let name = &m.name;
        if let Some(width) = own.and_then(|j| j.header_width) {
            out.push(setting(
                format!("{name}: header width"),
                format!("{} m", rounded(width, 2)),
                JOB,
            ));
        } else {
            let width = optional(evidence.spacing.header_m, 2);
            out.push(setting(
                format!("{name}: header width"),
                format!("{width} m"),
                "log, or [log] in the job file",
            ));
        }
        if let Some(antenna) = own.and_then(|j| j.antenna_behind_cutter_bar) {
            out.push(setting(
                format!("{name}: antenna behind cutter bar"),
                format!("{} m", rounded(antenna, 2)),
                JOB,
            ));
        }
        let delay = &m.delay_s;
        let interval = match (delay.ci95_low, delay.ci95_high) {
            (Some(a), Some(b)) => format!(" (95 %: {} to {})", rounded(a, 1), rounded(b, 1)),
            _ => String::new(),
        };
        out.push(setting(
            format!("{name}: transport delay"),
            format!("{} s{interval}", rounded(delay.value, 1)),
            delay_source(delay.basis),
        ));
        if let Some(moisture) = m.moisture_delay_s {
            let fixed = own.is_some_and(|j| j.moisture_delay.is_some());
            let source = if fixed { JOB } else { "the machine's fields" };
            out.push(setting(
                format!("{name}: moisture delay"),
                format!("{} s", rounded(moisture, 1)),
                source,
            ));
        }
        for (what, ramp) in [("fills in", &grounds.entry), ("empties in", &grounds.exit)] {
            let source = if ramp.from_data {
                "the machine's passes"
            } else {
                CHOICE
            };
            out.push(setting(
                format!("{name}: {what}"),
                format!("{} s", rounded(ramp.seconds, 0)),
                source,
            ));
        }
    }
    out
}

fn delay_source(basis: DelayBasis) -> &'static str {
    match basis {
        DelayBasis::Field => DATA,
        DelayBasis::Machine => "the machine's fields together",
        DelayBasis::Default => "best guess: passes do not tell it closely enough",
        DelayBasis::Fixed => JOB,
    }
}

fn crop(job: &Job, field: &FieldSeason) -> Vec<Setting> {
    let crop = &field.crop;
    let usual = Crop::built_in(&crop.name);
    let from = |same: fn(&Crop, &Crop) -> bool| match &usual {
        Some(usual) if same(usual, crop) => TABLE,
        _ => JOB,
    };
    let mut out = vec![setting(
        "Reference moisture",
        format!("{} %", rounded(crop.reference_moisture, 1)),
        from(|a, b| a.reference_moisture == b.reference_moisture),
    )];
    if job.yield_unit.symbol() == "bu/ac" {
        out.push(setting(
            "Conversion bushel",
            format!("{} lb", rounded(crop.bushel_kg / POUND_KG, 1)),
            from(|a, b| a.bushel_kg == b.bushel_kg),
        ));
    }
    out.push(setting(
        "Loads drier than the reference",
        if crop.credit_dry {
            "credited with water up to it"
        } else {
            "not credited with water"
        },
        if crop.credit_dry { JOB } else { CHOICE },
    ));
    out
}

fn limits(job: &Job, evidence: &Evidence) -> Vec<Setting> {
    let Some(used) = &evidence.limits else {
        return Vec::new();
    };
    let from = |fixed: bool| if fixed { JOB } else { DATA };
    let range = |(low, high): (f64, f64), decimals| {
        format!("{} to {}", rounded(low, decimals), rounded(high, decimals))
    };
    vec![
        setting(
            "Limits: speed",
            format!("{} m/s", range(used.speed, 2)),
            from(job.limits.speed.is_some()),
        ),
        setting(
            "Limits: yield",
            format!("{} kg/ha", range(used.yield_kg_ha, 0)),
            from(job.limits.yield_kg_ha.is_some()),
        ),
        setting(
            "Limits: moisture",
            format!("{} %", range(used.moisture, 1)),
            from(job.limits.moisture.is_some()),
        ),
        setting(
            "Limits: header on standing crop",
            format!("at least {} %", rounded(100.0 * used.cut_share, 0)),
            from(job.limits.cut_share.is_some()),
        ),
    ]
}
