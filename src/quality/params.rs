//! Settings of the quality figures.

use thiserror::Error;

/// Settings; [`QualityParams::check`] turns them into what runs. All values are our choice.
#[derive(Debug, Clone, PartialEq)]
pub struct QualityParams {
    /// Least length of a piece of a pass, m.
    pub piece_length: f64,
    /// Fewest points of a piece.
    pub piece_points: usize,
    /// Most points that look for a partner on an opposed pass, at an even stride.
    pub points: usize,
    /// Most points of the variogram, at an even stride.
    pub variogram_points: usize,
    /// Lag classes of the variogram, each one and a half header widths wide, so that the first holds the points beside
    /// each other on neighbouring passes.
    pub lags: usize,
    /// Fewest pairs or pieces that a figure rests on.
    pub fewest: usize,
}

impl Default for QualityParams {
    fn default() -> Self {
        // 20,000 pairs put a spread within 1 %; 2,500 points make some hundred thousand pairs. Eight classes are about
        // 100 m, a usual range of yield within fields.
        Self {
            piece_length: 10.0,
            piece_points: 4,
            points: 20_000,
            variogram_points: 2_500,
            lags: 8,
            fewest: 50,
        }
    }
}

/// A setting that cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("quality: {name} must be {expected}, but is {found}")]
pub struct QualityParamsError {
    /// The setting.
    pub name: &'static str,
    /// What it must be.
    pub expected: &'static str,
    /// What it is.
    pub found: f64,
}

/// Settings that passed [`QualityParams::check`].
#[derive(Debug, Clone, PartialEq)]
pub struct CheckedQualityParams(QualityParams);

impl std::ops::Deref for CheckedQualityParams {
    type Target = QualityParams;

    fn deref(&self) -> &QualityParams {
        &self.0
    }
}

impl QualityParams {
    /// Checks each setting. NaN never passes.
    pub fn check(self) -> Result<CheckedQualityParams, QualityParamsError> {
        let usable = self.piece_length > 0.0 && self.piece_length.is_finite();
        if !usable {
            let found = self.piece_length;
            return Err(QualityParamsError {
                name: "piece_length",
                expected: "a positive number",
                found,
            });
        }
        let counts = [
            ("piece_points", self.piece_points, 2, "2 or more"),
            ("points", self.points, 1, "1 or more"),
            ("variogram_points", self.variogram_points, 1, "1 or more"),
            ("lags", self.lags, 3, "3 or more"),
            ("fewest", self.fewest, 1, "1 or more"),
        ];
        for (name, found, least, expected) in counts {
            if found < least {
                return Err(QualityParamsError {
                    name,
                    expected,
                    found: found as f64,
                });
            }
        }
        Ok(CheckedQualityParams(self))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_pass_and_each_bad_setting_is_named() {
        assert!(QualityParams::default().check().is_ok());
        type Spoil = fn(&mut QualityParams);
        let cases: [(&str, Spoil); 6] = [
            ("piece_length", |p| p.piece_length = f64::NAN),
            ("piece_points", |p| p.piece_points = 1),
            ("points", |p| p.points = 0),
            ("variogram_points", |p| p.variogram_points = 0),
            ("lags", |p| p.lags = 2),
            ("fewest", |p| p.fewest = 0),
        ];
        for (name, spoil) in cases {
            let mut params = QualityParams::default();
            spoil(&mut params);
            assert_eq!(params.check().unwrap_err().name, name);
        }
    }
}
