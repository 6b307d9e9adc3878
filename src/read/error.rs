//! Why an input cannot be used, and where it says so.

use std::error::Error;
use std::fmt;

use crate::place::Place;

/// What kind of thing is wrong with an input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadErrorKind {
    /// No file of that name, or a pattern that matches none.
    Missing,
    /// The file is there but cannot be opened or read.
    Unopenable,
    /// A format that this version does not read.
    Format,
    /// No header, or no rows under it.
    Empty,
    /// A column that the tool cannot do without is not there.
    NoColumn,
    /// A column whose unit nothing names.
    NoUnit,
    /// A column that can be read in more than one way.
    TwoReadings,
    /// Coordinates without a usable CRS.
    Crs,
    /// Not one row of the file can be read.
    NothingReadable,
    /// Longitude and latitude change places.
    Swapped,
    /// Not a polygon where a boundary is due.
    Geometry,
    /// The boundary lies somewhere else than the log.
    Elsewhere,
}

/// An input that cannot be used.
#[derive(Debug)]
pub struct ReadError(Box<Complaint>);

/// The parts of a [`ReadError`].
#[derive(Debug)]
struct Complaint {
    kind: ReadErrorKind,
    place: Place,
    expected: String,
    found: String,
    hint: Option<String>,
    cause: Option<Box<dyn Error + Send + Sync>>,
}

impl ReadError {
    pub(super) fn new(
        kind: ReadErrorKind,
        place: Place,
        expected: impl Into<String>,
        found: impl Into<String>,
    ) -> Self {
        Self(Box::new(Complaint {
            kind,
            place,
            expected: expected.into(),
            found: found.into(),
            hint: None,
            cause: None,
        }))
    }

    pub(super) fn hinted(mut self, hint: impl Into<String>) -> Self {
        self.0.hint = Some(hint.into());
        self
    }

    pub(super) fn maybe_hinted(mut self, hint: Option<String>) -> Self {
        self.0.hint = hint;
        self
    }

    pub(super) fn because(mut self, cause: impl Error + Send + Sync + 'static) -> Self {
        self.0.cause = Some(Box::new(cause));
        self
    }

    /// A file that cannot be opened or read.
    pub(super) fn io(file: &str, cause: std::io::Error) -> Self {
        let (kind, found, hint) = match cause.kind() {
            std::io::ErrorKind::NotFound => (
                ReadErrorKind::Missing,
                "no file of that name".to_owned(),
                "paths are relative to the job file",
            ),
            std::io::ErrorKind::IsADirectory => (
                ReadErrorKind::Unopenable,
                "a folder".to_owned(),
                "name the files in it, or a pattern such as \"logs/*.csv\"",
            ),
            _ => (
                ReadErrorKind::Unopenable,
                format!("\"{cause}\""),
                "check that you may read it and that its disk is there",
            ),
        };
        Self::new(kind, Place::file(file), "a readable file", found)
            .hinted(hint)
            .because(cause)
    }

    /// What kind of thing is wrong.
    pub fn kind(&self) -> ReadErrorKind {
        self.0.kind
    }

    /// Where.
    pub fn place(&self) -> &Place {
        &self.0.place
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

    /// Message and hint in one line, for warnings.
    pub(super) fn in_a_line(&self) -> String {
        match self.hint() {
            Some(hint) => format!("{self}; {hint}"),
            None => self.to_string(),
        }
    }
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Complaint {
            place,
            expected,
            found,
            ..
        } = &*self.0;
        write!(f, "{place}: expected {expected}, found {found}")
    }
}

impl Error for ReadError {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        self.0.cause.as_deref().map(|e| e as &(dyn Error + 'static))
    }
}
