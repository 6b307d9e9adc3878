//! How the machine moved over the sampled rows: steps between positions, and how far apart its passes lie.

use std::collections::HashMap;

/// Mean radius of the Earth, m (IUGG); steps come out within 0.4 % of the ellipsoid's, and are used in ratios to
/// units that differ by 9 % or more.
const EARTH_M: f64 = 6_371_008.8;

/// The longest believable step between rows, m (our choice: 10 m/s for 10 s).
const LONGEST_STEP: f64 = 100.0;

/// Length over which steps are summed before they are compared with anything, m (our choice: several times the
/// error of a position).
const BASE: f64 = 8.0;

/// Fewest windows from which a ratio is taken.
const FEWEST: usize = 15;

/// Positions of the sampled rows in a plane, and the steps between them.
#[derive(Debug, Clone, Default)]
pub(super) struct Motion {
    /// East, m.
    pub x: Vec<f64>,
    /// North, m.
    pub y: Vec<f64>,
    /// From the row before, m; NaN at the first row, without a position, and over leaps.
    pub step: Vec<f64>,
    /// Rows that a window of [`BASE`] metres takes.
    window: usize,
}

/// A ratio of two columns over many windows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ratio {
    /// Median.
    pub median: f64,
    /// Half-width of the middle half, relative.
    pub spread: f64,
}

impl Motion {
    /// From longitude and latitude in degrees.
    pub fn from_degrees(lon: &[f64], lat: &[f64]) -> Self {
        let mid = median(lat.iter().copied()).unwrap_or(f64::NAN).to_radians();
        let origin = (
            median(lon.iter().copied()).unwrap_or(f64::NAN),
            mid.to_degrees(),
        );
        let x = lon
            .iter()
            .map(|l| (l - origin.0).to_radians() * mid.cos() * EARTH_M)
            .collect();
        let y = lat
            .iter()
            .map(|l| (l - origin.1).to_radians() * EARTH_M)
            .collect();
        Self::from_plane(x, y)
    }

    /// From metres.
    pub fn from_plane(x: Vec<f64>, y: Vec<f64>) -> Self {
        let mut step = vec![f64::NAN; x.len()];
        for k in 1..x.len() {
            let s = (x[k] - x[k - 1]).hypot(y[k] - y[k - 1]);
            if s <= LONGEST_STEP {
                step[k] = s;
            }
        }
        let usual = median(step.iter().copied().filter(|s| *s > 0.05)).unwrap_or(f64::NAN);
        let window = if usual > 0.0 {
            (BASE / usual).ceil().clamp(1.0, 50.0) as usize
        } else {
            1
        };
        Self { x, y, step, window }
    }

    /// Usual length of a step on the move, m.
    pub fn usual_step(&self) -> Option<f64> {
        median(self.step.iter().copied().filter(|s| *s > 0.05))
    }

    /// Straight way over the window that ends at row `k`, m: `None` where it is broken, or bent.
    fn way(&self, k: usize) -> Option<f64> {
        let from = k.checked_sub(self.window)?;
        let path: f64 = self.step[from + 1..=k].iter().sum();
        let chord = (self.x[k] - self.x[from]).hypot(self.y[k] - self.y[from]);
        let longest = self.step[from + 1..=k].iter().copied().fold(0.0, f64::max);
        // A leap inside the window, a turn, or a machine that stands.
        (path.is_finite()
            && chord > 0.5
            && chord > 0.8 * path
            && longest < 4.0 * path / self.window as f64 + 0.5)
            .then_some(chord)
    }

    /// Sum over each window of an amount per row, against the way of the window.
    pub fn per_way(&self, amount: impl Fn(usize) -> f64) -> Option<Ratio> {
        let mut ratios = Vec::new();
        for k in (self.window..self.step.len()).step_by(self.window.div_ceil(2)) {
            let Some(way) = self.way(k) else { continue };
            let sum: f64 = (k + 1 - self.window..=k).map(&amount).sum();
            if sum > 0.0 {
                ratios.push(sum / way);
            }
        }
        ratio(ratios)
    }

