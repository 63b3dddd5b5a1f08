//! The axis about which a body turned between set-ups.

use nalgebra::{Matrix3, Vector3};

use crate::math::Rigid;
use crate::math::rigid::{any_normal, log};
use crate::scene::State;
use crate::scene::model::state::TurningPart;

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

/// A turn smaller than this (radians; 20 degrees) gives no axis worth having.
pub const LEAST_TURN: f64 = 0.35;

/// The axis that takes the body from its first set-up to the others: the direction is the mean of
/// the turns' axes weighted with 1 - cos of the turn, the point solves (I - R) c = t with the part
/// of t along the axis (end float) left out. None if the body did not turn.
///
/// `toward` says which way the direction shall point.
pub fn turning_axis(state: &State, part: TurningPart, toward: &Vector3<f64>) -> Option<Axis> {
    axis_of(&poses(state, part), toward)
}

/// The axis that one pair of set-ups gives alone, by the indices that [`turned_pairs`] gives.
pub fn pair_axis(
    state: &State,
    part: TurningPart,
    (a, b): (usize, usize),
    toward: &Vector3<f64>,
) -> Option<Axis> {
    let poses = poses(state, part);
    axis_of(&[*poses.get(a)?, *poses.get(b)?], toward)
}

/// Every pair of set-ups between which the body turned far enough to tell an axis.
pub fn turned_pairs(state: &State, part: TurningPart) -> Vec<(usize, usize)> {
    let poses = poses(state, part);
    let pairs = (0..poses.len()).flat_map(|a| (a + 1..poses.len()).map(move |b| (a, b)));
    pairs.filter(|&(a, b)| log(&motion(poses[a], poses[b]).r).norm() >= LEAST_TURN).collect()
}

/// Where the body stands in each of its set-ups, in order. Where it was moved in the middle of one,
/// its first place there counts.
fn poses(state: &State, part: TurningPart) -> Vec<&Rigid> {
    let in_order = state.bodies.iter().enumerate();
    let own = in_order
        .filter(|(idx, body)| body.part == part && state.body(part, body.setup) == Some(*idx));
    own.map(|(_, body)| &body.world_from_body).collect()
}

/// How the body went from stand `a` to stand `b`, in the world.
fn motion(a: &Rigid, b: &Rigid) -> Rigid {
    b.then(&a.inverse())
}

fn axis_of(poses: &[&Rigid], toward: &Vector3<f64>) -> Option<Axis> {
    let mut sum = Vector3::zeros();
    let mut most = 0.0_f64;
    let mut motions = Vec::new();
    // Every pair of set-ups gives an axis; with three set-ups the weak turns count little.
    for (i, a) in poses.iter().enumerate() {
        for b in &poses[i + 1..] {
            let motion = motion(a, b);
            let w = log(&motion.r);
            let angle = w.norm();
            if angle < LEAST_TURN {
                continue;
            }
            let axis = if w.dot(toward) < 0.0 { -w } else { w } / angle;
            sum += axis * (1.0 - angle.cos());
            most = most.max(angle);
            motions.push(motion);
        }
    }
    if !(sum.norm() > 0.0) {
        return None;
    }
    let direction = sum.normalize();
    let along = direction * direction.transpose();
    let mut normal: Matrix3<f64> = along;
    let mut right = Vector3::zeros();
    for motion in motions {
        let m = Matrix3::identity() - motion.r;
        let across = motion.t - along * motion.t;
        normal += m.transpose() * m;
        right += m.transpose() * across;
    }
    let point = normal.try_inverse()? * right;
    Some(Axis { direction, point, turn: most })
}

/// How far apart along an axis the body stands in its set-ups, from one end to the other, mm.
pub fn float_along(state: &State, part: TurningPart, axis: &Axis) -> f64 {
    let poses = poses(state, part);
    let Some(first) = poses.first() else { return 0.0 };
    let along = |stand: &&Rigid| {
        (motion(first, stand).apply(&axis.point) - axis.point).dot(&axis.direction)
    };
    let (low, high) =
        poses.iter().map(along).fold((0.0f64, 0.0f64), |(low, high), s| (low.min(s), high.max(s)));
    high - low
}

impl Axis {
    /// The point of the axis level with `p` along it.
    pub fn foot(&self, p: &Vector3<f64>) -> Vector3<f64> {
        self.point + self.direction * (p - self.point).dot(&self.direction)
    }

    /// The same axis tilted and shifted in two directions square to it, degrees and mm.
    pub fn moved(&self, tilt_deg: [f64; 2], shift_mm: [f64; 2]) -> Self {
        if [tilt_deg, shift_mm].iter().flatten().all(|by| *by == 0.0) {
            return *self;
        }
        let e1 = any_normal(&self.direction);
        let e2 = self.direction.cross(&e1);
        let tilt = e1 * tilt_deg[0].to_radians() + e2 * tilt_deg[1].to_radians();
        let shift = e1 * shift_mm[0] + e2 * shift_mm[1];
        Self { direction: (self.direction + tilt).normalize(), point: self.point + shift, ..*self }
    }
}
