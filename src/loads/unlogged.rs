//! Grain that no row has: it ran into the tank behind the end of a pass, when the log had stopped.
//!
//! A machine empties for as long as its delay and its mixing last. A log that pauses with the header up loses that grain,
//! and so does one whose display moved the flow within its passes and wrote their rows alone. The scale weighed it all the
//! same: a factor of weighed over logged grain would spread it over the field, where it did not grow.
//!
//! Where the log stops sooner behind its passes than the machine's delay, the clock tells what is missing: the grain of ground
//! whose time of arrival no row stands for.
//!
//! Where rows go on, or the delay was removed before, grain tells: what the last ground of a pass should have given, by the
//! pass's own yield right before it, less what came from there and from the way to the next pass. A headland that yields less
//! looks like missing grain, so it is only asked for where the ends of passes are bare: next to no grain came from their last
//! seconds of ground.

use crate::delay::shift;
use crate::log::{Timeline, Track};
use crate::passes::{Pass, Passes};
use crate::stats::median;

/// Seconds before a pass's end in which grain may be missing: the longest delays and their mixing (published delays: 8–15 s).
const END_S: f64 = 22.0;
/// Seconds before those whose yield is taken for theirs.
const LEVEL_S: f64 = 14.0;
/// What mixing adds to a bare end (published dispersions of 1–5 s, Arslan 2008).
const MIXING_S: f64 = 3.0;
/// The end of a pass is bare as far as its ground gave less than this share of its pass's yield. A log that has all its
/// grain has half of it at the very end, where a machine's mixing is undone by its mean (our choice).
const BARE_SHARE: f64 = 0.25;
/// Half of the passes must be bare for longer than this (our choice: sensors drop out for less; a delay that is some seconds too
/// long looks alike, but has its grain elsewhere).
const BARE_S: f64 = 3.5;
/// Grain that came between passes, where nothing grew, is less than this share of a bare end: more speaks of a delay that
/// is wrong (our choice).
const ELSEWHERE: f64 = 0.3;
/// Less than this is not looked for, s (our choice: what a headland that yields less, or a delay that is some seconds off,
/// can look like).
const LEAST_S: f64 = 2.0;
/// Less than this is not counted where the clock tells, s (our choice: the part of a row by which rows and passes end apart).
const LEAST_BY_CLOCK_S: f64 = 1.0;
/// Fewest passes that tell (our choice).
const PASSES: usize = 5;
/// Rows of which less was logged say nothing of a pass's yield.
const COVERED: f64 = 0.99;

/// What missing grain is sought in. `new_area` and `mass` per row of the log, m² and kg.
#[derive(Debug, Clone, Copy)]
pub struct UnloggedInput<'a> {
    /// The log's clock.
    pub timeline: &'a Timeline,
    /// Its passes.
    pub passes: &'a Passes,
    /// Ground newly cut.
    pub new_area: &'a [f64],
    /// Logged wet mass, faults replaced.
    pub mass: &'a [f64],
    /// Transport delay of each track, s.
    pub delay: &'a [f64],
}

/// Grain that no row has.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Unlogged {
    /// Wet mass that ran into the tank behind each row, kg, as the machine's sensor would have logged it; 0 but at the
    /// ends of passes.
    pub kg: Vec<f64>,
    /// Of each track: what is usually missing behind a pass; `None` where nothing is.
    pub seconds: Vec<Option<Missing>>,
}

/// What is missing behind a pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Missing {
    /// Seconds of grain.
    pub seconds: f64,
    /// What tells them.
    pub told: Told,
}

/// What tells how much is missing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Told {
    /// The log's clock: as well as the delay is known.
    ByClock,
    /// What came of the last ground of passes.
    ByGrain {
        /// Standard error of the seconds.
        error: f64,
    },
}

