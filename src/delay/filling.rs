//! A machine's response, from how it fills where passes begin and empties where they end.
//!
//! Flow is what the header took in, moved by a dead time and mixed in one or two like stages (Arslan 2008, Sensors
//! 8:952). Both sides are smoothed alike, so the response of the smoothed intake is the smoothed flow, however a machine
//! gathers speed, meets the crop askew or follows on its last pass.

use super::Mixing;
use super::ends::{CELL_S, CELLS, PassEnds, REACH, Window};

/// Time constants of a stage that are tried, s.
const TAUS_S: [f64; 10] = [0.5, 0.8, 1.2, 1.6, 2.1, 2.7, 3.4, 4.2, 5.2, 6.5];
/// Numbers of stages that are tried.
const STAGES: usize = 2;
/// Dead times that are tried, in cells: from logs that were shifted too far to the slowest machines.
const DEAD_CELLS: std::ops::Range<i32> = -16..45;
/// How many they are.
const DEADS: usize = (DEAD_CELLS.end - DEAD_CELLS.start) as usize;
/// Rows farther apart than this tell nothing of a filling, s: they are longer than what mixes (published dispersions of
/// 1–5 s, Arslan 2008).
const LONGEST_STEP_S: f64 = 5.0;
/// Total mixing before anything is seen: 3 s within a factor of 1.6 (published: dispersions of 1–5 s, Arslan 2008).
const USUAL_MIXING: (f64, f64) = (3.0, 0.5);
/// Seconds that are fitted about a start and about a stop.
const STARTS_S: (f64, f64) = (-3.0, 40.0);
/// See [`STARTS_S`].
const STOPS_S: (f64, f64) = (-20.0, 30.0);
/// What a mean over passes errs by, and for how many seconds together (our choice: structure of the ground).
const ERROR: (f64, f64) = (0.04, 4.0);
/// Weight of a square, from that.
const WEIGHT: f64 = 1.0 / (ERROR.0 * ERROR.0 * ERROR.1);
/// How far ground at the end of passes differs from what lies behind it: a strip of some eight seconds, and a change over
/// thirty (sd, relative; our choice, headlands yield 5–25 % less: common practice).
const GROUND_SD: (f64, f64) = (0.15, 0.1);
/// How far the pass on the other side of the turn differs, whose grain is still under way where turns are short (sd, relative;
/// our choice).
const OTHER_SD: f64 = 0.15;
/// Unknowns of a window: its level, and in what its ground differs.
const UNKNOWNS: usize = 4;
/// Misfit of a window that is as expected, and beyond which an end says nothing: crop did not begin or end where the
/// passes say (our choice, from simulated seasons: sound ends reach 1–5, of logs without a work state in fields without
/// a headland round 20 and more).
const MISFIT: (f64, f64) = (3.0, 10.0);
/// What is taken from ends that fit no better than that, where all that tell do: they must explain this share of how flow varies
/// about the ends, and their centre errs by s, and parts of a row, more (our choice: where passes turn on cut ground the
/// last of them is misjudged, though flow falls and rises as plainly as anywhere).
const LOOSE: (f64, (f64, f64)) = (0.8, (0.5, 0.25));
/// Misfit of both ends together, and with what is usual, that is as expected (our choice).
const TENSION: f64 = 6.0;
/// The first row of a pass is cut in its last part, but what it took in stands for all of its time: intake seems early
/// by this part of a row (seen on simulated seasons with rows of 2–5 s).
const EARLY: f64 = 0.12;
/// What a filling errs by beyond what its windows tell: s, and parts of a row; for its centre and for its mixing
/// (our choice, from simulated seasons).
const CENTRE_FLOOR: (f64, f64) = (0.1, 0.15);
/// A header that is lifted where the crop ends leaves up to a row of cut ground in a row that is logged as lifted, one that is
/// lifted behind it none: half a row either way, as a standard deviation, in rows. Centres are right for the one habit and half a
/// row late for the other (seen on simulated seasons of both).
const LIFTED: f64 = 0.29;
/// See [`CENTRE_FLOOR`].
const MIXING_FLOOR: (f64, f64) = (0.15, 0.1);

/// What the ends of passes tell of a machine's response.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Filling {
    /// Transport delay, s: the centre of the response.
    pub delay: f64,
    /// Its standard error, s.
    pub error: f64,
    /// Standard error of both from where headers are lifted, s: one for all fields of a machine.
    pub lifted: f64,
    /// Where the centre is seen on windows of the signals, s: the delay before the first row's part is taken off.
    pub seen: f64,
    /// Total of the stages' time constants, s, and its relative standard error.
    pub total: (f64, f64),
    /// Constant of the first-order mixing that is as skewed, s, and its standard error.
    pub skew: (f64, f64),
    /// Whether the ends look as a machine's do that fills; else they say where flow rises and falls, and no more.
    pub sound: bool,
}

