//! Logs with a row for each section of the header: the rows of a moment are gathered into one.
//!
//! Amounts of grain are added up (or taken once, where each row repeats the machine's), widths are those of the sections
//! at work, and the place is their middle, so that yield = grain / (way × width) is the moment's. Names and the number
//! are those of its first row. Nothing that a row counts is lost.

use super::error::{ReadError, ReadErrorKind};
use super::layout::{NUMBERS, slot};
use super::log_file::LogFile;
use super::position::Positions;
use super::recognise::{How, MomentWidth, Moments, group, ranks};
use crate::job::{LogColumn, SectionShare};
use crate::log::WorkState;
use crate::place::Place;
use crate::summary::Remark;

/// What became of the rows.
#[derive(Default)]
struct Counts {
    /// Moments in which some sections are off or have no row.
    partly: usize,
    /// Moments in which some section at work has no grain where others have.
    lacking: usize,
}

/// Gathers the rows of a log that has one for each section; leaves any other log alone. `header`: width of a machine's
/// header by its name, m.
///
/// # Errors
/// Where the table is so long and sorted by section that its columns were told from a single one.
pub(super) fn gather(
    log: &mut LogFile,
    positions: &mut Positions,
    header: &dyn Fn(Option<&str>) -> Option<f64>,
) -> Result<(), ReadError> {
    let Some(moments) = log.recognised.moments.clone() else {
        return refuse_blocks(log);
    };
    let rows = log.row.len();
    let groups = groups(log, &moments);
    if groups.len() == rows {
        return Ok(());
    }
    let works = at_work(log, &moments);
    let widths = std::mem::take(&mut log.numbers[slot(LogColumn::Width)]);
    let own = |k: usize| match moments.width {
        MomentWidth::Own => widths[k],
        _ => 1.0,
    };
    let flows = [LogColumn::Flow, LogColumn::Mass].map(slot);
    let mut counts = Counts::default();
    for group in &groups {
        let at_work = group.iter().filter(|k| works[**k as usize]).count();
        counts.partly += usize::from(at_work > 0 && at_work < moments.sections);
        counts.lacking += usize::from(
            moments.grain == SectionShare::Own
                && flows.iter().any(|f| lacks(&log.numbers[*f], group, &works)),
        );
    }
    let unnamed = header(None);
    let headers: Vec<Option<f64>> = log
        .machine
        .distinct
        .iter()
        .map(|name| header(Some(name)))
        .collect();
    let given = |k: usize| match log.machine.index.get(k).copied().flatten() {
        Some(m) => headers[m as usize],
        None => unnamed,
    };
    let width = gathered_widths(&groups, &widths, &works, &moments, given);
    place(positions, &groups, &works, own);
    for (column, values) in NUMBERS.into_iter().zip(&mut log.numbers) {
        if values.is_empty() {
            continue;
        }
        *values = match (column, moments.grain) {
            (LogColumn::Flow | LogColumn::Mass, SectionShare::Own) => {
                each(&groups, |g| How::Sum.of(g, values, &works))
            }
            (LogColumn::Flow | LogColumn::Mass, SectionShare::Whole) => {
                each(&groups, |g| How::Largest.of(g, values, &works))
            }
            (LogColumn::Yield | LogColumn::DryYield, _) => {
                each(&groups, |g| weighted(g, values, &works, own))
            }
            (LogColumn::Heading, _) => each(&groups, |g| heading(g, values, &works)),
            _ => each(&groups, |g| How::Mean.of(g, values, &works)),
        };
    }
    log.numbers[slot(LogColumn::Width)] = width;
    rest(log, &groups, &works);
    let text = told(log, rows, &groups, &moments, &counts);
    log.warnings.push(Remark::new("section-rows", text));
    Ok(())
}

fn each(groups: &[Vec<u32>], of: impl Fn(&[u32]) -> f64) -> Vec<f64> {
    groups.iter().map(|g| of(g)).collect()
}

fn groups(log: &LogFile, moments: &Moments) -> Vec<Vec<u32>> {
    let ranks = ranks(&log.section.distinct);
    let name = |index: &[Option<u32>], k: usize| {
        index
            .get(k)
            .copied()
            .flatten()
            .map_or(u64::from(u32::MAX), u64::from)
    };
    let stamp = |k: usize| {
        let time = match log.time.get(k) {
            Some(t) if t.is_nan() => return None,
            Some(t) => t.to_bits(),
            None => 0,
        };
        let record = match moments.keys.record {
            true => name(&log.record.index, k),
            false => 0,
        };
        Some((time, name(&log.machine.index, k) << 32 | record))
    };
    group(log.row.len(), &moments.keys, stamp, |k| {
        log.section
            .index
            .get(k)
            .copied()
            .flatten()
            .map(|s| ranks[s as usize])
    })
}

