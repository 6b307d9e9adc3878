//! Settings of the grid.

use thiserror::Error;

/// Settings; [`GridParams::check`] turns them into what runs. All values are our choice.
#[derive(Debug, Clone, PartialEq)]
pub struct GridParams {
    /// Side of a cell as asked for, m.
    pub side: f64,
    /// Sides are rounded up to multiples of this where a header is wider than what was asked for, m: so seasons that were
    /// cut with unlike headers still tend to share their cells.
    pub round_side: f64,
    /// Parts along the side of a cell, each on the field's ground or not.
    pub parts: u32,
    /// Least share of a cell on the field's ground: less is a sliver of a metre, as wide as receivers err.
    pub least_ground: f64,
    /// Stretches that a cell is predicted from; as many as cover it twice, where that is more.
    pub neighbours: usize,
    /// Most stretches that a cell is predicted from.
    pub most_neighbours: usize,
    /// Fewest stretches that a variogram is asked of.
    pub fewest_stretches: usize,
    /// Fewest pairs of a class of the variogram.
    pub fewest_pairs: usize,
    /// Distance up to which the variogram is looked at, at least, m.
    pub variogram_reach: f64,
    /// Most stretches that look for partners in the variogram, at an even stride.
    pub anchors: usize,
    /// Least error of a stretch, relative sd: no yield is known better, and equations of fields where nothing varies
    /// stay solvable.
    pub least_error: f64,
    /// Farthest from kept ground that a cell is predicted, m, where yields are alike that far; and the least reach.
    pub reach: (f64, f64),
}

impl Default for GridParams {
    fn default() -> Self {
        // 16 stretches reach some 21 m about a cell of 10 m: four or five passes of a 9 m header, whose errors average out.
        Self {
            side: 10.0,
            round_side: 5.0,
            parts: 5,
            least_ground: 0.1,
            neighbours: 16,
            most_neighbours: 64,
            fewest_stretches: 30,
            fewest_pairs: 30,
            variogram_reach: 100.0,
            anchors: 2_500,
            least_error: 0.005,
            reach: (20.0, 60.0),
        }
    }
}

/// A setting that cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("grid: {name} must be {expected}, but is {found}")]
pub struct GridParamsError {
    /// The setting.
    pub name: &'static str,
    /// What it must be.
    pub expected: &'static str,
    /// What it is.
    pub found: f64,
}

/// Settings that passed [`GridParams::check`].
#[derive(Debug, Clone, PartialEq)]
pub struct CheckedGridParams(GridParams);

impl std::ops::Deref for CheckedGridParams {
    type Target = GridParams;

    fn deref(&self) -> &GridParams {
        &self.0
    }
}

impl GridParams {
    /// Checks each setting. NaN never passes.
    pub fn check(self) -> Result<CheckedGridParams, GridParamsError> {
        let within = |value: f64, low: f64, high: f64| value >= low && value <= high;
        let positive = "a positive number";
        let bad = [
            (
                "side",
                self.side,
                within(self.side, 1.0, 1000.0),
                "1 to 1000 m",
            ),
            (
                "round_side",
                self.round_side,
                within(self.round_side, 0.01, 1e3),
                positive,
            ),
            (
                "least_ground",
                self.least_ground,
                within(self.least_ground, 0.0, 1.0),
                "a share",
            ),
            (
                "least_error",
                self.least_error,
                within(self.least_error, 1e-6, 1.0),
                positive,
            ),
            (
                "variogram_reach",
                self.variogram_reach,
                within(self.variogram_reach, 1.0, 1e4),
                positive,
            ),
            (
                "reach",
                self.reach.0,
                within(self.reach.0, 0.0, self.reach.1),
                "the lower one first",
            ),
            (
                "parts",
                f64::from(self.parts),
                (1..=5).contains(&self.parts),
                "1 to 5",
            ),
            (
                "neighbours",
                self.neighbours as f64,
                (4..=self.most_neighbours).contains(&self.neighbours),
                "4 to most_neighbours",
            ),
            (
                "fewest_stretches",
                self.fewest_stretches as f64,
                self.fewest_stretches >= 4,
                "4 or more",
            ),
            (
                "fewest_pairs",
                self.fewest_pairs as f64,
                self.fewest_pairs >= 1,
                "1 or more",
            ),
            (
                "anchors",
                self.anchors as f64,
                self.anchors >= 1,
                "1 or more",
            ),
        ];
        match bad.iter().find(|(_, _, usable, _)| !usable) {
            Some(&(name, found, _, expected)) => Err(GridParamsError {
                name,
                expected,
                found,
            }),
            None => Ok(CheckedGridParams(self)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_pass_and_each_bad_setting_is_named() {
        assert!(GridParams::default().check().is_ok());
        type Spoil = fn(&mut GridParams);
        let cases: [(&str, Spoil); 11] = [
            ("side", |p| p.side = f64::NAN),
            ("round_side", |p| p.round_side = 0.0),
            ("least_ground", |p| p.least_ground = 1.1),
            ("least_error", |p| p.least_error = 0.0),
            ("variogram_reach", |p| p.variogram_reach = f64::INFINITY),
            ("reach", |p| p.reach = (90.0, 20.0)),
            ("parts", |p| p.parts = 6),
            ("neighbours", |p| p.neighbours = 100),
            ("fewest_stretches", |p| p.fewest_stretches = 0),
            ("fewest_pairs", |p| p.fewest_pairs = 0),
            ("anchors", |p| p.anchors = 0),
        ];
        for (name, spoil) in cases {
            let mut params = GridParams::default();
            spoil(&mut params);
            assert_eq!(params.check().unwrap_err().name, name);
        }
    }
}
