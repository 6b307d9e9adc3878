//! Text under construction: labels, wrapped text, tables.

use std::ops::Range;

use anstyle::{AnsiColor, Style};

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

/// Whether text is coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paint {
    /// Text alone: for files, pipes and those who ask for none.
    #[default]
    Plain,
    /// With the sixteen colours of any terminal. They stress; nothing is said by them alone.
    Colour,
}

/// What is stressed, and how.
pub(in crate::report) const BOLD: Style = Style::new().bold();
/// A warning that may move totals.
pub(in crate::report) const GRAVE: Style = AnsiColor::Red.on_default().bold();
/// Another warning.
pub(in crate::report) const WARNING: Style = AnsiColor::Yellow.on_default();
/// Words in front.
pub(in crate::report) const LABELS: Style = AnsiColor::Cyan.on_default();

/// Text under construction.
#[derive(Default)]
pub(in crate::report) struct Page {
    text: String,
    paint: Paint,
}

impl Page {
    /// An empty one.
    pub(in crate::report) fn new(paint: Paint) -> Self {
        Self {
            text: String::new(),
            paint,
        }
    }

    /// A line as it is. Control characters, which could steer the terminal, are shown as �.
    pub(in crate::report) fn line(&mut self, line: &str) {
        self.styled(line, &[]);
    }

    /// A line with parts of it stressed: characters, in order and apart.
    pub(in crate::report) fn styled(&mut self, line: &str, parts: &[(Range<usize>, Style)]) {
        for (k, c) in line.chars().enumerate() {
            if self.paint == Paint::Colour {
                for (part, style) in parts.iter().filter(|p| !p.0.is_empty()) {
                    if part.end == k {
                        self.text += &style.render_reset().to_string();
                    }
                    if part.start == k {
                        self.text += &style.render().to_string();
                    }
                }
            }
            self.text.push(if c.is_control() {
                char::REPLACEMENT_CHARACTER
            } else {
                c
            });
        }
        let end = line.chars().count();
        if self.paint == Paint::Colour
            && let Some((_, style)) = parts.iter().find(|p| p.0.start < end && p.0.end >= end)
        {
            self.text += &style.render_reset().to_string();
        }
        self.text.push('\n');
    }

    /// The text.
    pub(in crate::report) fn finish(self) -> String {
        self.text
    }

    /// A label and its text, wrapped beside it.
    pub(in crate::report) fn entry(&mut self, label: &str, text: &str) {
        let label = if label.chars().count() > LABEL {
            shortened(label)
        } else {
            label.to_owned()
        };
        self.wrapped(
            &format!("  {label:LABEL$} "),
            text,
            LABEL + 3,
            &[(2..2 + label.chars().count(), LABELS)],
        );
    }

    /// The same with the first `stressed` characters of the text in a style.
    pub(in crate::report) fn warning(
        &mut self,
        label: &str,
        text: &str,
        stressed: usize,
        style: Style,
    ) {
        let at = LABEL + 3;
        self.wrapped(
            &format!("  {label:LABEL$} "),
            text,
            at,
            &[
                (2..2 + label.chars().count(), LABELS),
                (at..at + stressed, style),
            ],
        );
    }

    /// Text after `start`, its further lines indented.
    pub(in crate::report) fn hanging(&mut self, start: &str, text: &str, indent: usize) {
        self.wrapped(start, text, indent, &[]);
    }

    fn wrapped(&mut self, start: &str, text: &str, indent: usize, first: &[(Range<usize>, Style)]) {
        let mut parts = first;
        let mut line = start.to_owned();
        let mut empty = true;
        for word in text.split_whitespace() {
            if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
                self.styled(line.trim_end(), parts);
                parts = &[];
                line = " ".repeat(indent);
                empty = true;
            }
            if !empty {
                line.push(' ');
            }
            line.push_str(word);
            empty = false;
        }
        self.styled(line.trim_end(), parts);
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
            let line = line.trim_end();
            if k == 0 {
                self.styled(line, &[(0..line.chars().count(), BOLD)]);
            } else {
                self.line(line);
            }
        }
    }
}
