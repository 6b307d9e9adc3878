//! The code page of a dBase table: by the .cpg beside it, else by the mark in its header.

use std::borrow::Cow;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use dbase::CodePageMark;
use dbase::encoding::{DynEncoding, Encoding as _};
use encoding_rs::Encoding;

use super::container::beside;
use crate::read::text::decode;

/// How the texts of a table are encoded.
pub(super) enum CodePage {
    /// As a .cpg names it.
    Named(&'static Encoding),
    /// One of DOS or Windows, as the header's mark or a .cpg says.
    Marked(DynEncoding),
    /// Nobody says.
    Unknown,
}

impl CodePage {
    /// The code page of the table at this path. `mark`: what its header says.
    pub fn of(path: &Path, mark: CodePageMark) -> Self {
        let label = cpg(path).unwrap_or_default();
        if let Some(encoding) = named(&label) {
            return CodePage::Named(encoding);
        }
        let mark = dos(&label).unwrap_or(mark);
        match mark {
            CodePageMark::Undefined | CodePageMark::Invalid => CodePage::Unknown,
            mark => mark
                .to_encoding()
                .map_or(CodePage::Unknown, CodePage::Marked),
        }
    }

    /// Bytes as text. A mark is often left over from a template, so UTF-8 that cannot be by chance stands above it.
    pub fn text<'a>(&self, bytes: &'a [u8]) -> Cow<'a, str> {
        match self {
            CodePage::Named(encoding) => encoding.decode_without_bom_handling(bytes).0,
            CodePage::Marked(page) => match std::str::from_utf8(bytes) {
                Ok(text) => Cow::Borrowed(text),
                Err(_) => page.decode(bytes).unwrap_or_else(|_| decode(bytes)),
            },
            CodePage::Unknown => decode(bytes),
        }
    }
}

/// What the .cpg beside a table says, in small letters.
fn cpg(path: &Path) -> Option<String> {
    let mut text = String::new();
    let cpg = beside(path, "cpg")?;
    File::open(cpg)
        .ok()?
        .take(64)
        .read_to_string(&mut text)
        .ok()?;
    let label = text.trim().to_lowercase();
    Some(label.strip_prefix("ansi ").unwrap_or(&label).to_owned())
}

/// The encoding of that name, where it is one that the web knows.
fn named(label: &str) -> Option<&'static Encoding> {
    Encoding::for_label(label.as_bytes()).or_else(|| {
        let known = match label {
            "65001" => "utf-8".to_owned(),
            "1250" | "1251" | "1252" | "1253" | "1254" | "1255" | "1256" | "1257" | "1258" => {
                format!("windows-{label}")
            }
            _ => format!(
                "iso-8859-{}",
                label
                    .strip_prefix("8859")
                    .or(label.strip_prefix("iso8859"))?
                    .trim_start_matches('-')
            ),
        };
        Encoding::for_label(known.as_bytes())
    })
}

/// The code page of DOS of that name: `850`, `cp850`, `OEM 850`, `IBM850`.
fn dos(label: &str) -> Option<CodePageMark> {
    let digits = label.trim_start_matches(|c: char| !c.is_ascii_digit());
    Some(match digits {
        "437" => CodePageMark::CP437,
        "850" => CodePageMark::CP850,
        "852" => CodePageMark::CP852,
        "861" => CodePageMark::CP861,
        "865" => CodePageMark::CP865,
        "866" => CodePageMark::CP866,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bytes of the code pages' tables: ü is 0x81 in 437 and 850, ø 0x9B in 850 and 865, ł 0x88 in 852 (from memory).
    #[test]
    fn pages_of_dos_are_read() {
        let page = |mark: CodePageMark| CodePage::Marked(mark.to_encoding().expect("known"));
        assert_eq!(page(CodePageMark::CP850).text(b"M\x81hle"), "Mühle");
        assert_eq!(page(CodePageMark::CP437).text(b"M\x81hle"), "Mühle");
        assert_eq!(page(CodePageMark::CP865).text(b"\x9Bst"), "øst");
        assert_eq!(page(CodePageMark::CP852).text(b"\x88an"), "łan");
        assert_eq!(page(CodePageMark::CP850).text("Mühle".as_bytes()), "Mühle");
        for label in ["850", "cp850", "oem 850", "ibm850"] {
            assert_eq!(dos(label), Some(CodePageMark::CP850), "{label}");
        }
        assert!(named("utf-8").is_some() && named("850").is_none() && dos("utf-8").is_none());
    }
}