/// Rows whose section is not said to be off.
fn at_work(log: &LogFile, moments: &Moments) -> Vec<bool> {
    let widths = &log.numbers[slot(LogColumn::Width)];
    let own = moments.width == MomentWidth::Own && !widths.is_empty();
    (0..log.row.len())
        .map(|k| log.work.get(k) != Some(&WorkState::NotWorking) && !(own && widths[k] == 0.0))
        .collect()
}

/// Whether some row at work has no grain although others of the moment have.
fn lacks(values: &[f64], group: &[u32], works: &[bool]) -> bool {
    if values.is_empty() {
        return false;
    }
    let mut at_work = group.iter().map(|k| *k as usize).filter(|k| works[*k]);
    let (some, none) = at_work.by_ref().fold((false, false), |(some, none), k| {
        (some || !values[k].is_nan(), none || values[k].is_nan())
    });
    some && none
}

/// Width of each moment, m: of its sections at work; where none is, of all that are there. Where rows do not give it,
/// from the header's and how many of its sections are at work; NaN where nobody says how wide it is, or where all
/// sections always are, so that the header's width stands by itself.
fn gathered_widths(
    groups: &[Vec<u32>],
    widths: &[f64],
    works: &[bool],
    moments: &Moments,
    given: impl Fn(usize) -> Option<f64>,
) -> Vec<f64> {
    let n = moments.sections as f64;
    let at_work = |g: &[u32]| g.iter().filter(|k| works[**k as usize]).count() as f64;
    let always_all = groups.iter().all(|g| [0.0, n].contains(&at_work(g)));
    let share = |g: &[u32]| match at_work(g) {
        0.0 => 1.0,
        k => (k / n).min(1.0),
    };
    match moments.width {
        MomentWidth::Own => each(groups, |g| {
            let any = at_work(g) > 0.0;
            let sum: f64 = g
                .iter()
                .map(|k| *k as usize)
                .filter(|k| (works[*k] || !any) && widths[*k] > 0.0)
                .map(|k| widths[k])
                .sum();
            if sum > 0.0 { sum } else { f64::NAN }
        }),
        MomentWidth::Whole => {
            // A width that never changes is the header's, one that changes has sections that are off taken off already.
            let mut known = widths.iter().filter(|w| **w > 0.0);
            let first = known.next().copied();
            let header = known.all(|w| Some(*w) == first);
            each(groups, |g| {
                How::Largest.of(g, widths, works) * if header { share(g) } else { 1.0 }
            })
        }
        MomentWidth::Apart(_) | MomentWidth::Unsaid => {
            let apart = match moments.width {
                MomentWidth::Apart(apart) => Some(apart * n),
                _ => None,
            };
            let of = |g: &[u32]| match given(g[0] as usize) {
                Some(_) if always_all => f64::NAN, // the job's width serves as it is
                given => given.or(apart).map_or(f64::NAN, |w| w * share(g)),
            };
            let all = each(groups, of);
            if all.iter().all(|w| w.is_nan()) {
                Vec::new()
            } else {
                all
            }
        }
    }
}

/// The mean over rows at work, weighted by their widths; plain where they have none.
fn weighted(group: &[u32], values: &[f64], works: &[bool], width: impl Fn(usize) -> f64) -> f64 {
    let known = || {
        group
            .iter()
            .map(|k| *k as usize)
            .filter(|k| !values[*k].is_nan())
    };
    let any = known().any(|k| works[k]);
    let of = |weight: &dyn Fn(usize) -> f64| {
        let (n, sum) = known()
            .filter(|k| works[*k] || !any)
            .map(|k| (weight(k), values[k]))
            .filter(|(w, _)| *w > 0.0)
            .fold((0.0, 0.0), |(n, sum), (w, v)| (n + w, sum + w * v));
        sum / n
    };
    let by_width = of(&width);
    if by_width.is_nan() {
        of(&|_| 1.0)
    } else {
        by_width
    }
}

/// The mean course of rows at work.
fn heading(group: &[u32], values: &[f64], works: &[bool]) -> f64 {
    let of = |f: fn(f64) -> f64| weighted(group, &group_values(group, values, f), works, |_| 1.0);
    let (east, north) = (of(f64::sin), of(f64::cos));
    let degrees = east.atan2(north).to_degrees();
    if degrees < 0.0 {
        degrees + 360.0
    } else {
        degrees
    }
}

/// A function of the headings of a group, at the rows' own places.
fn group_values(group: &[u32], values: &[f64], f: fn(f64) -> f64) -> Vec<f64> {
    let last = group.iter().max().map_or(0, |k| *k as usize + 1);
    let mut out = vec![f64::NAN; last];
    for k in group {
        out[*k as usize] = f(values[*k as usize].to_radians());
    }
    out
}

