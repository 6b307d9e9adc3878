//! Ctrl-C and `kill`: a run ends when the fields in flight are done; asked twice, at once.

use std::sync::Arc;
use std::sync::atomic::{AtomicI32, Ordering};

use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::iterator::Signals;

/// Exit status of a program that a signal ended: this and the signal's number (POSIX shells).
const BY_SIGNAL: i32 = 128;

/// Whether, and by which signal, the run was asked to end.
#[derive(Debug, Clone, Default)]
pub(super) struct Stop(Arc<AtomicI32>);

impl Stop {
    /// Listens from now on. Where the system offers no signals, there are none.
    pub fn listen() -> Self {
        let stop = Self::default();
        let heard = stop.clone();
        if let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) {
            std::thread::spawn(move || {
                for signal in signals.forever() {
                    if heard.asked() {
                        // What is half written has a temporary name; the next run removes it.
                        std::process::exit(BY_SIGNAL + signal);
                    }
                    heard.0.store(signal, Ordering::Relaxed);
                    eprintln!(
                        "stopping: the fields at work are being finished; once more ends at once"
                    );
                }
            });
        }
        stop
    }

    /// Whether it was.
    pub fn asked(&self) -> bool {
        self.0.load(Ordering::Relaxed) != 0
    }

    /// The exit status for it.
    pub fn status(&self) -> u8 {
        let status = BY_SIGNAL + self.0.load(Ordering::Relaxed);
        u8::try_from(status).unwrap_or(u8::MAX)
    }
}
