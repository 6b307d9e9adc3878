//! Empirical variogram: pairs of points by their distance.

/// Equal classes of distance: class `k` holds pairs with `k·width < distance <= (k + 1)·width`; pairs at distance 0
/// belong to the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LagClasses {
    /// Width of a class.
    pub width: f64,
    /// Number of classes.
    pub count: usize,
}

/// How a class of pairs becomes a semivariance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Estimator {
    /// Half the mean squared difference (Matheron 1963, Econ. Geol. 58:1246).
    Matheron,
    /// From the fourth power of the mean root difference, with the correction 0.457 + 0.494/n (Cressie & Hawkins
    /// 1980, Math. Geol. 12:115): less moved by wild values.
    CressieHawkins,
}

/// One class of an empirical variogram that holds at least one pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LagClass {
    /// Mean distance of its pairs.
    pub lag: f64,
    /// Semivariance.
    pub gamma: f64,
    /// Number of pairs.
    pub pairs: usize,
}

/// Values at a place.
#[derive(Clone, Copy)]
struct Point<const N: usize> {
    x: f64,
    y: f64,
    values: [f64; N],
    group: Option<u32>,
}

/// Sums over the pairs of a class.
#[derive(Clone, Copy)]
struct Sums<const N: usize> {
    distance: f64,
    terms: [f64; N],
    pairs: usize,
}

/// Empirical variogram over all pairs within the classes. Points whose position or value is not finite are skipped.
///
/// `anchors`: most points that look for partners (each partner may be any point); taken at an even stride so that
/// the work stays bounded. A pair of two anchors counts once. `groups`: where given, pairs within one group do not count
/// (points of one pass share its errors).
///
/// # Panics
/// When positions, values and groups differ in number (an error of the caller, not of data).
pub fn empirical(
    positions: &[[f64; 2]],
    values: &[f64],
    classes: LagClasses,
    estimator: Estimator,
    anchors: usize,
    groups: Option<&[u32]>,
) -> Vec<LagClass> {
    let [one] = empirical_of(positions, [values], classes, estimator, anchors, groups);
    one
}

