//! Small systems of normal equations, solved in place: matrices of fixed size, without
//! views or allocations.

use nalgebra::{SMatrix, SVector};

/// The lower triangular L of a symmetric positive definite matrix L L^T.
#[derive(Clone, Copy, Debug)]
pub struct Cholesky<const N: usize> {
    lower: [[f64; N]; N],
    /// One over each diagonal element of L.
    inverse: [f64; N],
}

impl<const N: usize> Cholesky<N> {
    /// Uses the lower triangle alone; None when the matrix is not positive definite.
    #[inline]
    pub fn new(matrix: &SMatrix<f64, N, N>) -> Option<Self> {
        let (mut lower, mut inverse) = ([[0.0; N]; N], [0.0; N]);
        for i in 0..N {
            for j in 0..=i {
                let mut rest = matrix[(i, j)];
                for (a, b) in lower[i][..j].iter().zip(&lower[j][..j]) {
                    rest -= a * b;
                }
                if i > j {
                    lower[i][j] = rest * inverse[j];
                } else if rest > 0.0 {
                    lower[i][i] = rest.sqrt();
                    inverse[i] = 1.0 / lower[i][i];
                } else {
                    return None;
                }
            }
        }
        Some(Self { lower, inverse })
    }

    /// The x with L L^T x = right.
    #[inline]
    pub fn solve(&self, right: &SVector<f64, N>) -> SVector<f64, N> {
        let mut x = *right;
        for i in 0..N {
            let mut rest = x[i];
            for k in 0..i {
                rest -= self.lower[i][k] * x[k];
            }
            x[i] = rest * self.inverse[i];
        }
        for i in (0..N).rev() {
            let mut rest = x[i];
            for k in i + 1..N {
                rest -= self.lower[k][i] * x[k];
            }
            x[i] = rest * self.inverse[i];
        }
        x
    }
}
