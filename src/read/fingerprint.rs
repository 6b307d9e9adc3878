//! What a field's input files hold, as one number: another number, other contents.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use twox_hash::XxHash3_128;

use super::ReadError;
use super::find::{InputFile, find, leads_back};
use super::shared::sharing;
use crate::job::{FieldSeason, Job};

/// Bytes read at once. Our choice: a stream, whatever the size of a log.
const PIECE: usize = 1 << 18;
/// Folders below a folder that are looked into (our choice: a ring of links has an end).
const DEEPEST: usize = 16;

/// Hash (XXH3, 128 bits) of the names and contents of every file that the job lists for a field season, with those that
/// belong to them: the parts of a shapefile, the set of a task, all of a folder. A file that cannot be read counts as such:
/// reading the field says what is wrong with it.
///
/// # Errors
/// Where a log pattern matches nothing.
pub fn fingerprint(job: &Job, field: &FieldSeason) -> Result<u128, ReadError> {
    let logs = find(&job.base, &field.logs, &field.name)?;
    // Fields that list the same logs have a say in whose a row is.
    let sharing = sharing(job, field, &logs);
    let beside: BTreeSet<&String> = sharing.iter().flat_map(|f| &f.boundary).collect();
    let others = field.boundary.iter().chain(&field.tickets).chain(beside);
    let named = logs
        .into_iter()
        .chain(others.map(|written| InputFile::new(&job.base, written)));
    let mut hash = XxHash3_128::new();
    for other in &sharing {
        text(
            &mut hash,
            &format!("{}/{}/{}", other.client, other.farm, other.name),
        );
    }
    let mut piece = vec![0; PIECE];
    for named in named {
        text(&mut hash, &named.shown);
        for file in belonging(&named.path) {
            let name = file.strip_prefix(&job.base).unwrap_or(&file);
            text(&mut hash, &name.to_string_lossy());
            let length = contents(&file, &mut hash, &mut piece);
            hash.write(&length.unwrap_or(u64::MAX).to_le_bytes());
        }
    }
    Ok(hash.finish_128())
}

/// How many times their size logs unpack to, about (our choice: 5 to 30 are usual).
const UNPACKED: u64 = 10;

/// Size of a field season's logs as text, about, bytes: what memory and time go with. Files that are not there count
/// nothing.
pub fn input_bytes(job: &Job, field: &FieldSeason) -> u64 {
    let logs = find(&job.base, &field.logs, &field.name).unwrap_or_default();
    let files = logs.iter().flat_map(|log| belonging(&log.path));
    let size = |file: PathBuf| {
        let bytes = file.metadata().map_or(0, |m| m.len());
        match file.extension().and_then(|e| e.to_str()) {
            Some("gz" | "zip") => bytes.saturating_mul(UNPACKED),
            _ => bytes,
        }
    };
    // A log that many fields list has a part of its rows for each.
    let fields = 1 + sharing(job, field, &logs).len() as u64;
    files.map(size).sum::<u64>() / fields
}

fn text(hash: &mut XxHash3_128, text: &str) {
    hash.write(&(text.len() as u64).to_le_bytes());
    hash.write(text.as_bytes());
}

/// The file, with those beside it that are read along with it, in alphabetical order.
fn belonging(path: &Path) -> Vec<PathBuf> {
    let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    let beside = || {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
        entries(folder.unwrap_or(Path::new(".")))
    };
    match extension.as_deref() {
        _ if path.is_dir() => {
            let mut all = vec![];
            collect(path, 0, &mut all);
            all
        }
        Some("shp" | "shx" | "dbf" | "prj" | "cpg" | "gpkg") => {
            // `a.shp`, `a.dbf`, `a.gpkg-wal`: whatever has the stem, in any case.
            let stem = path.file_stem().unwrap_or_default().to_string_lossy();
            let stem = format!("{}.", stem.to_lowercase());
            let of_stem = |p: &PathBuf| {
                let name = p.file_name().unwrap_or_default().to_string_lossy();
                p.is_file() && name.to_lowercase().starts_with(&stem)
            };
            beside().into_iter().filter(of_stem).collect()
        }
        Some("xml" | "bin") => beside().into_iter().filter(|p| p.is_file()).collect(),
        _ => vec![path.to_owned()],
    }
}

fn collect(folder: &Path, depth: usize, into: &mut Vec<PathBuf>) {
    for path in entries(folder) {
        if !path.is_dir() {
            into.push(path);
        } else if depth < DEEPEST && !leads_back(folder, &path) {
            collect(&path, depth + 1, into);
        }
    }
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let read = std::fs::read_dir(folder).into_iter().flatten();
    let mut paths: Vec<PathBuf> = read.flatten().map(|e| e.path()).collect();
    paths.sort();
    paths
}

/// Hashes what a file holds; `None` where it cannot be read to its end.
fn contents(file: &Path, hash: &mut XxHash3_128, piece: &mut [u8]) -> Option<u64> {
    let mut open = File::open(file).ok()?;
    let mut length = 0;
    loop {
        match open.read(piece) {
            Ok(0) => return Some(length),
            Ok(n) => {
                hash.write(&piece[..n]);
                length += n as u64;
            }
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
            Err(_) => return None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_belongs_to_a_log_counts() {
        let dir = tempfile::tempdir().unwrap();
        for name in [
            "a.shp",
            "a.DBF",
            "a.csv",
            "ab.dbf",
            "set/TASKDATA.XML",
            "set/TLG00001.bin",
        ] {
            let path = dir.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, name).unwrap();
        }
        let names = |of: &str| -> Vec<String> {
            let name = |p: &PathBuf| p.file_name().unwrap().to_string_lossy().into_owned();
            belonging(&dir.path().join(of)).iter().map(name).collect()
        };
        assert_eq!(names("a.shp"), ["a.DBF", "a.csv", "a.shp"]);
        assert_eq!(names("a.csv"), ["a.csv"]);
        assert_eq!(names("set"), ["TASKDATA.XML", "TLG00001.bin"]);
        assert_eq!(names("set/TASKDATA.XML"), ["TASKDATA.XML", "TLG00001.bin"]);
        assert_eq!(names("missing.csv"), ["missing.csv"]);
    }

    #[test]
    fn contents_and_names_count() {
        let dir = tempfile::tempdir().unwrap();
        let text = "[[field]]\nclient = \"c\"\nfarm = \"f\"\nname = \"n\"\nseason = 2025\ncrop = \"maize\"\nlogs = [\"*.csv\"]\n";
        let job = crate::job::parse(text, "job.toml", dir.path()).unwrap();
        let now = || fingerprint(&job, &job.fields[0]).unwrap();
        std::fs::write(dir.path().join("a.csv"), "1").unwrap();
        let first = now();
        assert_eq!(first, now());
        std::fs::write(dir.path().join("a.csv"), "2").unwrap();
        let second = now();
        assert_ne!(first, second);
        std::fs::rename(dir.path().join("a.csv"), dir.path().join("b.csv")).unwrap();
        assert_ne!(second, now());
        std::fs::remove_file(dir.path().join("b.csv")).unwrap();
        assert!(fingerprint(&job, &job.fields[0]).is_err());
    }
}
