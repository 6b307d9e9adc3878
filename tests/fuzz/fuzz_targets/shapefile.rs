//! Points in a shapefile: .shp, .dbf, .cpg.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fanmill_fuzz::read(data, &["log.shp", "log.dbf", "log.cpg"], "logs = [\"log.shp\"]", &[]);
});
