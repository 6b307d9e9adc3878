//! Text under construction: labels, wrapped text, tables.

/// Width of the text, characters.
pub(in crate::report) const WIDTH: usize = 100;
/// Width of the words in front.
const LABEL: usize = 12;
/// Longest name in a table, characters.
const LONGEST_NAME: usize = 40;

/// The name in the room that a table has for it.
pub(in crate::report) fn shortened(name: &str) -> String {
    shortened_to(name, LONGEST_NAME)
}

/// The name in so many characters: its end tells fields of a client apart, so the middle goes.
pub(in crate::report) fn shortened_to(name: &str, longest: usize) -> String {
    let length = name.chars().count();
    if length <= longest {
        return name.to_owned();
    }
    let room = longest.saturating_sub(1);
    let half = room / 2;
    let front: String = name.chars().take(half).collect();
    let end: String = name.chars().skip(length - (room - half)).collect();
    format!("{front}…{end}")
}

/// Text under construction.
#[derive(Default)]
pub(in crate::report) struct Page(String);

impl Page {
    /// A line as it is. Control characters, which could steer the terminal, are shown as �.
    pub(in crate::report) fn line(&mut self, line: &str) {
        self.0.extend(line.chars().map(|c| {
            if c.is_control() {
                char::REPLACEMENT_CHARACTER
            } else {
                c
            }
        }));
        self.0.push('\n');
    }

    /// The text.
    pub(in crate::report) fn finish(self) -> String {
        self.0
    }

    /// A label and its text, wrapped beside it.
    pub(in crate::report) fn entry(&mut self, label: &str, text: &str) {
        let label = if label.chars().count() > LABEL {
            shortened(label)
        } else {
            label.to_owned()
        };
        self.hanging(&format!("  {label:LABEL$} "), text, LABEL + 3);
    }

    /// Text after `start`, its further lines indented.
    pub(in crate::report) fn hanging(&mut self, start: &str, text: &str, indent: usize) {
        let mut line = start.to_owned();
        let mut empty = true;
        for word in text.split_whitespace() {
            if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
                self.line(line.trim_end());
                line = " ".repeat(indent);
                empty = true;
            }
            if !empty {
                line.push(' ');
            }
            line.push_str(word);
            empty = false;
        }
        self.line(line.trim_end());
    }

    /// Rows under a header, the last one apart; the first column to the left, the others to the right.
    pub(in crate::report) fn table<const N: usize>(&mut self, rows: &[[String; N]]) {
        let width: Vec<usize> = (0..N)
            .map(|c| rows.iter().map(|r| r[c].chars().count()).max().unwrap_or(0))
            .collect();
        for (k, row) in rows.iter().enumerate() {
            if k + 1 == rows.len() {
                self.line(&"-".repeat(width.iter().sum::<usize>() + 2 * (N - 1)));
            }
            let mut line = format!("{:<1$}", row[0], width[0]);
            for (cell, width) in row.iter().zip(&width).skip(1) {
                line += &format!("  {cell:>width$}");
            }
            self.line(line.trim_end());
        }
    }
}
