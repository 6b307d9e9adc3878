//! Gzip and zip.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fanmill_fuzz::read(data, &["log.zip"], "logs = [\"log.zip\"]", &[]);
});
