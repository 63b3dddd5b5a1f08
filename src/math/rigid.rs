//! Rigid motions. A motion named `a_from_b` takes a point's coordinates in frame b to frame a: x_a
//! = R x_b + t.

use nalgebra::{Matrix3, Vector3};

/// A rotation followed by a shift.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rigid {
    pub r: Matrix3<f64>,
    pub t: Vector3<f64>,
}

impl Rigid {
    pub fn identity() -> Self {
        Self { r: Matrix3::identity(), t: Vector3::zeros() }
    }

    pub fn new(r: Matrix3<f64>, t: Vector3<f64>) -> Self {
        Self { r, t }
    }

    /// x_a of a point given in b.
    pub fn apply(&self, p: &Vector3<f64>) -> Vector3<f64> {
        self.r * p + self.t
    }

    /// `b_from_a`.
    pub fn inverse(&self) -> Self {
        let r = self.r.transpose();
        Self { r, t: -(r * self.t) }
    }

    /// `a_from_c` = `a_from_b` then `b_from_c`.
    pub fn then(&self, b_from_c: &Self) -> Self {
        Self { r: self.r * b_from_c.r, t: self.r * b_from_c.t + self.t }
    }

    /// The motion after a small turn `w` (rotation vector, radians, in frame a) about the frame's
    /// own origin and a shift `dt`: R <- exp(w^) R, t <- t + dt.
    pub fn nudged(&self, w: &Vector3<f64>, dt: &Vector3<f64>) -> Self {
        Self { r: orthonormal(&(exp(w) * self.r)), t: self.t + dt }
    }
}

/// The cross-product matrix: skew(v) u = v x u.
pub fn skew(v: &Vector3<f64>) -> Matrix3<f64> {
    Matrix3::new(0.0, -v.z, v.y, v.z, 0.0, -v.x, -v.y, v.x, 0.0)
}

/// Rotation matrix of a rotation vector (Rodrigues).
pub fn exp(w: &Vector3<f64>) -> Matrix3<f64> {
    nalgebra::Rotation3::from_scaled_axis(*w).into_inner()
}

/// Rotation vector of a rotation matrix; its length lies in 0 .. pi.
pub fn log(r: &Matrix3<f64>) -> Vector3<f64> {
    let cos = ((r.trace() - 1.0) / 2.0).clamp(-1.0, 1.0);
    let angle = cos.acos();
    let odd = Vector3::new(r[(2, 1)] - r[(1, 2)], r[(0, 2)] - r[(2, 0)], r[(1, 0)] - r[(0, 1)]);
    if angle < 1e-6 {
        return odd / 2.0;
    }
    if std::f64::consts::PI - angle > 1e-3 {
        return odd * (angle / (2.0 * angle.sin()));
    }
    // Near half a turn the odd part vanishes; the even part, (R + R^T) / 2 - cos I = (1 - cos) a
    // a^T, carries the axis.
    let even = (r + r.transpose()) / 2.0 - Matrix3::identity() * cos;
    let column = (0..3).max_by(|&i, &j| even[(i, i)].total_cmp(&even[(j, j)])).unwrap_or(0);
    let mut axis = even.column(column).into_owned();
    axis /= axis.norm().max(f64::MIN_POSITIVE);
    if axis.dot(&odd) < 0.0 {
        axis = -axis;
    }
    // |odd| = 2 sin(angle) gives the angle better than the cosine does here.
    axis * (std::f64::consts::PI - (odd.norm() / 2.0).clamp(0.0, 1.0).asin())
}

/// The nearest rotation to a matrix that is almost one.
pub fn orthonormal(m: &Matrix3<f64>) -> Matrix3<f64> {
    // One Newton step of the polar decomposition is exact to rounding for matrices that a product
    // has let drift.
    let corrected = m * (Matrix3::identity() * 1.5 - m.transpose() * m * 0.5);
    if (corrected.transpose() * corrected - Matrix3::identity()).amax() < 1e-9 {
        return corrected;
    }
    nearest_rotation(m)
}

/// The rotation nearest to any matrix, by singular values (Frobenius norm); the identity if the
/// matrix has no direction.
pub fn nearest_rotation(m: &Matrix3<f64>) -> Matrix3<f64> {
    let svd = m.svd(true, true);
    let (Some(u), Some(v_t)) = (svd.u, svd.v_t) else { return Matrix3::identity() };
    let mut flip = Matrix3::identity();
    flip[(2, 2)] = (u * v_t).determinant().signum();
    u * flip * v_t
}

/// The motion that takes points `b` best onto points `a` (least squares; Kabsch 1976, Umeyama 1991
/// without scale). None with fewer than three points or when they lie on a line.
pub fn fit_rigid(a: &[Vector3<f64>], b: &[Vector3<f64>]) -> Option<Rigid> {
    if a.len() != b.len() || a.len() < 3 {
        return None;
    }
    let n = a.len() as f64;
    let mean_a = a.iter().sum::<Vector3<f64>>() / n;
    let mean_b = b.iter().sum::<Vector3<f64>>() / n;
    let mut spread = Matrix3::zeros();
    for (p, q) in a.iter().zip(b) {
        spread += (p - mean_a) * (q - mean_b).transpose();
    }
    let values = spread.singular_values();
    let mut sorted = [values[0], values[1], values[2]];
    sorted.sort_by(f64::total_cmp);
    if !(sorted[1] > 1e-12 * sorted[2].max(f64::MIN_POSITIVE)) {
        return None;
    }
    let r = nearest_rotation(&spread);
    Some(Rigid { r, t: mean_a - r * mean_b })
}

/// Any unit vector at right angles to `v`.
pub fn any_normal(v: &Vector3<f64>) -> Vector3<f64> {
    let smallest = v.iamin();
    let mut e = Vector3::zeros();
    e[smallest] = 1.0;
    let n = v.cross(&e);
    n / n.norm().max(f64::MIN_POSITIVE)
}
