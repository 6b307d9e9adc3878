//! Bytes as the files of a field season, and the season read.

use std::path::Path;
use std::sync::OnceLock;

use fanmill::job::{Job, parse};
use fanmill::read::read_field;

/// Parts an input into files.
pub const CUT: &[u8] = b"\n--8<--\n";

/// A folder for this process, in memory where there is such a disk.
fn folder() -> &'static Path {
    static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();
    let make = || match tempfile::tempdir_in("/dev/shm") {
        Ok(folder) => folder,
        Err(_) => tempfile::tempdir().expect("a folder"),
    };
    FOLDER.get_or_init(make).path()
}

fn job(keys: &str) -> Job {
    let text = format!(
        "[log]\nmoisture = \"15 %\"\nwidth = \"9 m\"\n[[field]]\nclient = \"a\"\nfarm = \"b\"\nname = \"Brook field\"\nseason = 2025\n\
         crop = \"maize\"\n{keys}\n"
    );
    parse(&text, "job.toml", folder()).expect("a sound job")
}

/// Writes the parts of the input to these names and reads the field of a job with these keys. What must hold: no
/// panic, no hang, and every row of the log whole.
pub fn read(data: &[u8], names: &[&str], keys: &str, others: &[(&str, &[u8])]) {
    let mut rest = data;
    for (k, name) in names.iter().enumerate() {
        let at = rest.windows(CUT.len()).position(|w| w == CUT).filter(|_| k + 1 < names.len());
        let (part, after) = match at {
            Some(at) => (&rest[..at], &rest[at + CUT.len()..]),
            None => (rest, &rest[rest.len()..]),
        };
        std::fs::write(folder().join(name), part).expect("written");
        rest = after;
    }
    for (name, bytes) in others {
        std::fs::write(folder().join(name), bytes).expect("written");
    }
    let job = job(keys);
    if let Ok(input) = read_field(&job, &job.fields[0]) {
        let log = &input.log;
        let n = log.len();
        let columns = [&log.lon, &log.lat, &log.time, &log.flow, &log.mass, &log.moisture, &log.width, &log.speed];
        assert!(columns.iter().all(|c| c.len() == n) && log.work.len() == n && log.load.len() == n);
    }
}
