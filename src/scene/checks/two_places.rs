//! One thing at two places: how far they lie apart, against what the covariance of their difference
//! allows.

use nalgebra::{DMatrix, Matrix6, Vector3, Vector6};

use crate::math::Rigid;
use crate::math::rigid::log;
use crate::scene::model::unknowns::FIXED;

/// How one place differs from another.
pub struct TwoPlaces {
    /// Rotation vector, radians, and shift, mm.
    pub turn: Vector3<f64>,
    pub shift: Vector3<f64>,
    covariance: Matrix6<f64>,
}

impl TwoPlaces {
    /// Of two poses, given where their six unknowns begin among the kept ones and the covariance of
    /// those. The first may be [`FIXED`].
    pub fn of([a, b]: [Rigid; 2], [old, new]: [usize; 2], covariance: &DMatrix<f64>) -> Self {
        let covariance = Matrix6::from_fn(|i, j| {
            let of_new = covariance[(new + i, new + j)];
            if old == FIXED {
                return of_new;
            }
            of_new + covariance[(old + i, old + j)]
                - covariance[(new + i, old + j)]
                - covariance[(old + i, new + j)]
        });
        Self { turn: log(&(b.r * a.r.transpose())), shift: b.t - a.t, covariance }
    }

    /// Squared distance over its covariance, for each of the six unknowns.
    pub fn significance(&self) -> Option<f64> {
        let (turn, shift) = (self.turn, self.shift);
        let moved = Vector6::new(turn.x, turn.y, turn.z, shift.x, shift.y, shift.z);
        let significance = moved.dot(&(self.covariance.try_inverse()? * moved)) / 6.0;
        significance.is_finite().then_some(significance)
    }
}
