//! What a run's memory is spent on.

/// The program itself with its tables and PROJ's database, bytes, about.
const PROGRAM: u64 = 24 << 20;
/// A field in flight, bytes: what it takes whatever its size (the cut raster's first tiles, the grid of yields).
const FIELD: u64 = 6 << 20;
/// A field in flight, bytes per byte of its logs as text.
const PER_BYTE: u64 = 10;
/// Prepared fields that wait in memory between acts where nothing is said of memory, bytes. Our choice: a few hundred
/// thousand rows, so that a small batch never touches the disk and a large one takes no more than a small one.
const WAITING: u64 = 96 << 20;
/// What is kept of a field until all have been pooled, bytes: its evidence, and what pooling makes of that (measured on fields of
/// 33,000 rows: 0.19 and 0.06 MB). Fields that wait leave that much room, down to a quarter of theirs (our choice): the more
/// fields a batch has, the smaller the part of them that could wait in memory anyway.
const EVIDENCE: u64 = 256 << 10;
/// Part of the memory allowed that fields may wait in (our choice: those in flight need it more).
const WAITING_SHARE: u64 = 4;

/// Bytes for fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Memory {
    /// Those that wait between acts.
    pub waiting: u64,
    /// Those in flight; `None` without a bound.
    pub in_flight: Option<u64>,
}

impl Memory {
    /// What the fields of a batch get of so many bytes for the whole run.
    pub fn of(run: Option<u64>, fields: usize) -> Self {
        let beside_evidence =
            |waiting: u64| (waiting.saturating_sub(fields as u64 * EVIDENCE)).max(waiting / 4);
        let Some(run) = run else {
            return Self {
                waiting: beside_evidence(WAITING),
                in_flight: None,
            };
        };
        let for_fields = run.saturating_sub(PROGRAM);
        let waiting = WAITING.min(for_fields / WAITING_SHARE);
        Self {
            waiting: beside_evidence(waiting),
            in_flight: Some(for_fields - waiting),
        }
    }

    /// What a field in flight takes whose logs have so many bytes as text.
    pub fn of_field(bytes: u64) -> u64 {
        bytes.saturating_mul(PER_BYTE).saturating_add(FIELD)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_waits_and_what_flies_share_what_is_allowed() {
        let none = Memory::of(None, 0);
        assert_eq!((none.waiting, none.in_flight), (WAITING, None));
        let some = Memory::of(Some(PROGRAM + 1000), 0);
        assert_eq!((some.waiting, some.in_flight), (250, Some(750)));
        let little = Memory::of(Some(5), 9);
        assert_eq!((little.waiting, little.in_flight), (0, Some(0)));
        let much = Memory::of(Some(1 << 40), 0);
        assert_eq!(much.waiting, WAITING);
        // Many fields leave room for what they say.
        assert_eq!(Memory::of(None, 40).waiting, WAITING - 40 * EVIDENCE);
        assert_eq!(Memory::of(None, 1_000_000).waiting, WAITING / 4);
        assert_eq!(Memory::of_field(u64::MAX), u64::MAX);
    }
}
