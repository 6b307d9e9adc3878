//! Which rows are one moment, once it is known what tells moments apart.

use std::collections::HashMap;

/// What tells the moments of a log apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::read) struct Keys {
    /// A section that comes again begins a moment.
    pub sections: bool,
    /// Neither a stamp nor a number of the moment is there: a section before the last one begins a moment.
    pub order_alone: bool,
    /// Whether the number of a record is the moment's.
    pub record: bool,
    /// Rows of a moment do not follow each other.
    pub scattered: bool,
    /// Rows of a moment, at most.
    pub most: usize,
}

/// The rows of each moment, in the order of their first ones. `stamp`: what rows of a moment share, `None` where it is
/// missing; `section`: rank of the row's section.
pub(in crate::read) fn group(
    rows: usize,
    keys: &Keys,
    stamp: impl Fn(usize) -> Option<(u64, u64)>,
    section: impl Fn(usize) -> Option<u32>,
) -> Vec<Vec<u32>> {
    let mut groups: Vec<Vec<u32>> = Vec::new();
    if keys.scattered {
        let mut known: HashMap<((u64, u64), u32), usize> = HashMap::new();
        let mut seen: HashMap<((u64, u64), Option<u32>), u32> = HashMap::new();
        for k in 0..rows {
            let Some(stamp) = stamp(k) else {
                groups.push(vec![k as u32]);
                continue;
            };
            let times = seen.entry((stamp, section(k))).or_insert(0);
            *times += 1;
            let at = *known.entry((stamp, *times)).or_insert(groups.len());
            match groups.get_mut(at) {
                Some(group) => group.push(k as u32),
                None => groups.push(vec![k as u32]),
            }
        }
        return groups;
    }
    let mut sections: Vec<Option<u32>> = Vec::new();
    for k in 0..rows {
        let own = section(k);
        let again = keys.sections && own.is_some() && sections.contains(&own);
        let back = keys.order_alone && sections.last().is_some_and(|last| own < *last);
        let same = k > 0
            && !again
            && !back
            && sections.len() < keys.most
            && (keys.order_alone || stamp(k).is_some())
            && stamp(k) == stamp(k - 1);
        match groups.last_mut() {
            Some(group) if same => group.push(k as u32),
            _ => {
                groups.push(vec![k as u32]);
                sections.clear();
            }
        }
        sections.push(own);
    }
    groups
}

/// Ranks of sections by their names: by number where all are numbers, else in the order in which they came.
pub(in crate::read) fn ranks(names: &[String]) -> Vec<u32> {
    let numbers: Option<Vec<f64>> = names.iter().map(|n| n.trim().parse().ok()).collect();
    let mut order: Vec<usize> = (0..names.len()).collect();
    if let Some(numbers) = numbers {
        order.sort_by(|a, b| numbers[*a].total_cmp(&numbers[*b]));
    }
    let mut ranks = vec![0; names.len()];
    for (rank, k) in order.into_iter().enumerate() {
        ranks[k] = rank as u32;
    }
    ranks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grouped(keys: Keys, stamps: &[u64], sections: &[u32]) -> Vec<Vec<u32>> {
        group(
            stamps.len(),
            &keys,
            |k| Some((stamps[k], 0)),
            |k| sections.get(k).copied(),
        )
    }

    fn by_section(order_alone: bool, scattered: bool) -> Keys {
        Keys {
            sections: true,
            order_alone,
            record: false,
            scattered,
            most: 3,
        }
    }

    #[test]
    fn rows_of_one_stamp_are_one_moment() {
        let keys = by_section(false, false);
        let expected: Vec<Vec<u32>> = vec![vec![0, 1, 2], vec![3, 4], vec![5]];
        assert_eq!(
            grouped(keys, &[1, 1, 1, 2, 2, 3], &[0, 1, 2, 0, 2, 1]),
            expected
        );
        // A clock of whole seconds over rows of half a second: a section that comes again is the next moment.
        let expected: Vec<Vec<u32>> = vec![vec![0, 1], vec![2, 3]];
        assert_eq!(grouped(keys, &[1, 1, 1, 1], &[0, 1, 0, 1]), expected);
    }

    #[test]
    fn sections_in_blocks_find_their_moments() {
        let expected: Vec<Vec<u32>> = vec![vec![0, 3], vec![1, 4], vec![2, 5]];
        assert_eq!(
            grouped(
                by_section(false, true),
                &[1, 2, 3, 1, 2, 3],
                &[0, 0, 0, 1, 1, 1]
            ),
            expected
        );
    }

    #[test]
    fn without_a_stamp_the_order_of_sections_tells() {
        let expected: Vec<Vec<u32>> = vec![vec![0, 1, 2], vec![3, 4], vec![5, 6]];
        let stamps = [0; 7];
        assert_eq!(
            grouped(by_section(true, false), &stamps, &[0, 1, 2, 1, 2, 0, 2]),
            expected
        );
    }

    #[test]
    fn sections_are_ranked_by_number_where_they_have_one() {
        let names = |all: &[&str]| all.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>();
        assert_eq!(ranks(&names(&["10", "2", "1"])), [2, 1, 0]);
        assert_eq!(ranks(&names(&["left", "right"])), [0, 1]);
    }
}