/// Finds what is missing. Nothing is, where the log goes on until its machines are empty.
pub fn unlogged(input: &UnloggedInput) -> Unlogged {
    let mut out = Unlogged {
        kg: vec![0.0; input.mass.len()],
        seconds: Vec::new(),
    };
    for (t, track) in input.timeline.tracks.iter().enumerate() {
        let own: Vec<&Pass> = (input.passes.passes.iter())
            .filter(|p| p.track == t)
            .collect();
        let ends = Ends::new(input, track, input.delay[t]);
        let seconds = ends.by_clock(&own).or_else(|| ends.by_grain(&own));
        if let Some(Missing { seconds, told }) = seconds {
            let yields = ends.usual_yield();
            for pass in &own {
                let last = track.rows[pass.end - 1] as usize;
                let seconds = match told {
                    Told::ByClock => ends.not_covered(pass),
                    Told::ByGrain { .. } => seconds,
                };
                out.kg[last] = ends.behind(pass, seconds, yields);
            }
        }
        out.seconds.push(seconds);
    }
    out
}

/// One track's ground.
struct Ends<'a> {
    input: &'a UnloggedInput<'a>,
    track: &'a Track,
    received: Vec<f64>,
    covered: Vec<f64>,
}

impl<'a> Ends<'a> {
    fn new(input: &'a UnloggedInput<'a>, track: &'a Track, delay: f64) -> Self {
        let mass: Vec<f64> = (track.rows.iter())
            .map(|&i| input.mass[i as usize])
            .collect();
        let moved = shift(track, &mass, delay);
        Self {
            input,
            track,
            received: moved.amount,
            covered: moved.covered,
        }
    }

    fn area(&self, k: usize) -> f64 {
        let area = self.input.new_area[self.track.rows[k] as usize];
        if area > 0.0 { area } else { 0.0 }
    }

    /// Seconds from a row's middle to the end of its pass.
    fn until(&self, pass: &Pass, k: usize) -> f64 {
        self.track.end[pass.end - 1] - 0.5 * (self.track.start[k] + self.track.end[k])
    }

    fn lasts(&self, pass: &Pass) -> f64 {
        self.track.end[pass.end - 1] - self.track.start[pass.first]
    }

    /// Yield of the ground of a pass between two times before its end, kg/m², and its flow, kg/s.
    fn level(&self, pass: &Pass, from: f64, to: f64) -> Option<(f64, f64)> {
        let (mut grain, mut area, mut seconds) = (0.0, 0.0, 0.0);
        for k in pass.first..pass.end {
            if (from..to).contains(&self.until(pass, k))
                && self.covered[k] >= COVERED
                && self.area(k) > 0.0
            {
                grain += self.received[k];
                area += self.area(k);
                seconds += self.track.interval(k);
            }
        }
        (grain > 0.0).then(|| (grain / area, grain / seconds))
    }

    /// Seconds at the end of a pass whose grain no row logged.
    fn not_covered(&self, pass: &Pass) -> f64 {
        (pass.first..pass.end)
            .rev()
            .take_while(|&k| self.covered[k] < COVERED && self.until(pass, k) < END_S)
            .map(|k| (1.0 - self.covered[k]) * self.track.interval(k))
            .sum()
    }

    /// What passes miss at their ends because the log stops too soon; `None` where it goes on.
    fn by_clock(&self, own: &[&Pass]) -> Option<Missing> {
        if own.len() < PASSES {
            return None;
        }
        let each: Vec<f64> = own.iter().map(|p| self.not_covered(p)).collect();
        let seconds = median(&each).filter(|s| *s >= LEAST_BY_CLOCK_S)?;
        let told = Told::ByClock;
        Some(Missing { seconds, told })
    }

