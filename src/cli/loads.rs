use std::path::PathBuf;

use rayon::prelude::*;

use super::{DONE, Failure, Format, SOME_FAILED, print};
use crate::audit::{self, AuditField, FailedField};
use crate::batch::{self, FieldError};
use crate::job::{FieldSeason, Job};
use crate::prepare::PrepareError;
use crate::read::read_field;
use crate::report::{self, audit::Listed};

/// Holds the scale tickets of a job against its logs: which to check first, and why. Writes nothing.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job file.
    job: PathBuf,
    /// How to print it.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// List every ticket at the end of the text, not only those to look up.
    #[arg(long)]
    all: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    let job = Job::load(&arguments.job).map_err(|e| Failure::new(&e, e.hint()))?;
    let read: Vec<Result<AuditField, FailedField>> = (job.fields.par_iter())
        .map(|season| gather(&job, season))
        .collect();
    // Neighbouring ground is asked, as a run asks it, where there are tickets that it could contradict.
    let has_tickets = read.iter().flatten().any(|f| !f.tickets.is_empty());
    let evidence = if has_tickets {
        batch::scale_evidence(&job)
    } else {
        vec![None; job.fields.len()]
    };
    let (mut fields, mut failed) = (Vec::new(), Vec::new());
    for (result, evidence) in read.into_iter().zip(evidence) {
        match result {
            Ok(mut field) => {
                if let Some(evidence) = evidence {
                    field.as_in_run(evidence);
                }
                fields.push(field);
            }
            Err(error) => failed.push(error),
        }
    }
    let status = if failed.is_empty() { DONE } else { SOME_FAILED };
    for f in &failed {
        eprintln!("{}: {}", f.field, f.error);
    }
    let mut audit = audit::audit(&fields);
    audit.failed = failed;
    let text = match arguments.format {
        Format::Text if arguments.all => report::audit::text(&audit, Listed::All),
        Format::Text => report::audit::text(&audit, Listed::ToCheck),
        Format::Json => serde_json::to_string_pretty(&audit)
            .map(|json| json + "\n")
            .map_err(|e| Failure::new(format!("the audit cannot be printed: {e}"), None))?,
    };
    print(&text)?;
    Ok(status)
}

fn gather(job: &Job, season: &FieldSeason) -> Result<AuditField, FailedField> {
    let field = || -> Result<AuditField, FieldError> {
        let input = read_field(job, season)?;
        Ok(audit::gather(job, season, &input).map_err(PrepareError::from)?)
    };
    field().map_err(|error| FailedField {
        field: season.name.clone(),
        error: error.render(),
    })
}
