//! Tickets.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fanmill_fuzz::read(data, &["tickets.csv"], "logs = [\"log.csv\"]\ntickets = [\"tickets.csv\"]", &[("log.csv", b"lon_deg,lat_deg,time,flow_kg_s,load\n10,54,2025-09-12T14:00:00Z,8,L1\n10.0001,54,2025-09-12T14:00:01Z,8,L1\n")]);
});
