//! The pages for a browser: over the batch, and of a field.

use crate::evidence::Evidence;
use crate::grid::Grid;
use crate::job::{FieldSeason, Job};
use crate::map::YieldMap;
use crate::report::pages;
use crate::summary::Summary;
use crate::write::run::FieldOutcome;
use crate::write::{WriteError, write_page};

/// The pages over the whole batch, and what all pages share.
pub(super) fn write_pages(job: &Job, outcomes: &[FieldOutcome]) -> Result<(), WriteError> {
    let mut all = pages::assets();
    all.extend(pages::clients(&job.name, outcomes));
    all.push(pages::index(&job.name, outcomes));
    for page in all {
        write_page(&job.results, &page.name, &page.bytes)?;
    }
    Ok(())
}

/// The pages of one field season: (name, bytes).
pub(super) fn pages_of(
    job: &Job,
    field: &FieldSeason,
    (map, grid): (&YieldMap, Option<&Grid>),
    summary: &Summary,
    evidence: &Evidence,
) -> Vec<(String, Vec<u8>)> {
    let page = pages::FieldPage {
        job,
        field,
        map,
        grid,
        summary,
        evidence,
    };
    let files = pages::of_field(&page).into_iter();
    files.map(|p| (p.name, p.bytes)).collect()
}
