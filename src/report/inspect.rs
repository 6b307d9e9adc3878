//! A log by itself, as text for a narrow terminal.

use super::terminal::page::{Page, Paint, shortened};
use crate::inspect::{ColumnSurvey, Survey};

/// Characters of a bar, from nothing to full.
const BARS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// The page of one log.
pub fn text(survey: &Survey) -> String {
    let mut page = Page::new(Paint::Plain);
    page.line(&survey.file);
    if let Some(error) = &survey.error {
        page.entry("cannot be", &format!("read yet: {error}"));
    }
    let unreadable = if survey.unreadable > 0 {
        format!("; {} that cannot be read", survey.unreadable)
    } else {
        String::new()
    };
    page.entry("rows", &format!("{}{unreadable}", survey.rows));
    if let Some(s) = &survey.span {
        page.entry(
            "where",
            &format!(
                "{:.5} to {:.5} E, {:.5} to {:.5} N: {:.0} m by {:.0} m",
                s.west, s.east, s.south, s.north, s.width_m, s.height_m
            ),
        );
    }
    if let Some(t) = &survey.time {
        page.entry("when", &format!("{} to {}", t.from, t.to));
    }
    page.entry("clock", &survey.clock);
    if let Some(s) = survey.interval_s {
        page.entry("interval", &format!("{} s", number(s)));
    }
    let spacing = survey.pass_spacing_m.map_or_else(String::new, |m| {
        format!(
            ", {m:.1} m ({:.0} ft) apart: about the width of the header",
            m / 0.3048
        )
    });
    page.entry(
        "passes",
        &format!(
            "{}, with {} rows at work{spacing}",
            survey.passes, survey.rows_at_work
        ),
    );
    let machines: Vec<String> = survey
        .machines
        .iter()
        .map(|m| {
            m.name.as_ref().map_or_else(
                || "one that is not named".to_owned(),
                |n| format!("{n} ({} rows)", m.rows),
            )
        })
        .collect();
    page.entry("machines", &machines.join(", "));
    page.entry("loads", &loads(&survey.loads));
    page.entry("crop", survey.crop.as_deref().unwrap_or("not named"));
    if let Some(t) = survey.grain_t {
        page.entry("grain", &format!("{t:.1} t logged, wet"));
    }
    page.line("");
    page.line("  columns");
    for column in &survey.columns {
        self::column(&mut page, column);
    }
    if !survey.map.is_empty() {
        page.line("");
        for line in dots(&survey.map) {
            page.line(&format!("  {line}"));
        }
    }
    for (title, remarks) in [("oddities", &survey.oddities)] {
        if !remarks.is_empty() {
            page.line("");
            page.line(&format!("  {title}"));
            for r in remarks {
                page.hanging("  - ", &format!("{}: {}", r.code, r.text), 4);
            }
        }
    }
    if !survey.questions.is_empty() {
        page.line("");
        page.line("  questions (one line of [log] settles each)");
        for q in &survey.questions {
            page.hanging("  - ", &format!("\"{}\": {}", q.header, q.text), 4);
            for answer in &q.answers {
                page.hanging("      ", &answer.replace('\n', "   and   "), 6);
            }
        }
    }
    page.line("");
    page.line("  for the job file:");
    for line in survey.log_block.lines() {
        page.line(line);
    }
    page.finish()
}

fn loads(loads: &[String]) -> String {
    match loads {
        [] => "none named".to_owned(),
        few if few.len() <= 8 => few.join(", "),
        many => format!(
            "{}, from {} to {}",
            many.len(),
            many[0],
            many[many.len() - 1]
        ),
    }
}

fn column(page: &mut Page, column: &ColumnSurvey) {
    let what = match (&column.column, &column.unit) {
        (Some(name), Some(unit)) => format!("{name} [{unit}]"),
        (Some(name), None) => name.clone(),
        (None, _) => "–".to_owned(),
    };
    let values = match (column.lowest, column.median, column.highest) {
        (Some(lo), Some(mid), Some(hi)) if lo < hi => {
            format!("{} … {} … {}", number(lo), number(mid), number(hi))
        }
        (Some(lo), ..) => format!("always {}", number(lo)),
        _ if column.texts.is_empty() => "empty".to_owned(),
        _ => column.texts.join(", "),
    };
    let missing = column
        .missing_pct
        .filter(|m| *m >= 0.05)
        .map_or_else(String::new, |m| format!("; {m:.1} % missing"));
    page.hanging(
        &format!("  {:<22} {:<16} ", shortened(&column.header), what),
        &format!("{values}{missing}"),
        42,
    );
    page.hanging(&" ".repeat(42), &column.how, 42);
    if let (Some(from), Some(to)) = (column.histogram_from, column.histogram_to) {
        page.line(&format!(
            "{}{} {} {}",
            " ".repeat(42),
            number(from),
            bars(&column.histogram),
            number(to)
        ));
    }
}

/// A histogram in one line.
fn bars(bins: &[u32]) -> String {
    let most = bins.iter().copied().max().unwrap_or(0).max(1);
    bins.iter()
        .map(|n| BARS[(n * 8).div_ceil(most) as usize])
        .collect()
}

/// A map in braille patterns: 2 by 4 dots in a character (Unicode block U+2800, dots numbered as the standard has them).
fn dots(map: &[Vec<bool>]) -> Vec<String> {
    const DOT: [[u32; 2]; 4] = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]];
    map.chunks(4)
        .map(|rows| {
            let width = rows.iter().map(Vec::len).max().unwrap_or(0);
            let line: String = (0..width.div_ceil(2))
                .filter_map(|c| {
                    let mut code = 0x2800;
                    for (r, row) in rows.iter().enumerate() {
                        for (d, dot) in DOT[r].iter().enumerate() {
                            if row.get(2 * c + d).copied().unwrap_or(false) {
                                code |= dot;
                            }
                        }
                    }
                    char::from_u32(code)
                })
                .collect();
            line.trim_end_matches('\u{2800}').to_owned()
        })
        .collect()
}

/// A number with about five digits that matter.
fn number(x: f64) -> String {
    let size = x.abs();
    let decimals = if size >= 10_000.0 || x.fract() == 0.0 {
        0
    } else if size >= 100.0 {
        2
    } else if size >= 1.0 {
        3
    } else {
        5
    };
    let text = format!("{x:.decimals$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_and_dots_are_drawn() {
        assert_eq!(bars(&[0, 1, 4, 8]), " ▁▄█");
        assert_eq!(bars(&[]), "");
        // The upper left dot is U+2801, the lower right one U+2880 (Unicode, Braille Patterns).
        let mut map = vec![vec![false; 2]; 4];
        map[0][0] = true;
        map[3][1] = true;
        assert_eq!(dots(&map), ["\u{2881}"]);
        assert_eq!(dots(&[]), Vec::<String>::new());
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!(
            [0.5, 12.3456, 431.0, 54321.9, -93.97842].map(number),
            ["0.5", "12.346", "431", "54322", "-93.978"]
        );
    }
}
