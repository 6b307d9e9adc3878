//! Logs and boundaries in every format that is read.
//!
//! Against other software: GDAL (pyogrio) writes what we read, and the npm package isoxml counts the records that we
//! count. Task data are written by `tests/oracles/write_taskdata.py` (Python's struct, by the published layout) and by a
//! real machine (shared open data: github dev4Agriculture/isoxml-dotnet, Apache-2.0).

mod broken;
mod demo_farm;
mod farm;
mod forms;
mod gdal;
mod packed;
mod rows;
mod sections;
mod shared;
mod taskdata;
mod text;
