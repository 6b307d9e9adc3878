//! Task data: TASKDATA.XML, the header of a log, its records.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fanmill_fuzz::read(data, &["TASKDATA.XML", "TLG00001.XML", "TLG00001.BIN"], "logs = [\"TASKDATA.XML\", \"TLG00001.BIN\"]\nboundary = \"TASKDATA.XML\"", &[]);
});
