//! A ready `[log]` block.

use crate::job::{GrainMoisture, LogColumn};
use crate::read::{Inspected, Question};

/// The lines of `[log]` that fix what was recognised in a log: its columns and units by name, so that a short file of
/// the same kind, which proves nothing, is read alike. What is open stands behind it as comments, one line to be taken.
pub fn log_block(log: &Inspected) -> String {
    let recognised = &log.recognised;
    let open: Vec<usize> = recognised
        .questions
        .iter()
        .filter(|q| q.indispensable)
        .map(|q| q.index)
        .collect();
    let header = |index: usize| log.columns.get(index).map_or("", |c| c.header.as_str());
    let (mut columns, mut units) = (Vec::new(), Vec::new());
    for found in recognised
        .columns
        .iter()
        .filter(|f| !open.contains(&f.index))
    {
        if found.how.starts_with("stated") || header(found.index).is_empty() {
            continue;
        }
        let name = found.column.name();
        columns.push(format!("{name} = {}", quoted(header(found.index))));
        let counted = !matches!(
            found.column,
            LogColumn::Time | LogColumn::X | LogColumn::Y | LogColumn::Lon | LogColumn::Lat
        );
        if let Some(unit) = found.unit.filter(|_| counted) {
            units.push(format!("{name} = \"{unit}\""));
        }
    }
    let mut block = "[log]\n".to_owned();
    if !columns.is_empty() {
        block += &format!("columns = {{ {} }}\n", columns.join(", "));
    }
    if !units.is_empty() {
        block += &format!("units = {{ {} }}\n", units.join(", "));
    }
    match recognised.grain_moisture {
        GrainMoisture::Harvest => {}
        GrainMoisture::Reference => block += "at_moisture = \"reference\"\n",
        GrainMoisture::At(pct) => block += &format!("at_moisture = \"{pct} %\"\n"),
    }
    if let Some(moments) = recognised.moments.as_ref().filter(|_| open.is_empty()) {
        block += &format!("section_grain = \"{}\"\n", moments.grain.name());
        if let Some(width) = moments.width_share() {
            block += &format!("section_width = \"{}\"\n", width.name());
        }
    }
    for question in &recognised.questions {
        block += &commented(header(question.index), question);
    }
    block
}

/// A question and its answers as comments.
pub(crate) fn commented(header: &str, question: &Question) -> String {
    let mut out = format!(
        "# QUESTION about {}: {}. Take one:\n",
        quoted(header),
        one_line(&question.text)
    );
    for line in &question.lines {
        for part in line.lines() {
            out += &format!("#   {}\n", one_line(part));
        }
    }
    out
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A text in TOML quotes.
pub(crate) fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", c as u32)),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}
