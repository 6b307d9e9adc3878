//! Text files of rows, whatever their encoding and separator, streamed.

use std::borrow::Cow;
use std::fs::File;
use std::io::{self, Cursor, Read};
use std::path::Path;

use encoding_rs::{Decoder, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::error::{ReadError, ReadErrorKind};
use crate::place::Place;

/// Bytes read at a time (our choice: large enough that system calls do not count).
const BUFFER: usize = 256 * 1024;

/// The longest header line looked at, bytes (our choice).
const LONGEST_HEADER: usize = 1024 * 1024;

/// A table of separated values, its header read.
pub(super) struct Separated {
    /// Reads the data rows.
    pub rows: csv::Reader<Box<dyn Read>>,
    /// Header names, blanks around them taken off.
    pub headers: Vec<String>,
    /// `,`, `;` or a tab.
    pub separator: u8,
}

impl Separated {
    /// Opens a file and reads its header. `file`: its name for messages; `lines`: what its lines are, e.g. "rows".
    pub fn open(path: &Path, file: &str, lines: &str) -> Result<Separated, ReadError> {
        let mut text = plain(path).map_err(|e| ReadError::io(file, e))?;
        let head = first_line(&mut text).map_err(|e| ReadError::io(file, e))?;
        if head.trim_ascii().is_empty() {
            let expected = format!("a header and {lines}");
            return Err(ReadError::new(
                ReadErrorKind::Empty,
                Place::file(file),
                expected,
                "an empty file",
            )
            .hinted("export it again, or take it off the list"));
        }
        let separator = sniff(&head);
        let mut rows = csv::ReaderBuilder::new()
            .delimiter(separator)
            .has_headers(false)
            .flexible(true)
            .buffer_capacity(BUFFER)
            .from_reader(Box::new(Cursor::new(head).chain(text)) as Box<dyn Read>);
        let mut header = csv::ByteRecord::new();
        rows.read_byte_record(&mut header)
            .map_err(|e| csv_error(file, e))?;
        let headers = header.iter().map(|h| decode(h).trim().to_owned()).collect();
        Ok(Separated {
            rows,
            headers,
            separator,
        })
    }

    /// Whether a comma may stand for the decimal point.
    pub fn decimal_comma(&self) -> bool {
        self.separator != b','
    }
}

/// A read error of the CSV reader. Rows of any length and bytes of any kind are accepted, so it is the disk's.
pub(super) fn csv_error(file: &str, error: csv::Error) -> ReadError {
    match error.into_kind() {
        csv::ErrorKind::Io(cause) => ReadError::io(file, cause),
        other => ReadError::io(file, io::Error::other(format!("{other:?}"))),
    }
}

/// A name or a text in a file: UTF-8, and where it is not, Windows-1252.
pub(super) fn decode(bytes: &[u8]) -> Cow<'_, str> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => WINDOWS_1252.decode_without_bom_handling(bytes).0,
    }
}

/// A cell as it is shown in a message: quoted, and not longer than a line.
pub(super) fn shown(cell: &[u8]) -> String {
    let text = decode(cell);
    let mut short: String = text.chars().take(40).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    format!("\"{}\"", short.escape_debug())
}

/// The file as UTF-8 (or an older one-byte encoding), without its byte-order mark.
fn plain(path: &Path) -> io::Result<Box<dyn Read>> {
    let mut file = File::open(path)?;
    if file.metadata()?.is_dir() {
        return Err(io::Error::from(io::ErrorKind::IsADirectory));
    }
    let mut start = [0u8; 3];
    let n = read_full(&mut file, &mut start)?;
    let start = &start[..n];
    let utf16 = match start {
        [0xFF, 0xFE, ..] => Some((UTF_16LE, 2)),
        [0xFE, 0xFF, ..] => Some((UTF_16BE, 2)),
        // A header starts with a printable ASCII character or a quote: its other byte is nought.
        [a, 0, ..] if *a != 0 => Some((UTF_16LE, 0)),
        [0, b, ..] if *b != 0 => Some((UTF_16BE, 0)),
        _ => None,
    };
    let skip = if start == [0xEF, 0xBB, 0xBF] {
        3
    } else {
        utf16.map_or(0, |(_, skip)| skip)
    };
    let rest = Cursor::new(start[skip..].to_vec()).chain(file);
    Ok(match utf16 {
        Some((encoding, _)) => Box::new(Transcoded::new(
            encoding.new_decoder_without_bom_handling(),
            rest,
        )),
        None => Box::new(rest),
    })
}

