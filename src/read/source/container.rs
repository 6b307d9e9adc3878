//! What is packed: gzip is unpacked as it is read, a zip into a temporary folder. A bomb is refused.

use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use flate2::read::MultiGzDecoder;
use tempfile::TempDir;

use super::bytes::Input;
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};

/// How many bytes one packed byte may become. Logs as text pack 5 to 30 to one; deflate can make 1,032 of one (RFC
/// 1951: 258 bytes from two bits), which is what bombs live on. Our choice: in between.
const LARGEST_RATIO: u64 = 200;

/// Bytes that may come out whatever went in, so that tiny files of one repeated row are read (our choice).
const ALWAYS: u64 = 16 * 1024 * 1024;

/// Files that a zip may hold (our choice).
const MOST_FILES: usize = 20_000;

/// What is said of a bomb.
const BOMB: &str = "unpacks to more than 200 times its size";

/// A reader that counts what passes.
struct Counted<R> {
    from: R,
    count: Arc<AtomicU64>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let n = self.from.read(out)?;
        self.count.fetch_add(n as u64, Ordering::Relaxed);
        Ok(n)
    }
}

/// A reader that fails where more comes out than what went in accounts for.
struct Bounded<R> {
    from: R,
    packed: Arc<AtomicU64>,
    out: u64,
}

impl<R: Read> Read for Bounded<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let n = self.from.read(out)?;
        self.out += n as u64;
        let most = self
            .packed
            .load(Ordering::Relaxed)
            .saturating_mul(LARGEST_RATIO);
        if self.out > ALWAYS.max(most) {
            return Err(io::Error::new(io::ErrorKind::InvalidData, BOMB));
        }
        Ok(n)
    }
}

/// What a gzip file holds.
pub(super) fn gunzip(input: Input) -> Input {
    let packed = Arc::new(AtomicU64::new(0));
    let counted = Counted {
        from: input,
        count: Arc::clone(&packed),
    };
    let from = MultiGzDecoder::new(BufReader::new(counted));
    Box::new(Bounded {
        from,
        packed,
        out: 0,
    })
}

/// An unpacked zip; its folder goes when the last of its logs does.
#[derive(Debug, Clone)]
pub(in crate::read) struct Unpacked {
    folder: Arc<TempDir>,
}

impl Unpacked {
    /// Where its files are.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }
}

/// Unpacks a zip into a temporary folder.
pub(in crate::read) fn unzip(path: &Path, file: &str) -> Result<Unpacked, ReadError> {
    let io = |e| ReadError::io(file, e);
    let refuse = |found: String| {
        ReadError::new(
            ReadErrorKind::Format,
            Place::file(file),
            "a zip archive",
            found,
        )
        .hinted("unpack it, and name the folder instead")
    };
    let packed = File::open(path).map_err(io)?;
    let length = packed.metadata().map_err(io)?.len();
    let mut archive = zip::ZipArchive::new(BufReader::new(packed))
        .map_err(|cause| refuse(format!("\"{cause}\"")).because(cause))?;
    if archive.len() > MOST_FILES {
        return Err(refuse(format!("one of {} files", archive.len())));
    }
    let folder = tempfile::Builder::new()
        .prefix("fanmill-")
        .tempdir()
        .map_err(io)?;
    let most = ALWAYS.max(length.saturating_mul(LARGEST_RATIO));
    let mut left = most;
    for k in 0..archive.len() {
        let mut entry = archive
            .by_index(k)
            .map_err(|cause| refuse(format!("\"{cause}\"")).because(cause))?;
        // A name that leads out of the folder is none of ours.
        let Some(name) = entry
            .enclosed_name()
            .filter(|_| !entry.is_dir() && !entry.is_symlink())
        else {
            continue;
        };
        let to = folder.path().join(&name);
        let shown = format!("{file}/{}", name.to_string_lossy().replace('\\', "/"));
        let out = |e| ReadError::io(&shown, e);
        if let Some(parent) = to.parent() {
            std::fs::create_dir_all(parent).map_err(out)?;
        }
        let mut written = File::create(&to).map_err(out)?;
        let n = io::copy(&mut (&mut entry).take(left.saturating_add(1)), &mut written).map_err(
            |cause| refuse(format!("\"{cause}\" in \"{}\"", name.to_string_lossy())).because(cause),
        )?;
        if n > left {
            return Err(refuse(format!("one that {BOMB}")));
        }
        left -= n;
    }
    Ok(Unpacked {
        folder: Arc::new(folder),
    })
}

/// What the first bytes of a file say that it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::read) enum Kind {
    Gzip,
    Zip,
    Shapefile,
    Sqlite,
    Json,
    Xml,
    /// An office document of the old kind.
    Compound,
    Parquet,
    FlatGeobuf,
    Pdf,
    /// Separated values, as far as one can see.
    Text,
}

/// Looks at the first bytes of an input.
pub(in crate::read) fn kind_of(head: &[u8]) -> Kind {
    let text = head
        .strip_prefix(b"\xEF\xBB\xBF")
        .unwrap_or(head)
        .trim_ascii_start();
    match head {
        [0x1F, 0x8B, ..] => Kind::Gzip,
        [b'P', b'K', 3 | 5, 4 | 6, ..] => Kind::Zip,
        [0, 0, 0x27, 0x0A, ..] => Kind::Shapefile,
        _ if head.starts_with(b"SQLite format 3\0") => Kind::Sqlite,
        _ if head.starts_with(b"\xD0\xCF\x11\xE0") => Kind::Compound,
        _ if head.starts_with(b"PAR1") => Kind::Parquet,
        _ if head.starts_with(b"fgb\x03fgb") => Kind::FlatGeobuf,
        _ if head.starts_with(b"%PDF") => Kind::Pdf,
        _ if text.starts_with(b"{") || text.starts_with(b"[{") => Kind::Json,
        _ if text.starts_with(b"<?xml") || text.starts_with(b"<ISO11783") => Kind::Xml,
        _ => Kind::Text,
    }
}

/// The kind of a file, by its first bytes.
pub(in crate::read) fn kind(path: &Path) -> io::Result<Kind> {
    let mut input = super::bytes::file(path)?;
    let mut head = [0u8; 64];
    let n = super::bytes::fill(&mut *input, &mut head)?;
    Ok(kind_of(&head[..n]))
}

/// The file of that extension, in any case, beside another.
pub(in crate::read) fn beside(path: &Path, extension: &str) -> Option<PathBuf> {
    let exact = path.with_extension(extension);
    if exact.is_file() {
        return Some(exact);
    }
    let stem = path.file_stem()?;
    let parent = path
        .parent()
        .filter(|p| !p.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let mut found: Vec<PathBuf> = std::fs::read_dir(parent)
        .ok()?
        .flatten()
        .map(|e| e.path())
        .filter(|p| {
            p.file_stem().is_some_and(|s| s.eq_ignore_ascii_case(stem))
                && p.extension()
                    .is_some_and(|e| e.eq_ignore_ascii_case(extension))
        })
        .collect();
    found.sort();
    found.into_iter().next()
}
