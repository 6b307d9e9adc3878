//! The lowest point of a smooth function of a few variables: parabolas along each axis in turn.

/// Searches from `at`, a sweep over some axes for every step. The function answers `None` where it is not defined, else
/// its value and whatever belongs to it. `None` where it is not defined at the start.
pub(super) fn lowest<T>(
    mut at: Vec<f64>,
    axes: &[usize],
    steps: &[f64],
    judge: impl Fn(&[f64]) -> Option<(f64, T)> + Sync,
) -> Option<(Vec<f64>, f64, T)>
where
    T: Send,
{
    let (mut best, mut value) = judge(&at)?;
    for &step in steps {
        for &axis in axes {
            let middle = at.clone();
            let moved = |by: f64| {
                let mut there = middle.clone();
                there[axis] += by;
                there
            };
            let at_best = best;
            let mut ends = [f64::NAN; 2];
            let judged = rayon::join(|| judge(&moved(-step)), || judge(&moved(step)));
            for ((end, by), judged) in ends.iter_mut().zip([-step, step]).zip([judged.0, judged.1])
            {
                if let Some((f, v)) = judged {
                    *end = f;
                    if f < best {
                        (at, best, value) = (moved(by), f, v);
                    }
                }
            }
            let bend = ends[0] - 2.0 * at_best + ends[1];
            if bend > 0.0 {
                let by = (0.5 * step * (ends[0] - ends[1]) / bend).clamp(-2.0 * step, 2.0 * step);
                // So near to a point that was judged, nothing is gained.
                let is_new = [-step, 0.0, step]
                    .iter()
                    .all(|p| (by - p).abs() > 0.15 * step);
                if is_new
                    && let Some((f, v)) = judge(&moved(by))
                    && f < best
                {
                    (at, best, value) = (moved(by), f, v);
                }
            }
        }
    }
    Some((at, best, value))
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU32, Ordering};

    use super::*;

    #[test]
    fn a_bowl_has_its_lowest_point_found() {
        let calls = AtomicU32::new(0);
        let (at, best, ()) = lowest(vec![0.0, 0.5], &[0, 1], &[1.0, 0.5, 0.25], |at| {
            let (x, y) = (at[0], at[1]);
            calls.fetch_add(1, Ordering::Relaxed);
            Some((
                (x - 1.3).powi(2) + 2.0 * (y + 0.4).powi(2) + 0.3 * x * y,
                (),
            ))
        })
        .unwrap();
        // Stationary: 2(x − 1.3) + 0.3 y = 0 and 4(y + 0.4) + 0.3 x = 0.
        let y = (-1.6 - 0.3 * 1.3) / (4.0 - 0.045);
        assert!((at[1] - y).abs() < 0.05 && (at[0] - (1.3 - 0.15 * y)).abs() < 0.05);
        assert!(
            (best - ((at[0] - 1.3).powi(2) + 2.0 * (at[1] + 0.4).powi(2) + 0.3 * at[0] * at[1]))
                .abs()
                < 1e-12
        );
        assert!(calls.into_inner() < 26);
        assert!(lowest(vec![0.0], &[0], &[1.0], |_| None::<(f64, ())>).is_none());
    }
}
