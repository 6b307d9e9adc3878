//! The loads and tickets of a crop, as they are adjusted.

/// A load.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadNode {
    /// Its machine.
    pub machine: usize,
    /// Its machine's moisture class, numbered over all machines.
    pub class: usize,
    /// Its machine's day, numbered over all machines.
    pub day: usize,
    /// The load that its machine filled before it.
    pub before: Option<usize>,
    /// Logged mass, kg.
    pub logged: f64,
    /// Mean log of its logged flow, weighted by mass (kg/s).
    pub ln_flow: f64,
}

/// A ticket.
#[derive(Debug, Clone, PartialEq)]
pub struct TicketNode {
    /// Loads.
    pub parts: Vec<usize>,
    /// Weighed mass, kg.
    pub net: f64,
    /// Relative sd of a certified scale; its scatter comes on top.
    pub sd: f64,
    /// Relative sd of what was logged for it, because nobody knows to the second where its loads end.
    pub edges: f64,
    /// Which scale wrote it.
    pub scale: usize,
}
