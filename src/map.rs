//! The corrected map of one field season: a point per readable row, as it is written to the layers.

use crate::log::Verdicts;

/// Columns of the map; one entry per row of the field's log, in its order. NaN: missing.
///
/// The geometry is the middle of the ground cut since the row before.
#[derive(Debug, Clone)]
pub struct YieldMap {
    /// Log paths; [`YieldMap::log`] indexes them.
    pub logs: Vec<String>,
    /// Machine names; [`YieldMap::machine`] indexes them.
    pub machines: Vec<String>,
    /// Load names; [`YieldMap::load`] indexes them.
    pub loads: Vec<String>,
    /// Kept, or set aside and why.
    pub verdicts: Verdicts,
    /// Longitude of the ground, degrees.
    pub lon: Vec<f64>,
    /// Latitude of the ground, degrees.
    pub lat: Vec<f64>,
    /// Index into `logs`.
    pub log: Vec<u32>,
    /// Data row in its log, from 1.
    pub row: Vec<u32>,
    /// Unix time, s; NaN where the log has no absolute time.
    pub time: Vec<f64>,
    /// Index into `machines`.
    pub machine: Vec<u32>,
    /// Index into `loads`.
    pub load: Vec<Option<u32>>,
    /// Pass number, from 1; `None` off passes.
    pub pass: Vec<Option<u32>>,
    /// Ground speed, m/s.
    pub speed_m_s: Vec<f64>,
    /// Effective cut width, m.
    pub cut_m: Vec<f64>,
    /// Corrected moisture, %.
    pub moist_pct: Vec<f64>,
    /// Corrected wet flow of this ground, kg/s.
    pub grain_kg_s: Vec<f64>,
    /// Corrected over logged mass.
    pub factor: Vec<f64>,
    /// Corrected yield at reference moisture, kg/ha.
    pub yld_kg_ha: Vec<f64>,
    /// Lower end of its 95 % interval.
    pub yld_low: Vec<f64>,
    /// Upper end of its 95 % interval.
    pub yld_high: Vec<f64>,
    /// Corrected yield in the job's unit.
    pub yields: Vec<f64>,
    /// Logged yield of the row itself in the job's unit: the map before anything.
    pub yield_log: Vec<f64>,
    /// The ground that each row newly cut: longitude and latitude of its four corners, counter-clockwise; NaN where
    /// it cut none. `None`: nobody asked for it.
    pub swaths: Option<Vec<[[f64; 2]; 4]>>,
}

impl YieldMap {
    /// Longitude and latitude of a row, where they are a place on Earth.
    pub fn position(&self, row: usize) -> Option<[f64; 2]> {
        let (lon, lat) = (self.lon[row], self.lat[row]);
        (lon.abs() <= 180.0 && lat.abs() <= 90.0).then_some([lon, lat])
    }

    /// Longitude and latitude of the middle of the box around the kept points, or around all where none is kept. `None`
    /// where no point has a position.
    pub fn middle(&self) -> Option<[f64; 2]> {
        let bounds = |all: bool| {
            (0..self.verdicts.len())
                .filter(|&r| all || self.verdicts.is_kept(r))
                .filter_map(|r| self.position(r))
                .fold(None, |area: Option<[f64; 4]>, [x, y]| {
                    let [w, s, e, n] = area.unwrap_or([x, y, x, y]);
                    Some([w.min(x), s.min(y), e.max(x), n.max(y)])
                })
        };
        let [west, south, east, north] = bounds(false).or_else(|| bounds(true))?;
        Some([(west + east) / 2.0, (south + north) / 2.0])
    }
}
