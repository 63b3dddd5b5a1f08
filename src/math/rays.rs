//! Straight lines and rays in space.

use nalgebra::Vector3;

/// The place on the line through `point` along `direction` that comes nearest to a ray from `eye`;
/// None where they run the same way. Directions need not be unit vectors, but `direction` for the
/// place to lie at a distance.
pub fn nearest_to_ray(
    point: &Vector3<f64>,
    direction: &Vector3<f64>,
    eye: &Vector3<f64>,
    ray: &Vector3<f64>,
) -> Option<Vector3<f64>> {
    let normal = direction.cross(ray);
    let size = normal.norm_squared();
    if !(size > 1e-12 * ray.norm_squared()) {
        return None;
    }
    let along = (eye - point).cross(ray).dot(&normal) / size;
    Some(point + direction * along)
}
