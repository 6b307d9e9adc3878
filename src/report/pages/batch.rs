//! `index.html` over all field seasons, and a page per client.

use std::collections::BTreeMap;

use askama::Template;

use super::advice::{Check, Level, checks, doubt, half_interval, unweighed_share, worst};
use super::words::CAUTIONS;
use super::{CLIENT, PICTURE, Page, REPORT};
use crate::report::numbers::{count, counted, interval, optional, rounded, yield_decimals};
use crate::summary::Summary;
use crate::write::run::FieldOutcome;

#[derive(Template)]
#[template(path = "index.html", config = "src/report/pages/askama.toml")]
struct Index<'a> {
    job: &'a str,
    version: &'static str,
    lead: String,
    failed: Vec<Failed<'a>>,
    first: Vec<First>,
    rows: Vec<Row>,
    totals: Vec<Totals>,
    clients: Vec<(String, String)>,
    cautions: [&'static str; 4],
}

#[derive(Template)]
#[template(path = "client.html", config = "src/report/pages/askama.toml")]
struct Client<'a> {
    client: &'a str,
    job: &'a str,
    version: &'static str,
    failed: Vec<Failed<'a>>,
    rows: Vec<Row>,
    more: usize,
    totals: Vec<Totals>,
    cautions: [&'static str; 4],
}

struct Failed<'a> {
    name: String,
    error: &'a str,
}

/// A field season to look at before the others, and why.
struct First {
    name: String,
    link: String,
    class: &'static str,
    why: Vec<Why>,
}

struct Why {
    title: String,
    text: String,
    what_if: String,
    action: String,
}

struct Row {
    client: String,
    farm: String,
    field: String,
    season: String,
    crop: String,
    link: String,
    picture: String,
    picture_text: String,
    area: f64,
    area_text: String,
    mean: f64,
    mean_text: String,
    interval: String,
    unit: String,
    half: f64,
    half_text: String,
    tonnes: f64,
    tonnes_text: String,
    weighed: f64,
    weighed_text: String,
    passes: f64,
    passes_text: String,
    rank: usize,
    class: &'static str,
    word: &'static str,
    concerns: Vec<String>,
}

/// Sums over the field seasons that share a name.
struct Totals {
    heading: &'static str,
    /// Whether a mean yield means anything.
    one_crop: bool,
    rows: Vec<TotalRow>,
}

struct TotalRow {
    name: String,
    fields: String,
    area: String,
    tonnes: String,
    weighed: String,
    headland: String,
    mean: String,
}

/// A field season with what there is to check in it.
struct Judged<'a> {
    outcome: &'a FieldOutcome,
    summary: &'a Summary,
    checks: Vec<Check>,
    rank: usize,
}

const VERSION: &str = env!("CARGO_PKG_VERSION");
/// Fields named on top (our choice: what is read before the table).
const FIRST: usize = 3;
/// Fields that a client's sheet has room for.
const ON_A_SHEET: usize = 24;

/// `index.html`, for the results folder. `outcomes`: in the order of the job.
pub fn index(job: &str, outcomes: &[FieldOutcome]) -> Page {
    let judged = judge(outcomes);
    let lead = lead(outcomes, &judged);
    let page = Index {
        job,
        version: VERSION,
        lead,
        failed: failed(outcomes.iter()),
        first: first(&judged),
        rows: judged.iter().map(|j| row(j, "")).collect(),
        totals: totals(&judged, &[Group::Client, Group::Farm, Group::Crop]),
        clients: client_links(outcomes),
        cautions: CAUTIONS,
    };
    Page::new(super::INDEX, super::rendered(&page))
}

/// A sheet per client, for the results folder.
pub fn clients(job: &str, outcomes: &[FieldOutcome]) -> Vec<Page> {
    let mut by_folder: BTreeMap<&str, Vec<&FieldOutcome>> = BTreeMap::new();
    for outcome in outcomes {
        by_folder
            .entry(first_part(outcome))
            .or_default()
            .push(outcome);
    }
    by_folder
        .into_iter()
        .map(|(folder, own)| {
            let owned: Vec<FieldOutcome> = own.iter().map(|o| (*o).clone()).collect();
            let judged = judge(&owned);
            let mut rows: Vec<Row> = judged
                .iter()
                .map(|j| row(j, &format!("{folder}/")))
                .collect();
            let more = rows.len().saturating_sub(ON_A_SHEET);
            rows.truncate(ON_A_SHEET);
            let page = Client {
                client: own.first().map_or("", |o| o.client.as_str()),
                job,
                version: VERSION,
                failed: failed(owned.iter()),
                rows,
                more,
                totals: totals(&judged, &[Group::Client, Group::Farm, Group::Crop]),
                cautions: CAUTIONS,
            };
            Page::new(format!("{folder}/{CLIENT}"), super::rendered(&page))
        })
        .collect()
}