impl Filling {
    /// Fits the response; `None` where passes are too few, rows too far apart, or no end of them looks like one.
    /// `step`: usual time from row to row, s.
    pub fn fit(ends: &PassEnds, step: f64) -> Option<Self> {
        if step > LONGEST_STEP_S {
            return None;
        }
        let kinds = kinds();
        let sides = [
            Costs::of(&ends.starts, &kinds, STARTS_S, 1.0),
            Costs::of(&ends.stops, &kinds, STOPS_S, -1.0),
        ];
        let sides: Vec<Costs> = sides.into_iter().flatten().collect();
        let sound = sides.iter().any(|s| s.fit == Soundness::Sound);
        let is_heard = |s: &Costs| s.fit != Soundness::Loose || !sound;
        let sides: Vec<Costs> = sides.into_iter().filter(is_heard).collect();
        let tells = |s: &Costs| s.fit != Soundness::Quiet;
        if !sides.iter().any(tells) {
            return None;
        }
        let mut cells = Vec::with_capacity(kinds.len() * DEADS);
        for (k, kind) in kinds.iter().enumerate() {
            let usual = ((kind.total() / USUAL_MIXING.0).ln() / USUAL_MIXING.1).powi(2);
            for (d, dead) in DEAD_CELLS.enumerate() {
                let cost: f64 = sides.iter().map(|s| s.at(k, d)).sum();
                cells.push((usual + cost, kind, f64::from(dead) * CELL_S));
            }
        }
        let least = cells.iter().map(|c| c.0).fold(f64::INFINITY, f64::min);
        // Costs are squares of standard normal deviations, so cells are as likely as e^(−cost/2).
        let weigh = |of: &dyn Fn(&Kind, f64) -> f64| {
            let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
            for (cost, kind, dead) in &cells {
                let (w, v) = ((-0.5 * (cost - least)).exp(), of(kind, *dead));
                sum += w;
                first += w * v;
                second += w * v * v;
            }
            let mean = first / sum;
            (mean, (second / sum - mean * mean).max(0.0).sqrt())
        };
        let wider = (least / TENSION).max(1.0).sqrt();
        let (centre, spread) = weigh(&|kind, dead| dead + kind.total());
        let (skew, skew_spread) = weigh(&|kind, _| kind.skew());
        let (total, total_spread) = weigh(&|kind, _| kind.total());
        let floor = |(s, rows): (f64, f64)| s.hypot(rows * step);
        let mixing_floor = floor(MIXING_FLOOR);
        Some(Self {
            delay: centre - EARLY * step,
            error: (wider * spread).hypot(floor(CENTRE_FLOOR)).hypot(if sound {
                0.0
            } else {
                floor(LOOSE.1)
            }),
            sound,
            lifted: LIFTED * step,
            seen: centre,
            total: (total, (wider * total_spread).hypot(mixing_floor) / total),
            skew: (skew, (wider * skew_spread).hypot(mixing_floor)),
        })
    }

    /// What several fields of one machine tell together; `None` of none. Those that are not sound count only where none is.
    pub fn together<'a>(all: impl IntoIterator<Item = &'a Filling>) -> Option<Self> {
        let mut all: Vec<&Filling> = all.into_iter().collect();
        let sound = all.iter().any(|f| f.sound);
        all.retain(|f| f.sound == sound);
        if let [] | [_] = all.as_slice() {
            return all.first().map(|f| **f);
        }
        // Means weighted by their errors. Fields share what errs beyond their windows, so that errors are at least half
        // of the least (our choice).
        let mean = |of: &dyn Fn(&Filling) -> (f64, f64)| {
            let (mut sum, mut weights, mut least) = (0.0, 0.0, f64::INFINITY);
            for filling in &all {
                let (value, error) = of(filling);
                sum += value / error.powi(2);
                weights += 1.0 / error.powi(2);
                least = error.min(least);
            }
            (sum / weights, (1.0 / weights).sqrt().max(0.5 * least))
        };
        let (delay, error) = mean(&|f| (f.delay, f.error));
        Some(Self {
            delay,
            error,
            lifted: mean(&|f| (f.lifted, f.error)).0,
            seen: mean(&|f| (f.seen, f.error)).0,
            total: mean(&|f| f.total),
            skew: mean(&|f| f.skew),
            sound,
        })
    }

    /// The first-order mixing that opposed passes are to be compared under.
    pub fn mixing(&self) -> Mixing {
        Mixing {
            seconds: self.skew.0,
            standard_error: self.skew.1,
        }
    }
}

