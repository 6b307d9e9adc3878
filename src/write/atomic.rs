//! Files that are whole or not there.
//!
//! A file is written under a temporary name in the folder where it will stand and then renamed, which replaces an
//! older one in one step. A killed run therefore leaves whole files or none. Files are *not* forced to the disk
//! (fsync) first: that would guard against a power cut only, costs tens of milliseconds a file on a disk, and what
//! a power cut takes can be computed again, because inputs are never written to.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::WriteError;

/// End of the name of a file that is not finished.
const UNFINISHED: &str = ".part";

/// A file under its temporary name. Dropped without [`Draft::publish`], it vanishes.
pub(crate) struct Draft {
    temporary: NamedTempFile,
    path: PathBuf,
}

impl Draft {
    /// Opens the draft of `path` beside it.
    pub(crate) fn new(path: &Path) -> Result<Self, WriteError> {
        let folder = path
            .parent()
            .filter(|p| !p.as_os_str().is_empty())
            .unwrap_or(Path::new("."));
        let mut builder = tempfile::Builder::new();
        let prefix = prefix(path);
        builder.prefix(&prefix).suffix(UNFINISHED);
        #[cfg(unix)]
        {
            // Results are for others to read, too: the user's umask decides, as for any file made anew.
            use std::os::unix::fs::PermissionsExt;
            builder.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let temporary = builder
            .tempfile_in(folder)
            .map_err(WriteError::file(path))?;
        Ok(Self {
            temporary,
            path: path.to_owned(),
        })
    }

    /// The open file.
    pub(crate) fn file(&self) -> &File {
        self.temporary.as_file()
    }

    /// Where it stands until then.
    pub(crate) fn path(&self) -> &Path {
        self.temporary.path()
    }

    /// Gives the file its name, replacing an older one.
    pub(crate) fn publish(self) -> Result<PathBuf, WriteError> {
        let Self { temporary, path } = self;
        match temporary.persist(&path) {
            Ok(_) => Ok(path),
            Err(e) => Err(WriteError::File {
                path,
                source: e.error,
            }),
        }
    }
}

/// Writes the file `path` whole: `fill` writes its contents.
pub(crate) fn write_whole(
    path: &Path,
    fill: impl FnOnce(&mut BufWriter<&File>) -> Result<(), WriteError>,
) -> Result<PathBuf, WriteError> {
    let draft = Draft::new(path)?;
    let mut out = BufWriter::with_capacity(1 << 16, draft.file());
    fill(&mut out)?;
    out.flush().map_err(WriteError::file(path))?;
    drop(out);
    draft.publish()
}

/// Makes a folder and those above it.
pub(crate) fn make_folder(path: &Path) -> Result<(), WriteError> {
    std::fs::create_dir_all(path).map_err(|source| WriteError::Folder {
        path: path.to_owned(),
        source,
    })
}

/// Removes a file if it is there.
pub(crate) fn remove(path: &Path) -> Result<(), WriteError> {
    match std::fs::remove_file(path) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(WriteError::File {
            path: path.to_owned(),
            source: e,
        }),
        _ => Ok(()),
    }
}

/// Removes the drafts of `path` that a killed run left behind.
pub(crate) fn remove_drafts(path: &Path) -> Result<(), WriteError> {
    let Some(folder) = path.parent() else {
        return Ok(());
    };
    let prefix = prefix(path);
    for entry in std::fs::read_dir(folder).map_err(WriteError::file(folder))? {
        let entry = entry.map_err(WriteError::file(folder))?;
        if let Some(name) = entry.file_name().to_str()
            && name.starts_with(&prefix)
            && name.ends_with(UNFINISHED)
        {
            remove(&entry.path())?;
        }
    }
    Ok(())
}

fn prefix(path: &Path) -> String {
    format!(
        ".{}.",
        path.file_name().unwrap_or_default().to_string_lossy()
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_leaves_the_old_file_and_nothing_else() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.txt");
        write_whole(&path, |out| {
            out.write_all(b"old").map_err(WriteError::file(&path))
        })
        .unwrap();
        let failed = write_whole(&path, |out| {
            out.write_all(b"new").map_err(WriteError::file(&path))?;
            Err(WriteError::File {
                path: path.clone(),
                source: std::io::Error::other("disk gone"),
            })
        });
        assert!(failed.is_err());
        assert_eq!(std::fs::read(&path).unwrap(), b"old");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
        write_whole(&path, |out| {
            out.write_all(b"new").map_err(WriteError::file(&path))
        })
        .unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"new");
    }

    #[test]
    fn drafts_of_a_killed_run_are_swept_and_nothing_else_is() {
        let dir = tempfile::tempdir().unwrap();
        for name in [
            ".a.txt.x1.part",
            ".b.txt.x1.part",
            "a.txt.part",
            ".a.txt.keep",
        ] {
            std::fs::write(dir.path().join(name), "x").unwrap();
        }
        remove_drafts(&dir.path().join("a.txt")).unwrap();
        let mut left: Vec<_> = std::fs::read_dir(dir.path())
            .unwrap()
            .map(|e| e.unwrap().file_name())
            .collect();
        left.sort();
        assert_eq!(left, [".a.txt.keep", ".b.txt.x1.part", "a.txt.part"]);
    }

    #[test]
    #[cfg(unix)]
    fn files_get_the_permissions_of_any_new_file() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let (ours, plain) = (dir.path().join("ours"), dir.path().join("plain"));
        write_whole(&ours, |_| Ok(())).unwrap();
        std::fs::write(&plain, "").unwrap();
        let mode = |p: &Path| std::fs::metadata(p).unwrap().permissions().mode();
        assert_eq!(mode(&ours), mode(&plain));
    }
}
