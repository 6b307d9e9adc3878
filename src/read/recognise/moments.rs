//! Logs with a row for each section of the header: which rows are one moment, and what each of them counts.
//!
//! Such rows share a stamp (or a record's number) and stand side by side across the heading, or on one position that is
//! repeated. Read one after the other they would be a machine that jumps across its header, so everything else is found
//! out from the moments: each column of the sample is gathered as its rows will be.

use std::collections::HashMap;

use super::grouping::{Keys, group, ranks};
use super::motion::{Motion, median};
use super::places;
use super::roles::Role;
use super::sample::{How, Sample};
use super::shares::{at_work, parts_differ, whose_width};
use super::{Known, Question, Recognised};
use crate::job::{LogColumn, LogSettings, SectionShare};

/// Share of moments with several rows from which a log has a row for each section (our choice: sections can be off and
/// left out for long, a record that is repeated now and then is a fault).
const SEVERAL: f64 = 0.2;

/// The same where no column says which section a row is (our choice: then positions alone must say it).
const SEVERAL_UNNAMED: f64 = 0.5;

/// How much likelier one reading must be (our choice: 10 to 1, as for units).
const DECIDED: f64 = std::f64::consts::LN_10;

/// Where the width of a moment comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::read) enum MomentWidth {
    /// Rows give the width of their section.
    Own,
    /// Rows repeat the width of the header.
    Whole,
    /// Sections lie so far apart, m.
    Apart(f64),
    /// Only the job can say how wide the header is.
    Unsaid,
}

/// How the rows of a log are gathered into moments.
#[derive(Debug, Clone, PartialEq)]
pub struct Moments {
    /// Sections of the header.
    pub sections: usize,
    /// Whose the grain of a row is.
    pub grain: SectionShare,
    /// Whose the width is.
    pub(in crate::read) width: MomentWidth,
    /// What tells moments apart.
    pub(in crate::read) keys: Keys,
}

impl Moments {
    /// Whose the width of a row is; `None` where rows have none.
    pub fn width_share(&self) -> Option<SectionShare> {
        match self.width {
            MomentWidth::Own => Some(SectionShare::Own),
            MomentWidth::Whole => Some(SectionShare::Whole),
            MomentWidth::Apart(_) | MomentWidth::Unsaid => None,
        }
    }
}

/// What a sample says of sections before anything else is known of it.
pub(super) struct Found {
    keys: Keys,
    groups: Vec<Vec<u32>>,
    sections: usize,
    /// How far apart sections lie, m; `None` where their rows repeat one position.
    apart: Option<f64>,
}

/// Whether a sample has a row for each section, and which rows are one moment.
pub(super) fn find(
    sample: &Sample,
    settings: &LogSettings,
    grain: &[Role],
    out: &Recognised,
) -> Option<Found> {
    let index = |c: LogColumn| out.get(c).map(|f| f.index);
    let (time, date, machine) = (
        index(LogColumn::Time),
        index(LogColumn::Date),
        index(LogColumn::Machine),
    );
    let (section, record) = (index(LogColumn::Section), index(LogColumn::Record));
    let mut known: HashMap<&str, u64> = HashMap::new();
    let mut of = |column: Option<usize>| -> Option<Vec<Option<u64>>> {
        let column = &sample.columns[column?];
        let ids = (0..sample.rows).map(|k| {
            let text = column.text(k);
            let next = known.len() as u64;
            (!text.is_empty()).then(|| *known.entry(text).or_insert(next))
        });
        Some(ids.collect())
    };
    let (time, date, machine) = (of(time), of(date), of(machine));
    let record = of(record).filter(|ids| repeats(ids));
    let section = of(section);
    let mut names: Vec<String> = Vec::new();
    let sections: Vec<Option<u32>> = match (&section, index(LogColumn::Section)) {
        (Some(ids), Some(column)) => {
            let mut first: HashMap<u64, u32> = HashMap::new();
            let places = ids.iter().enumerate().map(|(k, id)| {
                id.map(|id| {
                    *first.entry(id).or_insert_with(|| {
                        names.push(sample.columns[column].text(k).to_owned());
                        names.len() as u32 - 1
                    })
                })
            });
            let places: Vec<Option<u32>> = places.collect();
            let ranks = ranks(&names);
            places
                .into_iter()
                .map(|p| p.map(|p| ranks[p as usize]))
                .collect()
        }
        _ => vec![None; sample.rows],
    };
    let named = names.len() >= 2;
    let at = |ids: &Option<Vec<Option<u64>>>, k: usize| ids.as_ref().map_or(Some(0), |v| v[k]);
    let stamp = |k: usize| {
        let (time, date) = (at(&time, k)?, at(&date, k)?);
        let (machine, record) = (at(&machine, k).unwrap_or(u64::MAX), at(&record, k)?);
        Some((time << 32 | date, machine << 32 | record))
    };
    let clock = time.is_some() || record.is_some();
    if !clock && !named {
        return None;
    }
    let mut keys = Keys {
        sections: named,
        order_alone: !clock,
        record: record.is_some(),
        scattered: false,
        most: if named { names.len() } else { usize::MAX },
    };
    let grouped = |keys: &Keys| group(sample.rows, keys, stamp, |k| sections[k]);
    let mut groups = grouped(&keys);
    let several = |groups: &[Vec<u32>]| {
        groups.iter().filter(|g| g.len() > 1).count() as f64 / groups.len().max(1) as f64
    };
    if named && clock && several(&groups) < SEVERAL {
        // A table that is sorted by section.
        keys.scattered = true;
        groups = grouped(&keys);
    }
    if several(&groups) < if named { SEVERAL } else { SEVERAL_UNNAMED } || groups.len() < 3 {
        return None;
    }
    let motion = places::motion(sample, settings, out);
    let abreast = motion.as_ref().and_then(|m| abreast(m, &groups));
    let sections = if named {
        names.len()
    } else {
        let usual = usual_size(&groups)?;
        keys.most = usual;
        // Without a name for them, rows are sections where they lie abreast; or where they are as many each time, on one
        // place, and differ.
        let on_one_place = motion
            .as_ref()
            .is_some_and(|m| on_one_place(m, &groups, usual))
            && differ(sample, &groups, grain);
        if abreast.is_none() && !on_one_place {
            return None;
        }
        groups = grouped(&keys);
        usual
    };
    Some(Found {
        keys,
        groups,
        sections,
        apart: abreast,
    })
}

