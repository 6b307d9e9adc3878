//! The rows of each pass in the order of travel.

/// Rows of passes, pass by pass.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct PassRows {
    rows: Vec<u32>,
    starts: Vec<usize>,
}

impl PassRows {
    /// Sorts rows by pass; within a pass by `place` where that is given (s since its start), otherwise as they come.
    pub fn new(pass: &[Option<u32>], place: Option<&[f64]>) -> Self {
        let passes = pass.iter().flatten().max().map_or(0, |&p| p as usize + 1);
        let mut starts = vec![0; passes + 1];
        for &p in pass.iter().flatten() {
            starts[p as usize + 1] += 1;
        }
        for p in 0..passes {
            starts[p + 1] += starts[p];
        }
        let mut next = starts.clone();
        let mut rows = vec![0; starts[passes]];
        for (row, p) in pass.iter().enumerate() {
            let Some(p) = p else { continue };
            rows[next[*p as usize]] = row as u32;
            next[*p as usize] += 1;
        }
        if let Some(place) = place {
            for p in 0..passes {
                let of_pass = &mut rows[starts[p]..starts[p + 1]];
                if !of_pass.is_sorted_by(|&a, &b| place[a as usize] <= place[b as usize]) {
                    of_pass.sort_by(|&a, &b| place[a as usize].total_cmp(&place[b as usize]));
                }
            }
        }
        Self { rows, starts }
    }

    /// Rows pass by pass.
    pub fn iter(&self) -> impl Iterator<Item = &[u32]> {
        self.starts.windows(2).map(|w| &self.rows[w[0]..w[1]])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_grouped_by_pass_and_put_in_order() {
        let pass = [Some(1), None, Some(0), Some(1), Some(3)];
        let by_pass = |rows: &PassRows| rows.iter().map(<[u32]>::to_vec).collect::<Vec<_>>();
        assert_eq!(
            by_pass(&PassRows::new(&pass, None)),
            [vec![2], vec![0, 3], vec![], vec![4]]
        );
        let place = [9.0, 0.0, 0.0, 4.0, 0.0];
        assert_eq!(by_pass(&PassRows::new(&pass, Some(&place)))[1], [3, 0]);
        assert!(by_pass(&PassRows::new(&[None], None)).is_empty());
    }
}