/// A kind of mixing.
#[derive(Debug, Clone, Copy)]
struct Kind {
    tau: f64,
    stages: usize,
}

impl Kind {
    fn total(&self) -> f64 {
        self.tau * self.stages as f64
    }

    /// Time constant of one stage whose response has the same third cumulant, 2·Στ³.
    fn skew(&self) -> f64 {
        self.tau * (self.stages as f64).cbrt()
    }
}

fn kinds() -> Vec<Kind> {
    let of = |stages| TAUS_S.into_iter().map(move |tau| Kind { tau, stages });
    (1..=STAGES).flat_map(of).collect()
}

/// Misfit of one side of the passes per kind and dead time, above the least, weakened where the best fits badly.
struct Costs {
    costs: Vec<f64>,
    fit: Soundness,
}

/// How the best of a side's misfits is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Soundness {
    /// As a machine's that fills or empties.
    Sound,
    /// Too large, though it explains where flow rises and falls.
    Loose,
    /// Small, where flow hardly changes: a turn is over before the machine is empty. It says which delays are too short.
    Quiet,
}

impl Costs {
    /// `inwards`: 1 where time runs into the crop, −1 where it runs out. `None` of no windows, or where nothing fits.
    fn of(windows: &[Window], kinds: &[Kind], span: (f64, f64), inwards: f64) -> Option<Self> {
        let mut sum = vec![0.0; kinds.len() * DEADS];
        let (mut count, mut varies) = (0.0, 0.0);
        for window in windows {
            let fit = Fit::new(window, span, inwards);
            if fit.cells.len() < 15 {
                continue;
            }
            count += 1.0;
            varies += fit.varies();
            for (sum, kind) in sum.chunks_exact_mut(DEADS).zip(kinds) {
                let costs = fit.costs(&fit.basis.clone().map(|b| mixed(&b, kind)));
                sum.iter_mut().zip(costs).for_each(|(s, c)| *s += c);
            }
        }
        let least = sum.iter().copied().fold(f64::INFINITY, f64::min);
        let fit = match (least <= MISFIT.1 * count, least <= (1.0 - LOOSE.0) * varies) {
            _ if count == 0.0 => return None,
            (true, true) => Soundness::Sound,
            (true, false) => Soundness::Quiet,
            (false, true) => Soundness::Loose,
            (false, false) => return None,
        };
        let weaker = (least / (MISFIT.0 * count)).max(1.0);
        Some(Self {
            costs: sum.iter().map(|c| (c - least) / weaker).collect(),
            fit,
        })
    }

    fn at(&self, kind: usize, dead: usize) -> f64 {
        self.costs[kind * DEADS + dead]
    }
}

/// One window's least squares: level, and how the ground at the end differs.
struct Fit<'a> {
    window: &'a Window,
    /// Cells that are fitted, one a second.
    cells: Vec<usize>,
    /// Intake of even ground, of a strip at the end, of a change inwards, and on the other side of the turn.
    basis: [Vec<f64>; UNKNOWNS],
}

impl<'a> Fit<'a> {
    fn new(window: &'a Window, span: (f64, f64), inwards: f64) -> Self {
        let time = |c: usize| (c as f64 + 0.5 - REACH as f64) * CELL_S;
        let cells = (0..CELLS)
            .step_by((1.0 / CELL_S) as usize)
            .filter(|&c| span.0 < time(c) && time(c) < span.1 && window.flow[c].is_finite());
        let intake = |of: fn(f64) -> f64| -> Vec<f64> {
            (0..CELLS)
                .map(|c| f64::from(window.intake[c]) * of(inwards * time(c)))
                .collect()
        };
        Self {
            window,
            cells: cells.collect(),
            basis: [
                intake(|_| 1.0),
                intake(|s| (-(s.max(0.0) / 8.0).powi(2)).exp()),
                intake(|s| (s.clamp(0.0, 40.0) - 24.0) / 30.0),
                intake(|s| if s < 0.0 { 1.0 } else { 0.0 }),
            ],
        }
    }

    /// Misfit of no response at all: flow's squares about its mean, weighted as misfits are.
    fn varies(&self) -> f64 {
        let flow = || self.cells.iter().map(|&c| f64::from(self.window.flow[c]));
        let mean = flow().sum::<f64>() / self.cells.len() as f64;
        WEIGHT * flow().map(|y| (y - mean).powi(2)).sum::<f64>()
    }

