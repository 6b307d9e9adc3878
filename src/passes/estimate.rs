use super::flow::without_grain;
use super::ground::{bridge, lay_ground};
use super::position::{Fix, angle_between, directions, judge, turns};
use super::{Activity, Checked, Ground, Params, Pass, Passes};
use crate::log::{Log, Timeline, Track, WorkState};

/// Path over which a direction is taken, m: long against the jitter of fixes, short against a turn.
const DIRECTION_BASELINE_M: f64 = 4.0;

/// A stop of at least this many seconds lets the machine run empty enough to count as a new start (our choice).
const STOP_S: f64 = 3.0;

/// Finds the passes of a field.
///
/// `x`, `y`: the antenna's position per row in the field frame, m; NaN where there is none.
pub fn estimate(params: &Checked, log: &Log, timeline: &Timeline, x: &[f64], y: &[f64]) -> Passes {
    let p = &params.0;
    let n = log.len();
    let mut out = Passes {
        passes: Vec::new(),
        pass_of: vec![None; n],
        activity: vec![Activity::NoPosition; n],
        ground: vec![None; n],
        direction: vec![f64::NAN; n],
        speed: vec![f64::NAN; n],
        header_width: header_widths(p, log),
        since_start: vec![f64::NAN; n],
        until_stop: vec![f64::NAN; n],
    };
    for (t, track) in timeline.tracks.iter().enumerate() {
        let fixes = judge(p, log, track, x, y);
        let antenna = |k: usize| [x[track.rows[k] as usize], y[track.rows[k] as usize]];
        let direction = directions(track, &fixes, antenna, DIRECTION_BASELINE_M);
        let ahead = p.antenna_behind[track.machine as usize];
        let at_header = |k: usize| match direction[k] {
            d if d.is_finite() => [
                antenna(k)[0] + ahead * d.cos(),
                antenna(k)[1] + ahead * d.sin(),
            ],
            _ => antenna(k),
        };
        let headers: Vec<[f64; 2]> = (0..track.len()).map(at_header).collect();
        let header = |k: usize| headers[k];
        let turning = turns(p, track, &direction, header);
        lay_ground(log, track, &fixes, &direction, header, &mut out);
        bridge(track, &fixes, header, &mut out);
        judge_activity(p, log, track, &fixes, &turning, &mut out);
        if !track_tells(log, track) {
            let bare = without_grain(log, timeline, track, &direction, &out.activity);
            for (k, _) in bare.iter().enumerate().filter(|(_, bare)| **bare) {
                let activity = &mut out.activity[track.rows[k] as usize];
                if matches!(activity, Activity::Cutting | Activity::Turning) {
                    *activity = Activity::Idle;
                }
            }
        }
        cut_passes(log, t, track, &mut out);
        for (k, &i) in track.rows.iter().enumerate() {
            out.direction[i as usize] = direction[k];
        }
    }
    time_starts_and_stops(timeline, &mut out);
    out
}

/// Whether a machine's log says of some rows that the header is up, and so of the others that it is down.
pub(super) fn track_tells(log: &Log, track: &Track) -> bool {
    (track.rows.iter()).any(|&i| log.work[i as usize] == WorkState::NotWorking)
}

fn header_widths(p: &Params, log: &Log) -> Vec<f64> {
    (0..log.len())
        .map(|i| match log.width[i] {
            w if w > 0.0 => w,
            _ => p.header_width[log.machine[i] as usize].unwrap_or(f64::NAN),
        })
        .collect()
}

fn judge_activity(
    p: &Params,
    log: &Log,
    track: &Track,
    fixes: &[Fix],
    turning: &[bool],
    out: &mut Passes,
) {
    for (k, &i) in track.rows.iter().enumerate() {
        let i = i as usize;
        // The log's own speed tells better whether the machine stands: fixes wander.
        let speed = if log.speed[i].is_finite() {
            log.speed[i]
        } else {
            out.speed[i]
        };
        out.activity[i] = match fixes[k] {
            Fix::Missing => Activity::NoPosition,
            Fix::Jump => Activity::Jump,
            Fix::Good if log.work[i] == WorkState::NotWorking => Activity::Idle,
            Fix::Good if speed < p.standing_speed || speed > p.transport_speed => Activity::Idle,
            Fix::Good if turning[k] && log.work[i] == WorkState::Working => Activity::Turning,
            Fix::Good if turning[k] => Activity::Idle, // nothing says that the header is down
            Fix::Good => Activity::Cutting,
        };
    }
}

