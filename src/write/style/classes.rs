//! Classes of a field's yields, with round limits and the colours of one scale.

use super::Colour;
use crate::stats::quantile;

/// Share of the points below the first limit and above the last, at least (our choice: a few odd points must not
/// stretch the scale).
const TAIL: f64 = 0.02;
/// Classes that are aimed at. Our choice: at most nine come out, as many as can be told apart in a legend.
const AIM: f64 = 7.0;

/// Viridis at sixteenths, from low to high: a scale that is even to the eye, for any kind of colour vision and in grey.
/// Source: van der Walt & Smith 2015, released to the public domain (CC0).
const VIRIDIS: [Colour; 16] = [
    [68, 1, 84],
    [72, 26, 108],
    [71, 47, 125],
    [65, 68, 135],
    [57, 86, 140],
    [49, 104, 142],
    [42, 120, 142],
    [35, 136, 142],
    [31, 152, 139],
    [34, 168, 132],
    [53, 183, 121],
    [84, 197, 104],
    [122, 209, 81],
    [165, 219, 54],
    [210, 226, 27],
    [253, 231, 37],
];

/// A class of yields: above `low`, up to and with `high`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Class {
    /// Its lower limit; `None`: the lowest class.
    pub low: Option<f64>,
    /// Its upper limit; `None`: the highest class.
    pub high: Option<f64>,
    /// Limits for a language in which every class has two: where there is none, a round number beyond the data.
    pub span: [f64; 2],
    /// What the legend says.
    pub label: String,
    /// Its colour.
    pub colour: Colour,
}

/// Classes of finite yields in a unit; none where there are no yields.
pub(super) fn classes(yields: &[f64], unit: &str) -> Vec<Class> {
    let at = |p| quantile(yields, p);
    let (Some(low), Some(high)) = (at(TAIL), at(1.0 - TAIL)) else {
        return vec![];
    };
    let (Some(least), Some(most)) = (at(0.0), at(1.0)) else {
        return vec![];
    };
    let limits = limits(low, high);
    let decimals = decimals(&limits);
    let power = 10_f64.powi(decimals as i32);
    let (floor, ceiling) = (
        (least * power).floor() / power,
        (most * power).ceil() / power,
    );
    let text = |limit: f64| format!("{limit:.decimals$}");
    (0..=limits.len())
        .map(|k| {
            let (low, high) = (k.checked_sub(1).map(|k| limits[k]), limits.get(k).copied());
            let label = match (low, high) {
                (None, None) => format!("all yields, {unit}"),
                (None, Some(high)) => format!("up to {} {unit}", text(high)),
                (Some(low), None) => format!("above {} {unit}", text(low)),
                (Some(low), Some(high)) => format!("{} to {} {unit}", text(low), text(high)),
            };
            Class {
                span: [low.unwrap_or(floor), high.unwrap_or(ceiling)],
                low,
                high,
                label,
                colour: colour(k, limits.len() + 1),
            }
        })
        .collect()
}

/// Limits between classes: round numbers strictly between two yields.
fn limits(low: f64, high: f64) -> Vec<f64> {
    let raw = (high - low) / AIM;
    let power = 10_f64.powi(raw.log10().floor() as i32);
    if !(raw > 0.0) || !power.is_normal() {
        return vec![];
    }
    let step = [1.0, 2.0, 2.5, 5.0, 10.0]
        .map(|round| round * power)
        .into_iter()
        .find(|&step| step >= raw * (1.0 - 1e-9))
        .unwrap_or(10.0 * power);
    let first = (low / step).floor() + 1.0;
    let count = ((high - first * step) / step).ceil().clamp(0.0, AIM + 1.0) as usize;
    (0..count).map(|k| (first + k as f64) * step).collect()
}

/// Decimals that tell all limits exactly.
fn decimals(limits: &[f64]) -> usize {
    let exact = |d: &usize| {
        let power = 10_f64.powi(*d as i32);
        limits
            .iter()
            .all(|l| ((l * power).round() / power - l).abs() <= 1e-9 * l.abs().max(1e-9))
    };
    (0..=9).find(exact).unwrap_or(9)
}

/// The colour of class `k` of `n`: equal steps along the scale.
fn colour(k: usize, n: usize) -> Colour {
    let last = VIRIDIS.len() - 1;
    let at = if n > 1 {
        k as f64 / (n - 1) as f64 * last as f64
    } else {
        last as f64 / 2.0
    };
    let from = (at.floor() as usize).min(last - 1);
    let part = at - from as f64;
    std::array::from_fn(|c| {
        let (a, b) = (f64::from(VIRIDIS[from][c]), f64::from(VIRIDIS[from + 1][c]));
        (a + part * (b - a)).round() as u8
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    #[test]
    fn limits_are_round() {
        assert_eq!(limits(6.1, 9.4), [6.5, 7.0, 7.5, 8.0, 8.5, 9.0]);
        assert_eq!(limits(118.0, 214.0), [120.0, 140.0, 160.0, 180.0, 200.0]);
        assert_eq!(
            limits(0.0, 0.7),
            [0.1, 0.2, 0.30000000000000004, 0.4, 0.5, 0.6000000000000001]
        );
        for (low, high) in [
            (5.0, 5.0),
            (5.0, 4.0),
            (f64::NAN, 1.0),
            (0.0, f64::INFINITY),
        ] {
            assert!(limits(low, high).is_empty(), "{low} {high}");
        }
    }

    #[test]
    fn legends_read_like_a_map() {
        let yields: Vec<f64> = (0..=100).map(|k| 6.0 + 0.04 * f64::from(k)).collect();
        let classes = classes(&yields, "t/ha");
        let labels: Vec<&str> = classes.iter().map(|c| c.label.as_str()).collect();
        assert_eq!(labels[..2], ["up to 7 t/ha", "7 to 8 t/ha"]);
        assert_eq!(labels.last(), Some(&"above 9 t/ha"));
        assert_eq!((classes[0].span, classes[0].low), ([6.0, 7.0], None));
        assert_eq!(classes[0].colour, VIRIDIS[0]);
        assert_eq!(classes.last().map(|c| c.colour), Some(VIRIDIS[15]));
    }

    #[test]
    fn one_yield_and_none_have_classes_that_work() {
        assert_eq!(classes(&[], "t/ha"), []);
        for yields in [&[8.25][..], &[8.25; 40]] {
            let classes = classes(yields, "t/ha");
            assert_eq!(classes.len(), 1);
            assert_eq!(
                (classes[0].span, classes[0].label.as_str()),
                ([8.0, 9.0], "all yields, t/ha")
            );
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(11), ..ProptestConfig::default() })]

        #[test]
        fn every_yield_is_in_one_class(
            yields in proptest::collection::vec(-1.0..300.0_f64, 1..200),
            scale in 1e-4..1e4_f64,
        ) {
            let yields: Vec<f64> = yields.iter().map(|y| y * scale).collect();
            let classes = classes(&yields, "t/ha");
            prop_assert!((1..=9).contains(&classes.len()), "{} classes", classes.len());
            for y in yields {
                let inside = |c: &&Class| c.low.is_none_or(|l| y > l) && c.high.is_none_or(|h| y <= h);
                prop_assert_eq!(classes.iter().filter(inside).count(), 1);
            }
        }
    }
}
