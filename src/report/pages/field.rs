//! `report.html`: one field season.

use askama::Template;

use super::advice::{Check, Level, checks, half_interval, unweighed_share, worst};
use super::cells::{self, Cells};
use super::charts::Charts;
use super::rows::{LedgerRow, LoadRow, PartRow, ledger, loads, parts, parts_caption};
use super::settings::{self, Setting};
use super::words::{self, CAUTIONS};
use super::{embed, legend, points};
use crate::evidence::{Evidence, MachineGrounds, RampGrounds};
use crate::grid::Grid;
use crate::job::{FieldSeason, Job};
use crate::map::YieldMap;
use crate::report::numbers::{count, counted, interval, optional, rounded, yield_decimals};
use crate::summary::{MachineSummary, Summary};

/// What a page is made from.
#[derive(Debug, Clone, Copy)]
pub struct FieldPage<'a> {
    /// The job.
    pub job: &'a Job,
    /// The field season.
    pub field: &'a FieldSeason,
    /// Its map.
    pub map: &'a YieldMap,
    /// Its grid, where there is one.
    pub grid: Option<&'a Grid>,
    /// Its figures.
    pub summary: &'a Summary,
    /// What they rest on.
    pub evidence: &'a Evidence,
}

#[derive(Template)]
#[template(path = "report.html", config = "src/report/pages/askama.toml")]
struct Report<'a> {
    s: &'a Summary,
    lead: Lead,
    figures: Vec<Figure>,
    checks: Vec<Check>,
    notes: Vec<Check>,
    legend: String,
    map_caption: String,
    beyond: String,
    cells: Option<Cells>,
    ledger: Vec<LedgerRow>,
    parts: Vec<PartRow>,
    parts_caption: String,
    loads: Vec<LoadRow>,
    more_loads: usize,
    loads_caption: String,
    machines: Vec<MachineView>,
    yields_caption: String,
    moisture_caption: String,
    width_caption: String,
    quality: Vec<[String; 3]>,
    settings: Vec<Setting>,
    cautions: [&'static str; 4],
    charts: String,
    points: Option<String>,
}

/// The verdict on the map, in a line.
struct Lead {
    class: &'static str,
    text: String,
}

struct Figure {
    label: &'static str,
    value: String,
    unit: String,
    detail: String,
}

struct MachineView {
    name: String,
    delay: String,
    delay_caption: String,
    has_curve: bool,
    ramps_caption: String,
}

/// The page.
pub fn report(page: &FieldPage<'_>) -> String {
    let FieldPage {
        job,
        field,
        map,
        grid,
        summary: s,
        evidence,
    } = *page;
    let (checks, notes): (Vec<Check>, Vec<Check>) = checks(s, Some(evidence))
        .into_iter()
        .partition(|c| c.level != Level::Note);
    let points = points::of(map, evidence, &s.yields.unit);
    let loads = loads(s, evidence);
    let report = Report {
        lead: lead(&checks),
        figures: figures(s),
        legend: points
            .as_ref()
            .map(|p| legend::svg(p.scale, &s.yields.unit))
            .unwrap_or_default(),
        map_caption: map_caption(s),
        beyond: points.as_ref().map(beyond).unwrap_or_default(),
        cells: grid.and_then(|g| cells::of(g, s, points.as_ref().map(|p| p.scale))),
        ledger: ledger(s),
        parts: parts(s, evidence),
        parts_caption: parts_caption(evidence),
        more_loads: loads.iter().filter(|l| l.screen_only).count(),
        loads,
        loads_caption: loads_caption(s),
        machines: (s.machines.iter().zip(&evidence.machines))
            .map(|(m, grounds)| machine(m, grounds))
            .collect(),
        yields_caption: yields_caption(s),
        moisture_caption: format!(
            "Corrected moisture, by mass; mean {} %, yields are brought to {} %.",
            optional(s.grain.moisture_pct, 1),
            rounded(s.grain.reference_moisture_pct, 1)
        ),
        width_caption: width_caption(evidence),
        quality: quality(s),
        settings: settings::of(job, field, map, s, evidence),
        cautions: CAUTIONS,
        charts: embed::json(&Charts::of(s, evidence)),
        points: points.as_ref().map(embed::json),
        checks,
        notes,
        s,
    };
    super::rendered(&report)
}

