//! Values that the others contradict, where several may hide each other.

use crate::stats::{normal_quantile, student_quantile};

/// How values are tested against the others.
///
/// Generalised extreme Studentised deviates (Rosner 1983, Technometrics 25:165): the farthest value is taken out again
/// and again, and all that were taken out up to the last significant one are outliers, so that two wrong values cannot
/// hide each other. The variance of the others is moderated by one that is known beforehand (Smyth 2004, Stat. Appl.
/// Genet. Mol. Biol. 3:3), so that two values which agree by chance do not make a third an outlier.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutlierTest {
    /// Chance that a set without outliers is said to have one.
    pub alpha: f64,
    /// Usual sd of such values.
    pub prior_sd: f64,
    /// Degrees of freedom that the usual sd counts for.
    pub prior_degrees: f64,
    /// A value nearer than this to the mean of the others is none.
    pub least: f64,
    /// Most values that may be outliers.
    pub most: usize,
}

/// Indices of outliers, farthest first. `values` are finite; `own`: an sd that each has beside the others', known beforehand.
pub fn outliers(values: &[f64], own: &[f64], test: &OutlierTest) -> Vec<usize> {
    let mut left: Vec<usize> = (0..values.len()).collect();
    let (mut taken, mut significant) = (Vec::new(), 0);
    while taken.len() < test.most && left.len() >= 2 {
        let degrees = (left.len() - 2) as f64 + test.prior_degrees;
        let Some(worst) = farthest(values, own, &left, test).filter(|_| degrees > 0.0) else {
            break;
        };
        let p = 1.0 - 0.5 * test.alpha / left.len() as f64;
        taken.push(worst.index);
        left.retain(|&j| j != worst.index);
        // Student's t has the longer tails: what the normal distribution lets pass needs no closer look.
        if worst.off.abs() > test.least
            && worst.t > normal_quantile(p)
            && worst.t > student_quantile(p, degrees)
        {
            significant = taken.len();
        }
    }
    taken.truncate(significant);
    taken
}

/// A value against the others.
struct Judged {
    index: usize,
    /// How far it is from the mean of the others.
    off: f64,
    /// The same in standard deviations of that difference.
    t: f64,
}

/// The value that is farthest from the others. Of two alike, the one farther from nought: a factor near 1 is likelier.
fn farthest(values: &[f64], own: &[f64], left: &[usize], test: &OutlierTest) -> Option<Judged> {
    let n = left.len() as f64;
    let mean = left.iter().map(|&k| values[k]).sum::<f64>() / n;
    let squares: f64 = left.iter().map(|&k| (values[k] - mean).powi(2)).sum();
    let judged = left.iter().map(|&k| {
        // Without one value the mean moves by its distance over n - 1, and the squares lose n / (n - 1) of its own.
        let off = (values[k] - mean) * n / (n - 1.0);
        let others = (squares - off * (values[k] - mean)).max(0.0);
        let variance =
            (others + test.prior_degrees * test.prior_sd.powi(2)) / (n - 2.0 + test.prior_degrees);
        Judged {
            index: k,
            off,
            t: off.abs() / (variance * n / (n - 1.0) + own[k] * own[k]).sqrt(),
        }
    });
    judged.max_by(|a, b| {
        if (a.t - b.t).abs() <= 1e-9 * a.t.abs() {
            values[a.index].abs().total_cmp(&values[b.index].abs())
        } else {
            a.t.total_cmp(&b.t)
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: OutlierTest = OutlierTest {
        alpha: 0.05,
        prior_sd: 0.0,
        prior_degrees: 0.0,
        least: 0.0,
        most: 10,
    };

    /// Rosner's own example as the NIST/SEMATECH e-Handbook of Statistical Methods gives it (section 1.3.5.17.3; data
    /// and result from memory): of 54 values three are outliers, though neither the first nor the first two are
    /// significant by themselves.
    #[test]
    fn rosners_example_has_three_outliers() {
        let data = [
            -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
            1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
            2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
            2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
        ];
        assert_eq!(data.len(), 54);
        let found: Vec<f64> = outliers(&data, &[0.0; 54], &PLAIN)
            .iter()
            .map(|&k| data[k])
            .collect();
        assert_eq!(found, [6.01, 5.42, 5.34]);
        for most in [1, 2] {
            assert!(outliers(&data, &[0.0; 54], &OutlierTest { most, ..PLAIN }).is_empty());
        }
    }

    #[test]
    fn nothing_is_found_in_nothing() {
        for values in [&[][..], &[1.0], &[1.0, 1.0], &[1.0, 1.0, 1.0, 1.0]] {
            assert!(outliers(values, &[0.0; 4], &PLAIN).is_empty(), "{values:?}");
        }
    }

    #[test]
    fn two_that_agree_by_chance_do_not_condemn_a_third() {
        let moderated = OutlierTest {
            prior_sd: 0.02,
            prior_degrees: 3.0,
            ..PLAIN
        };
        let values = [0.0, 0.0001, 0.05];
        assert_eq!(
            outliers(&values, &[0.0; 3], &OutlierTest { most: 1, ..PLAIN }),
            [2]
        );
        assert!(outliers(&values, &[0.0; 3], &moderated).is_empty());
        // t = 0.8 / (0.02 √2) = 28 with three degrees of freedom: of two, the one farther from nought.
        assert_eq!(outliers(&[0.0, 0.8], &[0.0; 2], &moderated), [1]);
        assert_eq!(outliers(&[-0.9, -0.1], &[0.0; 2], &moderated)[0], 0);
    }

    #[test]
    fn a_value_with_an_sd_of_its_own_may_be_farther_off() {
        let values = [0.0, 0.01, -0.01, 0.005, 0.09];
        let test = OutlierTest {
            prior_sd: 0.02,
            prior_degrees: 3.0,
            ..PLAIN
        };
        assert_eq!(outliers(&values, &[0.0; 5], &test), [4]);
        assert!(outliers(&values, &[0.0, 0.0, 0.0, 0.0, 0.09], &test).is_empty());
    }
}