    /// What passes miss at their ends by what came of them; `None` where they miss nothing.
    fn by_grain(&self, own: &[&Pass]) -> Option<Missing> {
        let long = |p: &&&Pass| self.lasts(p) > 2.0 * (END_S + LEVEL_S);
        let bare: Vec<f64> = (own.iter().filter(long))
            .filter_map(|p| self.bare(p))
            .collect();
        if bare.len() < PASSES {
            return None;
        }
        let zone = median(&bare).filter(|b| *b > BARE_S)? + MIXING_S + self.track.usual_step;
        let (mut each, mut elsewhere) = (Vec::new(), Vec::new());
        for (k, pass) in own.iter().enumerate().filter(|(_, p)| long(p)) {
            let next = own.get(k + 1).map_or(self.track.len(), |p| p.first);
            let Some((yields, flow)) = self.level(pass, zone, zone + LEVEL_S) else {
                continue;
            };
            let (mut should, mut came) = (0.0, 0.0);
            for k in (pass.first..pass.end).filter(|&k| self.until(pass, k) < zone) {
                should += yields * self.area(k);
                came += self.received[k];
            }
            let between: f64 = (pass.end..next).map(|k| self.received[k]).sum();
            each.push((should - came - between) / flow);
            elsewhere.push(between / flow);
        }
        if !(median(&elsewhere)? < ELSEWHERE * zone) {
            return None; // the log has that grain: the delay is wrong
        }
        let seconds = median(&each)?;
        let away: Vec<f64> = each.iter().map(|s| (s - seconds).abs()).collect();
        let error = 1.253 * 1.4826 * median(&away)? / (each.len() as f64).sqrt();
        (seconds > LEAST_S.max(2.0 * error)).then_some(Missing {
            seconds,
            told: Told::ByGrain { error },
        })
    }

    /// Seconds of a pass's last ground that gave next to nothing.
    fn bare(&self, pass: &Pass) -> Option<f64> {
        let (yields, _) = self.level(pass, END_S, END_S + LEVEL_S)?;
        let (mut bare, mut came, mut should) = (0.0, 0.0, 0.0);
        for k in (pass.first..pass.end).rev() {
            if self.until(pass, k) >= END_S {
                break;
            }
            came += self.received[k];
            should += yields * self.area(k);
            if came < BARE_SHARE * should {
                bare = self.track.end[pass.end - 1] - self.track.start[k];
            }
        }
        Some(bare)
    }

    /// Median yield of the track's ground, kg/m².
    fn usual_yield(&self) -> f64 {
        let of = |k: usize| self.received[k] / self.area(k);
        let rows = (0..self.track.len()).filter(|&k| self.covered[k] >= COVERED);
        let yields: Vec<f64> = rows.map(of).filter(|y| y.is_finite() && *y > 0.0).collect();
        median(&yields).unwrap_or_default()
    }