fn lead(checks: &[Check]) -> Lead {
    let n = checks.len() as u64;
    match worst(checks) {
        Some(Level::Grave) => Lead {
            class: Level::Grave.class(),
            text: format!(
                "Check before use: {} below may move totals or the map.",
                counted(
                    checks.iter().filter(|c| c.level == Level::Grave).count() as u64,
                    "finding",
                    "findings"
                )
            ),
        },
        Some(_) => Lead {
            class: Level::Serious.class(),
            text: format!(
                "The map can be read; {} to check first.",
                counted(n, "thing", "things")
            ),
        },
        None => Lead {
            class: "sound",
            text: "Nothing found in the data contradicts this map.".to_owned(),
        },
    }
}

fn figures(s: &Summary) -> Vec<Figure> {
    let (y, decimals) = (&s.yields, yield_decimals(&s.yields.unit));
    let tonnes = |kg: f64| rounded(kg / 1000.0, 1);
    let scale = if s.calibration.tickets_used == 0 {
        "no ticket used: the total is the sensor's word".to_owned()
    } else {
        let share = unweighed_share(s).unwrap_or(1.0);
        let apart = match s.quality.closure_pct {
            Some(p) if p.abs() >= 0.005 => format!(" (off by {} %)", rounded(p, 2)),
            _ => String::new(),
        };
        let rest = if share > 0.0005 {
            let held: f64 = s.loads.iter().filter_map(|l| l.held_out_kg).sum();
            let held = if held > 0.0 {
                format!(" (a ticket over {} t is held out)", tonnes(held))
            } else {
                String::new()
            };
            format!(
                "; {} t on no ticket that is used{held}",
                tonnes(s.grain.corrected_kg - s.grain.weighed_kg)
            )
        } else {
            String::new()
        };
        format!(
            "{} t of it weighed on {}, to which the map is made to add up{apart}{rest}",
            tonnes(s.grain.weighed_kg),
            counted(s.calibration.tickets_used, "ticket", "tickets"),
        )
    };
    let (before, after) = (
        s.quality.before.opposite_pass_pct,
        s.quality.after.opposite_pass_pct,
    );
    vec![
        Figure {
            label: "Mean yield",
            value: optional(y.mean, decimals),
            unit: y.unit.clone(),
            detail: format!(
                "95 % interval{} (± {} %), at {} % moisture; logged {}",
                interval(y.ci95_low, y.ci95_high, decimals),
                optional(half_interval(s).map(|h| 100.0 * h), 1),
                rounded(s.grain.reference_moisture_pct, 1),
                optional(s.logged.mean, decimals),
            ),
        },
        Figure {
            label: "Grain, as moist as it was cut",
            value: tonnes(s.grain.corrected_kg),
            unit: "t".to_owned(),
            detail: format!(
                "{} t at {} % moisture; {scale}; logged {} t",
                tonnes(s.grain.reference_kg),
                rounded(s.grain.reference_moisture_pct, 1),
                tonnes(s.grain.logged_kg)
            ),
        },
        Figure {
            label: "Area",
            value: rounded(s.area_ha, 2),
            unit: "ha".to_owned(),
            detail: format!(
                "cut once; {} ha by logged distance × width, rows with the header up and overlap included",
                rounded(s.logged.area_ha, 2)
            ),
        },
        Figure {
            label: "Neighbouring passes differ by",
            value: optional(after, 1),
            unit: "%".to_owned(),
            detail: format!(
                "{} % as logged, on the same points; {} of {} rows kept",
                optional(before, 1),
                count(s.points.kept),
                count(s.points.rows)
            ),
        },
    ]
}

fn map_caption(s: &Summary) -> String {
    let decimals = yield_decimals(&s.yields.unit);
    format!(
        "Left as the machine logged it, right corrected: delay and ramps undone, widths and scale applied. A tenth of the ground yields below {}, a tenth above {} {}.",
        optional(s.yields.p10, decimals),
        optional(s.yields.p90, decimals),
        s.yields.unit
    )
}

fn beyond(p: &points::Points) -> String {
    let rows = |n: usize| counted(n as u64, "row", "rows");
    match (p.beyond, p.nowhere) {
        (0, 0) => String::new(),
        (0, nowhere) => format!("Not drawn: {} without a position.", rows(nowhere)),
        (beyond, 0) => format!("Not drawn: {} on the road or far off.", rows(beyond)),
        (beyond, nowhere) => format!(
            "Not drawn: {} on the road or far off, {} without a position.",
            rows(beyond),
            rows(nowhere)
        ),
    }
}

