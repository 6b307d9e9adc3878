//! The acts of a batch, and who wants to know of them.

/// The acts of a batch, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Reading the fields and gathering what they say of their machines.
    Machines,
    /// Gathering what they say of their loads.
    Scale,
    /// Correcting and writing them.
    Write,
}

impl Act {
    /// The word for it on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Act::Machines => "machines",
            Act::Scale => "scale",
            Act::Write => "write",
        }
    }

    pub(super) fn about(self) -> &'static str {
        match self {
            Act::Machines => "machines",
            Act::Scale => "loads",
            Act::Write => "map",
        }
    }
}

/// Who wants to know how far a batch is. Called from several threads.
pub trait Progress: Sync {
    /// An act begins over `fields` fields.
    fn begin(&self, act: Act, fields: usize);
    /// One field of it is done (or has failed).
    fn field(&self, act: Act, name: &str, error: Option<&str>);
    /// Whether the batch is to end: fields in flight are finished, no more are begun.
    fn stop(&self) -> bool {
        false
    }
}

/// No one wants to know.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn begin(&self, _: Act, _: usize) {}
    fn field(&self, _: Act, _: &str, _: Option<&str>) {}
}