/// Variograms of several columns over the same pairs, which are found once; see [`empirical`]. A point that lacks one of
/// its values is skipped in all.
///
/// # Panics
/// When positions, values and groups differ in number (an error of the caller, not of data).
pub fn empirical_of<const N: usize>(
    positions: &[[f64; 2]],
    values: [&[f64]; N],
    classes: LagClasses,
    estimator: Estimator,
    anchors: usize,
    groups: Option<&[u32]>,
) -> [Vec<LagClass>; N] {
    assert!(
        values.iter().all(|v| v.len() == positions.len()),
        "a value per position"
    );
    assert!(
        groups.is_none_or(|g| g.len() == positions.len()),
        "a group per position"
    );
    if classes.width.is_nan() || classes.width <= 0.0 || classes.count == 0 || anchors == 0 {
        return [const { Vec::new() }; N];
    }
    let reach = classes.width * classes.count as f64;
    // Sorted by x, so that partners stand close by: a sweep needs no tree.
    let mut points: Vec<Point<N>> = (0..positions.len())
        .map(|i| Point {
            x: positions[i][0],
            y: positions[i][1],
            values: values.map(|v| v[i]),
            group: groups.map(|g| g[i]),
        })
        .filter(|p| p.x.is_finite() && p.y.is_finite())
        .filter(|p| p.values.iter().all(|v| v.is_finite()))
        .collect();
    points.sort_by(|a, b| a.x.total_cmp(&b.x));
    let stride = points.len().div_ceil(anchors).max(1);
    let mut sums = vec![
        Sums {
            distance: 0.0,
            terms: [0.0; N],
            pairs: 0,
        };
        classes.count
    ];
    let mut add = |a: &Point<N>, b: &Point<N>| {
        let (dx, dy) = (a.x - b.x, a.y - b.y);
        let square = dx * dx + dy * dy;
        if !(square <= reach * reach) || (a.group.is_some() && a.group == b.group) {
            return;
        }
        let distance = square.sqrt();
        let class = ((distance / classes.width).ceil() as usize)
            .saturating_sub(1)
            .min(classes.count - 1);
        let sum = &mut sums[class];
        sum.distance += distance;
        sum.pairs += 1;
        for ((term, a), b) in sum.terms.iter_mut().zip(a.values).zip(b.values) {
            let difference = (a - b).abs();
            *term += match estimator {
                Estimator::Matheron => difference * difference,
                Estimator::CressieHawkins => difference.sqrt(),
            };
        }
    };
    for i in (0..points.len()).step_by(stride) {
        let a = points[i];
        for b in points[i + 1..].iter().take_while(|b| b.x - a.x <= reach) {
            add(&a, b);
        }
        // Partners to the left that are anchors themselves have already met this one.
        let left = points[..i]
            .iter()
            .enumerate()
            .rev()
            .take_while(|(_, b)| a.x - b.x <= reach)
            .filter(|(j, _)| j % stride != 0);
        if stride > 1 {
            left.for_each(|(_, b)| add(&a, b));
        }
    }
    let class = |sum: &Sums<N>, column: usize| {
        let n = sum.pairs as f64;
        let term = sum.terms[column];
        let gamma = match estimator {
            Estimator::Matheron => 0.5 * term / n,
            Estimator::CressieHawkins => 0.5 * (term / n).powi(4) / (0.457 + 0.494 / n),
        };
        LagClass {
            lag: sum.distance / n,
            gamma,
            pairs: sum.pairs,
        }
    };
    std::array::from_fn(|column| {
        let filled = sums.iter().filter(|s| s.pairs > 0);
        filled.map(|sum| class(sum, column)).collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: [[f64; 2]; 4] = [[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [3.0, 0.0]];

    #[test]
    fn classes_hold_half_the_mean_squared_difference() {
        // Values 0 1 4 9. Lag 1: differences 1 3 5 → (1 + 9 + 25)/6. Lag 2: 4 8 → (16 + 64)/4. Lag 3: 9 → 81/2.
        let v = empirical(
            &LINE,
            &[0.0, 1.0, 4.0, 9.0],
            LagClasses {
                width: 1.0,
                count: 3,
            },
            Estimator::Matheron,
            10,
            None,
        );
        assert_eq!(v.iter().map(|c| c.pairs).collect::<Vec<_>>(), [3, 2, 1]);
        assert_eq!(v.iter().map(|c| c.lag).collect::<Vec<_>>(), [1.0, 2.0, 3.0]);
        for (class, gamma) in v.iter().zip([35.0 / 6.0, 20.0, 40.5]) {
            assert!((class.gamma - gamma).abs() < 1e-12);
        }
    }

    #[test]
    fn the_robust_estimator_takes_roots_first() {
        // Differences 1 and 4 at lag 1: mean root 1.5, fourth power 5.0625, over 2 (0.457 + 0.494/2) = 1.408.
        let v = empirical(
            &LINE[..3],
            &[0.0, 1.0, 5.0],
            LagClasses {
                width: 1.0,
                count: 1,
            },
            Estimator::CressieHawkins,
            9,
            None,
        );
        assert!((v[0].gamma - 5.0625 / 1.408).abs() < 1e-12);
    }

    #[test]
    fn missing_values_and_empty_input_give_fewer_pairs_not_nan() {
        let classes = LagClasses {
            width: 1.0,
            count: 3,
        };
        let v = empirical(
            &LINE,
            &[0.0, f64::NAN, 4.0, 9.0],
            classes,
            Estimator::Matheron,
            10,
            None,
        );
        assert_eq!(v.iter().map(|c| c.pairs).sum::<usize>(), 3);
        assert!(empirical(&[], &[], classes, Estimator::Matheron, 10, None).is_empty());
        assert!(
            empirical(
                &LINE,
                &[1.0; 4],
                LagClasses {
                    width: f64::NAN,
                    count: 3
                },
                Estimator::Matheron,
                9,
                None
            )
            .is_empty()
        );
    }

    #[test]
    fn anchors_bound_the_work_and_count_a_pair_once() {
        let v = empirical(
            &LINE,
            &[0.0, 1.0, 4.0, 9.0],
            LagClasses {
                width: 1.0,
                count: 1,
            },
            Estimator::Matheron,
            2,
            None,
        );
        // Anchors 0 and 2: pairs 0–1, 1–2, 2–3 each once.
        assert_eq!(v[0].pairs, 3);
    }

    #[test]
    fn pairs_within_a_group_do_not_count() {
        let classes = LagClasses {
            width: 1.0,
            count: 3,
        };
        let v = empirical(
            &LINE,
            &[0.0, 1.0, 4.0, 9.0],
            classes,
            Estimator::Matheron,
            10,
            Some(&[1, 1, 2, 2]),
        );
        assert_eq!(v.iter().map(|c| c.pairs).collect::<Vec<_>>(), [1, 2, 1]);
        assert_eq!(v[0].gamma, 4.5);
    }
}
