//! What is wrong with a job file, and where.

use std::error::Error;
use std::fmt;

/// A job file that cannot be used.
#[derive(Debug)]
pub struct JobError(Box<Complaint>);

/// The parts of a [`JobError`].
#[derive(Debug)]
struct Complaint {
    file: String,
    position: Option<(usize, usize)>,
    key: String,
    expected: String,
    found: String,
    hint: Option<String>,
    cause: Option<Box<dyn Error + Send + Sync>>,
}

impl JobError {
    pub(super) fn new(
        file: &str,
        position: Option<(usize, usize)>,
        key: &str,
        expected: &str,
        found: &str,
    ) -> Self {
        Self(Box::new(Complaint {
            file: file.to_owned(),
            position,
            key: key.to_owned(),
            expected: expected.to_owned(),
            found: found.to_owned(),
            hint: None,
            cause: None,
        }))
    }

    /// The same error with a way out.
    pub(super) fn hinted(mut self, hint: impl Into<String>) -> Self {
        self.0.hint = Some(hint.into());
        self
    }

    /// The same error with a way out, where there is one.
    pub(super) fn maybe_hinted(mut self, hint: Option<String>) -> Self {
        self.0.hint = hint;
        self
    }

    /// The same error with the one below.
    pub(super) fn because(mut self, cause: impl Error + Send + Sync + 'static) -> Self {
        self.0.cause = Some(Box::new(cause));
        self
    }

    /// The same error where something else would do too.
    pub(super) fn or_expected(mut self, other: &str) -> Self {
        self.0.expected = format!("{other} or {}", self.0.expected);
        self
    }

    /// The job file, as the user named it.
    pub fn file(&self) -> &str {
        &self.0.file
    }

    /// Line and column in the file, both counted from 1.
    pub fn position(&self) -> Option<(usize, usize)> {
        self.0.position
    }

    /// The key, from the top of the file: `field 2, crop`.
    pub fn key(&self) -> &str {
        &self.0.key
    }

    /// What was expected there.
    pub fn expected(&self) -> &str {
        &self.0.expected
    }

    /// What stood there.
    pub fn found(&self) -> &str {
        &self.0.found
    }

    /// A way out, for the user.
    pub fn hint(&self) -> Option<&str> {
        self.0.hint.as_deref()
    }
}

impl fmt::Display for JobError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Complaint {
            file,
            position,
            key,
            expected,
            found,
            ..
        } = &*self.0;
        f.write_str(file)?;
        if let Some((line, column)) = position {
            write!(f, ":{line}:{column}")?;
        }
        if !key.is_empty() {
            write!(f, ", {key}")?;
        }
        write!(f, ": expected {expected}, found {found}")
    }
}

impl Error for JobError {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        self.0.cause.as_deref().map(|e| e as &(dyn Error + 'static))
    }
}
