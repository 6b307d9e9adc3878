//! What the spacing of a field's passes says of its overlap, its receiver and its header.

use super::offsets::Sides;
use std::collections::BTreeMap;

/// Offsets beyond this share of the header width belong to no ordinary pair of passes (our choice).
const ORDINARY: f64 = 0.6;
/// Least spread that offsets are taken to have, m (our choice: the centimetres of the best receivers).
const LEAST_SPREAD: f64 = 0.02;
/// Offsets within this many spreads of the usual one count towards it (three-sigma rule).
const WITHIN: f64 = 3.0;
/// Fewest runs between two neighbours from which the receiver's error is estimated (our choice).
const LEAST_RUNS: usize = 4;
/// Fewest pairs of passes from which a header width is judged (our choice).
const LEAST_PAIRS: usize = 5;
/// Fewest pieces that two passes share to count as a pair (our choice: some 30 m).
const LEAST_PIECES: usize = 3;
/// A header width farther off than this share is reported.
const HEADER_TOLERANCE: f64 = 0.05;
/// Receiver error that is assumed where a field cannot tell, m (our choice: between satellite corrections, 0.1, and a
/// plain receiver from one pass to the next, 0.3).
const ASSUMED_SD: f64 = 0.15;

/// The usual spacing of passes: evidence, and the plan by which offsets are judged.
///
/// Let z be the ground between the swaths of neighbouring passes, from logged positions and the header width. In truth
/// it is 0 or less (nobody leaves strips standing: common practice); as logged it varies by overlap and steering, which
/// are real, and by the receiver's error, which is not. Both passes' errors enter z: sd √2 e. The error e of one pass
/// moves its left and its right offset against each other, so e² = −cov(z left, z right); overlap and steering by the
/// crop's edge do not. Where that finds less (an error that wanders slowly is alike on both passes), offsets above 0
/// still show the error they cannot be without: e² ≥ mean of (z above 0)², if errors are as often one way as the other.
/// An offset is therefore drawn towards the usual one by the error's part of the variance (best
/// linear prediction), unless it is so far off that a pass really was narrow. Positive and negative offsets count
/// alike, so the errors cancel over a field instead of adding up to lost ground.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Spacing {
    /// Usual ground between neighbouring swaths, m (negative: overlap).
    pub usual: f64,
    /// Standard deviation of the offsets around it, m.
    pub spread: f64,
    /// Standard deviation of the receiver's error across the track, m, as far as it changes from one pass to the next;
    /// estimated or as set. `None`: too few passes.
    pub cross_track_sd: Option<f64>,
    /// The part of the offsets' variance that is error, 0–1.
    pub error_part: f64,
    /// The part of the offsets that are far below the usual one: passes that were truly narrow, 0–1.
    pub narrow_part: f64,
    /// Offsets that this rests on.
    pub offsets: usize,
    /// The header width that the spacing points to, where it is far from the one given.
    pub header_width_check: Option<HeaderWidthCheck>,
}

/// Evidence that a header width was entered wrongly.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct HeaderWidthCheck {
    /// Header width as given, m.
    pub entered: f64,
    /// Usual distance from pass to pass, m.
    pub spacing: f64,
    /// Pairs of passes that this rests on.
    pub pass_pairs: usize,
}

impl Spacing {
    /// Judges the offsets of all pieces. `width`: header width piece by piece, m.
    pub(super) fn of(sides: &[Sides], width: &[f64], run: &[u32], known_sd: Option<f64>) -> Self {
        let ordinary = |i: usize, offset: f64| offset.abs() <= ORDINARY * width[i];
        let mut offsets: Vec<f64> = sides
            .iter()
            .enumerate()
            .flat_map(|(i, s)| {
                s.nearest
                    .iter()
                    .flatten()
                    .map(|b| b.offset)
                    .filter(move |&z| ordinary(i, z))
            })
            .collect();
        let count = offsets.len();
        let (usual, spread) = bulk(&mut offsets).unwrap_or((0.0, LEAST_SPREAD));
        let close = |z: f64| (z - usual).abs() <= WITHIN * spread;
        let sd = known_sd.or_else(|| cross_track_sd(sides, run, usual, close));
        let gaps = offsets
            .iter()
            .filter(|&&z| close(z))
            .map(|z| (z - usual.max(0.0)).max(0.0).powi(2));
        let across = 2.0 * sd.unwrap_or(ASSUMED_SD).powi(2);
        let error = mean(gaps)
            .map_or(across, |gap| across.max(2.0 * gap))
            .min(spread.powi(2));
        Self {
            usual,
            spread,
            cross_track_sd: known_sd.or(sd.map(|_| (error / 2.0).sqrt())),
            error_part: error / spread.powi(2),
            narrow_part: narrow_part(sides, usual - WITHIN * spread),
            offsets: count,
            header_width_check: header_width_check(sides, width, run),
        }
    }

