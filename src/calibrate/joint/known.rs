//! What is taken for known before any load is looked at.

/// Prior sd of a machine's log factor: a monitor that was never calibrated is off by ten per cent (extension literature).
const MACHINE_SD: f64 = 0.1;
/// Prior sd of a sensor's bend (its exponent less one): a well calibrated one bends by 0.03 (4.8 % between 2 and 17 kg/s on
/// the bench of the University of Kentucky), a bad one by several times that (our choice).
const BEND_SD: f64 = 0.1;

/// How much a sensor wanders: sds of the log factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wander {
    /// From load to load.
    pub load: f64,
    /// From day to day.
    pub day: f64,
    /// Of the drift, per load.
    pub drift: f64,
}

/// Where the search for load, day and drift starts, with the sd of a normal prior on the logarithm. Our choice, from the
/// average load errors of well and of poorly calibrated monitors (1–5 %).
pub(super) const START: [(f64, f64); 3] = [(-3.9, 0.7), (-4.6, 0.7), (-5.2, 0.7)];
/// The same for the scatter of a scale's tickets beyond what a certified scale may be off by: its middle is 0.3 %, half-way
/// between a certified scale's 0.1 % and the 1 % that is taken for a cart's (our choice).
pub(super) const SCALE_START: (f64, f64) = (-5.8, 0.8);

/// What is taken for known in an adjustment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// What part of the links' information is believed, 0–1.
    pub trust: f64,
    /// Prior sd of a machine's log factor.
    pub machine_sd: f64,
    /// Prior sd of a sensor's bend.
    pub bend_sd: f64,
    /// How the sensors wander, where it is not to be estimated; tickets are then as good as a certified scale's.
    pub wander: Option<Wander>,
}

impl Known {
    /// The priors, with so much trust in links.
    pub fn with_trust(trust: f64) -> Self {
        Self {
            trust,
            machine_sd: MACHINE_SD,
            bend_sd: BEND_SD,
            wander: None,
        }
    }
}
