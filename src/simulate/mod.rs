//! Field seasons whose truth is known: ground, machine, sensors and scale are simulated, nothing is estimated.
//!
//! [`simulate()`] turns a [`FieldSpec`] and a seed into the rows that the machines' logs would hold, the tickets of
//! the scale and the [`Truth`] behind both. It imitates the physics (crop that is cut once, grain on its way through
//! the machine, a sensor with a curve and a drift, a display that shifts or pauses) and knows nothing of the
//! estimators, which are judged by it.
//!
//! ```
//! use fanmill::simulate::{FieldSpec, Shape, simulate};
//!
//! let spec = FieldSpec { shape: Shape::rectangle(120.0, 200.0), ..FieldSpec::default() };
//! let season = simulate(&spec, 7)?;
//! let log = season.to_log();
//! assert_eq!(log.len(), season.rows.len());
//! // The field is cut once.
//! assert!((season.truth.field.cut_area_m2 / 24_000.0 - 1.0).abs() < 0.01);
//! # Ok::<(), fanmill::simulate::SimulateError>(())
//! ```

mod check;
mod demo;
mod driver;
mod farm;
mod fault;
mod files;
mod land;
mod machine;
mod machine_spec;
mod raster;
mod record;
mod route;
mod rows;
mod season;
mod shape;
mod spec;
mod surface;
mod to_log;
mod track;
mod transport;
mod truth;
mod weigh;

pub use check::{Checked, SimulateError};
pub use demo::{DemoFiles, write_demo};
pub use farm::demo_farm;
pub use fault::Fault;
pub use files::write_seasons;
pub use machine_spec::{
    Column, Curve, FlowSensorSpec, GnssSpec, HeaderUp, LogSpec, MachineSpec, MoistureSensorSpec,
    Reading, Shift, TransportSpec, WorkStateLog,
};
pub use rows::{Row, RowTruth};
pub use season::{File, Simulated, simulate};
pub use shape::Shape;
pub use spec::{
    DrivingSpec, FaultSpec, FieldSpec, NoFix, Pattern, Smoothness, SurfaceSpec, Unloading, Weighed,
    WeighingSpec, Zone,
};
pub use transport::Response;
pub use truth::{FieldTruth, MachineTruth, Truth};
pub use weigh::LoadTruth;