/// Whether a number of the moment stands in several rows.
fn repeats(ids: &[Option<u64>]) -> bool {
    let mut distinct: Vec<u64> = ids.iter().copied().flatten().collect();
    let filled = distinct.len();
    distinct.sort_unstable();
    distinct.dedup();
    filled > 0 && distinct.len() * 5 < filled * 4 && distinct.len() > 2
}

/// The largest number of rows that at least a tenth of the moments have.
fn usual_size(groups: &[Vec<u32>]) -> Option<usize> {
    let longest = groups.iter().map(Vec::len).max()?;
    (2..=longest.min(64))
        .rev()
        .find(|n| groups.iter().filter(|g| g.len() == *n).count() * 10 >= groups.len())
}

/// How far apart the rows of a moment lie across the heading, m, where they do in nine of ten moments on the move.
fn abreast(motion: &Motion, groups: &[Vec<u32>]) -> Option<f64> {
    let middle = |g: &[u32]| {
        let n = g.len() as f64;
        let sum = g.iter().fold((0.0, 0.0), |(x, y), k| {
            (x + motion.x[*k as usize], y + motion.y[*k as usize])
        });
        (sum.0 / n, sum.1 / n)
    };
    let (mut told, mut across_all) = (0usize, Vec::new());
    for w in groups.windows(3) {
        if w[1].len() < 2 {
            continue;
        }
        let (a, b) = (middle(&w[0]), middle(&w[2]));
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let way = dx.hypot(dy);
        // The moments before and after may have other sections at work: only a way that is longer than that tells.
        if !(way > 0.6) || w[0].len() != w[2].len() {
            continue;
        }
        let (first, last) = (w[1][0] as usize, w[1][w[1].len() - 1] as usize);
        let (ox, oy) = (
            motion.x[last] - motion.x[first],
            motion.y[last] - motion.y[first],
        );
        let (along, across) = ((ox * dx + oy * dy) / way, (ox * dy - oy * dx) / way);
        told += 1;
        if across.abs() > 2.0 * along.abs() && across.abs() > 0.2 {
            across_all.push(across.abs() / (w[1].len() - 1) as f64);
        }
    }
    if told < 5 || across_all.len() * 10 < told * 9 {
        return None;
    }
    let usual = median(across_all.iter().copied())?;
    // Two machines that drive abreast do not keep their distance; sections are bolted on.
    let off = median(across_all.iter().map(|a| (a / usual - 1.0).abs()))?;
    (off < 0.1).then_some(usual)
}

/// Whether nine of ten moments have that many rows, all on one position.
fn on_one_place(motion: &Motion, groups: &[Vec<u32>], usual: usize) -> bool {
    let still =
        |g: &&Vec<u32>| g.len() == usual && g[1..].iter().all(|k| motion.step[*k as usize] < 0.02);
    groups.iter().filter(still).count() * 10 >= groups.len() * 9
}