/// Cuts a track into passes: runs of cutting rows without gap, header lift or turn; standing and lost fixes inside a
/// run do not end it.
fn cut_passes(log: &Log, t: usize, track: &Track, out: &mut Passes) {
    let mut open: Option<(usize, usize)> = None; // first and last cutting row
    for (k, &i) in track.rows.iter().enumerate() {
        let i = i as usize;
        let breaks = !track.continues(k)
            || out.activity[i] == Activity::Turning
            || log.work[i] == WorkState::NotWorking
            || open.is_some_and(|(_, last)| {
                let before = out.direction_of(track, last);
                let now = out.ground[i].map_or(f64::NAN, |g| heading(&g));
                out.activity[i] == Activity::Cutting
                    && angle_between(before, now) > std::f64::consts::FRAC_PI_2
            })
            || (out.activity[i] == Activity::Idle
                && out.speed[i] > 0.5
                && log.work[i] != WorkState::Working);
        if breaks && let Some((first, last)) = open.take() {
            close(t, track, first, last, out);
        }
        if out.activity[i] == Activity::Cutting {
            open = Some(open.map_or((k, k), |(first, _)| (first, k)));
        }
    }
    if let Some((first, last)) = open {
        close(t, track, first, last, out);
    }
}

fn heading(g: &Ground) -> f64 {
    if g.length() < 0.3 {
        return f64::NAN;
    }
    (g.to[1] - g.from[1]).atan2(g.to[0] - g.from[0])
}

impl Passes {
    fn direction_of(&self, track: &Track, k: usize) -> f64 {
        self.ground[track.rows[k] as usize].map_or(f64::NAN, |g| heading(&g))
    }
}

fn close(t: usize, track: &Track, first: usize, last: usize, out: &mut Passes) {
    let id = out.passes.len() as u32;
    for k in first..=last {
        let i = track.rows[k] as usize;
        let bridged = matches!(out.activity[i], Activity::NoPosition | Activity::Jump);
        if out.activity[i] == Activity::Cutting || (bridged && out.ground[i].is_some()) {
            out.pass_of[i] = Some(id);
        }
    }
    out.passes.push(Pass {
        track: t,
        first,
        end: last + 1,
    });
}

/// Seconds since cutting started and until it stops, per row, with stops inside a pass as ends.
pub(super) fn time_starts_and_stops(timeline: &Timeline, out: &mut Passes) {
    for pass in &out.passes {
        let track = &timeline.tracks[pass.track];
        let mut start = track.start[pass.first];
        let mut run_from = pass.first;
        let mut stood = 0.0;
        for k in pass.first..=pass.end {
            let standing = k < pass.end && out.activity[track.rows[k] as usize] == Activity::Idle;
            if standing {
                stood += track.interval(k);
                continue;
            }
            if k == pass.end || stood >= STOP_S {
                let last = last_cutting(track, &out.activity, run_from, k);
                for j in run_from..=last {
                    let i = track.rows[j] as usize;
                    out.until_stop[i] = track.end[last] - 0.5 * (track.start[j] + track.end[j]);
                }
                if k < pass.end {
                    start = track.start[k];
                    run_from = k;
                }
            }
            stood = 0.0;
            if k < pass.end {
                out.since_start[track.rows[k] as usize] =
                    0.5 * (track.start[k] + track.end[k]) - start;
            }
        }
    }
}