    /// Misfit with the basis as mixed, every dead time later.
    fn costs(&self, basis: &[Vec<f64>; UNKNOWNS]) -> [f64; DEADS] {
        // Reversed, with their ends held, so that all dead times of a cell stand beside each other.
        let reversed = basis.each_ref().map(|b| -> Vec<f64> {
            let last = CELLS as i32 - 1;
            let at = |r: i32| (last - DEAD_CELLS.start - r).clamp(0, last) as usize;
            (0..last + DEADS as i32).map(|r| b[at(r)]).collect()
        });
        let mut products = [[[0.0; DEADS]; UNKNOWNS]; UNKNOWNS];
        let mut with_flow = [[0.0; DEADS]; UNKNOWNS];
        let mut yy = 0.0;
        for &c in &self.cells {
            let y = f64::from(self.window.flow[c]);
            yy += y * y;
            let rows = reversed
                .each_ref()
                .map(|r| r[CELLS - 1 - c..].first_chunk::<DEADS>());
            for (i, row) in rows.iter().enumerate() {
                let Some(row) = row else { continue }; // never: each is longer by so many
                for (sum, a) in with_flow[i].iter_mut().zip(*row) {
                    *sum += a * y;
                }
                for (j, other) in rows[..=i].iter().enumerate() {
                    let Some(other) = other else { continue };
                    for ((sum, a), b) in products[i][j].iter_mut().zip(*row).zip(*other) {
                        *sum += a * b;
                    }
                }
            }
        }
        std::array::from_fn(|k| {
            let n = products.each_ref().map(|row| row.each_ref().map(|s| s[k]));
            misfit(n, with_flow.each_ref().map(|s| s[k]), yy)
        })
    }
}

/// Least squares' misfit from the sums of products (of the basis with itself, the lower half, and with what is fitted) and of
/// squares.
fn misfit(n: [[f64; UNKNOWNS]; UNKNOWNS], v: [f64; UNKNOWNS], yy: f64) -> f64 {
    /// Ridge that keeps the level free and the ground's changes as usual.
    const RIDGE: [f64; UNKNOWNS] = [
        0.01,
        1.0 / (GROUND_SD.0 * GROUND_SD.0),
        1.0 / (GROUND_SD.1 * GROUND_SD.1),
        1.0 / (OTHER_SD * OTHER_SD),
    ];
    // Cholesky of the normal equations, and the squares of what it takes from the flow's.
    let mut l = [[0.0; UNKNOWNS]; UNKNOWNS];
    let mut z = [0.0; UNKNOWNS];
    let mut left = WEIGHT * yy;
    for i in 0..UNKNOWNS {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| l[i][k] * l[j][k]).sum();
            l[i][j] = if i == j {
                (WEIGHT * n[i][i] + RIDGE[i] - known).sqrt()
            } else {
                (WEIGHT * n[i][j] - known) / l[j][j]
            };
        }
        let known: f64 = (0..i).map(|k| l[i][k] * z[k]).sum();
        z[i] = (WEIGHT * v[i] - known) / l[i][i];
        left -= z[i] * z[i];
    }
    left
}

