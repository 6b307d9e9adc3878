//! Tables that fit the page: names give way where there is no room.

use crate::report::terminal::page::{Page, WIDTH, shortened_to};

/// Where the cells of a column stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Texts. They may be shortened.
    Left,
    /// Numbers.
    Right,
}

/// Between columns.
const GAP: usize = 2;
/// A name is not shortened below this.
const LEAST_NAME: usize = 10;

/// Rows under a header, `indent` from the left.
pub(super) fn table(
    page: &mut Page,
    columns: &[(&str, Side)],
    rows: &[Vec<String>],
    indent: usize,
) {
    let cell_width = |c: usize| {
        let cells = rows.iter().map(|r| r[c].as_str()).chain([columns[c].0]);
        cells.map(|s| s.chars().count()).max().unwrap_or(0)
    };
    let mut width: Vec<usize> = (0..columns.len()).map(cell_width).collect();
    let total = |width: &[usize]| indent + width.iter().sum::<usize>() + GAP * (width.len() - 1);
    while total(&width) > WIDTH {
        let widest = (0..columns.len())
            .filter(|&c| columns[c].1 == Side::Left && width[c] > LEAST_NAME)
            .max_by_key(|&c| (width[c], usize::MAX - c));
        let Some(widest) = widest else { break };
        width[widest] -= 1;
    }
    let header: Vec<String> = columns.iter().map(|c| c.0.to_owned()).collect();
    for row in [&header].into_iter().chain(rows) {
        let cells: Vec<String> = (columns.iter().zip(&width).zip(row))
            .map(|(((_, side), &width), cell)| match side {
                Side::Left => format!("{:<width$}", shortened_to(cell, width)),
                Side::Right => format!("{cell:>width$}"),
            })
            .collect();
        page.line(format!("{}{}", " ".repeat(indent), cells.join("  ")).trim_end());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_give_way_and_numbers_stay() {
        let mut page = Page::default();
        let row = vec!["n".repeat(90), "m".repeat(20), "12345.6".to_owned()];
        table(
            &mut page,
            &[
                ("name", Side::Left),
                ("other", Side::Left),
                ("kg", Side::Right),
            ],
            &[row],
            2,
        );
        let text = page.finish();
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines.iter().all(|l| l.chars().count() <= WIDTH), "{text}");
        assert!(
            lines[1].ends_with("  12345.6") && lines[1].contains(&"m".repeat(20)),
            "{text}"
        );
    }
}
