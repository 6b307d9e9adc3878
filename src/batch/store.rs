use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::prepare::Prepared;

/// Rows that a batch keeps in memory between acts: about 400 bytes each. A batch with more reads fields again.
const MOST_ROWS: usize = 2_000_000;

/// Prepared fields that are kept between acts, as far as memory is meant to go.
pub(super) struct Store {
    slots: Vec<Mutex<Option<Box<Prepared>>>>,
    rows: AtomicUsize,
}

impl Store {
    pub fn new(fields: usize) -> Self {
        Self {
            slots: (0..fields).map(|_| Mutex::new(None)).collect(),
            rows: AtomicUsize::new(0),
        }
    }

    /// Keeps a field for the next act if there is room.
    pub fn keep(&self, f: usize, field: Box<Prepared>) {
        let rows = field.input.log.len();
        if self.rows.fetch_add(rows, Ordering::Relaxed) + rows > MOST_ROWS {
            self.rows.fetch_sub(rows, Ordering::Relaxed);
            return;
        }
        if let Ok(mut slot) = self.slots[f].lock() {
            *slot = Some(field);
        }
    }

    /// Takes a field out.
    pub fn take(&self, f: usize) -> Option<Box<Prepared>> {
        let field = self.slots[f].lock().ok()?.take()?;
        self.rows
            .fetch_sub(field.input.log.len(), Ordering::Relaxed);
        Some(field)
    }
}
