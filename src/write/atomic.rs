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

/// Fills a folder that is whole or not there: where it does not stand yet, it is filled under a temporary name beside its
/// place and renamed. A folder that stands is filled where it is, because it may hold files of other people.
pub(crate) fn fill_folder<T>(
    folder: &Path,
    fill: impl FnOnce(&Path) -> Result<T, WriteError>,
) -> Result<T, WriteError> {
    let (Some(parent), false) = (folder.parent(), folder.exists()) else {
        make_folder(folder)?;
        return fill(folder);
    };
    let error = |source| WriteError::Folder {
        path: folder.to_owned(),
        source,
    };
    std::fs::create_dir_all(parent).map_err(error)?;
    let prefix = prefix(folder);
    for entry in std::fs::read_dir(parent).map_err(error)?.flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with(&prefix) && name.ends_with(UNFINISHED) {
            std::fs::remove_dir_all(entry.path()).map_err(error)?;
        }
    }
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix).suffix(UNFINISHED);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o777)); // less the user's umask
    }
    let draft = builder.tempdir_in(parent).map_err(error)?;
    let filled = fill(draft.path())?;
    std::fs::rename(draft.path(), folder).map_err(error)?;
    let _ = draft.keep(); // it has another name now
    Ok(filled)
}

/// Gives a folder a name that is free: its own with `-word` behind it, and a number where that is taken.
pub(crate) fn rename_aside(folder: &Path, word: &str) -> Result<(), WriteError> {
    let name = folder.file_name().unwrap_or_default().to_string_lossy();
    let aside = (1..)
        .map(|n| match n {
            1 => format!("{name}-{word}"),
            _ => format!("{name}-{word}-{n}"),
        })
        .map(|name| folder.with_file_name(name))
        .find(|path| !path.exists());
    let Some(aside) = aside else {
        return Ok(()); // there is no end of numbers
    };
    std::fs::rename(folder, aside).map_err(|source| WriteError::Folder {
        path: folder.to_owned(),
        source,
    })
}

/// Removes all drafts in a folder and the folders in it, whatever they are drafts of.
pub(crate) fn sweep(folder: &Path) -> Result<(), WriteError> {
    for entry in std::fs::read_dir(folder).map_err(WriteError::file(folder))? {
        let path = entry.map_err(WriteError::file(folder))?.path();
        if path.is_dir() {
            sweep(&path)?;
        } else if path.to_string_lossy().ends_with(UNFINISHED) {
            remove(&path)?;
        }
    }
    Ok(())
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
    fn a_folder_is_whole_or_not_there() {
        let dir = tempfile::tempdir().unwrap();
        let folder = dir.path().join("field").join("2025-maize");
        let write = |to: &Path, name: &str| std::fs::write(to.join(name), name).unwrap();
        let names = |of: &Path| -> Vec<String> {
            let entries = std::fs::read_dir(of).unwrap();
            let mut names: Vec<String> = entries
                .map(|e| e.unwrap().file_name().into_string().unwrap())
                .collect();
            names.sort();
            names
        };
        let failed = fill_folder(&folder, |to| -> Result<(), WriteError> {
            write(to, "a");
            assert!(!folder.exists());
            Err(WriteError::File {
                path: to.to_owned(),
                source: std::io::Error::other("disk gone"),
            })
        });
        assert!(failed.is_err());
        assert_eq!(names(&dir.path().join("field")), [""; 0]);
        // What a killed run left goes.
        std::fs::create_dir(dir.path().join("field/.2025-maize.x1.part")).unwrap();
        fill_folder(&folder, |to| {
            write(to, "a");
            Ok(())
        })
        .unwrap();
        assert_eq!(names(&dir.path().join("field")), ["2025-maize"]);
        fill_folder(&folder, |to| {
            write(to, "b");
            Ok(())
        })
        .unwrap();
        assert_eq!(names(&folder), ["a", "b"]);
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
