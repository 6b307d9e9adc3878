//! One log by itself: what it is, where it lies, what its columns are, and what is odd about it. For `fanmill inspect`
//! and for `fanmill new`; nothing here decides anything about a map.

mod block;
mod crop_word;
mod survey;
mod tally;

pub(crate) use block::{commented, quoted};

pub use block::log_block;
pub use crop_word::crop_of_path;
use std::path::Path;

use crate::job::{Job, JobError, parse};

pub use survey::{ColumnSurvey, Machine, QuestionSurvey, Span, Survey, TimeSpan, survey};
pub use tally::Tally;

/// A job with nothing but defaults, to read single logs with.
pub fn job() -> Result<Job, JobError> {
    let smallest = "[[field]]\nclient = \"-\"\nfarm = \"-\"\nname = \"-\"\nseason = 2000\ncrop = \"wheat\"\nlogs = [\"-\"]\n";
    parse(smallest, "", Path::new(""))
}
