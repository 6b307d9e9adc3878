//! Points in a GeoPackage.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fanmill_fuzz::read(data, &["log.gpkg"], "logs = [\"log.gpkg\"]", &[]);
});
