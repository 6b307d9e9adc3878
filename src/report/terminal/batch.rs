//! A batch: a line a field, totals, what to look at, what failed.

use std::collections::BTreeMap;

use super::page::{GRAVE, Page, Paint, shortened};
use super::{change, rank, share, title};
use crate::report::CAUTION;
use crate::report::numbers::{count, counted, optional, rounded, yield_decimals};
use crate::summary::Summary;
use crate::write::run::FieldOutcome;

const HEADER: [&str; 7] = [
    "field",
    "kept %",
    "area ha",
    "yield",
    "passes %",
    "closure %",
    "warnings",
];

/// What the columns of the table of a batch are.
const LEGEND: &str = "yield: logged → corrected; passes: how far opposed neighbouring passes differ, before → after; \
                      closure: map total against the scale's";

/// All field seasons of a run: a line each, totals, what to look at, what failed.
pub fn batch(fields: &[FieldOutcome], paint: Paint) -> String {
    let done: Vec<(&FieldOutcome, &Summary)> = fields
        .iter()
        .filter_map(|f| Some((f, f.summary()?)))
        .collect();
    let mut text = Page::new(paint);
    if !done.is_empty() {
        let mut rows = vec![HEADER.map(str::to_owned)];
        let naming = Naming::of(fields);
        rows.extend(done.iter().map(|(f, s)| row(naming.name(f), s)));
        rows.push(totals(&done));
        text.table(&rows);
        text.hanging("", LEGEND, 0);
        let warnings = warnings(&done);
        if !warnings.is_empty() {
            text.line("");
            text.entry("warnings", &warnings);
        }
    }
    let failed: Vec<_> = fields
        .iter()
        .filter_map(|f| Some((f, f.error()?)))
        .collect();
    if !failed.is_empty() {
        if !done.is_empty() {
            text.line("");
        }
        let heading = format!(
            "{} could not be written:",
            counted(failed.len() as u64, "field", "fields")
        );
        text.styled(&heading, &[(0..heading.chars().count(), GRAVE)]);
        for (f, error) in failed {
            text.hanging(
                "  ",
                &format!(
                    "{}: {error}",
                    title(&f.client, &f.farm, &f.field, f.season, &f.crop)
                ),
                4,
            );
        }
    }
    text.line("");
    text.line(CAUTION);
    text.finish()
}

fn row(name: String, s: &Summary) -> [String; 7] {
    let decimals = yield_decimals(&s.yields.unit);
    let (before, after) = (&s.quality.before, &s.quality.after);
    [
        shortened(&name),
        share(s.points.kept, s.points.rows),
        rounded(s.area_ha, 2),
        format!(
            "{} {}",
            change(s.logged.mean, s.yields.mean, decimals),
            s.yields.unit
        ),
        change(before.opposite_pass_pct, after.opposite_pass_pct, 1),
        optional(s.quality.closure_pct, 2),
        count(s.warnings.len() as u64),
    ]
}

/// Which parts of a field season's name tell the rows of a table apart.
struct Naming {
    client: bool,
    farm: bool,
    season: bool,
    crop: bool,
}

impl Naming {
    fn of(fields: &[FieldOutcome]) -> Self {
        let differs = |same: fn(&FieldOutcome, &FieldOutcome) -> bool| {
            fields.windows(2).any(|w| !same(&w[0], &w[1]))
        };
        Self {
            client: differs(|a, b| a.client == b.client),
            farm: differs(|a, b| a.farm == b.farm),
            season: differs(|a, b| a.season == b.season),
            crop: differs(|a, b| a.crop == b.crop),
        }
    }

    fn name(&self, f: &FieldOutcome) -> String {
        let place = [
            self.client.then_some(f.client.as_str()),
            self.farm.then_some(f.farm.as_str()),
            Some(f.field.as_str()),
        ];
        let season = self.season.then(|| f.season.to_string());
        let what = [season.as_deref(), self.crop.then_some(f.crop.as_str())];
        let place = place.into_iter().flatten().collect::<Vec<_>>().join(" / ");
        let what = what.into_iter().flatten().collect::<Vec<_>>().join(" ");
        if what.is_empty() {
            place
        } else {
            format!("{place}, {what}")
        }
    }
}

fn totals(done: &[(&FieldOutcome, &Summary)]) -> [String; 7] {
    let sum = |of: fn(&Summary) -> f64| done.iter().map(|(_, s)| of(s)).sum::<f64>();
    let total = |of: fn(&Summary) -> u64| done.iter().map(|(_, s)| of(s)).sum::<u64>();
    [
        counted(done.len() as u64, "field", "fields"),
        share(total(|s| s.points.kept), total(|s| s.points.rows)),
        rounded(sum(|s| s.area_ha), 2),
        // Tonnes and not a mean: fields of several crops have no common yield.
        format!(
            "{} t grain",
            rounded(sum(|s| s.grain.corrected_kg) / 1000.0, 1)
        ),
        String::new(),
        String::new(),
        count(total(|s| s.warnings.len() as u64)),
    ]
}

/// Which warnings there are, and in how many fields, worst first.
fn warnings(done: &[(&FieldOutcome, &Summary)]) -> String {
    let mut fields: BTreeMap<(usize, &str), u64> = BTreeMap::new();
    for (_, s) in done {
        let mut codes: Vec<&str> = s.warnings.iter().map(|w| w.code.as_str()).collect();
        codes.sort_unstable();
        codes.dedup();
        for code in codes {
            *fields.entry((rank(code), code)).or_default() += 1;
        }
    }
    let parts: Vec<String> = fields
        .iter()
        .map(|((_, code), n)| format!("{code} in {}", counted(*n, "field", "fields")))
        .collect();
    parts.join(", ")
}
