//! What stands before the rows of a text beside its header: remarks above it, units in a row under it.

use super::Header;
use super::csv::{separators, sniff};
use crate::read::text::decode;
use crate::units::Quantity;

/// Lines of remarks looked through (our choice).
const MOST_REMARKS: usize = 100;

/// Where the header starts in the first bytes of a text, and the remarks above it.
///
/// A remark is a line that starts as comments do (`#`, `//`, `sep=`), unless it is the header itself behind such a sign;
/// or one with less than half the separators that the three lines and more behind it agree on.
pub(super) fn header_start(head: &[u8], at_end: bool) -> (usize, Vec<String>) {
    let mut lines = lines_of(head);
    if !at_end {
        lines.pop(); // it may go on
    }
    let mut above = Vec::new();
    let mut k = 0;
    while k + 1 < lines.len() && k < MOST_REMARKS {
        let line = line(head, lines[k]);
        let comment = is_comment(line);
        let skip = line.is_empty()
            || match comment {
                true => !is_header_behind_a_sign(head, &lines, k),
                false => k + 3 < lines.len() && is_remark(line, head, &lines[k + 1..]),
            };
        if !skip {
            break;
        }
        if !line.is_empty() {
            above.push(
                decode(line)
                    .trim_start_matches(['#', '/', '%', ' '])
                    .trim()
                    .to_owned(),
            );
        }
        k += 1;
    }
    // A text of remarks alone has no header to find, and a row of numbers is none.
    let Some(&place) = lines.get(k) else {
        return (0, Vec::new()); // one line that goes on beyond what is looked at
    };
    let header = line(head, place);
    if above.is_empty() || header.is_empty() || holds_a_number(header, sniff(header)) {
        return (0, Vec::new());
    }
    let sign = header.first() == Some(&b'#');
    (place.0 + usize::from(sign), above)
}

/// Start and end of each line.
fn lines_of(head: &[u8]) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let mut start = 0;
    for (k, &b) in head.iter().enumerate() {
        if b == b'\n' || b == b'\r' {
            if !(b == b'\n' && k > 0 && head[k - 1] == b'\r' && start == k) {
                out.push((start, k));
            }
            start = k + 1;
        }
    }
    out.push((start, head.len()));
    out
}

fn line(head: &[u8], (start, end): (usize, usize)) -> &[u8] {
    head[start..end].trim_ascii()
}

fn is_comment(line: &[u8]) -> bool {
    line.starts_with(b"#")
        || line.starts_with(b"//")
        || line.to_ascii_lowercase().starts_with(b"sep=")
}

/// Whether a line that starts as a comment is the header: the line behind it is no comment, and has as many columns
/// and a number in it.
fn is_header_behind_a_sign(head: &[u8], lines: &[(usize, usize)], k: usize) -> bool {
    let (this, next) = (line(head, lines[k]), line(head, lines[k + 1]));
    let separator = sniff(next);
    let columns = separators(next, separator);
    this.starts_with(b"#")
        && !is_comment(next)
        && columns > 0
        && separators(this, separator) == columns
        && holds_a_number(next, separator)
}

/// Whether a cell of a line is a number.
fn holds_a_number(line: &[u8], separator: u8) -> bool {
    line.split(|b| *b == separator)
        .any(|cell| decode(cell).trim().replace(',', ".").parse::<f64>().is_ok())
}

/// Whether a line has less than half the separators that the lines behind it agree on; or as many, and hardly a cell
/// that is filled: a title over the columns of a spreadsheet.
fn is_remark(this: &[u8], head: &[u8], behind: &[(usize, usize)]) -> bool {
    // The lines last looked at are rows: their separator is the table's.
    let rows: Vec<&[u8]> = behind
        .iter()
        .take(20)
        .map(|l| line(head, *l))
        .filter(|l| !l.is_empty())
        .collect();
    let Some(separator) = separator_of(&rows) else {
        return false;
    };
    let columns = rows.last().map_or(0, |last| separators(last, separator));
    let agree = rows
        .iter()
        .filter(|r| separators(r, separator) == columns)
        .count();
    if columns < 2 || agree < 3 {
        return false;
    }
    let mut filled: Vec<usize> = rows.iter().map(|r| filled_cells(r, separator)).collect();
    filled.sort_unstable();
    separators(this, separator) * 2 < columns
        || filled_cells(this, separator) * 3 <= filled[filled.len() / 2]
}

/// The separator of rows: one that is no comma, if all have as many of it, since commas may be decimal; else what the last
/// row has most of.
fn separator_of(rows: &[&[u8]]) -> Option<u8> {
    let last = rows.last()?;
    let everywhere = |s: &u8| {
        let n = separators(last, *s);
        n > 0 && rows.iter().filter(|r| separators(r, *s) == n).count() * 2 > rows.len()
    };
    Some(
        [b'\t', b';', b'|']
            .into_iter()
            .find(everywhere)
            .unwrap_or_else(|| sniff(last)),
    )
}

