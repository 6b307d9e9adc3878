use thiserror::Error;

/// What passes are found with.
#[derive(Debug, Clone, PartialEq)]
pub struct Params {
    /// Header width of each machine where the row does not give one, m, in the order of the log's machines.
    pub header_width: Vec<Option<f64>>,
    /// How far each machine's antenna is behind its cutter bar, m (negative: before it).
    pub antenna_behind: Vec<f64>,
    /// Slower than this the machine stands, m/s. Default 0.15: GNSS wander of a standing machine stays below it.
    pub standing_speed: f64,
    /// Faster than this nothing is cut, m/s. Default 5: combines harvest at 1–2.6 m/s and up to about 3.5.
    pub transport_speed: f64,
    /// No farm machine drives faster than this, m/s. Default 14 (50 km/h, a common legal limit for tractors).
    pub highest_speed: f64,
    /// A change of heading beyond this angle over [`Params::turn_path`] is a turn, radians. Default 50°.
    pub turn_angle: f64,
    /// Path over which the heading's change is judged, m. Default 12: with 50° a radius below 14 m, tighter than a
    /// contour is driven and wider than a combine turns.
    pub turn_path: f64,
}

impl Params {
    /// Defaults for `machines` machines of unknown width.
    pub fn new(machines: usize) -> Self {
        Self {
            header_width: vec![None; machines],
            antenna_behind: vec![0.0; machines],
            standing_speed: 0.15,
            transport_speed: 5.0,
            highest_speed: 14.0,
            turn_angle: 50f64.to_radians(),
            turn_path: 12.0,
        }
    }

    /// Checks every value.
    ///
    /// # Errors
    /// Names the first value that cannot be worked with.
    pub fn check(self) -> Result<Checked, ParamsError> {
        for width in self.header_width.iter().flatten() {
            if !(*width > 0.1 && *width < 60.0) {
                return Err(ParamsError::HeaderWidth(*width));
            }
        }
        for offset in &self.antenna_behind {
            if !(offset.abs() < 30.0) {
                return Err(ParamsError::Antenna(*offset));
            }
        }
        let positive = [
            ("standing_speed", self.standing_speed),
            ("transport_speed", self.transport_speed),
            ("highest_speed", self.highest_speed),
            ("turn_angle", self.turn_angle),
            ("turn_path", self.turn_path),
        ];
        for (name, value) in positive {
            if !(value > 0.0 && value.is_finite()) {
                return Err(ParamsError::NotPositive { name, value });
            }
        }
        Ok(Checked(self))
    }
}

/// Checked parameters.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked(pub(super) Params);

/// A parameter that cannot be worked with.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum ParamsError {
    /// Header width out of range.
    #[error("a header is between 0.1 m and 60 m wide, not {0} m")]
    HeaderWidth(f64),
    /// Antenna offset out of range.
    #[error("an antenna is within 30 m of the cutter bar, not {0} m")]
    Antenna(f64),
    /// A value that must be positive.
    #[error("{name} must be positive, not {value}")]
    NotPositive {
        /// The parameter.
        name: &'static str,
        /// What stood there.
        value: f64,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_unusable_value_is_refused() {
        let refused = |change: fn(&mut Params)| {
            let mut p = Params::new(1);
            change(&mut p);
            p.check().unwrap_err()
        };
        assert_eq!(
            refused(|p| p.header_width[0] = Some(0.0)),
            ParamsError::HeaderWidth(0.0)
        );
        assert!(matches!(
            refused(|p| p.header_width[0] = Some(f64::NAN)),
            ParamsError::HeaderWidth(_)
        ));
        assert!(matches!(
            refused(|p| p.antenna_behind[0] = f64::NAN),
            ParamsError::Antenna(_)
        ));
        assert!(matches!(
            refused(|p| p.turn_path = 0.0),
            ParamsError::NotPositive {
                name: "turn_path",
                ..
            }
        ));
        assert!(Params::new(3).check().is_ok());
    }
}