/// The field seasons that are done, least trustworthy first.
fn judge(outcomes: &[FieldOutcome]) -> Vec<Judged<'_>> {
    let mut judged: Vec<Judged> = outcomes
        .iter()
        .filter_map(|outcome| {
            let summary = outcome.summary()?;
            Some(Judged {
                outcome,
                summary,
                checks: checks(summary, None),
                rank: 0,
            })
        })
        .collect();
    judged.sort_by_key(|j| std::cmp::Reverse(doubt(&j.checks, j.summary))); // stable
    for (k, j) in judged.iter_mut().enumerate() {
        j.rank = k + 1;
    }
    judged
}

fn lead(outcomes: &[FieldOutcome], judged: &[Judged]) -> String {
    let n = outcomes.len() as u64;
    let failed = n - judged.len() as u64;
    let at = |level| {
        judged
            .iter()
            .filter(move |j| worst(&j.checks) == Some(level))
    };
    let (grave, serious) = (
        at(Level::Grave).count() as u64,
        at(Level::Serious).count() as u64,
    );
    let failed = if failed > 0 {
        format!(
            "{} could not be mapped; ",
            counted(failed, "field season", "field seasons")
        )
    } else {
        String::new()
    };
    let grave =
        (grave > 0).then(|| format!("{} to check before use", counted(grave, "map", "maps")));
    let serious = (serious > 0).then(|| {
        format!(
            "{} can be read, with something to check",
            counted(serious, "map", "maps")
        )
    });
    let doubtful = match (grave, serious) {
        (None, None) => "nothing found in the data contradicts the maps".to_owned(),
        (Some(g), Some(s)) => format!("{g}; {s}"),
        (g, s) => g.or(s).unwrap_or_default(),
    };
    format!(
        "{}: {failed}{doubtful}.",
        counted(n, "field season", "field seasons")
    )
}

fn failed<'a>(outcomes: impl Iterator<Item = &'a FieldOutcome>) -> Vec<Failed<'a>> {
    outcomes
        .filter_map(|o| {
            Some(Failed {
                name: format!(
                    "{} / {} / {}, {} {}",
                    o.client, o.farm, o.field, o.season, o.crop
                ),
                error: o.error()?,
            })
        })
        .collect()
}

fn first(judged: &[Judged]) -> Vec<First> {
    judged
        .iter()
        .filter(|j| worst(&j.checks).is_some())
        .take(FIRST)
        .map(|j| {
            let shown: Vec<&Check> = j.checks.iter().filter(|c| c.level != Level::Note).collect();
            First {
                name: format!(
                    "{}, {} {}",
                    j.outcome.field, j.outcome.season, j.outcome.crop
                ),
                link: format!("{}/{REPORT}", j.outcome.folder),
                class: worst(&j.checks).map_or("", |l| l.class()),
                why: shown
                    .iter()
                    .map(|c| Why {
                        title: c.title.clone(),
                        text: c.text.clone(),
                        what_if: c.what_if.clone(),
                        action: c.action.clone(),
                    })
                    .collect(),
            }
        })
        .collect()
}

/// `above`: the part of the folder that the page stands in already.
fn row(j: &Judged, above: &str) -> Row {
    let (o, s) = (j.outcome, j.summary);
    let y = &s.yields;
    let decimals = yield_decimals(&y.unit);
    let folder = o.folder.strip_prefix(above).unwrap_or(&o.folder);
    let level = worst(&j.checks);
    let share = unweighed_share(s).map(|u| 100.0 * (1.0 - u));
    let half = half_interval(s).map(|h| 100.0 * h);
    let or_last = |v: Option<f64>| v.unwrap_or(-1.0);
    Row {
        client: o.client.clone(),
        farm: o.farm.clone(),
        field: o.field.clone(),
        season: o.season.to_string(),
        crop: o.crop.clone(),
        link: format!("{folder}/{REPORT}"),
        picture: format!("{folder}/{PICTURE}"),
        picture_text: format!(
            "Yield map of {}: a tenth of the ground below {}, a tenth above {} {}",
            o.field,
            optional(y.p10, decimals),
            optional(y.p90, decimals),
            y.unit
        ),
        area: s.area_ha,
        area_text: rounded(s.area_ha, 2),
        mean: or_last(y.mean),
        mean_text: optional(y.mean, decimals),
        interval: interval(y.ci95_low, y.ci95_high, decimals),
        unit: y.unit.clone(),
        half: or_last(half),
        half_text: optional(half, 1),
        tonnes: s.grain.corrected_kg / 1000.0,
        tonnes_text: rounded(s.grain.corrected_kg / 1000.0, 1),
        weighed: or_last(share),
        weighed_text: optional(share, 0),
        passes: or_last(s.quality.after.opposite_pass_pct),
        passes_text: optional(s.quality.after.opposite_pass_pct, 1),
        rank: j.rank,
        class: level.map_or("sound", |l| l.class()),
        word: level.map_or("no contradiction", |l| l.word()),
        concerns: j
            .checks
            .iter()
            .filter(|c| c.level != Level::Note || c.title.contains('%'))
            .map(|c| c.title.clone())
            .collect(),
    }
}

