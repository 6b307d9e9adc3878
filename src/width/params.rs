//! Settings of the cut width, and their check.

/// Settings of the cut width.
#[derive(Debug, Clone, PartialEq)]
pub struct Params {
    /// Side of a raster cell, m. Default 0.25 (our choice, within the 0.1–0.25 m of the bitmap method): 36 cells across
    /// a 9 m header; lines and passes are turned against each other, so rounding evens out within each row.
    pub cell: f64,
    /// Length of the pieces on which the distance to neighbouring passes is measured, m. Default 10 (our choice: some
    /// 7 s of travel; overlap varies more slowly, a receiver's jitter faster).
    pub piece: f64,
    /// Least share of the header on standing crop of a row that is not narrow. Default 0.3 (our choice: below it, an
    /// edge that is 0.25 m off is a tenth of a 9 m header's cut, and grain spilt by the header's idle part counts).
    pub least_share: f64,
    /// Longest ground of a row that is believed, m. Default 30 (our choice: 10 s at a fast 3 m/s).
    pub longest_step: f64,
    /// Standard deviation of the receiver's error across the track, m, where it is known. `None`: estimated.
    pub cross_track_sd: Option<f64>,
    /// Distance between planted rows, m: a header between two passes cuts whole rows. `None`: any width.
    pub row_spacing: Option<f64>,
}

impl Default for Params {
    fn default() -> Self {
        Self {
            cell: 0.25,
            piece: 10.0,
            least_share: 0.3,
            longest_step: 30.0,
            cross_track_sd: None,
            row_spacing: None,
        }
    }
}

/// A setting that cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WidthError {
    /// A length that must be more than 0 is not.
    #[error("{name} is {value} m: expected more than 0")]
    NotPositive {
        /// The setting.
        name: &'static str,
        /// What it is.
        value: f64,
    },
    /// A share outside 0 to 1.
    #[error("least share is {0}: expected 0 or more and below 1")]
    NotAShare(f64),
}

/// Settings that can be used.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked(pub(super) Params);

impl Params {
    /// Checks the settings.
    ///
    /// # Errors
    /// [`WidthError`] for a length that is not above 0 and a share outside 0 to 1.
    pub fn check(self) -> Result<Checked, WidthError> {
        let sd = self.cross_track_sd.unwrap_or(1.0);
        let spacing = self.row_spacing.unwrap_or(1.0);
        let lengths = [
            ("row spacing", spacing),
            ("cell", self.cell),
            ("piece", self.piece),
            ("longest step", self.longest_step),
            ("cross-track sd", sd),
        ];
        for (name, value) in lengths {
            if !(value > 0.0 && value.is_finite()) {
                return Err(WidthError::NotPositive { name, value });
            }
        }
        if !(0.0..1.0).contains(&self.least_share) {
            return Err(WidthError::NotAShare(self.least_share));
        }
        Ok(Checked(self))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_used_is_refused() {
        let base = Params::default;
        assert!(base().check().is_ok());
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(
                Params {
                    cell: bad,
                    ..base()
                }
                .check()
                .is_err()
            );
            assert!(
                Params {
                    piece: bad,
                    ..base()
                }
                .check()
                .is_err()
            );
            assert!(
                Params {
                    longest_step: bad,
                    ..base()
                }
                .check()
                .is_err()
            );
            assert!(
                Params {
                    cross_track_sd: Some(bad),
                    ..base()
                }
                .check()
                .is_err()
            );
            let row_spacing = Some(bad);
            assert!(
                Params {
                    row_spacing,
                    ..base()
                }
                .check()
                .is_err()
            );
        }
        for bad in [-0.1, 1.0, f64::NAN] {
            assert!(
                Params {
                    least_share: bad,
                    ..base()
                }
                .check()
                .is_err()
            );
        }
    }
}
