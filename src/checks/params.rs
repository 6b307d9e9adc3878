//! Settings of the checks.

use thiserror::Error;

use crate::job::LimitSettings;

/// Settings; [`CheckParams::check`] turns them into what runs. Where no source is named, the value is our choice.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckParams {
    /// What the job fixes: it wins over what the data say.
    pub fixed: LimitSettings,
    /// Shortest interior of a pass between its ramps, s.
    pub interior_seconds: f64,
    /// Shortest interior of a pass between its ramps, rows.
    pub interior_rows: f64,
    /// Lowest and highest speed at which grain is cut and measured, m/s.
    pub speed_bounds: (f64, f64),
    /// Speed limits are never tighter than median / first and median × second.
    pub speed_factors: (f64, f64),
    /// Moisture limits are never tighter than this on either side of the median, points.
    pub moisture_margin: f64,
    /// Yield limits are never tighter than median / first and median × second.
    pub yield_factors: (f64, f64),
    /// Limits of speed, moisture and yield lie this many (one-sided) standard deviations from the median.
    pub sigmas: f64,
    /// Least change of log speed in a second that counts as abrupt.
    pub abrupt_change: f64,
    /// Changes of log speed beyond this many of their own standard deviations are abrupt.
    pub abrupt_sigmas: f64,
    /// Least length of a piece of a pass, m.
    pub piece_length: f64,
    /// Fewest points of a piece.
    pub piece_points: usize,
    /// A pass is off its neighbours beyond this difference of log yield on both sides.
    pub pass_margin: f64,
    /// … and beyond this many standard deviations of such differences over all passes.
    pub pass_sigmas: f64,
    /// A point is off its own pass beyond this difference of log yield.
    pub point_margin: f64,
    /// … and beyond this many standard deviations of the points about their pass.
    pub point_sigmas: f64,
    /// A point is off the passes beside it beyond this many standard deviations of the points about those.
    pub beside_sigmas: f64,
    /// The same two for a point with no other pass near, which nothing else can contradict.
    pub lone_margin: f64,
    /// See [`CheckParams::lone_margin`].
    pub lone_sigmas: f64,
    /// Share of the points at work beyond which a remark says that many were set aside.
    pub many_set_aside: f64,
}

impl Default for CheckParams {
    fn default() -> Self {
        Self {
            fixed: LimitSettings::default(),
            // Less cannot be told from the ramps' ends, and a level needs three points to be robust at all.
            interior_seconds: 5.0,
            interior_rows: 3.0,
            // 1–18 km/h. Combines usually cut at 3–10 km/h (common practice).
            speed_bounds: (0.3, 5.0),
            speed_factors: (3.0, 2.0),
            // Dry and green parts of one field differ by several points.
            moisture_margin: 6.0,
            // A patch of a fifth of the median may be real. Yields are negatively skewed (768 fields, 5,520 maps:
            // 10.1007/s11119-021-09810-1), so the lower side is the wider one.
            yield_factors: (5.0, 2.0),
            sigmas: 5.0,
            // From 2 to 1.5 m/s in a second: grain takes several seconds to follow.
            abrupt_change: 0.3,
            abrupt_sigmas: 6.0,
            // As long as a header is wide, so that pieces are about as wide as long.
            piece_length: 10.0,
            piece_points: 4,
            // 40 %: more than machines or loads differ before any calibration (± 10 % is poorly calibrated).
            pass_margin: 0.336,
            pass_sigmas: 5.0,
            // 25 %: several times the published error of a steady flow sensor (5–8 % of the reading).
            point_margin: 0.223,
            point_sigmas: 3.5,
            beside_sigmas: 3.0,
            // 80 %.
            lone_margin: 0.588,
            lone_sigmas: 6.0,
            many_set_aside: 0.4,
        }
    }
}

/// A setting that cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("checks: {name} must be {expected}, but is {found}")]
pub struct CheckParamsError {
    /// The setting.
    pub name: &'static str,
    /// What it must be.
    pub expected: &'static str,
    /// What it is.
    pub found: String,
}