fn loads_caption(s: &Summary) -> String {
    let error = match s.calibration.leave_one_out_pct {
        Some(e) => format!(
            "When each ticket is left out in turn and its load is found from all the others, it is missed by {} % (root mean square, over all fields of these machines): two loads in three without a ticket should be no farther off.",
            rounded(e, 1)
        ),
        None => "Too few tickets to say how far an unweighed load may be off.".to_owned(),
    };
    format!(
        "Open mark: logged against the scale. Filled mark: the same if the machine had one factor in this field. Square: a ticket in doubt, by the same factor. Dashed: 95 % interval of a load without a ticket. The band is ± 3 %, which a well calibrated monitor keeps (common practice). Each ticket then closes its own load exactly. {error}"
    )
}

fn machine(m: &MachineSummary, grounds: &MachineGrounds) -> MachineView {
    let d = &m.delay_s;
    let moisture = match m.moisture_delay_s {
        Some(delay) => format!(" Moisture has a delay of its own: {} s.", rounded(delay, 1)),
        None => String::new(),
    };
    let delay_caption = match &grounds.delay {
        Some(c) => {
            let pool = if c.fields > 1 {
                format!(" Dashed: the machine's {} fields together.", c.fields)
            } else {
                String::new()
            };
            format!(
                "What neighbouring passes in opposite directions do not share, for every candidate delay: it is least where grain is put back where it grew. {} of points in this field.{pool} Shaded: the 95 % interval.",
                counted(c.field_pairs, "pair", "pairs")
            )
        }
        None => "No neighbouring passes in opposite directions: nothing to read a delay from."
            .to_owned(),
    };
    MachineView {
        name: m.name.clone(),
        delay: format!(
            "Delay {} s{}, {}.{moisture}",
            rounded(d.value, 1),
            interval(d.ci95_low, d.ci95_high, 1),
            words::delay_basis(d.basis)
        ),
        delay_caption,
        has_curve: grounds.delay.is_some(),
        ramps_caption: format!(
            "Yield at the ends of passes as a share of each pass's own level, with its 95 % band: {}; {}. Points this near to a start or an end are set aside; their grain is in the table above.",
            ramp("fills", &grounds.entry),
            ramp("empties", &grounds.exit)
        ),
    }
}

fn ramp(verb: &str, r: &RampGrounds) -> String {
    let source = if r.from_data {
        format!("from {}", counted(r.passes, "pass", "passes"))
    } else {
        "assumed".to_owned()
    };
    format!("it {verb} in {} s ({source})", rounded(r.seconds, 0))
}

fn yields_caption(s: &Summary) -> String {
    let decimals = yield_decimals(&s.yields.unit);
    let y = &s.yields;
    format!(
        "Area by yield, {}. Line: as logged; filled: corrected, kept points. Median {}, coefficient of variation {} %.",
        y.unit,
        optional(y.median, decimals),
        optional(y.cv_pct, 1)
    )
}

fn width_caption(evidence: &Evidence) -> String {
    let g = &evidence.spacing;
    let gap = match g.gap_m {
        Some(gap) if gap < 0.0 => format!("; passes overlap by {} m", rounded(-gap, 2)),
        Some(gap) => format!("; {} m are left between passes", rounded(gap, 2)),
        None => String::new(),
    };
    let sd = match g.cross_track_sd_m {
        Some(sd) => format!(
            "; the receiver errs by {} m across the track",
            rounded(sd, 2)
        ),
        None => String::new(),
    };
    let header = match (g.header_m, evidence.machines.len()) {
        (Some(header), 1) => format!(" Header {} m", rounded(header, 2)),
        _ => " Headers as set below".to_owned(),
    };
    format!("Ground by the share of the header on standing crop.{header}{gap}{sd}.")
}

fn quality(s: &Summary) -> Vec<[String; 3]> {
    let (b, a) = (&s.quality.before, &s.quality.after);
    let row = |name: &str, before: Option<f64>, after: Option<f64>, decimals: usize| {
        [
            name.to_owned(),
            optional(before, decimals),
            optional(after, decimals),
        ]
    };
    vec![
        row(
            "Opposed neighbouring passes differ by, %",
            b.opposite_pass_pct,
            a.opposite_pass_pct,
            1,
        ),
        row(
            "A stretch predicted from the passes beside it is missed by, %",
            b.held_out_pct,
            a.held_out_pct,
            1,
        ),
        row(
            "Share of the variation that even the nearest points do not have in common, 0 to 1",
            b.nugget_to_sill,
            a.nugget_to_sill,
            2,
        ),
    ]
}
