//! Sparse symmetric positive definite systems: solutions and the determinant by Cholesky (the `faer` library).

mod half;

use std::borrow::Cow;
use std::sync::Mutex;

use faer::dyn_stack::{MemBuffer, MemStack, StackReq};
use faer::linalg::cholesky::llt::factor::LltRegularization;
use faer::sparse::linalg::SupernodalThreshold;
use faer::sparse::linalg::cholesky::simplicial::{
    factorize_simplicial_numeric_llt, factorize_simplicial_numeric_llt_scratch,
};
use faer::sparse::linalg::cholesky::supernodal::{
    SupernodalLltRef, factorize_supernodal_numeric_llt, factorize_supernodal_numeric_llt_scratch,
};
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, LltRef, SymbolicCholesky, SymbolicCholeskyRaw, SymmetricOrdering,
    factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMat, SymbolicSparseColMatRef};
use faer::{Conj, MatMut, Par, Side, Spec};

/// From so many operations an entry of the factor on, in `faer`'s unit of 40, it is factored in blocks (our choice). What is
/// pooled (1,200 unknowns, loads of a field tied to each other) takes three quarters of the time so; a plain lattice of 2,700
/// nodes, which has 18 operations an entry, twice as long.
const BLOCKS_FROM: SupernodalThreshold = SupernodalThreshold(0.5);

/// Factors whose memory a pattern keeps for the next (our choice: a search holds the best and the one at hand).
const SPARE: usize = 2;

/// Places of rows and entries: half the memory of `usize`, and no system has so many.
type Place = u32;

/// The places of a symmetric matrix's entries, each pair once, with the order in which they are eliminated.
/// Matrices with other values in the same places share it.
#[derive(Debug)]
pub struct Pattern {
    order: usize,
    /// The entries in the order of elimination: the triangle that `faer` asks for then, which spares it to put them into
    /// that order for each matrix (a tenth of the time of factoring).
    entries: SymbolicSparseColMat<Place>,
    symbolic: SymbolicCholesky<Place>,
    /// Working memory of factoring.
    need: StackReq,
    /// Memory of factors that are gone, for the next, and of how many it is kept.
    spare: Mutex<Vec<Vec<f64>>>,
    keeps: usize,
}

impl Pattern {
    /// A pattern from the places of entries, (row, column) in any order, repeated or mirrored ones counting once. Every
    /// diagonal entry is there. `None` where the system is empty or too large.
    pub fn new(order: usize, places: impl IntoIterator<Item = (usize, usize)>) -> Option<Self> {
        let most = Place::try_from(order).ok().filter(|n| *n > 0)?;
        let place = |i: usize| Place::try_from(i).ok().filter(|i| *i < most);
        let all: Option<Vec<(Place, Place)>> = (places.into_iter())
            .map(|(i, j)| Some((place(i.min(j))?, place(i.max(j))?)))
            .chain((0..most).map(|i| Some((i, i))))
            .collect();
        let all = all?;
        Place::try_from(all.len()).ok()?;
        let (starts, rows) = columns(order, &all);
        drop(all);
        let symbolic = factorize_symbolic_cholesky(
            SymbolicSparseColMatRef::new_checked(order, order, &starts, None, &rows),
            Side::Lower,
            SymmetricOrdering::Amd,
            CholeskySymbolicParams {
                supernodal_flop_ratio_threshold: BLOCKS_FROM,
                ..CholeskySymbolicParams::default()
            },
        )
        .ok()?;
        let mut places = Vec::with_capacity(rows.len());
        for (column, ends) in starts.windows(2).enumerate() {
            for &row in &rows[ends[0] as usize..ends[1] as usize] {
                places.push(placed(&symbolic, column, row as usize));
            }
        }
        let (starts, rows) = columns(order, &places);
        let need = match symbolic.raw() {
            SymbolicCholeskyRaw::Simplicial(_) => {
                factorize_simplicial_numeric_llt_scratch::<Place, f64>(order)
            }
            SymbolicCholeskyRaw::Supernodal(of) => {
                let params = Spec::default();
                factorize_supernodal_numeric_llt_scratch::<Place, f64>(of, Par::Seq, params)
            }
        };
        Some(Self {
            order,
            entries: SymbolicSparseColMat::new_checked(order, order, starts, None, rows),
            symbolic,
            need,
            spare: Mutex::default(),
            keeps: SPARE,
        })
    }

