//! Text of inputs, whatever its encoding.

use std::borrow::Cow;
use std::io::{self, Cursor, Read};

use encoding_rs::{Decoder, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::source::{Input, fill};

/// Bytes read at a time (our choice: large enough that system calls do not count).
pub(super) const BUFFER: usize = 256 * 1024;

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

/// The input as UTF-8 (or an older one-byte encoding), without its byte-order mark.
pub(super) fn utf8(mut input: Input) -> io::Result<Input> {
    let mut start = [0u8; 3];
    let n = fill(&mut *input, &mut start)?;
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
    let rest = Cursor::new(start[skip..].to_vec()).chain(input);
    Ok(match utf16 {
        Some((encoding, _)) => Box::new(Transcoded::new(
            encoding.new_decoder_without_bom_handling(),
            rest,
        )),
        None => Box::new(rest),
    })
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
                self.raw_end = fill(&mut self.from, &mut self.raw)?;
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
