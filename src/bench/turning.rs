//! The axis about which a body turned between set-ups.

use nalgebra::{Matrix3, Vector3};

use crate::math::rigid::log;
use crate::scene::State;

/// A straight axis in the world frame.
#[derive(Clone, Copy, Debug)]
pub struct Axis {
    /// Unit vector.
    pub direction: Vector3<f64>,
    /// A point on it.
    pub point: Vector3<f64>,
    /// The largest turn between two set-ups, radians, 0 .. pi.
    pub turn: f64,
}

/// A turn smaller than this (radians; 20 degrees) tells no axis worth having.
pub const LEAST_TURN: f64 = 0.35;

/// The axis that takes the body from its first set-up to the others: the direction is the mean of the turns' axes weighted with 1 - cos of
/// the turn, the point solves (I - R) c = t with the part of t along the axis (end float) left out. None if the body did not turn.
///
/// `toward` says which way the direction shall point.
pub fn turning_axis(state: &State, kind: u8, toward: &Vector3<f64>) -> Option<Axis> {
    let bodies: Vec<_> = state.bodies.iter().filter(|body| body.kind == kind).collect();
    let mut sum = Vector3::zeros();
    let mut most = 0.0_f64;
    // Every pair of set-ups tells an axis; with three set-ups the weak turns count little.
    for (i, a) in bodies.iter().enumerate() {
        for b in &bodies[i + 1..] {
            let motion = b.world_from_body.then(&a.world_from_body.inverse());
            let w = log(&motion.r);
            let angle = w.norm();
            if angle < LEAST_TURN {
                continue;
            }
            let axis = if w.dot(toward) < 0.0 { -w } else { w } / angle;
            sum += axis * (1.0 - angle.cos());
            most = most.max(angle);
        }
    }
    if !(sum.norm() > 0.0) {
        return None;
    }
    let direction = sum.normalize();
    let along = direction * direction.transpose();
    let mut normal: Matrix3<f64> = along;
    let mut right = Vector3::zeros();
    for (i, a) in bodies.iter().enumerate() {
        for b in &bodies[i + 1..] {
            let motion = b.world_from_body.then(&a.world_from_body.inverse());
            if log(&motion.r).norm() < LEAST_TURN {
                continue;
            }
            let m = Matrix3::identity() - motion.r;
            let across = motion.t - along * motion.t;
            normal += m.transpose() * m;
            right += m.transpose() * across;
        }
    }
    let point = normal.try_inverse()? * right;
    Some(Axis { direction, point, turn: most })
}

impl Axis {
    /// The point of the axis level with `p` along it.
    pub fn foot(&self, p: &Vector3<f64>) -> Vector3<f64> {
        self.point + self.direction * (p - self.point).dot(&self.direction)
    }
}
