//! Transport delay: the time from the cutter bar to the sensor, as the centre of the machine's response.
//!
//! Neighbouring passes driven in opposite directions see the same ground, and a wrong delay moves its features in
//! opposite directions. So pairs of points on such passes are built once, and for every candidate delay the log yields
//! that the shifted flow gives at the two points of each pair are compared: their disagreement, relative to their
//! variance, is least at the true delay (Chung, Sudduth & Drummond 2002, Trans. ASAE 45; Beal & Tian 2001, Appl. Eng.
//! Agric. 17(3):385–390; Lee et al. 2012, Trans. ASABE 55(3):743–752 use the same signal in other forms).
//!
//! * [`gather`] takes the evidence of one field: block curves and the shape of its pass entries.
//! * [`decide`] joins it over the fields of a machine and crop.
//! * [`shift`] moves what was logged back to the ground it came from, losing and making no mass.

mod antenna;
mod compare;
mod curve;
mod ends;
mod entry;
mod filling;
mod gather;
mod grid;
mod group;
mod minimum;
mod pairs;
mod phase;
mod pool;
mod shift;
mod shown;
mod signal;
mod vertex;

pub use antenna::AntennaOffset;
pub use curve::{CANDIDATE_STEP_S, Curve, Curves, LOWEST_CANDIDATE_S, MIXING_S, candidate};
pub use ends::PassEnds;
pub use entry::EntryEvidence;
pub use filling::Filling;
pub use gather::{DelayInput, Evidence, gather};
pub use grid::Grid;
pub use minimum::{Minimum, Mixing, minimum};
pub use pairs::{OpposedPair, opposed_pairs};
pub use pool::{Decision, Disagreement, Fallback, FieldEvidence, decide};
pub use shift::{Shifted, shift, shift_all};
pub use shown::shown;
pub use signal::{Signal, TrackSignals};
