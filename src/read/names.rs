//! A column of names, such as machines and loads.

use std::collections::HashMap;

use super::text::decode;

/// A column of names: each distinct one once, and an index per row. Empty where the file has no such column.
#[derive(Debug, Default)]
pub(super) struct Names {
    pub distinct: Vec<String>,
    pub index: Vec<Option<u32>>,
    known: HashMap<Vec<u8>, u32>,
    /// The name of the row before: most rows repeat it.
    last: Option<(Vec<u8>, u32)>,
}

impl Names {
    /// Adds a row's name; blank means none.
    pub fn push(&mut self, cell: &[u8]) {
        let cell = cell.trim_ascii();
        if cell.is_empty() {
            self.index.push(None);
            return;
        }
        if let Some((last, k)) = &self.last
            && last == cell
        {
            self.index.push(Some(*k));
            return;
        }
        let k = match self.known.get(cell) {
            Some(k) => *k,
            None => {
                let k = self.distinct.len() as u32;
                self.known.insert(cell.to_vec(), k);
                self.distinct.push(decode(cell).into_owned());
                k
            }
        };
        self.last = Some((cell.to_vec(), k));
        self.index.push(Some(k));
    }

    /// Takes the rows out and leaves the names that are known.
    pub fn take(&mut self) -> Self {
        Self {
            distinct: self.distinct.clone(),
            index: std::mem::take(&mut self.index),
            ..Self::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_kept_once() {
        let mut names = Names::default();
        for cell in [&b"L1"[..], b" L1 ", b"L2", b"", b"L1"] {
            names.push(cell);
        }
        assert_eq!(names.distinct, ["L1", "L2"]);
        assert_eq!(names.index, [Some(0), Some(0), Some(1), None, Some(0)]);
    }
}
