//! Start poses of flat patterns: from a plane-to-picture map, then refined on the pixels.

use nalgebra::{Matrix2, Matrix3, Matrix6, Vector2, Vector3, Vector6};

use crate::camera::Lens;
use crate::camera::start::homography;
use crate::math::Rigid;
use crate::math::rigid::{exp, nearest_rotation, skew};

/// A pattern's corners in one photo, with the camera that took it.
#[derive(Clone, Debug)]
pub struct Glimpse {
    pub lens: Lens,
    pub camera_from_world: Rigid,
    /// Place in the pattern's frame (mm), pixel, whitening matrix.
    pub corners: Vec<(Vector3<f64>, Vector2<f64>, Matrix2<f64>)>,
}

/// camera_from_pattern candidates from one glimpse: a plane seen from afar may be tilted either
/// way, so there are up to two.
///
/// Decomposition of the plane-to-picture map (Zhang 2000, section 3.1); the second candidate
/// mirrors the tilt about the line of sight. None of the camera's own pose is used.
pub fn candidates(glimpse: &Glimpse) -> Vec<Rigid> {
    let (mut plane, mut rays) = (Vec::new(), Vec::new());
    for (point, pixel, _) in &glimpse.corners {
        if let Some(ray) = glimpse.lens.direction(pixel) {
            plane.push(point.xy());
            rays.push(ray.xy());
        }
    }
    let Some(h) = homography(&plane, &rays) else { return Vec::new() };
    let scale = 2.0 / (h.column(0).norm() + h.column(1).norm());
    let mut m = h * scale;
    if m[(2, 2)] < 0.0 {
        m = -m;
    }
    let (a, b) = (m.column(0).into_owned(), m.column(1).into_owned());
    let r = nearest_rotation(&Matrix3::from_columns(&[a, b, a.cross(&b)]));
    let first = Rigid::new(r, m.column(2).into_owned());
    let sight = first.t.normalize();
    let normal = r.column(2).into_owned();
    let axis = normal.cross(&sight);
    let mut found = vec![first];
    if axis.norm() > 1e-6 {
        let toward = if normal.dot(&sight) < 0.0 { -sight } else { sight };
        let axis = normal.cross(&toward).normalize();
        let angle = normal.dot(&toward).clamp(-1.0, 1.0).acos();
        found.push(Rigid::new(exp(&(axis * (2.0 * angle))) * r, first.t));
    }
    found
}

/// Huber's bound, in standard deviations, for start poses: wide, since the lens is not known yet.
const BOUND: f64 = 5.0;

/// world_from_pattern that fits all glimpses best, from a start; and the robust cost per corner.
/// `noise` multiplies the corners' stated uncertainty (large while the lens is unknown).
pub fn refine(glimpses: &[Glimpse], start: Rigid, noise: f64, max_steps: usize) -> (Rigid, f64) {
    let n: usize = glimpses.iter().map(|g| g.corners.len()).sum();
    let mut pose = start;
    let (mut cost, mut normal, mut gradient) = build(glimpses, &pose, noise);
    let mut damping = 1e-3;
    for _ in 0..max_steps {
        let mut damped = normal;
        for i in 0..6 {
            damped[(i, i)] += damping * normal[(i, i)] + 1e-12;
        }
        let Some(factor) = damped.cholesky() else { break };
        let step: Vector6<f64> = -factor.solve(&gradient);
        let trial = pose
            .nudged(&step.fixed_rows::<3>(0).into_owned(), &step.fixed_rows::<3>(3).into_owned());
        let (trial_cost, trial_normal, trial_gradient) = build(glimpses, &trial, noise);
        if trial_cost < cost {
            let settled = cost - trial_cost < 1e-6 * cost;
            (pose, cost, normal, gradient) = (trial, trial_cost, trial_normal, trial_gradient);
            damping = (damping / 10.0_f64).max(1e-9);
            if settled {
                break;
            }
        } else {
            damping *= 10.0;
            if damping > 1e6 {
                break;
            }
        }
    }
    (pose, cost / n.max(1) as f64)
}

fn build(glimpses: &[Glimpse], pose: &Rigid, noise: f64) -> (f64, Matrix6<f64>, Vector6<f64>) {
    let (mut cost, mut normal, mut gradient) = (0.0, Matrix6::zeros(), Vector6::zeros());
    for glimpse in glimpses {
        for (point, pixel, whiten) in &glimpse.corners {
            let turned = pose.r * point;
            let in_camera = glimpse.camera_from_world.apply(&(turned + pose.t));
            let Some((seen, by_point, _)) = glimpse.lens.project_with_derivatives(&in_camera)
            else {
                cost += 1e6;
                continue;
            };
            let residual = whiten * (pixel - seen) / noise;
            let length = residual.norm();
            let weight = if length > BOUND { BOUND / length } else { 1.0 };
            cost +=
                if length > BOUND { BOUND * (length - BOUND / 2.0) } else { length * length / 2.0 };
            let by_world = whiten * by_point * glimpse.camera_from_world.r / -noise;
            let by_turn = by_world * -skew(&turned);
            let mut rows = nalgebra::Matrix2x6::zeros();
            rows.fixed_columns_mut::<3>(0).copy_from(&by_turn);
            rows.fixed_columns_mut::<3>(3).copy_from(&by_world);
            normal += rows.transpose() * rows * weight;
            gradient += rows.transpose() * residual * weight;
        }
    }
    (cost, normal, gradient)
}

/// The best world_from_pattern over all glimpses: candidates from the largest few of them, each
/// refined on all.
pub fn locate(glimpses: &[Glimpse], noise: f64) -> Option<(Rigid, f64)> {
    let mut order: Vec<usize> = (0..glimpses.len()).collect();
    order.sort_by_key(|&i| {
        std::cmp::Reverse((glimpses[i].corners.len(), extent(&glimpses[i]) as i64))
    });
    let mut best: Option<(Rigid, f64)> = None;
    for &i in order.iter().take(3) {
        for candidate in candidates(&glimpses[i]) {
            let world_from_pattern = glimpses[i].camera_from_world.inverse().then(&candidate);
            let (own, _) = refine(&glimpses[i..=i], world_from_pattern, noise, 15);
            let (pose, cost) = refine(glimpses, own, noise, 25);
            if cost.is_finite() && best.as_ref().is_none_or(|(_, least)| cost < *least) {
                best = Some((pose, cost));
            }
        }
    }
    best
}

fn extent(glimpse: &Glimpse) -> f64 {
    let first = glimpse.corners.first().map_or(Vector2::zeros(), |c| c.1);
    glimpse.corners.iter().map(|c| (c.1 - first).norm()).fold(0.0, f64::max)
}
