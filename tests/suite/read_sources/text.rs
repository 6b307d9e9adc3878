//! One table in every separator, decimal sign, quoting, encoding and packing: the same points, to the last bit.

use std::io::Write;

use proptest::prelude::*;

use super::farm::{codes, example, read, same, write};

/// How a table is written.
#[derive(Debug, Clone, Copy)]
struct Style {
    separator: char,
    decimal_comma: bool,
    quoted: bool,
    line_end: &'static str,
    encoding: Encoding,
    packing: Packing,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Encoding {
    Utf8,
    Utf8Marked,
    Latin1,
    Utf16Little,
    Utf16LittleMarked,
    Utf16Big,
    Utf16BigMarked,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Packing {
    Plain,
    Gzip,
    Zip,
    /// In a folder of the zip, the way that a folder is packed.
    ZipFolder,
    Folder,
}

impl Encoding {
    pub const ALL: [Encoding; 7] = [
        Encoding::Utf8,
        Encoding::Utf8Marked,
        Encoding::Latin1,
        Encoding::Utf16Little,
        Encoding::Utf16LittleMarked,
        Encoding::Utf16Big,
        Encoding::Utf16BigMarked,
    ];
}

impl Packing {
    pub const ALL: [Packing; 5] = [
        Packing::Plain,
        Packing::Gzip,
        Packing::Zip,
        Packing::ZipFolder,
        Packing::Folder,
    ];
}

fn styles() -> impl Strategy<Value = Style> {
    (
        prop::sample::select(vec![',', ';', '\t', '|']),
        any::<bool>(),
        any::<bool>(),
        prop::sample::select(vec!["\n", "\r\n"]),
        prop::sample::select(Encoding::ALL.to_vec()),
        prop::sample::select(Packing::ALL.to_vec()),
    )
        .prop_map(
            |(separator, comma, quoted, line_end, encoding, packing)| Style {
                separator,
                decimal_comma: comma && separator != ',',
                quoted,
                line_end,
                encoding,
                packing,
            },
        )
}

fn in_style(table: &str, style: Style) -> Vec<u8> {
    let mut text = String::new();
    for line in table.lines() {
        let cells = line.split(',').map(|cell| {
            let number = cell.parse::<f64>().is_ok();
            let cell = if style.decimal_comma && number {
                cell.replace('.', ",")
            } else {
                cell.to_owned()
            };
            if style.quoted {
                format!("\"{cell}\"")
            } else {
                cell
            }
        });
        text.push_str(&cells.collect::<Vec<_>>().join(&style.separator.to_string()));
        text.push_str(style.line_end);
    }
    in_encoding(&text, style.encoding)
}

pub fn in_encoding(text: &str, encoding: Encoding) -> Vec<u8> {
    let utf16 = |mark: bool, bytes: fn(u16) -> [u8; 2]| -> Vec<u8> {
        let mark = mark.then_some('\u{feff}').into_iter();
        let units: Vec<u16> = mark
            .chain(text.chars())
            .collect::<String>()
            .encode_utf16()
            .collect();
        units.into_iter().flat_map(bytes).collect()
    };
    match encoding {
        Encoding::Utf8 => text.as_bytes().to_vec(),
        Encoding::Utf8Marked => format!("\u{feff}{text}").into_bytes(),
        Encoding::Latin1 => text
            .chars()
            .map(|c| u8::try_from(u32::from(c)).expect("Latin-1"))
            .collect(),
        Encoding::Utf16Little => utf16(false, u16::to_le_bytes),
        Encoding::Utf16LittleMarked => utf16(true, u16::to_le_bytes),
        Encoding::Utf16Big => utf16(false, u16::to_be_bytes),
        Encoding::Utf16BigMarked => utf16(true, u16::to_be_bytes),
    }
}

/// Writes the table packed; returns what the job names.
pub fn packed(folder: &std::path::Path, bytes: &[u8], packing: Packing) -> &'static str {
    let zip = |name: &str| {
        let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        zip.start_file(name, zip::write::SimpleFileOptions::default())
            .expect("an entry");
        zip.write_all(bytes).expect("packed");
        zip.finish().expect("a zip").into_inner()
    };
    let name = match packing {
        Packing::Plain => "log.csv",
        Packing::Gzip => "log.csv.gz",
        Packing::Zip | Packing::ZipFolder => "log.zip",
        Packing::Folder => "logs",
    };
    match packing {
        Packing::Plain => drop(write(folder, name, bytes)),
        Packing::Folder => drop(write(folder, "logs/a/log.csv", bytes)),
        Packing::Zip => drop(write(folder, name, &zip("log.csv"))),
        Packing::ZipFolder => drop(write(folder, name, &zip("season/log.csv"))),
        Packing::Gzip => {
            let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
            gzip.write_all(bytes).expect("packed");
            write(folder, name, &gzip.finish().expect("packed"));
        }
    }
    name
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn a_table_says_the_same_however_it_is_written(style in styles()) {
        let table = example().replace("first-C1", "Mühle-C1");
        let folder = tempfile::tempdir().expect("a folder");
        write(folder.path(), "base.csv", table.as_bytes());
        let base = read(folder.path(), "First field", "logs = [\"base.csv\"]").expect("readable");
        let name = packed(folder.path(), &in_style(&table, style), style.packing);
        let input = read(folder.path(), "First field", &format!("logs = [\"{name}\"]")).expect("readable");
        prop_assert_eq!((input.unreadable.len(), codes(&input)), (0, codes(&base)));
        prop_assert!(base.log.loads[0].starts_with("Mühle"));
        same(&base.log, &input.log, 0.0, 0.0);
    }
}
