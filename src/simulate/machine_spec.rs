//! What a machine is: header, grain transport, sensors, receiver and log, with plausible defaults.

/// One machine: header, grain transport, sensors, receiver, log.
#[derive(Debug, Clone, PartialEq)]
pub struct MachineSpec {
    /// Name.
    pub name: String,
    /// True width of the header, m.
    pub header_width: f64,
    /// Usual speed while cutting, m/s.
    pub speed: f64,
    /// Grain at which the bin is emptied, kg.
    pub bin: f64,
    /// From the header to the flow sensor.
    pub transport: TransportSpec,
    /// The flow sensor.
    pub sensor: FlowSensorSpec,
    /// The moisture sensor.
    pub moisture: MoistureSensorSpec,
    /// The receiver.
    pub gnss: GnssSpec,
    /// What the display writes.
    pub log: LogSpec,
}

/// Grain on its way to a sensor: dead time, then first-order mixing in series.
/// The true delay is the mean of the response: dead time plus the sum of the time constants.
#[derive(Debug, Clone, PartialEq)]
pub struct TransportSpec {
    /// Dead time at the reference flow, s.
    pub dead_time: f64,
    /// Time constants of the mixing stages, s; one or two.
    pub stages: Vec<f64>,
    /// Seconds by which the dead time falls for each e-fold of flow above `reference_flow`.
    pub flow_dependence: f64,
    /// Flow at which `dead_time` holds, kg/s.
    pub reference_flow: f64,
}

/// What the flow sensor makes of a true flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Curve {
    /// Proportional.
    Linear,
    /// q₀·(q/q₀)^b with q₀ the reference flow.
    Power {
        /// Exponent b.
        exponent: f64,
    },
    /// q·(1 + c·(q/q₀ − 1)).
    Quadratic {
        /// Relative error c gained per reference flow.
        bend: f64,
    },
}

/// Which flow a row holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reading {
    /// The mean over the row's interval.
    Mean,
    /// The flow at the end of the interval.
    AtEnd,
}

/// The flow sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct FlowSensorSpec {
    /// Logged over true mass of this machine, before drift.
    pub factor: f64,
    /// Shape of the response.
    pub curve: Curve,
    /// Flow q₀ of the curve, kg/s.
    pub reference_flow: f64,
    /// Standard deviation of the log factor from load to load.
    pub load_sd: f64,
    /// Standard deviation of the log factor from day to day.
    pub day_sd: f64,
    /// Change of the log factor from the first to the last pass.
    pub trend: f64,
    /// Relative noise of a row.
    pub noise: f64,
    /// Relative noise with a memory of about 20 s.
    pub slow_noise: f64,
    /// Additive noise of a row, kg/s.
    pub additive_noise: f64,
    /// What an empty machine logs, kg/s.
    pub zero_offset: f64,
    /// Step of the logged flow, kg/s.
    pub step: f64,
    /// Which flow a row holds.
    pub reading: Reading,
}

/// The moisture sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct MoistureSensorSpec {
    /// From the header to the sensor.
    pub transport: TransportSpec,
    /// Logged less true moisture, points.
    pub offset: f64,
    /// Noise of a row, points.
    pub noise: f64,
    /// Stretches without a value, per hour.
    pub missing_per_hour: f64,
}

/// The receiver.
#[derive(Debug, Clone, PartialEq)]
pub struct GnssSpec {
    /// Standard deviation of the slowly wandering error in each axis, m.
    pub error_sd: f64,
    /// Memory of that error, s.
    pub error_memory: f64,
    /// Noise from row to row, m.
    pub noise: f64,
    /// Distance of the antenna behind the cutter bar, m.
    pub antenna_behind: f64,
    /// Decimals of the logged degrees.
    pub decimals: u32,
}

/// What the display has done to the flow before writing it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shift {
    /// Nothing: the flow of the row's own time.
    None,
    /// Each row holds the flow this much later; beyond its pass 0.
    WithinPass {
        /// Seconds, rounded to whole rows.
        seconds: f64,
    },
    /// Each row holds the flow this much later on the machine's clock; beyond the day 0.
    WholeClock {
        /// Seconds, rounded to whole rows.
        seconds: f64,
    },
}

