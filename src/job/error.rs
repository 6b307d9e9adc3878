//! What is wrong with a job file, and where.

use std::error::Error;
use std::fmt;

/// A job file that cannot be used.
#[derive(Debug)]
pub struct JobError {
    /// The job file, as the user named it.
    pub file: String,
    /// Line and column in it, both counted from 1.
    pub position: Option<(usize, usize)>,
    /// The key, from the top of the file: `field 2, crop`.
    pub key: String,
    /// What was expected there.
    pub expected: String,
    /// What stood there.
    pub found: String,
    /// A way out.
    pub hint: Option<String>,
    /// The error below, where there is one.
    pub cause: Option<Box<dyn Error + Send + Sync>>,
}

impl JobError {
    /// A way out, for the user.
    pub fn hint(&self) -> Option<&str> {
        self.hint.as_deref()
    }
}

impl fmt::Display for JobError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some((line, column)) = self.position {
            write!(f, ":{line}:{column}")?;
        }
        if !self.key.is_empty() {
            write!(f, ", {}", self.key)?;
        }
        write!(f, ": expected {}, found {}", self.expected, self.found)
    }
}

impl Error for JobError {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        self.cause.as_deref().map(|e| e as &(dyn Error + 'static))
    }
}