#[derive(Clone, Copy)]
enum Group {
    Client,
    Farm,
    Crop,
}

fn totals(judged: &[Judged], groups: &[Group]) -> Vec<Totals> {
    groups
        .iter()
        .map(|group| {
            let mut sums: BTreeMap<String, Vec<&Summary>> = BTreeMap::new();
            for j in judged {
                let o = j.outcome;
                let name = match group {
                    Group::Client => o.client.clone(),
                    Group::Farm => format!("{} / {}", o.client, o.farm),
                    Group::Crop => format!("{} {}", o.season, o.crop),
                };
                sums.entry(name).or_default().push(j.summary);
            }
            Totals {
                heading: match group {
                    Group::Client => "By client",
                    Group::Farm => "By farm",
                    Group::Crop => "By crop",
                },
                one_crop: matches!(group, Group::Crop),
                rows: sums
                    .into_iter()
                    .map(|(name, fields)| total(name, &fields, matches!(group, Group::Crop)))
                    .collect(),
            }
        })
        .collect()
}

/// `one_crop`: whether a mean yield means anything.
fn total(name: String, fields: &[&Summary], one_crop: bool) -> TotalRow {
    let sum = |of: fn(&Summary) -> f64| fields.iter().map(|s| of(s)).sum::<f64>();
    let area = sum(|s| s.area_ha);
    let yields: Option<f64> = fields
        .iter()
        .map(|s| Some(s.yields.mean? * s.area_ha))
        .sum();
    let unit = fields.first().map_or("", |s| s.yields.unit.as_str());
    let mean = yields.filter(|_| one_crop && area > 0.0).map(|y| y / area);
    let grain = sum(|s| s.grain.corrected_kg);
    TotalRow {
        name,
        fields: count(fields.len() as u64),
        area: rounded(area, 2),
        tonnes: rounded(grain / 1000.0, 1),
        weighed: optional(
            (grain > 0.0).then(|| 100.0 * sum(|s| s.grain.weighed_kg) / grain),
            0,
        ),
        headland: headlands(fields),
        mean: match mean {
            Some(mean) => format!("{} {unit}", rounded(mean, yield_decimals(unit))),
            None => String::new(),
        },
    }
}

/// Grain that grew on headlands, t, and its share where every field has a boundary to tell them by.
fn headlands(fields: &[&Summary]) -> String {
    let known: Vec<(f64, f64)> = fields
        .iter()
        .filter_map(|s| Some((s.headland?.corrected_kg, s.grain.corrected_kg)))
        .collect();
    let (kg, of): (f64, f64) = known
        .iter()
        .fold((0.0, 0.0), |sum, k| (sum.0 + k.0, sum.1 + k.1));
    if known.is_empty() || !(of > 0.0) {
        return "–".to_owned();
    }
    let share = format!(
        "{} ({} %)",
        rounded(kg / 1000.0, 1),
        rounded(100.0 * kg / of, 0)
    );
    if known.len() < fields.len() {
        format!("{share}, of {} fields", known.len())
    } else {
        share
    }
}

/// (name, link) of each client, in the order of the job.
fn client_links(outcomes: &[FieldOutcome]) -> Vec<(String, String)> {
    let mut out: Vec<(String, String)> = Vec::new();
    for o in outcomes {
        let link = format!("{}/{CLIENT}", first_part(o));
        if !out.iter().any(|l| l.1 == link) {
            out.push((o.client.clone(), link));
        }
    }
    out
}

fn first_part(outcome: &FieldOutcome) -> &str {
    outcome.folder.split('/').next().unwrap_or(&outcome.folder)
}