fn last_cutting(track: &Track, activity: &[Activity], from: usize, end: usize) -> usize {
    (from..end)
        .rev()
        .find(|&j| activity[track.rows[j] as usize] == Activity::Cutting)
        .unwrap_or(from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::{Clock, Source};

    /// Rows at 1 Hz from (x, y, work).
    fn drive(rows: &[(f64, f64, WorkState)]) -> (Log, Timeline, Passes) {
        let n = rows.len();
        let nan = vec![f64::NAN; n];
        let log = Log {
            sources: vec![Source {
                path: "a".into(),
                clock: Clock::Unix,
            }],
            machines: vec!["C1".into()],
            source: vec![0; n],
            row: (1..=n as u32).collect(),
            machine: vec![0; n],
            load: vec![None; n],
            pass_label: vec![None; n],
            work: rows.iter().map(|r| r.2).collect(),
            time: (0..n).map(|k| k as f64).collect(),
            interval: nan.clone(),
            flow: vec![5.0; n],
            mass: nan.clone(),
            moisture: nan.clone(),
            speed: nan.clone(),
            distance: nan.clone(),
            width: nan.clone(),
            heading: nan.clone(),
            elevation: nan.clone(),
            ..Log::default()
        };
        let timeline = Timeline::new(&log);
        let (x, y): (Vec<_>, Vec<_>) = rows.iter().map(|r| (r.0, r.1)).unzip();
        let mut params = Params::new(1);
        params.header_width[0] = Some(6.0);
        let passes = estimate(&params.check().unwrap(), &log, &timeline, &x, &y);
        (log, timeline, passes)
    }

    /// Up along x = 0, half a circle of radius 3 m, down along x = 6.
    fn serpentine(turn: WorkState) -> Vec<(f64, f64, WorkState)> {
        let mut rows: Vec<_> = (0..60)
            .map(|k| (0.0, k as f64 * 1.5, WorkState::Unknown))
            .collect();
        for k in 1..=6 {
            let a = std::f64::consts::PI * (1.0 - k as f64 / 7.0);
            rows.push((3.0 + 3.0 * a.cos(), 88.5 + 3.0 * a.sin(), turn));
        }
        rows.extend((0..60).map(|k| (6.0, 88.5 - k as f64 * 1.5, WorkState::Unknown)));
        rows
    }

    #[test]
    fn a_turn_with_the_header_state_unknown_parts_two_passes() {
        let (_, _, p) = drive(&serpentine(WorkState::Unknown));
        assert_eq!(p.passes.len(), 2);
        assert_eq!(p.activity[63], Activity::Idle);
        assert_eq!(p.pass_of[5], Some(0));
        assert_eq!(p.pass_of[120], Some(1));
        assert!((p.direction[20] - std::f64::consts::FRAC_PI_2).abs() < 1e-9);
    }

    /// Up along x = 0, a right angle to the side, and down along x = 9: nothing says when the header is up.
    #[test]
    fn the_straight_before_and_behind_a_sharp_corner_is_part_of_its_pass() {
        let mut rows: Vec<_> = (0..40).map(|k| (0.0, f64::from(k) * 2.0)).collect();
        rows.extend((1..9).map(|k| (f64::from(k), 78.0)));
        rows.extend((0..40).map(|k| (9.0, 78.0 - f64::from(k) * 2.0)));
        let rows: Vec<_> = (rows.iter())
            .map(|r| (r.0, r.1, WorkState::Unknown))
            .collect();
        let (_, _, p) = drive(&rows);
        // Rows 34 to 37 lie within six metres of the corner and head straight up still.
        assert!(
            (34..=37).all(|k| p.activity[k] == Activity::Cutting),
            "{:?}",
            &p.activity[30..52]
        );
        assert!(
            (51..=54).all(|k| p.activity[k] == Activity::Cutting),
            "{:?}",
            &p.activity[40..60]
        );
        assert!(
            (40..=46).all(|k| p.activity[k] == Activity::Idle),
            "{:?}",
            &p.activity[36..52]
        );
        assert_ne!(p.pass_of[34], p.pass_of[54]);
    }

    #[test]
    fn a_turn_while_cutting_is_turning() {
        let (_, _, p) = drive(&serpentine(WorkState::Working));
        assert_eq!(p.activity[63], Activity::Turning);
    }

    #[test]
    fn a_stop_inside_a_pass_starts_the_ramp_anew_but_not_the_pass() {
        let mut rows: Vec<_> = (0..30)
            .map(|k| (0.0, k as f64 * 2.0, WorkState::Working))
            .collect();
        rows.extend((0..10).map(|_| (0.0, 58.0, WorkState::Working)));
        rows.extend((1..30).map(|k| (0.0, 58.0 + k as f64 * 2.0, WorkState::Working)));
        let (_, _, p) = drive(&rows);
        assert_eq!(p.passes.len(), 1);
        assert_eq!(p.activity[35], Activity::Idle);
        assert_eq!(p.since_start[0], 0.5);
        assert_eq!(p.until_stop[29], 0.5);
        assert_eq!(p.since_start[40], 0.5);
        assert_eq!(p.until_stop[68], 0.5);
    }

    #[test]
    fn one_far_fix_is_a_jump_and_the_pass_goes_on() {
        let mut rows: Vec<_> = (0..30)
            .map(|k| (0.0, k as f64 * 2.0, WorkState::Working))
            .collect();
        rows[10].0 = 400.0;
        rows[20].0 = f64::NAN;
        let (_, _, p) = drive(&rows);
        assert_eq!(p.activity[10], Activity::Jump);
        assert_eq!(p.activity[20], Activity::NoPosition);
        assert_eq!(p.passes.len(), 1);
        let bad: Vec<_> = (0..30)
            .filter(|&k| p.activity[k] != Activity::Cutting)
            .collect();
        assert_eq!(bad, [10, 20]);
    }

    #[test]
    fn ground_without_a_fix_is_bridged() {
        let mut rows: Vec<_> = (0..30)
            .map(|k| (0.0, k as f64 * 2.0, WorkState::Working))
            .collect();
        rows[10].1 = f64::NAN;
        rows[11].0 = 500.0;
        let (_, _, p) = drive(&rows);
        let length: f64 = (1..30).map(|k| p.ground[k].unwrap().length()).sum();
        assert!((length - 58.0).abs() < 1e-9, "{length}");
        assert_eq!(
            (p.activity[10], p.pass_of[10]),
            (Activity::NoPosition, Some(0))
        );
    }

    #[test]
    fn ground_reaches_back_to_the_row_before() {
        let (_, _, p) = drive(&[
            (0.0, 0.0, WorkState::Working),
            (0.0, 2.0, WorkState::Working),
            (0.0, 4.0, WorkState::Working),
        ]);
        let near =
            |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).abs() < 1e-9 && (a[1] - b[1]).abs() < 1e-9;
        assert!(
            near(p.ground[1].unwrap().from, [0.0, 0.0])
                && near(p.ground[1].unwrap().to, [0.0, 2.0])
        );
        assert!(near(p.ground[0].unwrap().from, [0.0, -2.0])); // the next step stands in
        assert_eq!(p.header_width, [6.0; 3]);
        let (_, _, empty) = drive(&[]);
        assert!(empty.passes.is_empty());
    }
}
