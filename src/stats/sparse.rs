//! Sparse symmetric positive definite systems: solutions and the determinant by Cholesky (the `faer` library).

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt::factor::LltRegularization;
use faer::sparse::linalg::cholesky::supernodal::SupernodalLltRef;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, LltRef, SymbolicCholesky, SymbolicCholeskyRaw, SymmetricOrdering,
    factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMatRef};
use faer::{Conj, MatMut, Par, Side, Spec};
use rayon::prelude::*;

/// Columns that are solved together for [`Factor::variances`] (our choice: enough for blocked products, few megabytes).
const COLUMNS: usize = 32;

/// The places of a symmetric matrix's entries in its lower triangle, with the order in which they are eliminated.
/// Matrices with other values in the same places share it.
#[derive(Debug)]
pub struct Pattern {
    order: usize,
    /// Where each column's entries start; one more than columns.
    starts: Vec<usize>,
    /// Row of each entry, at or below the diagonal, ascending in a column.
    rows: Vec<usize>,
    symbolic: SymbolicCholesky<usize>,
}

impl Pattern {
    /// A pattern from the places of entries, (row, column) in any order, repeated or mirrored ones counting once. Every
    /// diagonal entry is there. `None` where the system is empty or too large.
    pub fn new(order: usize, places: impl IntoIterator<Item = (usize, usize)>) -> Option<Self> {
        if order == 0 {
            return None;
        }
        let mut all: Vec<(usize, usize)> = places
            .into_iter()
            .map(|(i, j)| (i.min(j), i.max(j)))
            .chain((0..order).map(|i| (i, i)))
            .collect();
        all.sort_unstable();
        all.dedup();
        if all.iter().any(|p| p.1 >= order) {
            return None;
        }
        let mut starts = vec![0; order + 1];
        for &(column, _) in &all {
            starts[column + 1] += 1;
        }
        for j in 0..order {
            starts[j + 1] += starts[j];
        }
        let rows: Vec<usize> = all.into_iter().map(|(_, row)| row).collect();
        let places = SymbolicSparseColMatRef::new_checked(order, order, &starts, None, &rows);
        let symbolic = factorize_symbolic_cholesky(
            places,
            Side::Lower,
            SymmetricOrdering::Amd,
            CholeskySymbolicParams::default(),
        )
        .ok()?;
        Some(Self {
            order,
            starts,
            rows,
            symbolic,
        })
    }

    /// Rows (and columns) of the matrix.
    pub fn order(&self) -> usize {
        self.order
    }

    /// Entries in the lower triangle: the length of the values.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there are no entries: never.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Index of an entry among the values; `None` where the pattern has none.
    pub fn index(&self, i: usize, j: usize) -> Option<usize> {
        let (column, row) = (i.min(j), i.max(j));
        let from = *self.starts.get(column)?;
        let to = *self.starts.get(column + 1)?;
        self.rows[from..to]
            .binary_search(&row)
            .ok()
            .map(|k| from + k)
    }

    /// Factors the matrix with these values, in the order of [`Pattern::index`]. `None` where it is not positive definite.
    ///
    /// # Panics
    /// If there are not as many values as entries.
    pub fn factor(&self, values: &[f64]) -> Option<Factor<'_>> {
        assert_eq!(values.len(), self.rows.len(), "a value for every entry");
        if values.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let places = SymbolicSparseColMatRef::new_checked(
            self.order,
            self.order,
            &self.starts,
            None,
            &self.rows,
        );
        let mut numeric = vec![0.0; self.symbolic.len_val()];
        let params = Spec::default();
        let need = self
            .symbolic
            .factorize_numeric_llt_scratch::<f64>(Par::Seq, params);
        let mut memory = MemBuffer::try_new(need).ok()?;
        self.symbolic
            .factorize_numeric_llt(
                &mut numeric,
                SparseColMatRef::new(places, values),
                Side::Lower,
                LltRegularization::default(),
                Par::Seq,
                MemStack::new(&mut memory),
                params,
            )
            .ok()?;
        Some(Factor {
            pattern: self,
            numeric,
        })
    }
}

/// A factored matrix.
#[derive(Debug)]
pub struct Factor<'a> {
    pattern: &'a Pattern,
    numeric: Vec<f64>,
}