    /// Grain missing behind a pass, kg: of its last seconds, of all of it where it is shorter.
    fn behind(&self, pass: &Pass, seconds: f64, usual_yield: f64) -> f64 {
        let area: f64 = (pass.first..pass.end)
            .filter(|&k| self.until(pass, k) < LEVEL_S + seconds)
            .map(|k| self.area(k))
            .sum();
        let yields = self
            .level(pass, seconds, seconds + LEVEL_S)
            .map_or(usual_yield, |l| l.0);
        let lasts = self.lasts(pass);
        yields * area * (seconds / lasts.min(LEVEL_S + seconds)).min(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds of a pass and of the turn behind it.
    const PASS: usize = 150;
    const TURN: usize = 30;
    /// Grain flows so many seconds after it is cut.
    const DELAY: usize = 12;

    /// Eight passes at 1 Hz that cut 20 m² a second. `yields`: kg/m² by seconds to the nearer end of the pass; `after`:
    /// seconds that are logged behind a pass.
    fn field(yields: impl Fn(usize) -> f64, after: usize, delay: f64) -> Unlogged {
        field_of(|_| true, yields, after, delay, DELAY)
    }

    /// Likewise; `gives`: whether the ground of a second gives its grain, which flows `lag` seconds later.
    fn field_of(
        gives: impl Fn(usize) -> bool,
        yields: impl Fn(usize) -> f64,
        after: usize,
        delay: f64,
        lag: usize,
    ) -> Unlogged {
        let period = PASS + TURN;
        let cuts = |s: usize| s % period < PASS && s < 8 * period;
        let grain = |s: usize| match s % period {
            k if cuts(s) && gives(s) => 20.0 * yields(k.min(PASS - 1 - k)),
            _ => 0.0,
        };
        let seconds: Vec<usize> = (0..8 * period)
            .filter(|&s| s % period < PASS + after)
            .collect();
        let n = seconds.len();
        let timeline = Timeline {
            tracks: vec![Track {
                machine: 0,
                rows: (0..n as u32).collect(),
                start: seconds.iter().map(|&s| s as f64).collect(),
                end: seconds.iter().map(|&s| s as f64 + 1.0).collect(),
                usual_interval: 1.0,
                usual_step: 1.0,
            }],
            interval: vec![1.0; n],
            ..Timeline::default()
        };
        let passes = (0..8)
            .map(|p| Pass {
                track: 0,
                first: p * (PASS + after),
                end: p * (PASS + after) + PASS,
            })
            .collect();
        let area = |s: &usize| if cuts(*s) { 20.0 } else { 0.0 };
        let mass = |s: &usize| s.checked_sub(lag).map_or(0.0, grain);
        unlogged(&UnloggedInput {
            timeline: &timeline,
            passes: &Passes {
                passes,
                ..Passes::default()
            },
            new_area: &seconds.iter().map(area).collect::<Vec<_>>(),
            mass: &seconds.iter().map(mass).collect::<Vec<_>>(),
            delay: &[delay],
        })
    }

    #[test]
    fn a_log_that_stops_with_the_header_loses_a_delay_of_grain_at_every_pass() {
        let lost = field(|_| 0.5, 0, 12.0);
        let missing = lost.seconds[0].unwrap();
        assert!((missing.seconds - 12.0).abs() < 1e-9, "{lost:?}");
        assert_eq!(missing.told, Told::ByClock);
        // Twelve seconds of 20 m² at 0.5 kg/m² at the end of each of eight passes.
        let behind: Vec<(usize, f64)> = (lost.kg.iter().copied().enumerate())
            .filter(|k| k.1 > 0.0)
            .collect();
        assert_eq!(behind.len(), 8);
        for (p, (row, kg)) in behind.into_iter().enumerate() {
            assert_eq!(row, (p + 1) * PASS - 1);
            assert!((kg - 120.0).abs() < 1e-9, "{kg}");
        }
        // Four more seconds are logged.
        let less = field(|_| 0.5, 4, 12.0);
        assert!(
            (less.seconds[0].unwrap().seconds - 8.0).abs() < 1e-9,
            "{less:?}"
        );
        // Too little for ends to look bare.
        let little = field(|_| 0.5, 9, 12.0);
        assert!((little.seconds[0].unwrap().seconds - 3.0).abs() < 1e-9);
        assert!((little.kg.iter().sum::<f64>() - 240.0).abs() < 1e-9);
    }

    #[test]
    fn a_display_that_moved_the_flow_inside_passes_lost_their_last_grain() {
        // As if 12 s had been removed, and nothing was written of the way to the next pass.
        let period = PASS + TURN;
        let cut = |s: usize| s % period < PASS;
        let lost = field_of(|s| cut(s) && cut(s + DELAY), |_| 0.5, TURN, 0.0, 0);
        let missing = lost.seconds[0].unwrap();
        assert!((missing.seconds - 12.0).abs() < 1e-9, "{missing:?}");
        assert!(matches!(missing.told, Told::ByGrain { error } if error < 1e-9));
    }

    #[test]
    fn a_log_that_goes_on_has_all_its_grain() {
        let poor = |s: usize| if s < 12 { 0.35 } else { 0.5 };
        for (after, delay) in [(TURN, 12.0), (20, 12.0), (TURN, 17.0), (TURN, 7.0)] {
            for kept in [field(|_| 0.5, after, delay), field(poor, after, delay)] {
                assert_eq!(kept.seconds, [None], "{after} {delay}");
                assert!(kept.kg.iter().all(|kg| *kg == 0.0));
            }
        }
    }
}