    /// How far apart neighbouring passes lie, m: the nearest row abreast that was driven at another time, along or
    /// against. `None` where too few rows have such a neighbour.
    pub fn pass_spacing(&self) -> Option<f64> {
        const REACH: f64 = 25.0;
        let n = self.x.len();
        let cell = |v: f64| (v / REACH).floor() as i64;
        let direction: Vec<Option<(f64, f64)>> = (0..n)
            .map(|k| {
                let way = self.way(k)?;
                let from = k - self.window;
                Some((
                    (self.x[k] - self.x[from]) / way,
                    (self.y[k] - self.y[from]) / way,
                ))
            })
            .collect();
        let mut grid: HashMap<(i64, i64), Vec<u32>> = HashMap::new();
        for (k, way) in direction.iter().enumerate() {
            if way.is_some() {
                grid.entry((cell(self.x[k]), cell(self.y[k])))
                    .or_default()
                    .push(k as u32);
            }
        }
        let every = (n / 1500).max(1);
        let mut nearest = Vec::new();
        for k in (0..n).step_by(every) {
            let Some(d) = direction[k] else { continue };
            let mut best = f64::INFINITY;
            for i in -1..=1 {
                for j in -1..=1 {
                    for &o in grid
                        .get(&(cell(self.x[k]) + i, cell(self.y[k]) + j))
                        .into_iter()
                        .flatten()
                    {
                        let o = o as usize;
                        let Some(e) = direction[o] else { continue };
                        let (dx, dy) = (self.x[o] - self.x[k], self.y[o] - self.y[k]);
                        let (along, across) = (dx * d.0 + dy * d.1, (dy * d.0 - dx * d.1).abs());
                        if along.abs() < BASE
                            && across > 1.2
                            && (d.0 * e.0 + d.1 * e.1).abs() > 0.98
                            && o.abs_diff(k) > 4 * self.window
                        {
                            best = best.min(across);
                        }
                    }
                }
            }
            if best < REACH {
                nearest.push(best);
            }
        }
        if nearest.len() < 60 {
            return None;
        }
        // Half of a field's passes can be opening or odd ones; the middle of the others is the driver's.
        let middle = median(nearest.iter().copied())?;
        let near = nearest
            .iter()
            .filter(|s| (*s / middle - 1.0).abs() < 0.15)
            .count();
        (near * 3 >= nearest.len()).then_some(middle)
    }
}

/// Median and spread of ratios, where there are enough of them.
pub(super) fn ratio(mut ratios: Vec<f64>) -> Option<Ratio> {
    ratios.retain(|r| r.is_finite() && *r > 0.0);
    if ratios.len() < FEWEST {
        return None;
    }
    ratios.sort_by(f64::total_cmp);
    let at = |share: f64| ratios[((ratios.len() - 1) as f64 * share).round() as usize];
    let median = at(0.5);
    Some(Ratio {
        median,
        spread: (at(0.75) - at(0.25)) / (2.0 * median),
    })
}

/// Median of finite values.
pub(super) fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut v: Vec<f64> = values.filter(|x| x.is_finite()).collect();
    if v.is_empty() {
        return None;
    }
    let middle = v.len() / 2;
    Some(*v.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twelve passes of 200 m, 6 m apart, a row each 1.5 m.
    fn field() -> Motion {
        let (mut x, mut y) = (Vec::new(), Vec::new());
        for pass in 0..12 {
            for k in 0..133 {
                let along = 1.5 * f64::from(k);
                x.push(6.0 * f64::from(pass));
                y.push(if pass % 2 == 0 { along } else { 200.0 - along });
            }
        }
        Motion::from_plane(x, y)
    }

    #[test]
    fn passes_lie_as_far_apart_as_they_were_driven() {
        let spacing = field().pass_spacing().expect("neighbours");
        assert!((spacing - 6.0).abs() < 0.01, "{spacing}");
    }

    #[test]
    fn amounts_per_way_are_ratios() {
        let r = field().per_way(|_| 1.5 / 0.3048).expect("windows");
        assert!(
            (r.median * 0.3048 - 1.0).abs() < 1e-9 && r.spread < 1e-9,
            "{r:?}"
        );
        assert_eq!(
            Motion::from_plane(vec![0.0; 9], vec![0.0; 9]).per_way(|_| 1.0),
            None
        );
    }

    #[test]
    fn a_degree_of_latitude_is_its_length() {
        let lat: Vec<f64> = (0..50).map(|k| 54.0 + 1e-5 * f64::from(k)).collect();
        let m = Motion::from_degrees(&vec![10.0; 50], &lat);
        // One minute of latitude is about a nautical mile, 1,852 m.
        assert!((m.step[1] / (1852.0 * 60.0 * 1e-5) - 1.0).abs() < 0.005);
    }
}