    /// The same pattern, which keeps no memory of factors: for many patterns at once.
    pub fn without_spare(self) -> Self {
        Self { keeps: 0, ..self }
    }

    /// Rows (and columns) of the matrix.
    pub fn order(&self) -> usize {
        self.order
    }

    /// Entries, each pair once: the length of the values.
    pub fn len(&self) -> usize {
        self.entries.row_idx().len()
    }

    /// Whether there are no entries: never.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Index of an entry among the values; `None` where the pattern has none.
    pub fn index(&self, i: usize, j: usize) -> Option<usize> {
        if i.max(j) >= self.order {
            return None;
        }
        let (column, row) = placed(&self.symbolic, i, j);
        let starts = self.entries.col_ptr();
        let from = starts[column as usize] as usize;
        let to = starts[column as usize + 1] as usize;
        self.entries.row_idx()[from..to]
            .binary_search(&row)
            .ok()
            .map(|k| from + k)
    }

    /// Factors the matrix with these values, in the order of [`Pattern::index`]. `None` where it is not positive definite.
    ///
    /// # Panics
    /// If there are not as many values as entries.
    pub fn factor(&self, values: &[f64]) -> Option<Factor<'_>> {
        assert_eq!(values.len(), self.len(), "a value for every entry");
        if values.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let matrix = SparseColMatRef::new(self.entries.as_ref(), values);
        let spare = self.spare.lock().ok().and_then(|mut all| all.pop());
        let mut numeric = spare.unwrap_or_else(|| vec![0.0; self.symbolic.len_val()]);
        let mut memory = MemBuffer::try_new(self.need).ok()?;
        let memory = MemStack::new(&mut memory);
        let plain = LltRegularization::default();
        match self.symbolic.raw() {
            SymbolicCholeskyRaw::Simplicial(of) => {
                factorize_simplicial_numeric_llt(&mut numeric, matrix, plain, of, memory)
            }
            SymbolicCholeskyRaw::Supernodal(of) => {
                let (par, params) = (Par::Seq, Spec::default());
                factorize_supernodal_numeric_llt(
                    &mut numeric,
                    matrix,
                    plain,
                    of,
                    par,
                    memory,
                    params,
                )
            }
        }
        .ok()?;
        Some(Factor {
            pattern: self,
            numeric,
        })
    }
}

/// Where an unknown stands in the order of elimination.
fn eliminated(symbolic: &SymbolicCholesky<Place>, unknown: usize) -> Place {
    let order = symbolic.perm();
    order.map_or(unknown as Place, |p| p.arrays().1[unknown])
}

/// Column and row of an entry in the order of elimination: in the lower triangle for factors in blocks, else in the upper.
fn placed(symbolic: &SymbolicCholesky<Place>, i: usize, j: usize) -> (Place, Place) {
    let (i, j) = (eliminated(symbolic, i), eliminated(symbolic, j));
    match symbolic.raw() {
        SymbolicCholeskyRaw::Simplicial(_) => (i.max(j), i.min(j)),
        SymbolicCholeskyRaw::Supernodal(_) => (i.min(j), i.max(j)),
    }
}

/// Where the entries of each column start (one more than columns), and their rows, ascending and each once, from places
/// (column, row): a column at a time, because to sort all of them takes several times as long.
fn columns(order: usize, places: &[(Place, Place)]) -> (Vec<Place>, Vec<Place>) {
    let mut ends = vec![0; order];
    places.iter().for_each(|p| ends[p.0 as usize] += 1);
    let mut sum: Place = 0;
    for end in &mut ends {
        sum += std::mem::replace(end, sum);
    }
    let mut all = vec![0; places.len()];
    for &(column, row) in places {
        let end = &mut ends[column as usize];
        all[*end as usize] = row;
        *end += 1;
    }
    // Rows move to the front as repeated ones drop out.
    let mut starts = vec![0; order + 1];
    let (mut from, mut kept) = (0, 0);
    for (column, &end) in ends.iter().enumerate() {
        let end = end as usize;
        all[from..end].sort_unstable();
        for k in from..end {
            if kept == starts[column] as usize || all[k] != all[kept - 1] {
                all[kept] = all[k];
                kept += 1;
            }
        }
        starts[column + 1] = kept as Place;
        from = end;
    }
    all.truncate(kept);
    all.shrink_to_fit();
    (starts, all)
}

