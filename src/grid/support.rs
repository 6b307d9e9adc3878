//! Ground over which something is a mean, as a few places in it that have its extent.

use crate::stats::variogram::Shape;

/// Places that stand for the ground of a stretch.
pub(super) const NODES: usize = 4;

/// Shape of the variogram of points. Exponential: it may be summed over ground in any dimension, and it rises steeply at its
/// start, as rough fields do; what a flatter start cannot follow goes into the error, and cells are smoothed too much.
pub(super) const SHAPE: Shape = Shape::Exponential;

/// Two places along and two across at the ground's standard deviations: the Gauss rule of two points, exact for what bends
/// like a parabola.
pub(super) fn nodes(
    middle: [f64; 2],
    along: [f64; 2],
    sd_along: f64,
    sd_across: f64,
) -> [[f64; 2]; NODES] {
    [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)].map(|(a, b)| {
        let (a, b) = (a * sd_along, b * sd_across);
        [
            middle[0] + a * along[0] - b * along[1],
            middle[1] + a * along[1] + b * along[0],
        ]
    })
}

/// Mean of `of(distance)` over all pairs of a place of one ground and one of the other.
#[inline]
pub(super) fn mean_over(a: &[[f64; 2]], b: &[[f64; 2]], of: impl Fn(f64) -> f64) -> f64 {
    let mut sum = 0.0;
    for p in a {
        for q in b {
            let (dx, dy) = (p[0] - q[0], p[1] - q[1]);
            sum += of((dx * dx + dy * dy).sqrt());
        }
    }
    sum / (a.len() * b.len()) as f64
}

/// Share of the sill of points by which means over two like grounds differ, beyond what each differs by inside itself.
pub(super) fn rise(a: &[[f64; 2]], b: &[[f64; 2]], range: f64) -> f64 {
    let of = |h: f64| SHAPE.rise(h / range);
    mean_over(a, b, of) - 0.5 * (mean_over(a, a, of) + mean_over(b, b, of))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_have_the_spread_of_the_ground() {
        let at = nodes([10.0, 20.0], [0.6, 0.8], 3.0, 1.0);
        let moment = |u: [f64; 2]| -> f64 {
            let along = |p: &[f64; 2]| (p[0] - 10.0) * u[0] + (p[1] - 20.0) * u[1];
            at.iter().map(|p| along(p).powi(2)).sum::<f64>() / 4.0
        };
        assert!((moment([0.6, 0.8]) - 9.0).abs() < 1e-12);
        assert!((moment([-0.8, 0.6]) - 1.0).abs() < 1e-12);
    }

    /// Mean distance of two places in a square of side 1 is 0.5214 (Ghosh 1951, Bull. Calcutta Math. Soc. 43:17, from
    /// memory); four places make 0.493 of it.
    #[test]
    fn four_places_stand_for_a_square() {
        let square = nodes(
            [0.0, 0.0],
            [1.0, 0.0],
            12f64.sqrt().recip(),
            12f64.sqrt().recip(),
        );
        let mean = mean_over(&square, &square, |h| h);
        assert!((mean - 0.5214).abs() < 0.03, "{mean}");
    }

    /// Far apart two grounds differ as points do, less what is inside them.
    #[test]
    fn means_differ_by_less_than_points() {
        let a = nodes([0.0, 0.0], [1.0, 0.0], 3.0, 3.0);
        let b = nodes([20_000.0, 0.0], [1.0, 0.0], 3.0, 3.0);
        let inside = mean_over(&a, &a, |h| SHAPE.rise(h / 50.0));
        assert!((rise(&a, &b, 50.0) - (1.0 - inside)).abs() < 1e-12);
        assert_eq!(rise(&a, &a, 50.0), 0.0);
    }
}