impl Factor<'_> {
    /// Logarithm of the matrix's determinant.
    pub fn log_determinant(&self) -> f64 {
        let mut sum = 0.0;
        match self.pattern.symbolic.raw() {
            SymbolicCholeskyRaw::Simplicial(symbolic) => {
                for j in 0..self.pattern.order {
                    sum += self.numeric[symbolic.col_ptr()[j]].ln();
                }
            }
            SymbolicCholeskyRaw::Supernodal(symbolic) => {
                let factor = SupernodalLltRef::new(symbolic, &self.numeric);
                for s in 0..symbolic.n_supernodes() {
                    let block = factor.supernode(s).val();
                    sum += (0..block.ncols()).map(|j| block[(j, j)].ln()).sum::<f64>();
                }
            }
        }
        2.0 * sum
    }

    /// Diagonal entries of the inverse at some places: variances, where the matrix is a precision. Columns are solved for many
    /// at a time, on all cores; one at a time takes several times as long.
    pub fn variances(&self, places: &[usize]) -> Vec<f64> {
        let n = self.pattern.order;
        let of_some = |places: &[usize]| -> Vec<f64> {
            let mut sides = vec![0.0; n * places.len()];
            for (k, &place) in places.iter().enumerate() {
                sides[k * n + place] = 1.0;
            }
            self.solve(&mut sides);
            let diagonal = places.iter().enumerate();
            diagonal.map(|(k, &place)| sides[k * n + place]).collect()
        };
        (places.par_chunks(COLUMNS).map(of_some))
            .collect::<Vec<_>>()
            .concat()
    }

    /// Solves for some right-hand sides in place: columns one after another, each of the matrix's order.
    ///
    /// # Panics
    /// If the length is no multiple of the order.
    pub fn solve(&self, sides: &mut [f64]) {
        let n = self.pattern.order;
        assert!(sides.len().is_multiple_of(n), "whole columns");
        let columns = sides.len() / n;
        let need = self
            .pattern
            .symbolic
            .solve_in_place_scratch::<f64>(columns, Par::Seq);
        let mut memory = MemBuffer::new(need);
        LltRef::new(&self.pattern.symbolic, &self.numeric).solve_in_place_with_conj(
            Conj::No,
            MatMut::from_column_major_slice_mut(sides, n, columns),
            Par::Seq,
            MemStack::new(&mut memory),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_matrix_by_hand() {
        // [4 2 0; 2 5 2; 0 2 5]: determinant 4·21 − 2·10 = 64; x = (1, 2, 3) gives (8, 18, 19).
        let pattern = Pattern::new(3, [(1, 0), (0, 1), (2, 1)]).unwrap();
        assert_eq!((pattern.order(), pattern.len()), (3, 5));
        let mut values = vec![0.0; pattern.len()];
        for (i, j, v) in [
            (0, 0, 4.0),
            (1, 0, 2.0),
            (1, 1, 5.0),
            (1, 2, 2.0),
            (2, 2, 5.0),
        ] {
            values[pattern.index(i, j).unwrap()] = v;
        }
        assert_eq!(pattern.index(2, 0), None);
        let factor = pattern.factor(&values).unwrap();
        assert!((factor.log_determinant() - 64f64.ln()).abs() < 1e-12);
        // The inverse's diagonal by cofactors: (25 − 4)/64, 20/64, (20 − 4)/64.
        for (v, expected) in factor.variances(&[2, 0, 1]).iter().zip([16.0, 21.0, 20.0]) {
            assert!((v - expected / 64.0).abs() < 1e-15);
        }
        let mut b = vec![8.0, 18.0, 19.0, 4.0, 2.0, 0.0];
        factor.solve(&mut b);
        for (x, expected) in b.iter().zip([1.0, 2.0, 3.0, 1.0, 0.0, 0.0]) {
            assert!((x - expected).abs() < 1e-12);
        }
        values[0] = -4.0;
        assert!(pattern.factor(&values).is_none());
        values[0] = f64::NAN;
        assert!(pattern.factor(&values).is_none());
        assert!(Pattern::new(0, []).is_none() && Pattern::new(2, [(2, 0)]).is_none());
    }

    #[test]
    fn a_large_matrix_with_dense_parts() {
        // A path of 400 nodes, three of them linked to all: determinant against elimination without sparsity.
        let n = 400;
        let mut entries: Vec<(usize, usize, f64)> = Vec::new();
        for i in 0..n {
            entries.push((i, i, 4.0 + (i % 7) as f64));
            if i + 1 < n {
                entries.push((i + 1, i, -1.0));
            }
            for hub in [n - 1, n - 3, n - 2] {
                if i + 1 < hub {
                    entries.push((hub, i, 0.01 * (1 + i % 5) as f64));
                }
            }
        }
        let pattern = Pattern::new(n, entries.iter().map(|e| (e.0, e.1))).unwrap();
        let mut values = vec![0.0; pattern.len()];
        let mut dense = vec![0.0; n * n];
        for &(i, j, v) in &entries {
            values[pattern.index(i, j).unwrap()] += v;
            dense[i * n + j] += v;
            if i != j {
                dense[j * n + i] += v;
            }
        }
        let whole = dense.clone();
        let mut log = 0.0;
        for k in 0..n {
            log += dense[k * n + k].ln();
            for i in k + 1..n {
                let f = dense[i * n + k] / dense[k * n + k];
                for j in k..n {
                    dense[i * n + j] -= f * dense[k * n + j];
                }
            }
        }
        let factor = pattern.factor(&values).unwrap();
        assert!((factor.log_determinant() - log).abs() < 1e-9);
        let x: Vec<f64> = (0..n).map(|i| (i as f64).sin()).collect();
        let mut b: Vec<f64> = (0..n)
            .map(|i| (0..n).map(|j| whole[i * n + j] * x[j]).sum())
            .collect();
        factor.solve(&mut b);
        assert!(b.iter().zip(&x).all(|(a, b)| (a - b).abs() < 1e-10));
    }
}