fn filled_cells(line: &[u8], separator: u8) -> usize {
    let cells = line.split(|b| *b == separator);
    cells
        .filter(|c| !c.trim_ascii().iter().all(|b| *b == b'"'))
        .count()
}

/// Whether a row under the header holds units (and blanks): no number in it, and two cells or more, at least half of
/// those that are filled, spell a unit.
pub(super) fn is_unit_row<'a>(cells: impl Iterator<Item = &'a [u8]>) -> bool {
    let (mut filled, mut units) = (0usize, 0usize);
    for cell in cells {
        let text = decode(cell);
        let text = bare(&text);
        if text.is_empty() {
            continue;
        }
        if text.replace(',', ".").parse::<f64>().is_ok() {
            return false;
        }
        filled += 1;
        units += usize::from(Quantity::ALL.into_iter().any(|q| q.unit(text).is_some()));
    }
    units >= 2 && units * 2 >= filled
}

/// Hands each header what stands under it.
pub(super) fn put_under<'a>(headers: &mut [Header], cells: impl Iterator<Item = &'a [u8]>) {
    for (header, cell) in headers.iter_mut().zip(cells) {
        let text = decode(cell);
        let text = bare(&text);
        if !text.is_empty() {
            header.under = Some(text.to_owned());
        }
    }
}

/// A cell without the brackets around it.
fn bare(text: &str) -> &str {
    text.trim()
        .trim_matches(['(', ')', '[', ']', '{', '}'])
        .trim()
}

/// Whether cells of a table parted by commas have commas for decimal points, which only quotes allow: some that have
/// one are no groups of three digits, and none has a point as well.
pub(super) fn quoted_decimal_commas<'a>(cells: impl Iterator<Item = &'a [u8]>) -> bool {
    let mut decimal = false;
    for cell in cells {
        let cell = cell.trim_ascii();
        let Some(at) = cell.iter().position(|b| *b == b',') else {
            continue;
        };
        let (whole, part) = (&cell[..at], &cell[at + 1..]);
        let digits = |b: &[u8]| !b.is_empty() && b.iter().all(u8::is_ascii_digit);
        let whole = whole.strip_prefix(b"-").unwrap_or(whole);
        if !digits(whole) {
            continue;
        }
        if part.contains(&b'.') || part.contains(&b',') {
            return false; // groups of thousands
        }
        decimal |= digits(part) && part.len() != 3;
    }
    decimal
}

#[cfg(test)]
mod tests {
    use super::*;

    fn start(text: &str) -> (&str, Vec<String>) {
        let (at, above) = header_start(text.as_bytes(), true);
        (text[at..].lines().next().unwrap_or_default(), above)
    }

    #[test]
    fn remarks_stand_above_the_header() {
        let rows = "1;2;3\n4;5;6\n7;8;9\n";
        assert_eq!(
            start(&format!("# one\n\n# two\na;b;c\n{rows}")),
            ("a;b;c", vec!["one".into(), "two".into()])
        );
        assert_eq!(
            start(&format!("Map of a field\r\na;b;c\r\n{rows}")).0,
            "a;b;c"
        );
        assert_eq!(start(&format!("sep=;\na;b;c\n{rows}")).0, "a;b;c");
        // Decimal commas outnumber semicolons; a title has the columns of its spreadsheet.
        let german = "1,5;2,5;3,5\n4,5;5,5;6,5\n7,5;8,5;9,5\n";
        assert_eq!(start(&format!("sep=;\na;b;c\n{german}")).0, "a;b;c");
        assert_eq!(start(&format!("a;b;c\n{german}")).0, "a;b;c");
        assert_eq!(
            start("Harvest,,\n,,\nField 7,,\na,b,c\n1,2,3\n4,5,6\n7,8,9\n").0,
            "a,b,c"
        );
        // The header itself may stand behind the sign, and a header alone is one.
        assert_eq!(start("#a,b\n1,2\n"), ("#a,b", vec![]));
        assert_eq!(start("# a remark\n# a,b\n1,2\n").0, " a,b");
        assert_eq!(start("# a\n").0, "# a");
        assert_eq!(start("a\n1,2,3\n1,2,3\n1,2,3\n1,2,3\n").0, "a");
    }

    #[test]
    fn units_may_stand_in_a_row_of_their_own() {
        let row = |cells: &[&str]| is_unit_row(cells.iter().map(|c| c.as_bytes()));
        assert!(row(&["deg", "deg", "UTC", "lb/min", "%", ""]));
        assert!(row(&["[s]", "[kg/h]", ""]));
        assert!(!row(&["deg", "deg", "7"]));
        assert!(!row(&["m", "north bin", "red hen"]));
        assert!(!row(&["", ""]));
    }

    #[test]
    fn commas_in_quoted_cells_are_decimals_or_thousands() {
        let has = |cells: &[&str]| quoted_decimal_commas(cells.iter().map(|c| c.as_bytes()));
        assert!(has(&["-63,9086671", "1,234", "a, b"]));
        assert!(!has(&["1,234", "5,678"]));
        assert!(!has(&["12,5", "1,234.5"]));
        assert!(!has(&["2024, May"]));
    }
}