/// A signal behind the stages of a kind: each exactly, as if the signal ran straight from cell to cell.
fn mixed(signal: &[f64], kind: &Kind) -> Vec<f64> {
    let stays = (-CELL_S / kind.tau).exp();
    let mean = (1.0 - stays) * kind.tau / CELL_S;
    let mut out = signal.to_vec();
    for _ in 0..kind.stages {
        let (mut before, mut level) = (out[0], out[0]);
        for v in &mut out {
            level = stays * level + (mean - stays) * before + (1.0 - mean) * *v;
            before = *v;
            *v = level;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A window whose intake is as given per second about the event, and whose flow follows it.
    fn window(dead: f64, kind: Kind, intake: impl Fn(f64) -> f64) -> Window {
        let taken: Vec<f64> = (0..CELLS)
            .map(|c| intake((c as f64 + 0.5 - REACH as f64) * CELL_S))
            .collect();
        let flow = mixed(&taken, &kind);
        let late = (dead / CELL_S) as i32;
        let at = |c: usize| (c as i32 - late).clamp(0, CELLS as i32 - 1) as usize;
        Window {
            flow: (0..CELLS).map(|c| flow[at(c)] as f32).collect(),
            intake: taken.iter().map(|v| *v as f32).collect(),
        }
    }

    fn ends(dead: f64, kind: Kind) -> PassEnds {
        let on = |s: f64| if s > 0.0 { 1.0 } else { 0.0 };
        // The pass before ends 12 s earlier, when the machine still carries its grain.
        let start = window(dead, kind, |s| on(s) + on(-12.0 - s));
        let stop = window(dead, kind, |s| on(-s));
        PassEnds {
            starts: vec![start.clone(), start],
            stops: vec![stop.clone(), stop],
        }
    }

    #[test]
    fn delay_and_mixing_come_out_of_filling_and_emptying() {
        for (dead, tau, stages) in [(9.0, 3.4, 1), (14.0, 1.6, 2), (-3.0, 2.1, 1)] {
            let kind = Kind { tau, stages };
            let f = Filling::fit(&ends(dead, kind), 1.0).unwrap();
            assert!(
                (f.seen - dead - kind.total()).abs() < 0.15,
                "{dead} {kind:?} {f:?}"
            );
            assert!((f.seen - f.delay - 0.12).abs() < 1e-9);
            assert!((f.skew.0 - kind.skew()).abs() < 0.4, "{kind:?} {f:?}");
            assert!(f.error < 0.4);
        }
    }

    #[test]
    fn a_poor_strip_at_the_ends_is_no_filling() {
        let kind = Kind {
            tau: 2.1,
            stages: 1,
        };
        let on = |s: f64| match s {
            s if s <= 0.0 => 0.0,
            s if s < 7.0 => 0.75,
            _ => 1.0,
        };
        let mut both = ends(10.0, kind);
        for (window, inwards) in [(&mut both.starts, 1.0), (&mut both.stops, -1.0)] {
            let poor = super::tests::window(10.0, kind, |s| on(inwards * s));
            window
                .iter_mut()
                .for_each(|w| w.flow.clone_from(&poor.flow));
        }
        // What was cut before the pass is no longer in the flow, so neither may it be in the intake.
        for w in &mut both.starts {
            w.intake[..REACH].fill(0.0);
        }
        let f = Filling::fit(&both, 1.0).unwrap();
        assert!((f.seen - 12.1).abs() < 0.7, "{f:?}");
    }

    #[test]
    fn ends_that_look_like_no_filling_say_nothing() {
        let kind = Kind {
            tau: 2.1,
            stages: 1,
        };
        let mut odd = ends(10.0, kind);
        for w in odd.starts.iter_mut().chain(&mut odd.stops) {
            for (c, v) in w.flow.iter_mut().enumerate() {
                *v = if (c / 7) % 2 == 0 { 1.5 } else { 0.2 };
            }
        }
        assert!(Filling::fit(&odd, 1.0).is_none());
        assert!(Filling::fit(&PassEnds::default(), 1.0).is_none());
        for w in odd.starts.iter_mut().chain(&mut odd.stops) {
            w.flow.fill(f32::NAN);
        }
        assert!(Filling::fit(&odd, 1.0).is_none());
    }

    #[test]
    fn ends_that_are_misjudged_still_tell_where_flow_rises() {
        let kind = Kind {
            tau: 1.6,
            stages: 1,
        };
        let on = |s: f64| if s > 0.0 { 1.0 } else { 0.0 };
        // The last pass ended two seconds before its intake is thought to.
        let mut odd = window(12.0, kind, |s| on(s) + on(-9.0 - s));
        odd.intake = window(12.0, kind, |s| on(s) + on(-7.0 - s)).intake;
        let ends = PassEnds {
            starts: vec![odd.clone(), odd],
            stops: Vec::new(),
        };
        let loose = Filling::fit(&ends, 1.0).unwrap();
        assert!(!loose.sound && loose.error > 0.5, "{loose:?}");
        assert!((loose.seen - 13.6).abs() < 1.5 * loose.error, "{loose:?}");
        let sound = Filling {
            delay: 9.0,
            sound: true,
            ..loose
        };
        assert_eq!(Filling::together([&loose, &sound]), Some(sound));
        assert_eq!(Filling::together([&loose]), Some(loose));
    }

    #[test]
    fn fields_together_are_surer_but_share_what_they_err_by() {
        let one = Filling {
            delay: 12.0,
            error: 0.4,
            lifted: 0.3,
            seen: 12.1,
            total: (3.0, 0.2),
            skew: (2.5, 0.4),
            sound: true,
        };
        let other = Filling { delay: 13.0, ..one };
        assert_eq!(Filling::together([&one]), Some(one));
        let two = Filling::together([&one, &other]).unwrap();
        assert!((two.delay - 12.5).abs() < 1e-12 && (two.error - 0.4 / 2f64.sqrt()).abs() < 1e-12);
        let many = Filling::together(&[one; 40]).unwrap();
        assert!((many.error - 0.2).abs() < 1e-12);
        assert_eq!(Filling::together([]), None);
    }
}
