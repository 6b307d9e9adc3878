//! Flow and intake about where passes begin and end: what a machine's filling and emptying are read from.

use serde::{Deserialize, Serialize};

use super::Signal;
use crate::log::Timeline;
use crate::passes::{Pass, Passes};

/// Step of a window, s.
pub(super) const CELL_S: f64 = 0.5;
/// Cells of a window before and behind the event: as far as the longest delay and the slowest mixing reach.
pub(super) const REACH: usize = 90;
/// Cells of a window.
pub(super) const CELLS: usize = 2 * REACH;
/// Windows that the passes of a field are joined into, in the order of work: ground differs between them (our choice).
const GROUPS: usize = 3;
/// Fewest passes that are joined, and most passes looked at, spread over the work (our choice).
const PASSES: (usize, usize) = (4, 60);
/// Shortest pass that has a level of its own at either end, s.
const SHORTEST_S: f64 = 50.0;
/// Share of the passes that must have logged a second (our choice).
const LOGGED: f64 = 0.6;
/// A pass's flow and intake count within these shares of its level (our choice: spikes are none of the machine's filling).
const FLOW: (f32, f32) = (-0.3, 2.0);
/// See [`FLOW`].
const INTAKE: (f32, f32) = (-0.1, 2.0);

/// What the starts and stops of one machine's passes in one field look like.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PassEnds {
    /// About where passes begin.
    pub(super) starts: Vec<Window>,
    /// About where they end.
    pub(super) stops: Vec<Window>,
}

/// Means over some passes per [`CELL_S`], the event in the middle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Window {
    /// Flow as a share of the pass's level near that end; NaN where hardly any pass logged it.
    pub(super) flow: Vec<f32>,
    /// Ground newly cut per second as a share of the usual; 0 where none was.
    pub(super) intake: Vec<f32>,
}

impl PassEnds {
    /// Takes the windows of the passes of track `t`.
    pub fn gather(
        timeline: &Timeline,
        passes: &Passes,
        t: usize,
        flow: &Signal,
        intake: &Signal,
    ) -> Self {
        let track = &timeline.tracks[t];
        let own: Vec<&Pass> = passes.passes.iter().filter(|p| p.track == t).collect();
        let span = |p: &Pass| (track.start[p.first], track.end[p.end - 1]);
        let read = Reading { flow, intake };
        let (mut starts, mut stops) = (Vec::new(), Vec::new());
        let stride = own.len().div_ceil(PASSES.1).max(1);
        for (k, pass) in own.iter().enumerate().step_by(stride) {
            let (start, stop) = span(pass);
            if stop - start < SHORTEST_S {
                continue;
            }
            let next = own.get(k + 1).map_or(f64::INFINITY, |p| span(p).0);
            // The level is that of the minute next to the end, without what fills or empties.
            let to = stop.min(start + 60.0);
            starts.extend(read.window(
                start,
                (start - 4.0, stop + 2.0),
                (start + 25.0, to.max(start + 40.0)),
                (start + 5.0, to),
            ));
            let from = start.max(stop - 60.0);
            stops.extend(read.window(
                stop,
                (start + 30.0, next + 2.0),
                ((from + 15.0).max(stop - 45.0), stop - 5.0),
                (from, stop - 5.0),
            ));
        }
        Self {
            starts: joined(&starts),
            stops: joined(&stops),
        }
    }
}

/// The signals of a track.
struct Reading<'a> {
    flow: &'a Signal,
    intake: &'a Signal,
}

impl Reading<'_> {
    /// The window about a time: flow counts within `valid`, levels are medians over the other two spans. `None` where
    /// there is no level.
    fn window(
        &self,
        event: f64,
        valid: (f64, f64),
        flow_level: (f64, f64),
        intake_level: (f64, f64),
    ) -> Option<Window> {
        let at = |signal: &Signal, time: f64| signal.at(signal.cell(time));
        let level = |signal: &Signal, (from, to): (f64, f64)| {
            let seconds = (to - from).max(0.0) as usize;
            let mut v: Vec<f32> = (0..seconds)
                .map(|s| at(signal, from + s as f64))
                .filter(|v| v.is_finite())
                .collect();
            let middle = v.len() / 2;
            (v.len() >= 3).then(|| *v.select_nth_unstable_by(middle, f32::total_cmp).1)
        };
        let usual = level(self.flow, flow_level).filter(|l| *l > 0.0)?;
        let taken = level(self.intake, intake_level).filter(|l| *l > 0.0)?;
        let time = |c: usize| event + (c as f64 + 0.5 - REACH as f64) * CELL_S;
        let flow = |c: usize| {
            let t = time(c);
            match valid.0 < t && t < valid.1 {
                true => (at(self.flow, t) / usual).clamp(FLOW.0, FLOW.1),
                false => f32::NAN,
            }
        };
        let intake = |c: usize| match at(self.intake, time(c)) / taken {
            v if v.is_finite() => v.clamp(INTAKE.0, INTAKE.1),
            _ => 0.0, // nothing was cut where nothing was logged
        };
        Some(Window {
            flow: (0..CELLS).map(flow).collect(),
            intake: (0..CELLS).map(intake).collect(),
        })
    }
}

/// Means of windows, in groups; none of too few.
fn joined(windows: &[Window]) -> Vec<Window> {
    let groups = (windows.len() / PASSES.0).min(GROUPS);
    (0..groups)
        .map(|g| {
            let (from, to) = (g * windows.len() / groups, (g + 1) * windows.len() / groups);
            let own = &windows[from..to];
            let mean = |c: usize, of: fn(&Window) -> &[f32]| {
                let (mut sum, mut n) = (0.0f64, 0.0f64);
                for v in own.iter().map(|w| of(w)[c]).filter(|v| v.is_finite()) {
                    sum += f64::from(v);
                    n += 1.0;
                }
                match n > LOGGED * own.len() as f64 {
                    true => (sum / n) as f32,
                    false => f32::NAN,
                }
            };
            Window {
                flow: (0..CELLS).map(|c| mean(c, |w| &w.flow)).collect(),
                intake: (0..CELLS).map(|c| mean(c, |w| &w.intake)).collect(),
            }
        })
        .collect()
}
