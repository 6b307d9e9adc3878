//! What can go wrong while results are written.

use std::io;
use std::path::{Path, PathBuf};

/// A result that could not be written. [`WriteError::hint`] says what to do about it.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// A folder of the results cannot be made.
    #[error("cannot make the folder {}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A file of the results cannot be written.
    #[error("cannot write {}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A CSV table cannot be written.
    #[error("cannot write the table {}", path.display())]
    Table {
        /// The file.
        path: PathBuf,
        /// What the CSV library says.
        source: csv::Error,
    },
    /// A JSON document cannot be written.
    #[error("cannot write {} as JSON", path.display())]
    Json {
        /// The file.
        path: PathBuf,
        /// What the JSON library says.
        source: serde_json::Error,
    },
    /// A GeoPackage cannot be written.
    #[error("cannot write the GeoPackage {}", path.display())]
    Database {
        /// The file.
        path: PathBuf,
        /// What SQLite says.
        source: rusqlite::Error,
    },
    /// A GeoParquet file cannot be written.
    #[error("cannot write the GeoParquet file {}", path.display())]
    Parquet {
        /// The file.
        path: PathBuf,
        /// What the Parquet library says.
        source: parquet::errors::ParquetError,
    },
    /// A FlatGeobuf file cannot be written.
    #[error("cannot write the FlatGeobuf file {}", path.display())]
    FlatGeobuf {
        /// The file.
        path: PathBuf,
        /// What the FlatGeobuf library says.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// A layer is larger than a shapefile can be.
    #[error("cannot write {}: {points} points need more than the 2 GB that a shapefile can hold", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Points in the layer.
        points: usize,
    },
    /// The job's CRS cannot be used.
    #[error("cannot use the CRS \"{code}\"")]
    Crs {
        /// The CRS as the job names it.
        code: String,
        /// Why not.
        source: super::crs::CrsError,
    },
}

impl WriteError {
    pub(crate) fn file(path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::File { path, source }
    }

    pub(crate) fn flatgeobuf<E: std::error::Error + Send + Sync + 'static>(
        path: &Path,
    ) -> impl FnOnce(E) -> Self {
        let path = path.to_owned();
        move |source| Self::FlatGeobuf {
            path,
            source: Box::new(source),
        }
    }

    /// What the user can do about it.
    pub fn hint(&self) -> String {
        let system = match self {
            Self::Folder { source, .. } | Self::File { source, .. } => Some(source.kind()),
            Self::Table { source, .. } => match source.kind() {
                csv::ErrorKind::Io(e) => Some(e.kind()),
                _ => None,
            },
            Self::Json { source, .. } => source.io_error_kind(),
            Self::Database { source, .. } => match source.sqlite_error_code() {
                Some(rusqlite::ErrorCode::DiskFull) => Some(io::ErrorKind::StorageFull),
                Some(rusqlite::ErrorCode::ReadOnly | rusqlite::ErrorCode::CannotOpen) => {
                    Some(io::ErrorKind::PermissionDenied)
                }
                _ => None,
            },
            Self::Parquet { source, .. } => io_kind(source),
            Self::FlatGeobuf { source, .. } => io_kind(source.as_ref()),
            Self::TooLarge { .. } => {
                return "leave \"shapefile\" out of `formats` in [job]; GeoJSON has no such limit"
                    .into();
            }
            Self::Crs { .. } => {
                return "set `crs` in [job] to \"utm\", \"EPSG:4326\" or the code of another two-dimensional geographic \
                        or projected CRS"
                    .into();
            }
        };
        match system {
            Some(io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem) => {
                "make the results folder writable, or name another one as `results` in [job]"
            }
            Some(io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded) => {
                "make room on the disk, or name a results folder on another one as `results` in [job]; \
                 fields already written stay, and a second run goes on from them"
            }
            Some(io::ErrorKind::NotADirectory | io::ErrorKind::AlreadyExists) => {
                "a file stands where a folder is needed: move it away, or name another folder as `results` in [job]"
            }
            Some(io::ErrorKind::IsADirectory) => "a folder stands where a file is needed: move it away",
            _ => "check that the results folder (`results` in [job]) exists on a disk that can be written to",
        }
        .into()
    }
}

/// What the system said, where an error of a library has it for a cause.
fn io_kind(error: &(dyn std::error::Error + 'static)) -> Option<io::ErrorKind> {
    let mut next = Some(error);
    while let Some(error) = next {
        if let Some(io) = error.downcast_ref::<io::Error>() {
            return Some(io.kind());
        }
        next = error.source();
    }
    None
}
