//! Progress on standard error: a bar on a terminal, a line a field elsewhere.

use std::io::IsTerminal;
use std::sync::Mutex;

use indicatif::{ProgressBar, ProgressStyle};

use super::stop::Stop;
use crate::batch::{Act, Progress};

/// Tells how far a run is, and the run when it is to end.
pub(super) struct Reporter {
    how: How,
    stop: Stop,
}

enum How {
    /// A bar that is redrawn.
    Bar(Mutex<ProgressBar>),
    /// Plain lines.
    Lines,
    /// Nothing but failures.
    Quiet,
}

impl Reporter {
    /// A bar where standard error is a terminal.
    pub fn new(quiet: bool, stop: Stop) -> Self {
        let how = match (quiet, std::io::stderr().is_terminal()) {
            (true, _) => How::Quiet,
            (false, true) => How::Bar(Mutex::new(ProgressBar::hidden())),
            (false, false) => How::Lines,
        };
        Self { how, stop }
    }
}

impl Progress for Reporter {
    fn begin(&self, act: Act, fields: usize) {
        let what = match act {
            Act::Machines => "reading",
            Act::Scale => "weighing",
            Act::Write => "mapping",
        };
        if let How::Bar(slot) = &self.how
            && let Ok(mut bar) = slot.lock()
        {
            bar.finish_and_clear();
            *bar = ProgressBar::new(fields as u64);
            if let Ok(style) =
                ProgressStyle::with_template("{prefix:>9} [{bar:40}] {pos}/{len} fields {msg}")
            {
                bar.set_style(style);
            }
            bar.set_prefix(what);
        }
    }

    fn field(&self, act: Act, name: &str, error: Option<&str>) {
        match (&self.how, error) {
            (How::Bar(slot), _) => {
                if let Ok(bar) = slot.lock() {
                    if let Some(error) = error {
                        bar.println(format!("{name}: {error}"));
                    }
                    bar.set_message(name.to_owned());
                    bar.inc(1);
                    if bar.position() == bar.length().unwrap_or(u64::MAX) {
                        bar.finish_and_clear();
                    }
                }
            }
            (_, Some(error)) => eprintln!("{name}: {error}"),
            (How::Lines, None) if act == Act::Write => eprintln!("{name}: done"),
            _ => {}
        }
    }

    fn stop(&self) -> bool {
        self.stop.asked()
    }
}