/// Positions: the middle of the sections at work, weighted by their widths.
fn place(
    positions: &mut Positions,
    groups: &[Vec<u32>],
    works: &[bool],
    width: impl Fn(usize) -> f64,
) {
    let (lon, lat) = (&positions.lon, &positions.lat);
    // Over the date line longitudes are counted on from the group's first.
    let turned: Vec<f64> = match lon.iter().any(|l| l.abs() > 179.0) {
        false => Vec::new(),
        true => lon
            .iter()
            .map(|l| if *l < 0.0 { l + 360.0 } else { *l })
            .collect(),
    };
    let longitudes = if turned.is_empty() { lon } else { &turned };
    let mut east = each(groups, |g| weighted(g, longitudes, works, &width));
    for l in east.iter_mut().filter(|l| **l > 180.0) {
        *l -= 360.0;
    }
    let north = each(groups, |g| weighted(g, lat, works, &width));
    positions.bad = east.iter().filter(|l| l.is_nan()).count() as u64;
    if positions.bad == 0 {
        positions.first_bad = None;
    }
    (positions.lon, positions.lat) = (east, north);
}

/// Everything of a moment that is no number.
fn rest(log: &mut LogFile, groups: &[Vec<u32>], works: &[bool]) {
    fn first<T: Copy>(column: &mut Vec<T>, groups: &[Vec<u32>]) {
        if !column.is_empty() {
            *column = groups.iter().map(|g| column[g[0] as usize]).collect();
        }
    }
    fn named(column: &mut Vec<Option<u32>>, groups: &[Vec<u32>]) {
        if !column.is_empty() {
            *column = groups
                .iter()
                .map(|g| g.iter().find_map(|k| column[*k as usize]))
                .collect();
        }
    }
    if !log.work.is_empty() {
        let state = |g: &Vec<u32>| {
            let any = |s: WorkState| {
                g.iter().any(|k| {
                    log.work[*k as usize] == s && (s != WorkState::Working || works[*k as usize])
                })
            };
            [
                WorkState::Working,
                WorkState::Unknown,
                WorkState::NotWorking,
            ]
            .into_iter()
            .find(|s| any(*s))
            .unwrap_or_default()
        };
        log.work = groups.iter().map(state).collect();
    }
    first(&mut log.row, groups);
    first(&mut log.time, groups);
    named(&mut log.machine.index, groups);
    named(&mut log.load.index, groups);
    named(&mut log.pass, groups);
    named(&mut log.section.index, groups);
    named(&mut log.record.index, groups);
}

/// What was done, for people.
fn told(
    log: &LogFile,
    rows: usize,
    groups: &[Vec<u32>],
    moments: &Moments,
    counts: &Counts,
) -> String {
    let grain = match moments.grain {
        SectionShare::Own => "grain added up",
        SectionShare::Whole => "grain taken once, as each row repeats the whole machine's",
    };
    let width = match moments.width {
        MomentWidth::Own => "width added up over the sections at work".to_owned(),
        MomentWidth::Whole => "width taken once, less the sections that are off".to_owned(),
        MomentWidth::Apart(apart) => format!(
            "width by the sections at work, which lie {apart:.2} m apart (the job's header_width wins)"
        ),
        MomentWidth::Unsaid => {
            "width by the job's header_width and the share of sections at work".to_owned()
        }
    };
    let mut text = format!(
        "{}: {rows} rows, one for each of {} sections of the header, are gathered into {}, one for each moment: {grain}, {width}, position in their middle; {} with sections off or left out",
        log.path,
        moments.sections,
        groups.len(),
        counts.partly,
    );
    if counts.lacking > 0 {
        text += &format!("; {} lack the grain of a section at work", counts.lacking);
    }
    text
}

/// Refuses a log whose stamps come again section after section: its first rows are of one section, so that nothing was
/// found out of the others.
fn refuse_blocks(log: &LogFile) -> Result<(), ReadError> {
    let sections = &log.section;
    if sections.distinct.len() < 2 || log.time.is_empty() {
        return Ok(());
    }
    let machine = |k: usize| log.machine.index.get(k).copied().flatten();
    let mut of: std::collections::HashMap<(u64, Option<u32>), Option<u32>> =
        std::collections::HashMap::new();
    let mut shared = 0usize;
    for k in (0..log.row.len()).filter(|k| !log.time[*k].is_nan()) {
        let section = sections.index[k];
        let first = *of
            .entry((log.time[k].to_bits(), machine(k)))
            .or_insert(section);
        shared += usize::from(first != section);
    }
    if shared * 5 < log.row.len() {
        return Ok(());
    }
    let mut place = Place::file(&log.path);
    place.column = log
        .layout
        .section
        .and_then(|f| log.layout.headers.get(f))
        .cloned();
    let found = format!(
        "a row for each of {} sections of the header, all rows of one before those of the next",
        sections.distinct.len()
    );
    Err(ReadError::new(
        ReadErrorKind::Format,
        place,
        "rows in the order of time",
        found,
    )
    .hinted(
        "sort the table by time and export it again: rows of one moment are then gathered into one",
    ))
}