/// Fills `buffer` as far as the file goes.
fn read_full(from: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    let mut n = 0;
    while n < buffer.len() {
        match from.read(&mut buffer[n..]) {
            Ok(0) => break,
            Ok(k) => n += k,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(n)
}

/// Reads on until the first line that is not blank is whole; returns all that was read.
fn first_line(text: &mut impl Read) -> io::Result<Vec<u8>> {
    let mut head = Vec::new();
    let mut block = [0u8; 4096];
    loop {
        let n = read_full(text, &mut block)?;
        head.extend_from_slice(&block[..n]);
        let line = head.trim_ascii_start();
        let whole = line.iter().any(|&b| b == b'\n' || b == b'\r');
        if n < block.len() || whole || head.len() > LONGEST_HEADER {
            return Ok(head);
        }
    }
}

/// The separator that the first line holds most of, outside quotes; a comma where there is none.
fn sniff(head: &[u8]) -> u8 {
    let line = head.trim_ascii_start();
    let end = line
        .iter()
        .position(|&b| b == b'\n' || b == b'\r')
        .unwrap_or(line.len());
    // A leading tab or separator is a column without a name, which trimming takes off: it cannot change the choice.
    let (mut tabs, mut semicolons, mut commas, mut quoted) = (0, 0, 0, false);
    for &b in &line[..end] {
        match b {
            b'"' => quoted = !quoted,
            b'\t' if !quoted => tabs += 1,
            b';' if !quoted => semicolons += 1,
            b',' if !quoted => commas += 1,
            _ => {}
        }
    }
    [(tabs, b'\t'), (semicolons, b';'), (commas, b',')]
        .into_iter()
        .fold(
            (0, b','),
            |best, next| if next.0 > best.0 { next } else { best },
        )
        .1
}

/// Another encoding as UTF-8, on the fly.
struct Transcoded<R> {
    decoder: Decoder,
    from: R,
    raw: Vec<u8>,
    raw_at: usize,
    raw_end: usize,
    text: Vec<u8>,
    text_at: usize,
    text_end: usize,
    finished: bool,
}

impl<R: Read> Transcoded<R> {
    fn new(decoder: Decoder, from: R) -> Self {
        let (raw, text) = (vec![0; BUFFER], vec![0; BUFFER]);
        Self {
            decoder,
            from,
            raw,
            raw_at: 0,
            raw_end: 0,
            text,
            text_at: 0,
            text_end: 0,
            finished: false,
        }
    }
}

impl<R: Read> Read for Transcoded<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        while self.text_at == self.text_end && !self.finished {
            if self.raw_at == self.raw_end {
                self.raw_at = 0;
                self.raw_end = read_full(&mut self.from, &mut self.raw)?;
            }
            let last = self.raw_end < self.raw.len();
            let (result, read, written, _) = self.decoder.decode_to_utf8(
                &self.raw[self.raw_at..self.raw_end],
                &mut self.text,
                last,
            );
            self.raw_at += read;
            (self.text_at, self.text_end) = (0, written);
            self.finished = last && result == encoding_rs::CoderResult::InputEmpty;
        }
        let n = out.len().min(self.text_end - self.text_at);
        out[..n].copy_from_slice(&self.text[self.text_at..self.text_at + n]);
        self.text_at += n;
        Ok(n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_separator_is_the_commonest_one_outside_quotes() {
        assert_eq!(sniff(b"a,b;c,d\n1;2;3;4;5"), b',');
        assert_eq!(sniff(b"\"a,b,c\";d\r\n"), b';');
        assert_eq!(sniff(b"a\tb, or c"), b'\t');
        assert_eq!(sniff(b"alone"), b',');
    }

    #[test]
    fn utf_16_longer_than_the_buffer_comes_through_whole() {
        let text: String = (0..BUFFER).map(|i| ['a', 'ü', '日', '𝄞'][i % 4]).collect();
        let raw: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let mut back = String::new();
        Transcoded::new(
            UTF_16LE.new_decoder_without_bom_handling(),
            Cursor::new(raw),
        )
        .read_to_string(&mut back)
        .expect("reads");
        assert!(back == text);
    }

    #[test]
    fn one_byte_text_is_shown_as_it_was_meant() {
        assert_eq!(decode(b"M\xFChle"), "Mühle");
        assert_eq!(shown(&[b'x'; 50]), format!("\"{}…\"", "x".repeat(40)));
    }
}
