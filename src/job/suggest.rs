//! "Did you mean …?" for words that the user mistyped.

/// The candidate nearest to `word`, where one is near enough to be what was meant: at most a third of its letters
/// differ (our choice: `delya` finds `delay`, `speed` does not find `season`).
pub(crate) fn nearest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let word: Vec<char> = word.to_lowercase().chars().collect();
    candidates
        .into_iter()
        .map(|c| {
            (
                edits(&word, &c.to_lowercase().chars().collect::<Vec<_>>()),
                c,
            )
        })
        .filter(|(edits, c)| edits * 3 <= c.chars().count().max(word.len()))
        .min_by_key(|(edits, _)| *edits)
        .map(|(_, c)| c)
}

/// Least number of insertions, deletions and substitutions between two words (Levenshtein 1966), by the usual
/// two-row scheme.
fn edits(a: &[char], b: &[char]) -> usize {
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(ca != cb);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn distance(a: &str, b: &str) -> usize {
        edits(
            &a.chars().collect::<Vec<_>>(),
            &b.chars().collect::<Vec<_>>(),
        )
    }

    /// The example that most texts print: kitten → sitting takes three edits.
    #[test]
    fn edits_are_counted_as_texts_count_them() {
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("abc", "abc"), 0);
    }

    #[test]
    fn only_near_words_are_suggested() {
        let keys = ["delay", "season", "header_width"];
        assert_eq!(nearest("delya", keys), None); // two of five letters: too far
        assert_eq!(nearest("dellay", keys), Some("delay"));
        assert_eq!(nearest("Header_with", keys), Some("header_width"));
        assert_eq!(nearest("colour", keys), None);
        assert_eq!(nearest("", keys), None);
    }
}