/// Whether the log runs while the header is up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HeaderUp {
    /// Rows are written.
    Rows,
    /// The log pauses some time after the header has been lifted: a gap in time.
    Pause {
        /// Seconds that are still written.
        after: f64,
    },
}

/// What the work state column says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WorkStateLog {
    /// Whether the header is down.
    Header,
    /// Working in every row.
    Always,
    /// There is no such column.
    Absent,
}

/// A column that a log may lack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// Time.
    Time,
    /// Length of the interval.
    Interval,
    /// Moisture.
    Moisture,
    /// Ground speed.
    Speed,
    /// Distance since the row before.
    Distance,
    /// Header width.
    Width,
    /// Heading.
    Heading,
    /// Load.
    Load,
    /// Pass number.
    Pass,
}

/// What the display writes.
#[derive(Debug, Clone, PartialEq)]
pub struct LogSpec {
    /// Interval of a row, s: a multiple of 0.2.
    pub interval: f64,
    /// Columns beside position, flow, machine and work state.
    pub columns: Vec<Column>,
    /// Work state.
    pub work_state: WorkStateLog,
    /// Header up.
    pub header_up: HeaderUp,
    /// Delay applied already.
    pub shift: Shift,
    /// Reference moisture to which the flow was already brought, %; none: wet flow.
    pub flow_at_moisture: Option<f64>,
    /// Width the log claims, m; none: the true one.
    pub claimed_width: Option<f64>,
    /// Logged over true distance (wheel slip, tyre wear).
    pub distance_factor: f64,
    /// Relative noise of logged speed and distance.
    pub distance_noise: f64,
}

impl Default for MachineSpec {
    fn default() -> Self {
        Self {
            name: "C1".into(),
            header_width: 9.0,
            speed: 1.9,
            bin: 9_000.0,
            transport: TransportSpec::default(),
            sensor: FlowSensorSpec::default(),
            moisture: MoistureSensorSpec::default(),
            gnss: GnssSpec::default(),
            log: LogSpec::default(),
        }
    }
}

impl Default for TransportSpec {
    fn default() -> Self {
        Self {
            dead_time: 9.0,
            stages: vec![2.5],
            flow_dependence: 0.0,
            reference_flow: 15.0,
        }
    }
}

impl Default for FlowSensorSpec {
    fn default() -> Self {
        Self {
            factor: 1.0,
            curve: Curve::Linear,
            reference_flow: 15.0,
            load_sd: 0.02,
            day_sd: 0.01,
            trend: 0.0,
            noise: 0.04,
            slow_noise: 0.01,
            additive_noise: 0.03,
            zero_offset: 0.0,
            step: 0.01,
            reading: Reading::Mean,
        }
    }
}

impl Default for MoistureSensorSpec {
    fn default() -> Self {
        Self {
            transport: TransportSpec {
                dead_time: 11.0,
                stages: vec![4.0],
                ..TransportSpec::default()
            },
            offset: 0.0,
            noise: 0.15,
            missing_per_hour: 0.0,
        }
    }
}

impl Default for GnssSpec {
    fn default() -> Self {
        Self {
            error_sd: 0.08,
            error_memory: 200.0,
            noise: 0.01,
            antenna_behind: 0.0,
            decimals: 7,
        }
    }
}

impl Default for LogSpec {
    fn default() -> Self {
        Self {
            interval: 1.0,
            columns: vec![
                Column::Time,
                Column::Interval,
                Column::Moisture,
                Column::Speed,
                Column::Distance,
                Column::Width,
                Column::Load,
                Column::Pass,
            ],
            work_state: WorkStateLog::Header,
            header_up: HeaderUp::Rows,
            shift: Shift::None,
            flow_at_moisture: None,
            claimed_width: None,
            distance_factor: 1.0,
            distance_noise: 0.008,
        }
    }
}
