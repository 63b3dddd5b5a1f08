//! Residuals of what photos show: seen minus foreseen, whitened, with Huber's bound.

use nalgebra::{Vector2, Vector3};

use crate::math::rays;
use crate::scene::model::observe::{Block, SeenPoint, Shown};
use crate::scene::model::state::{Cord, Line, State};
use crate::scene::model::unknowns::Slots;

use super::world_point::world_point;

/// From where on a residual counts linearly (Huber 1964), in standard deviations. Corners that
/// agree lie within 3; beyond it, a corner is more likely hidden in part than noisy.
const HUBER: f64 = 3.0;
/// Whitened residual of a point that has no picture (behind the camera): large, yet finite.
pub const UNSEEN: f64 = 1e3;

/// Huber's weight for a residual of this length: its square root multiplies residual and
/// derivatives.
pub fn huber_weight(length: f64) -> f64 {
    if length <= HUBER { 1.0 } else { HUBER / length }
}

pub fn huber_cost(length: f64) -> f64 {
    if length <= HUBER { length * length / 2.0 } else { HUBER * (length - HUBER / 2.0) }
}

/// Pixel that the unknowns foresee for a node of a block's pattern, or None where it has no
/// picture.
pub fn foreseen(
    state: &State,
    slots: &Slots,
    block: &Block,
    cells: [f64; 2],
) -> Option<Vector2<f64>> {
    let view = &state.views[block.view];
    let world = world_point(state, slots, block, cells, false).at;
    view.project(&state.lens_of(view), &world)
}

/// Whitened residual of each corner or point of a block (length of the 2-vector; signed for
/// points), None where not seen.
pub fn lengths(state: &State, slots: &Slots, block: &Block) -> Vec<f64> {
    let corners =
        block.corners.iter().map(|corner| match foreseen(state, slots, block, corner.cells) {
            Some(pixel) => (corner.whiten * (corner.at - pixel)).norm() / block.noise,
            None => UNSEEN,
        });
    let points = block.points.iter().map(|point| match point_residual(state, block, point) {
        Some((r, _)) => r / block.noise,
        None => UNSEEN,
    });
    corners.chain(points).collect()
}

/// Both whitened components of each used corner, or the one of each used point: what noise is
/// estimated from.
pub fn components(state: &State, slots: &Slots, block: &Block) -> Vec<f64> {
    let mut out = Vec::new();
    for corner in block.corners.iter().filter(|c| c.used) {
        if let Some(pixel) = foreseen(state, slots, block, corner.cells) {
            let r = corner.whiten * (corner.at - pixel);
            out.extend([r.x, r.y]);
        }
    }
    out.extend(point_components(state, block, |_| true));
    out
}

/// Both components of every corner, as stated: without the noise factor, and those left out as
/// well.
pub fn all_components(state: &State, slots: &Slots, block: &Block) -> Vec<f64> {
    let of_corner = |corner: &crate::scene::model::observe::SeenCorner| match foreseen(
        state,
        slots,
        block,
        corner.cells,
    ) {
        Some(pixel) => corner.whiten * (corner.at - pixel),
        None => Vector2::repeat(UNSEEN),
    };
    block.corners.iter().map(of_corner).flat_map(|r| [r.x, r.y]).collect()
}

/// The component of each used point that is wanted.
pub fn point_components(
    state: &State,
    block: &Block,
    wanted: impl Fn(&SeenPoint) -> bool,
) -> Vec<f64> {
    let points = block.points.iter().filter(|point| point.used && wanted(point));
    points.filter_map(|point| point_residual(state, block, point)).map(|(r, _)| r).collect()
}

/// Robust cost of one block.
pub fn cost(state: &State, slots: &Slots, block: &Block) -> f64 {
    let used = block.corners.iter().map(|c| c.used).chain(block.points.iter().map(|p| p.used));
    lengths(state, slots, block)
        .iter()
        .zip(used)
        .filter(|(_, used)| *used)
        .map(|(r, _)| huber_cost(r.abs()))
        .sum()
}

/// Residual in standard deviations (before the noise factor) of a point of a line's image, and the
/// place on the line it shows.
pub fn point_residual(
    state: &State,
    block: &Block,
    point: &SeenPoint,
) -> Option<(f64, Vector3<f64>)> {
    let view = &state.views[block.view];
    let lens = state.lens_of(view);
    let (eye, direction) = view.ray(&lens, &point.at)?;
    let world = match block.shown {
        Shown::Line(idx) => nearest_to_ray(&state.lines[idx], &eye, &direction)?,
        Shown::Cord(idx) => cord_nearest_to_ray(&state.cords[idx], &eye, &direction)?,
        _ => return None,
    };
    let pixel = view.project(&lens, &world)?;
    Some((point.normal.dot(&(point.at - pixel)) / point.sigma, world))
}

/// The line's point that comes nearest to a ray from `eye`; None along the line.
pub fn nearest_to_ray(line: &Line, eye: &Vector3<f64>, ray: &Vector3<f64>) -> Option<Vector3<f64>> {
    rays::nearest_to_ray(&line.point, &line.direction, eye, ray)
}

fn cord_nearest_to_ray(
    cord: &Cord,
    eye: &Vector3<f64>,
    ray: &Vector3<f64>,
) -> Option<Vector3<f64>> {
    let mut x = cord.middle;
    // The cord is all but straight: each pass takes the tangent at the last place, and two or three
    // settle it.
    for _ in 0..4 {
        let slope = cord.slope(x);
        let near = rays::nearest_to_ray(&cord.at(x), &slope.normalize(), eye, ray)?.x;
        let settled = (near - x).abs() < 1e-7;
        x = near;
        if settled {
            break;
        }
    }
    x.is_finite().then(|| cord.at(x))
}