    /// The ground between two swaths that is believed where `offset` was logged, m, never above 0.
    pub(super) fn believed(&self, offset: f64, width: f64) -> f64 {
        let deviation = (offset - self.usual) / self.spread;
        // Ordinary: normal around the usual offset. Narrow: any overlap alike.
        let normal =
            (-0.5 * deviation * deviation).exp() / (self.spread * std::f64::consts::TAU.sqrt());
        let ordinary = (1.0 - self.narrow_part) * normal;
        let narrow = self.narrow_part / width;
        let drawn = self.usual.min(0.0) + (1.0 - self.error_part) * (offset - self.usual);
        let part = ordinary / (ordinary + narrow);
        part * drawn.min(0.0) + (1.0 - part) * offset.min(0.0)
    }

    /// Standard deviation of the error in an offset, m.
    pub(super) fn offset_error(&self) -> f64 {
        self.error_part.sqrt() * self.spread
    }
}

/// Centre and standard deviation of the bulk: from the shortest half (Rousseeuw & Leroy 1988, Statistica Neerlandica
/// 42:103), then twice the mean and deviation of what lies within three deviations.
fn bulk(offsets: &mut [f64]) -> Option<(f64, f64)> {
    /// Half the width of the shortest half of a normal distribution, in standard deviations.
    const HALF_NORMAL: f64 = 0.6745;
    offsets.sort_unstable_by(f64::total_cmp);
    let half = offsets.len() / 2 + 1;
    let shortest = offsets
        .windows(half)
        .min_by(|a, b| (a[half - 1] - a[0]).total_cmp(&(b[half - 1] - b[0])))?;
    let mut centre = mean(shortest.iter().copied())?;
    let mut spread = ((shortest[half - 1] - shortest[0]) / 2.0 / HALF_NORMAL).max(LEAST_SPREAD);
    for _ in 0..2 {
        let close = || {
            offsets
                .iter()
                .copied()
                .filter(|z| (z - centre).abs() <= WITHIN * spread)
        };
        let next = mean(close())?;
        spread = mean(close().map(|z| (z - next).powi(2)))?
            .sqrt()
            .max(LEAST_SPREAD);
        centre = next;
    }
    Some((centre, spread))
}

/// How many of all offsets lie below `limit`; never none and never most (our choice: 1 in 100 to 1 in 2), since a field
/// that shows no narrow pass may have one.
fn narrow_part(sides: &[Sides], limit: f64) -> f64 {
    let all = || {
        sides
            .iter()
            .flat_map(|s| s.nearest.iter().flatten())
            .map(|b| b.offset)
    };
    let below = all().filter(|&z| z < limit).count();
    (below as f64 / all().count().max(1) as f64).clamp(0.01, 0.5)
}

fn cross_track_sd(
    sides: &[Sides],
    run: &[u32],
    usual: f64,
    close: impl Fn(f64) -> bool,
) -> Option<f64> {
    let mut of_run: BTreeMap<u32, (f64, f64)> = BTreeMap::new();
    for (s, &run) in sides.iter().zip(run) {
        if let [Some(left), Some(right)] = s.nearest
            && close(left.offset)
            && close(right.offset)
        {
            let sum = of_run.entry(run).or_default();
            sum.0 += (left.offset - usual) * (right.offset - usual);
            sum.1 += 1.0;
        }
    }
    if of_run.len() < LEAST_RUNS {
        return None;
    }
    let (sum, n) = of_run
        .values()
        .fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
    Some((-sum / n).max(0.0).sqrt())
}

fn header_width_check(sides: &[Sides], width: &[f64], run: &[u32]) -> Option<HeaderWidthCheck> {
    let mut sorted: Vec<f64> = width.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let entered = *sorted.get(sorted.len() / 2)?;
    let mut pairs: BTreeMap<(u32, u32), Vec<f64>> = BTreeMap::new();
    for (i, s) in sides
        .iter()
        .enumerate()
        .filter(|&(i, _)| width[i] == entered)
    {
        for b in s
            .nearest
            .iter()
            .flatten()
            .filter(|b| b.width == entered && b.offset.abs() <= ORDINARY * entered)
        {
            pairs
                .entry((run[i].min(b.run), run[i].max(b.run)))
                .or_default()
                .push(b.offset);
        }
    }
    let mut middles: Vec<f64> = pairs
        .into_values()
        .filter(|z| z.len() >= LEAST_PIECES)
        .map(|mut z| {
            let middle = z.len() / 2;
            *z.select_nth_unstable_by(middle, f64::total_cmp).1
        })
        .collect();
    let pass_pairs = middles.len();
    let (offset, _) = bulk(&mut middles)?;
    (pass_pairs >= LEAST_PAIRS && offset.abs() > HEADER_TOLERANCE * entered).then_some(
        HeaderWidthCheck {
            entered,
            spacing: entered + offset,
            pass_pairs,
        },
    )
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0usize), |(sum, n), v| (sum + v, n + 1));
    (n > 0).then(|| sum / n as f64)
}