/// Settings that passed [`CheckParams::check`].
#[derive(Debug, Clone, PartialEq)]
pub struct CheckedParams(CheckParams);

impl std::ops::Deref for CheckedParams {
    type Target = CheckParams;

    fn deref(&self) -> &CheckParams {
        &self.0
    }
}

impl CheckParams {
    /// Checks each setting. NaN never passes.
    pub fn check(self) -> Result<CheckedParams, CheckParamsError> {
        let at_least = |name, found: f64, least: f64, expected| {
            if found >= least && found.is_finite() {
                Ok(())
            } else {
                Err(CheckParamsError {
                    name,
                    expected,
                    found: found.to_string(),
                })
            }
        };
        let tiny = f64::MIN_POSITIVE;
        let positive = [
            ("interior_seconds", self.interior_seconds),
            ("interior_rows", self.interior_rows),
            ("moisture_margin", self.moisture_margin),
            ("sigmas", self.sigmas),
            ("abrupt_change", self.abrupt_change),
            ("abrupt_sigmas", self.abrupt_sigmas),
            ("piece_length", self.piece_length),
            ("pass_margin", self.pass_margin),
            ("pass_sigmas", self.pass_sigmas),
            ("point_margin", self.point_margin),
            ("point_sigmas", self.point_sigmas),
            ("beside_sigmas", self.beside_sigmas),
            ("lone_margin", self.lone_margin),
            ("lone_sigmas", self.lone_sigmas),
            ("many_set_aside", self.many_set_aside),
        ];
        for (name, found) in positive {
            at_least(name, found, tiny, "a positive number")?;
        }
        let factors = [
            ("speed_factors", self.speed_factors),
            ("yield_factors", self.yield_factors),
        ];
        for (name, (low, high)) in factors {
            at_least(name, low, 1.0, "1 or more on both sides")?;
            at_least(name, high, 1.0, "1 or more on both sides")?;
        }
        at_least("piece_points", self.piece_points as f64, 2.0, "2 or more")?;
        let ranges = [
            ("speed_bounds", Some(self.speed_bounds)),
            ("speed", self.fixed.speed),
            ("yield_kg_ha", self.fixed.yield_kg_ha),
            ("moisture", self.fixed.moisture),
            ("cut_share", self.fixed.cut_share.map(|least| (least, 1.0))),
        ];
        for (name, range) in ranges {
            let Some((low, high)) = range else { continue };
            let usable = low >= 0.0 && low < high && high.is_finite();
            if !usable {
                let expected = "two numbers, the first at least 0 and below the second";
                return Err(CheckParamsError {
                    name,
                    expected,
                    found: format!("{low} and {high}"),
                });
            }
        }
        Ok(CheckedParams(self))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_pass_and_each_bad_setting_is_named() {
        assert!(CheckParams::default().check().is_ok());
        type Spoil = fn(&mut CheckParams);
        let cases: [(&str, Spoil); 11] = [
            ("interior_seconds", |p| p.interior_seconds = f64::NAN),
            ("sigmas", |p| p.sigmas = 0.0),
            ("piece_length", |p| p.piece_length = f64::INFINITY),
            ("many_set_aside", |p| p.many_set_aside = -0.1),
            ("speed_factors", |p| p.speed_factors.0 = 0.5),
            ("yield_factors", |p| p.yield_factors.1 = f64::NAN),
            ("piece_points", |p| p.piece_points = 1),
            ("speed_bounds", |p| p.speed_bounds = (2.0, 1.0)),
            ("speed", |p| p.fixed.speed = Some((f64::NAN, 1.0))),
            ("yield_kg_ha", |p| p.fixed.yield_kg_ha = Some((-1.0, 1.0))),
            ("cut_share", |p| p.fixed.cut_share = Some(1.5)),
        ];
        for (name, spoil) in cases {
            let mut params = CheckParams::default();
            spoil(&mut params);
            assert_eq!(params.check().unwrap_err().name, name);
        }
    }
}
