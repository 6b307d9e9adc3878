//! Log files by path or pattern, relative to the job file.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use glob::{MatchOptions, Pattern, glob_with};

use super::error::{ReadError, ReadErrorKind};
use crate::place::Place;

/// A file that a job names: where it is, and its name in messages and results.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct InputFile {
    pub path: PathBuf,
    /// Relative to the job file, with `/` between its parts.
    pub shown: String,
}

impl InputFile {
    /// A file by its path as the job writes it.
    pub fn new(base: &Path, written: &str) -> Self {
        let path = base.join(written);
        let shown = shown(base, &path);
        Self { path, shown }
    }
}

/// The files that paths and patterns match: patterns in the order given, the matches of one in alphabetical order,
/// no file twice. `field`: its name, for messages.
pub(super) fn find(
    base: &Path,
    patterns: &[String],
    field: &str,
) -> Result<Vec<InputFile>, ReadError> {
    let mut files = Vec::new();
    let mut seen = BTreeSet::new();
    for pattern in patterns {
        for path in matches(base, pattern, field)? {
            let same = std::fs::canonicalize(&path).unwrap_or_else(|_| path.clone());
            if seen.insert(same) {
                let shown = shown(base, &path);
                files.push(InputFile { path, shown });
            }
        }
    }
    Ok(files)
}

fn matches(base: &Path, pattern: &str, field: &str) -> Result<Vec<PathBuf>, ReadError> {
    let place = || Place::file(pattern);
    // A file may have [ or * in its own name.
    let literal = base.join(pattern);
    if literal.is_file() || (literal.is_dir() && !pattern.trim().is_empty()) {
        return Ok(vec![literal]);
    }
    let absolute = Path::new(pattern).is_absolute();
    let escaped = Pattern::escape(&base.to_string_lossy());
    let full = if absolute {
        pattern.to_owned()
    } else {
        format!("{escaped}/{pattern}")
    };
    let options = MatchOptions {
        case_sensitive: true,
        require_literal_separator: true,
        require_literal_leading_dot: true,
    };
    let paths = glob_with(&full, options).map_err(|cause| {
        ReadError::new(
            ReadErrorKind::Missing,
            place(),
            "a path or a pattern",
            "neither",
        )
        .hinted(format!("{} at character {}", cause.msg, cause.pos))
        .because(cause)
    })?;
    let mut found: Vec<PathBuf> = paths
        .filter_map(Result::ok)
        .filter(|p| !p.is_dir())
        .collect();
    found.sort();
    if found.is_empty() {
        let error = ReadError::new(
            ReadErrorKind::Missing,
            place(),
            format!("a log of field \"{field}\""),
            "no file of that name or pattern",
        );
        return Err(error.hinted(what_is_there(base, &literal)));
    }
    Ok(found)
}

/// What the folder holds in which nothing matched.
fn what_is_there(base: &Path, literal: &Path) -> String {
    let folder = literal
        .ancestors()
        .skip(1)
        .find(|p| !p.to_string_lossy().contains(['*', '?', '[']))
        .unwrap_or(base);
    let name = match shown(base, folder) {
        name if name.is_empty() => "the job file's folder".to_owned(),
        name => format!("the folder \"{name}\""),
    };
    let Ok(entries) = std::fs::read_dir(folder) else {
        return format!("{name} is not there; paths are relative to the job file");
    };
    let mut names: Vec<String> = entries
        .flatten()
        .map(|e| e.file_name().to_string_lossy().into_owned())
        .filter(|n| !n.starts_with('.'))
        .collect();
    names.sort();
    match names.first() {
        None => format!("{name} is empty"),
        Some(first) if names.len() == 1 => format!("{name} holds only \"{first}\""),
        Some(first) => format!(
            "{name} holds {} other names, such as \"{first}\"",
            names.len()
        ),
    }
}

/// Whether a folder in `folder` is a link to `folder` itself or to one above it: who followed it would find the same files again
/// and again.
pub(super) fn leads_back(folder: &Path, entry: &Path) -> bool {
    entry.is_symlink()
        && match (entry.canonicalize(), folder.canonicalize()) {
            (Ok(target), Ok(folder)) => folder.starts_with(target),
            _ => false,
        }
}

/// A path relative to the job file, with `/` between its parts; an absolute one elsewhere stays absolute.
fn shown(base: &Path, path: &Path) -> String {
    let relative = path.strip_prefix(base).unwrap_or(path);
    let text = relative.to_string_lossy();
    if std::path::MAIN_SEPARATOR == '/' {
        text.into_owned()
    } else {
        text.replace(std::path::MAIN_SEPARATOR, "/")
    }
}
