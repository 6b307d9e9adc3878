//! Single points off their own pass and off the passes beside it.

use super::input::CheckInput;
use super::params::CheckedParams;
use super::pieces::{Ground, Pieces};
use super::sides::{MachineOffsets, Sides, beyond};
use crate::stats::{Spread, median_in_place};

/// Points before and after that make a point's own pass, within so many seconds (our choice: a median of eleven shrugs
/// off a run of five bad points, and 20 s are 40 m, the length of a small patch).
const OWN_POINTS: usize = 11;
const OWN_SECONDS: f64 = 20.0;

/// Points from which a scale is taken, at most, at an even stride (our choice: a MAD of 20,000 is good to 1 %).
const SCALE_POINTS: usize = 20_000;

/// A neighbouring pass shows a feature as well where one of its points nearby stands off its own pass by this share of
/// the candidate's deviation, to the same side (our choice: features fade and are smeared along the track).
const SHOWS: f64 = 0.5;

/// "Nearby" reaches this far along the track beyond one header width, m: what is left of delay and antenna errors
/// displaces opposite passes by a few metres (twice the speed per second of delay: 4.5 m at 5 mph; our choice).
const DISPLACED: f64 = 6.0;

/// Two yields are alike within this factor (natural logarithm; our choice: a factor of two).
const ALIKE: f64 = std::f64::consts::LN_2;

/// Noise of low yields is relatively larger, since part of it does not shrink with the flow: limits widen with the root
/// of usual over local yield, up to this (our choice).
const WIDEST: f64 = 2.0;

/// Everything the comparison of points needs.
pub(super) struct Points<'a> {
    input: &'a CheckInput<'a>,
    ground: &'a Ground<'a>,
    pieces: &'a Pieces,
    sides: Vec<Sides>,
    usual: f64,
}

impl<'a> Points<'a> {
    pub fn new(
        input: &'a CheckInput<'a>,
        ground: &'a Ground<'a>,
        pieces: &'a Pieces,
        offsets: &MachineOffsets,
    ) -> Self {
        let sides = (0..pieces.pieces.len())
            .map(|k| Sides::of(pieces, k, offsets, 0.0, |_| true))
            .collect();
        let mut values: Vec<f64> = pieces.pieces.iter().map(|p| p.value).collect();
        let usual = median_in_place(&mut values).unwrap_or(f64::NAN);
        Self {
            input,
            ground,
            pieces,
            sides,
            usual,
        }
    }

    /// Rows of points that `is_suspect` names and that no point of a pass beside them comes near in yield.
    pub fn without_company(&self, is_suspect: impl Fn(usize) -> bool) -> Vec<usize> {
        let mut found = Vec::new();
        for (k, piece) in self.pieces.pieces.iter().enumerate() {
            for &row in &self.pieces.points[piece.first..piece.end] {
                let row = row as usize;
                if !is_suspect(row) {
                    continue;
                }
                let value = self.ground.log_yield[row];
                let alike = |other: usize| (self.ground.log_yield[other] - value).abs() <= ALIKE;
                let mut beside = self.pieces.beside(k).iter();
                if !beside.any(|b| {
                    self.nearby(k, row, b.piece)
                        .any(|place| alike(self.pieces.points[place] as usize))
                }) {
                    found.push(row);
                }
            }
        }
        found
    }

    /// Rows of single points off their neighbours.
    pub fn outliers(&self, params: &CheckedParams) -> Vec<usize> {
        let (own_sigma, beside_sigma) = self.scales();
        let mut found = Vec::new();
        for (k, piece) in self.pieces.pieces.iter().enumerate() {
            for place in piece.first..piece.end {
                let row = self.pieces.points[place] as usize;
                let value = self.ground.log_yield[row];
                let wider = (0.5 * (self.usual - piece.value)).exp().clamp(1.0, WIDEST);
                let beside = self.sides[k].beyond(value);
                let alone = beside.is_nan();
                let (own_limit, beside_limit) = if alone {
                    (params.lone_margin.max(params.lone_sigmas * own_sigma), 0.0)
                } else {
                    let own = params.point_margin.max(params.point_sigmas * own_sigma);
                    (
                        own,
                        params.point_margin.max(params.beside_sigmas * beside_sigma),
                    )
                };
                if !alone && beside.abs() <= beside_limit * wider {
                    continue;
                }
                let own = self.beyond_own(place);
                let off =
                    own.abs() > own_limit * wider && (alone || own.signum() == beside.signum());
                if off && !self.shown_beside(k, row, own) {
                    found.push(row);
                }
            }
        }
        found
    }