/// Whether the grain of a moment's rows differs, so that they are not one row written several times.
fn differ(sample: &Sample, groups: &[Vec<u32>], grain: &[Role]) -> bool {
    grain.iter().any(|r| {
        let values = &sample.columns[r.index].numbers;
        let differing = groups.iter().filter(|g| {
            g[1..]
                .iter()
                .any(|k| values[*k as usize] != values[g[0] as usize])
        });
        differing.count() * 2 > groups.len()
    })
}

/// Everything that is found out from the gathered sample. `single`: how a sample with one row a moment is recognised,
/// given the width of the header.
pub(super) fn settle(
    found: Found,
    sample: &Sample,
    grain: &[Role],
    first: &Recognised,
    (settings, known): (&LogSettings, &Known<'_>),
    single: impl Fn(&Sample, Option<f64>) -> Recognised,
) -> Recognised {
    let n = found.sections as f64;
    let works = at_work(sample, first);
    let width_at = first.get(LogColumn::Width).map(|f| f.index);
    let gathered = |grain_share: SectionShare, width: SectionShare| {
        let how = |k: usize| {
            let share = |s| {
                if s == SectionShare::Own {
                    How::Sum
                } else {
                    How::Largest
                }
            };
            let amount =
                |r: &&Role| r.index == k && matches!(r.column, LogColumn::Flow | LogColumn::Mass);
            if Some(k) == width_at {
                share(width)
            } else if grain.iter().any(|r| amount(&r)) {
                share(grain_share)
            } else {
                How::Mean
            }
        };
        sample.gathered(&found.groups, how, &works)
    };
    let mut asked: Option<Question> = None;
    // Whose the width is.
    let whole = gathered(SectionShare::Whole, SectionShare::Whole);
    let passes = places::motion(&whole, settings, first).and_then(|m| m.pass_spacing());
    let own_width = width_at.map(|k| {
        (
            k,
            whose_width(
                (found.sections, found.apart),
                sample,
                k,
                first,
                settings,
                passes,
            ),
        )
    });
    let width = match own_width {
        None => match found.apart {
            Some(apart) => MomentWidth::Apart(apart),
            None => MomentWidth::Unsaid,
        },
        Some((_, Some(SectionShare::Own))) => MomentWidth::Own,
        Some((_, Some(SectionShare::Whole))) => MomentWidth::Whole,
        Some((k, None)) => {
            asked = Some(question(
                k,
                "a width in the row of each section: the section's own, or the header's, repeated",
                "section_width",
            ));
            MomentWidth::Own
        }
    };
    let width_share = match width {
        MomentWidth::Whole => SectionShare::Whole,
        _ => SectionShare::Own,
    };
    let span = match width {
        MomentWidth::Apart(apart) => Some(apart * n),
        _ => None,
    };
    let read = |share| single(&gathered(share, width_share), span);
    let amounts: Vec<&Role> = grain
        .iter()
        .filter(|r| matches!(r.column, LogColumn::Flow | LogColumn::Mass))
        .collect();
    let differ = amounts
        .first()
        .is_some_and(|r| parts_differ(sample, r.index, &found.groups, &works));
    let (share, mut out) = match settings.section_grain {
        Some(share) => (share, read(share)),
        None if amounts.is_empty() || differ => (SectionShare::Own, read(SectionShare::Own)),
        None => {
            let (own, whole) = (read(SectionShare::Own), read(SectionShare::Whole));
            let amount = [LogColumn::Flow, LogColumn::Mass]
                .into_iter()
                .find_map(|c| own.get(c));
            let index = amount.map(|f| f.index);
            let score =
                |r: &Recognised| super::grain::believable(r.yields, known.crop, known.crop_known);
            let better = score(&own) - score(&whole);
            let told = own.yields.is_some() && whole.yields.is_some() && better.abs() >= DECIDED;
            if let (Some(index), false) = (index, told) {
                let per_area = |r: &Recognised| {
                    r.yields
                        .map_or("a yield that cannot be told".to_owned(), |y| {
                            format!("{:.1} t/ha", y / 1000.0)
                        })
                };
                let text = format!(
                    "the rows of a moment have the same grain, one for each of {n} sections: the sections' equal parts ({}), or the whole machine's, repeated ({})",
                    per_area(&own),
                    per_area(&whole),
                );
                asked = asked.or_else(|| Some(question(index, &text, "section_grain")));
            }
            if better >= 0.0 {
                (SectionShare::Own, own)
            } else {
                (SectionShare::Whole, whole)
            }
        }
    };
    out.moments = Some(Moments {
        sections: found.sections,
        grain: share,
        width,
        keys: found.keys,
    });
    out.questions.splice(0..0, asked);
    out
}

fn question(index: usize, text: &str, key: &str) -> Question {
    let lines = SectionShare::ALL.map(|s| format!("{key} = \"{}\"", s.name()));
    Question {
        index,
        text: text.to_owned(),
        lines: lines.to_vec(),
        indispensable: true,
    }
}