/// A lower triangle column by column: where each starts (one more than columns), rows (the diagonal's first, ascending) and
/// values.
struct Columns<'a> {
    starts: Cow<'a, [Place]>,
    rows: Cow<'a, [Place]>,
    values: Cow<'a, [f64]>,
}

/// A factored matrix.
#[derive(Debug)]
pub struct Factor<'a> {
    pattern: &'a Pattern,
    numeric: Vec<f64>,
}

impl Drop for Factor<'_> {
    fn drop(&mut self) {
        if let Ok(mut spare) = self.pattern.spare.lock()
            && spare.len() < self.pattern.keeps
        {
            spare.push(std::mem::take(&mut self.numeric));
        }
    }
}

impl Factor<'_> {
    /// Logarithm of the matrix's determinant.
    pub fn log_determinant(&self) -> f64 {
        let mut sum = 0.0;
        match self.pattern.symbolic.raw() {
            SymbolicCholeskyRaw::Simplicial(symbolic) => {
                for j in 0..self.pattern.order {
                    sum += self.numeric[symbolic.col_ptr()[j] as usize].ln();
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

    /// Diagonal of the inverse: variances, where the matrix is a precision. Entries of the inverse in the places of the
    /// factor's follow from the last column to the first (Takahashi, Fagan & Chen 1973; Erisman & Tinney 1975, Commun. ACM
    /// 18:177), in about the time of factoring; to solve for a column each takes that time as often as there are columns.
    pub fn variances(&self) -> Vec<f64> {
        let Columns {
            starts,
            rows,
            values,
        } = self.columns();
        let n = self.pattern.order;
        let column = |j: usize| starts[j] as usize..starts[j + 1] as usize;
        let mut inverse = vec![0.0; values.len()];
        // Where a row stands in the column at hand, below its diagonal.
        let mut place = vec![Place::MAX; n];
        let mut sums: Vec<f64> = Vec::new();
        for j in (0..n).rev() {
            let (from, to) = (column(j).start, column(j).end);
            let (below, of_below) = (&rows[from + 1..to], &values[from + 1..to]);
            sums.clear();
            sums.resize(below.len(), 0.0);
            for (k, &row) in (0..).zip(below) {
                place[row as usize] = k;
            }
            for (k, &row) in below.iter().enumerate() {
                let first = column(row as usize).start;
                sums[k] += inverse[first] * of_below[k];
                let others = first + 1..column(row as usize).end;
                for (at, &other) in others.clone().zip(&rows[others]) {
                    let o = place[other as usize];
                    if o != Place::MAX {
                        sums[k] += inverse[at] * of_below[o as usize];
                        sums[o as usize] += inverse[at] * of_below[k];
                    }
                }
            }
            let diagonal = values[from];
            let mut own = 1.0 / diagonal;
            for (k, &row) in below.iter().enumerate() {
                place[row as usize] = Place::MAX;
                let entry = -sums[k] / diagonal;
                inverse[from + 1 + k] = entry;
                own -= of_below[k] * entry;
            }
            inverse[from] = own / diagonal;
        }
        (0..n)
            .map(|i| inverse[column(self.place(i)).start])
            .collect()
    }

    /// Where an unknown stands in the order of elimination.
    fn place(&self, unknown: usize) -> usize {
        eliminated(&self.pattern.symbolic, unknown) as usize
    }

    /// The factor column by column.
    fn columns(&self) -> Columns<'_> {
        match self.pattern.symbolic.raw() {
            SymbolicCholeskyRaw::Simplicial(symbolic) => Columns {
                starts: symbolic.col_ptr().into(),
                rows: symbolic.row_idx().into(),
                values: (&self.numeric[..]).into(),
            },
            SymbolicCholeskyRaw::Supernodal(symbolic) => {
                let factor = SupernodalLltRef::new(symbolic, &self.numeric);
                let (mut starts, mut rows, mut values) = (vec![0], Vec::new(), Vec::new());
                for s in 0..symbolic.n_supernodes() {
                    let node = factor.supernode(s);
                    let block = node.val();
                    let columns = node.start() as Place..(node.start() + block.ncols()) as Place;
                    for j in 0..block.ncols() {
                        rows.extend(
                            columns
                                .clone()
                                .skip(j)
                                .chain(node.pattern().iter().copied()),
                        );
                        values.extend((j..block.nrows()).map(|i| block[(i, j)]));
                        starts.push(rows.len() as Place);
                    }
                }
                Columns {
                    starts: starts.into(),
                    rows: rows.into(),
                    values: values.into(),
                }
            }
        }
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
        for (v, expected) in factor.variances().iter().zip([21.0, 20.0, 16.0]) {
            assert!((v - expected / 64.0).abs() < 1e-15);
        }
        // (0, 1, −2)·A⁻¹·(0, 1, −2)ᵀ with the inverse's entries 20/64, 16/64 and −8/64.
        let q = factor.quadratic(&[(2, -2.0), (1, 1.0)]);
        assert!((q - (20.0 + 4.0 * 16.0 + 4.0 * 8.0) / 64.0).abs() < 1e-14);
        assert!((factor.quadratic_of_all(&[0.0, 1.0, -2.0]) - q).abs() < 1e-14);
        let block = factor.covariances(1..3);
        for (v, expected) in block.iter().zip([20.0, -8.0, -8.0, 16.0]) {
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
        let all = factor.variances();
        for k in [0, 1, 57, 200, 396, 397, 399] {
            let mut side = vec![0.0; n];
            side[k] = 1.0;
            let q = factor.quadratic(&[(k, 1.0)]);
            factor.solve(&mut side);
            assert!(
                (all[k] - side[k]).abs() < 1e-12 && (q - side[k]).abs() < 1e-12,
                "{k}"
            );
        }
    }

    #[test]
    fn variances_of_a_matrix_that_is_factored_in_blocks() {
        // A lattice of 45 × 45 nodes, each tied to those up to three away: dense enough for blocks.
        let (side, mut entries) = (45, Vec::new());
        for (i, j) in (0..side).flat_map(|i| (0..side).map(move |j| (i, j))) {
            entries.push((i * side + j, i * side + j, 30.0));
            for (a, b) in (0..=3).flat_map(|a| (-3..=3).map(move |b| (a, b))) {
                let (k, l) = (i + a, j as i32 + b);
                if (a, b) > (0, 0) && k < side && (0..side as i32).contains(&l) {
                    entries.push((k * side + l as usize, i * side + j, -0.4 - 0.1 * b as f64));
                }
            }
        }
        let n = side * side;
        let pattern = Pattern::new(n, entries.iter().map(|e| (e.0, e.1))).unwrap();
        let is_blocked = matches!(pattern.symbolic.raw(), SymbolicCholeskyRaw::Supernodal(_));
        assert!(is_blocked);
        let mut values = vec![0.0; pattern.len()];
        for (i, j, v) in entries {
            values[pattern.index(i, j).unwrap()] += v;
        }
        // A factor in memory that another one left.
        drop(pattern.factor(&values));
        let factor = pattern.factor(&values).unwrap();
        let all = factor.variances();
        for k in [0, 39, 820, 1599] {
            let mut side = vec![0.0; n];
            side[k] = 1.0;
            factor.solve(&mut side);
            assert!((all[k] - side[k]).abs() < 1e-12, "{k}");
            assert!((factor.quadratic(&[(k, 1.0)]) - side[k]).abs() < 1e-12);
            let block = factor.covariances(k..k + 3);
            assert!((0..3).all(|i| (block[i] - side[k + i]).abs() < 1e-12));
            let mut solved = side.clone();
            factor.solve(&mut solved);
            let expected: f64 = side.iter().zip(&solved).map(|(a, b)| a * b).sum();
            assert!((factor.quadratic_of_all(&side) - expected).abs() < 1e-12 * expected);
        }
    }
}