    /// Standard deviations of points about their own pass and about the passes beside it.
    fn scales(&self) -> (f64, f64) {
        let stride = self.pieces.points.len().div_ceil(SCALE_POINTS).max(1);
        let (mut own, mut beside) = (Vec::new(), Vec::new());
        for (k, piece) in self.pieces.pieces.iter().enumerate() {
            for place in (piece.first..piece.end).filter(|p| p % stride == 0) {
                let value = self.ground.log_yield[self.pieces.points[place] as usize];
                let (before, after) = self.own_levels(place);
                own.push(
                    value
                        - Sides {
                            left: before,
                            right: after,
                        }
                        .middle(),
                );
                beside.push(value - self.sides[k].middle());
            }
        }
        let sigma = |mut v: Vec<f64>| {
            v.retain(|d| d.is_finite());
            Spread::of_in_place(&mut v).map_or(0.0, |s| s.sigma)
        };
        (sigma(own), sigma(beside))
    }

    /// How far a point lies beyond what its own pass shows before *and* after it: a step is in between.
    fn beyond_own(&self, place: usize) -> f64 {
        let (before, after) = self.own_levels(place);
        let value = self.ground.log_yield[self.pieces.points[place] as usize];
        let off = beyond(value, before, after);
        if off.is_nan() { 0.0 } else { off }
    }

    /// Medians of the points of the same pass before and after; NaN where there is none.
    fn own_levels(&self, place: usize) -> (f64, f64) {
        let points = &self.pieces.points;
        let here = points[place] as usize;
        let near = |&row: &u32| {
            let row = row as usize;
            self.input.pass[row] == self.input.pass[here]
                && (self.input.since_entry[row] - self.input.since_entry[here]).abs() <= OWN_SECONDS
        };
        let level = |rows: &mut dyn Iterator<Item = u32>| {
            let mut values = [0.0; OWN_POINTS];
            let mut n = 0;
            for row in rows.take_while(near).take(OWN_POINTS) {
                values[n] = self.ground.log_yield[row as usize];
                n += 1;
            }
            median_in_place(&mut values[..n]).unwrap_or(f64::NAN)
        };
        (
            level(&mut points[..place].iter().rev().copied()),
            level(&mut points[place + 1..].iter().copied()),
        )
    }

    /// Whether the passes on every side that has one show the same deviation nearby: then it is the ground's, not the
    /// point's. (A ditch that all passes cross is narrower than a piece.)
    fn shown_beside(&self, piece: usize, row: usize, deviation: f64) -> bool {
        let shows =
            |place: usize| self.beyond_own(place) * deviation.signum() >= SHOWS * deviation.abs();
        let (mut sides, mut agreeing) = (0, 0);
        for left in [true, false] {
            let mut beside = self
                .pieces
                .beside(piece)
                .iter()
                .filter(|b| b.left == left)
                .peekable();
            sides += usize::from(beside.peek().is_some());
            let agrees = beside.any(|b| self.nearby(piece, row, b.piece).any(shows));
            agreeing += usize::from(agrees);
        }
        sides > 0 && agreeing == sides
    }

    /// Places of the points of piece `other` that lie near `row` of piece `piece`, measured along the latter's track.
    fn nearby(&self, piece: usize, row: usize, other: usize) -> impl Iterator<Item = usize> + '_ {
        let reach = self.pieces.pieces[piece].width + DISPLACED;
        let [ux, uy] = self.pieces.pieces[piece].direction;
        let other = self.pieces.pieces[other];
        (other.first..other.end).filter(move |&place| {
            let there = self.pieces.points[place] as usize;
            let (dx, dy) = (
                self.ground.x[there] - self.ground.x[row],
                self.ground.y[there] - self.ground.y[row],
            );
            (dx * ux + dy * uy).abs() <= reach
        })
    }
}
