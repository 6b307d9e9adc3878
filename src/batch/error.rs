//! Why a field, or a whole batch, cannot go on.

use std::path::PathBuf;

use super::Act;
use crate::apply::ApplyError;
use crate::prepare::PrepareError;
use crate::read::ReadError;
use crate::write::WriteError;

/// Why one field failed.
#[derive(Debug, thiserror::Error)]
pub enum FieldError {
    /// It cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// It cannot be worked with.
    #[error(transparent)]
    Prepare(#[from] PrepareError),
    /// A stage was called wrongly.
    #[error(transparent)]
    Apply(#[from] ApplyError),
    /// Its results cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// Its files are not what they were when the run began.
    #[error("its files changed while fanmill was at work on them")]
    InputChanged,
    /// The program itself failed.
    #[error("an error of the program itself: {0}")]
    Panic(String),
    /// An act of the field came before the act that it builds on.
    #[error("what the batch says of the field's {} is not there, or follows from other input or settings", act.about())]
    NotPooled {
        /// The act that is missing.
        act: Act,
    },
    /// What it left of an act is gone.
    #[error("what was kept of the field's {} cannot be read back from the results folder", act.about())]
    Lost {
        /// The act.
        act: Act,
    },
    /// The field failed in an earlier act, in another process.
    #[error("{0}")]
    Before(String),
}

impl FieldError {
    /// The error with its causes and a way out, on one line.
    pub fn render(&self) -> String {
        if let FieldError::Before(text) = self {
            return text.clone();
        }
        let mut text = self.to_string();
        let mut cause = std::error::Error::source(self);
        while let Some(error) = cause {
            let more = error.to_string();
            if !text.contains(&more) {
                text.push_str(": ");
                text.push_str(&more);
            }
            cause = error.source();
        }
        let hint = match self {
            FieldError::Read(e) => e.hint().map(str::to_owned),
            FieldError::Prepare(e) => e.hint(),
            FieldError::Write(e) => Some(e.hint()),
            FieldError::InputChanged => {
                Some("run it again when nothing writes to them any more".into())
            }
            FieldError::Panic(_) => Some(
                "please report it with this field's input; the other fields are not touched by it"
                    .into(),
            ),
            FieldError::NotPooled { act } => Some(format!(
                "run the act \"{0}\" on every shard, then `fanmill merge JOB --act {0}`",
                act.name()
            )),
            FieldError::Lost { .. } => Some(
                "run it again; if that does not help, see whether the disk is sound and nothing else writes to its folder .fanmill".into(),
            ),
            FieldError::Apply(_) | FieldError::Before(_) => None,
        };
        if let Some(hint) = hint.filter(|h| !h.is_empty()) {
            text.push_str(" (hint: ");
            text.push_str(&hint);
            text.push(')');
        }
        text
    }
}

/// Why a batch cannot go on.
#[derive(Debug, thiserror::Error)]
pub enum BatchError {
    /// The results cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// Another run is at work in the results folder.
    #[error("another run of fanmill is at work in {}", .0.display())]
    Busy(PathBuf),
    /// It was asked to end before all was done.
    #[error("stopped {}; what is written is whole", match act {
        Act::Machines => "while fields were read",
        Act::Scale => "while loads were weighed",
        Act::Write => "while maps were written",
    })]
    Stopped {
        /// The act in which, or after which, it ended.
        act: Act,
    },
    /// A merge came before its shards.
    #[error("{missing} of {fields} fields have not been through the act \"{}\"; the first is {first}", act.name())]
    Incomplete {
        /// The act.
        act: Act,
        /// Fields that have not.
        missing: usize,
        /// All fields of the job.
        fields: usize,
        /// The first that has not.
        first: String,
    },
}

impl BatchError {
    /// What the user can do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Write(e) => e.hint(),
            Self::Busy(_) => {
                "wait until it has ended, or name another folder as `results` in [job]".into()
            }
            Self::Stopped { .. } => {
                "the same command goes on where this one ended; nothing that is done is done again"
                    .into()
            }
            Self::Incomplete { act, .. } => format!(
                "let every shard run `fanmill run JOB --shard I/N --act {}` first; those that are done cost no time again",
                act.name()
            ),
        }
    }
}
