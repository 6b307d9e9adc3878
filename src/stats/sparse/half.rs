//! Half solutions L⁻¹b: products b'A⁻¹c for less than whole ones.

use std::ops::Range;

use faer::linalg::matmul::matmul;
use faer::sparse::linalg::cholesky::SymbolicCholeskyRaw;
use faer::{Accum, MatMut, MatRef, Par};

use super::Factor;

impl Factor<'_> {
    /// v'A⁻¹v of a sparse vector v, given as (place, value): by half a solution, which starts at the first of its places.
    pub fn quadratic(&self, vector: &[(usize, f64)]) -> f64 {
        let mut x = vec![0.0; self.pattern.order];
        let mut first = x.len();
        for &(place, value) in vector {
            let place = self.place(place);
            x[place] += value;
            first = first.min(place);
        }
        self.forward(first, &mut x);
        x.iter().map(|v| v * v).sum()
    }

    /// The same of a vector with a value for every unknown.
    ///
    /// # Panics
    /// If there are not as many values as unknowns.
    pub fn quadratic_of_all(&self, vector: &[f64]) -> f64 {
        let mut x = vec![0.0; self.pattern.order];
        assert_eq!(vector.len(), x.len(), "a value for every unknown");
        for (unknown, &value) in vector.iter().enumerate() {
            x[self.place(unknown)] = value;
        }
        self.forward(0, &mut x);
        x.iter().map(|v| v * v).sum()
    }

    /// The inverse's block of some unknowns, column by column: their covariances, where the matrix is a precision. Of half
    /// solutions as well, which are short where unknowns are eliminated late, as those are that many others are tied to.
    pub fn covariances(&self, unknowns: Range<usize>) -> Vec<f64> {
        let (n, order) = (unknowns.len(), self.pattern.order);
        let start = unknowns.clone().map(|u| self.place(u)).min();
        let start = start.unwrap_or(order);
        let mut halves = vec![0.0; order * n];
        for (u, half) in unknowns.zip(halves.chunks_exact_mut(order)) {
            let place = self.place(u);
            half[place] = 1.0;
            self.forward(place, half);
        }
        let halves = MatRef::from_column_major_slice(&halves, order, n);
        let halves = halves.subrows(start, order - start);
        let mut out = vec![0.0; n * n];
        let of = MatMut::from_column_major_slice_mut(&mut out, n, n);
        matmul(
            of,
            Accum::Replace,
            halves.transpose(),
            halves,
            1.0,
            Par::Seq,
        );
        out
    }

    /// Solves Lx = b in place from a place on, above which b is 0.
    fn forward(&self, first: usize, x: &mut [f64]) {
        match self.pattern.symbolic.raw() {
            SymbolicCholeskyRaw::Simplicial(symbolic) => {
                let (starts, rows) = (symbolic.col_ptr(), symbolic.row_idx());
                for j in first..x.len() {
                    let (from, to) = (starts[j] as usize, starts[j + 1] as usize);
                    if x[j] == 0.0 {
                        continue;
                    }
                    let v = x[j] / self.numeric[from];
                    x[j] = v;
                    for (&row, l) in rows[from + 1..to].iter().zip(&self.numeric[from + 1..to]) {
                        x[row as usize] -= l * v;
                    }
                }
            }
            SymbolicCholeskyRaw::Supernodal(symbolic) => {
                let values = symbolic.col_ptr_for_val();
                let (begins, ends) = (symbolic.supernode_begin(), symbolic.supernode_end());
                let skipped = ends.partition_point(|&end| end as usize <= first);
                let mut sums: Vec<f64> = Vec::new();
                for s in skipped..begins.len() {
                    let rows = symbolic.supernode(s).pattern();
                    let (start, end) = (begins[s] as usize, ends[s] as usize);
                    let height = end - start + rows.len();
                    let block = &self.numeric[values[s] as usize..values[s + 1] as usize];
                    // What a block takes from the rows below is summed up first: those stand apart from each other.
                    sums.clear();
                    sums.resize(rows.len(), 0.0);
                    for (j, column) in block.chunks_exact(height).enumerate() {
                        let (own, below) = column.split_at(end - start);
                        let x = &mut x[start + j..end];
                        if x[0] == 0.0 {
                            continue;
                        }
                        let v = x[0] / own[j];
                        x[0] = v;
                        (x[1..].iter_mut().zip(&own[j + 1..])).for_each(|(x, l)| *x -= l * v);
                        (sums.iter_mut().zip(below)).for_each(|(sum, l)| *sum += l * v);
                    }
                    for (&row, sum) in rows.iter().zip(&sums) {
                        x[row as usize] -= sum;
                    }
                }
            }
        }
    }
}
