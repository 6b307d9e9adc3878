//! Where on a pass cutting begins and ends, once the cut width is known.
//!
//! A log without a work state goes on while the machine leaves the crop with its header up, and one with a work state may
//! have the header down before the crop is reached. Ramps count from the crop, so the pass's ends are drawn in to it.

use super::Passes;
use super::estimate::time_starts_and_stops;
use crate::log::Timeline;

/// An end of a pass is off the crop while, on average, no more of the header than this is on it (our choice: strips that
/// fixes leave between swaths of a headland are a tenth of it).
const OFF_CROP_MEAN: f64 = 0.15;
/// And while its innermost row has no more than this on it: what a row needs to count as cut by default.
const OFF_CROP_ROW: f64 = 0.3;
/// Crop that may be crossed on the way out, in seconds of the full header (our choice: a strip left standing, not a pass).
const CROSSED_S: f64 = 3.0;

impl Passes {
    /// Draws the ends of passes in to where they cut. `share`: share of the header on standing crop per row, 0 outside the
    /// boundary, NaN where unknown.
    ///
    /// The rows beyond stay on their pass, with no time since its start or until its stop. A pass that cuts nothing stays
    /// as it is.
    pub fn draw_in(&mut self, timeline: &Timeline, share: &[f64]) {
        let mut drawn = self.passes.clone();
        for pass in &mut drawn {
            let track = &timeline.tracks[pass.track];
            let row = |k: usize| (share[track.rows[k] as usize], track.interval(k));
            let before = off_crop((pass.first..pass.end).map(row));
            let behind = off_crop((pass.first..pass.end).rev().map(row));
            if before + behind < pass.end - pass.first {
                pass.first += before;
                pass.end -= behind;
            }
        }
        let whole = std::mem::replace(&mut self.passes, drawn);
        time_starts_and_stops(timeline, self);
        for (whole, drawn) in whole.iter().zip(&self.passes) {
            let rows = &timeline.tracks[whole.track].rows;
            let beyond = |from: usize, to: usize| rows[from..to].iter().map(|&i| i as usize);
            let outer = beyond(whole.first, drawn.first).chain(beyond(drawn.end, whole.end));
            for i in outer.filter(|&i| self.pass_of[i].is_some()) {
                (self.since_start[i], self.until_stop[i]) = (0.0, 0.0);
            }
        }
    }
}

/// Rows off the crop, from one end of a pass inwards: (share, interval).
fn off_crop(rows: impl Iterator<Item = (f64, f64)>) -> usize {
    let (mut off, mut crop, mut time) = (0, 0.0, 0.0);
    for (n, (share, interval)) in rows.enumerate() {
        if !share.is_finite() {
            continue; // says nothing
        }
        crop += share * interval;
        time += interval;
        if crop > CROSSED_S {
            break;
        }
        if share <= OFF_CROP_ROW && crop <= OFF_CROP_MEAN * time {
            off = n + 1;
        }
    }
    off
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::Track;
    use crate::passes::Pass;

    fn rows(shares: &[f64]) -> usize {
        off_crop(shares.iter().map(|&s| (s, 1.0)))
    }

    #[test]
    fn an_end_goes_as_far_as_there_is_no_crop() {
        assert_eq!(rows(&[0.0, 0.0, 0.1, 0.95, 1.0]), 3);
        assert_eq!(rows(&[0.95, 0.0, 0.0]), 0); // 0.95 of 3 rows is more than 0.15
        assert_eq!(rows(&[0.0, 0.0, 0.0, 0.6, 0.0, 0.0, 1.0, 1.0]), 6); // a strip: 0.6 of 6 rows
        assert_eq!(rows(&[0.0, f64::NAN, 0.0, 1.0]), 3);
        assert_eq!(rows(&[0.28, 0.25, 1.0]), 0); // narrow, but cut
        assert_eq!(rows(&[]), 0);
        // Four rows of crop are a pass of their own, however far off.
        let mut far = vec![0.0; 40];
        far.extend([1.0; 4]);
        far.extend([0.0; 20]);
        assert_eq!(rows(&far), 40);
    }

    #[test]
    fn times_count_from_the_crop_and_beyond_it_there_is_none() {
        let n = 8;
        let timeline = Timeline {
            tracks: vec![Track {
                machine: 0,
                rows: (0..n as u32).collect(),
                start: (0..n).map(|k| k as f64).collect(),
                end: (1..=n).map(|k| k as f64).collect(),
                usual_interval: 1.0,
                usual_step: 1.0,
            }],
            ..Timeline::default()
        };
        let mut passes = Passes {
            passes: vec![Pass {
                track: 0,
                first: 0,
                end: n,
            }],
            pass_of: vec![Some(0); n],
            activity: vec![crate::passes::Activity::Cutting; n],
            since_start: vec![f64::NAN; n],
            until_stop: vec![f64::NAN; n],
            ..Passes::default()
        };
        passes.draw_in(&timeline, &[0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0]);
        assert_eq!(
            passes.passes,
            [Pass {
                track: 0,
                first: 1,
                end: 6
            }]
        );
        assert_eq!(passes.since_start, [0.0, 0.5, 1.5, 2.5, 3.5, 4.5, 0.0, 0.0]);
        assert_eq!(passes.until_stop, [0.0, 4.5, 3.5, 2.5, 1.5, 0.5, 0.0, 0.0]);
        let before = passes.clone();
        passes.draw_in(&timeline, &[0.0; 8]); // nothing cut: as it was
        assert_eq!(passes.passes, before.passes);
    }
}
