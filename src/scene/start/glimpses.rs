//! Corners and points of sightings as observations, and as glimpses from which poses start.

use nalgebra::{Vector2, Vector3};

use crate::camera::Lens;
use crate::math::Rigid;
use crate::scene::model::observe::{SeenCorner, SeenPoint, whitener};
use crate::sightings::{LineSighting, PatternSighting, StrandPoint};

use super::pose::Glimpse;

/// Points of a line's image as observations.
pub fn seen_points(sighting: &LineSighting) -> Vec<SeenPoint> {
    let usable = sighting.points.iter().filter(|p| p.sigma > 0.0 && p.sigma.is_finite());
    let point = |p: &StrandPoint| SeenPoint {
        at: Vector2::from(p.at),
        normal: Vector2::from(p.normal),
        sigma: p.sigma,
        group: None,
        lone: false,
        used: true,
    };
    usable.map(point).collect()
}

/// Added to every corner's stated uncertainty, px: what no fit knows (paper grain, pixel response).
pub const CORNER_FLOOR: f64 = 0.01;
/// A card or tab with fewer corners than this has no pose of its own.
pub const LEAST_CORNERS: usize = 8;
/// Noise factor while the lens is not known: corners are then off by pixels, not by hundredths.
pub const COARSE: f64 = 40.0;

/// Corners of a sighting as observations.
pub fn seen_corners(sighting: &PatternSighting) -> Vec<SeenCorner> {
    let seen = |corner: &crate::sightings::CornerSighting| {
        let whiten = whitener(corner.cov, CORNER_FLOOR)?;
        let cells = sighting.pattern.node(f64::from(corner.row), f64::from(corner.col));
        let at = Vector2::from(corner.at);
        let (row, col, cell_px) = (corner.row, corner.col, corner.cell_px);
        Some(SeenCorner { row, col, cells, at, whiten, cell_px, used: true })
    };
    sighting.corners.iter().filter_map(seen).collect()
}

/// A sighting as a glimpse for start poses; `pitch` in mm.
pub fn glimpse(
    corners: &[SeenCorner],
    pitch: [f64; 2],
    lens: Lens,
    camera_from_world: Rigid,
) -> Glimpse {
    let corners = corners
        .iter()
        .filter(|c| c.used)
        .map(|c| (Vector3::new(c.cells[0] * pitch[0], c.cells[1] * pitch[1], 0.0), c.at, c.whiten))
        .collect();
    Glimpse { lens, camera_from_world, corners }
}

/// At most `most` corners, spread evenly over the list.
pub fn thinned(corners: &[SeenCorner], most: usize) -> Vec<SeenCorner> {
    let stride = corners.len().div_ceil(most).max(1);
    corners.iter().step_by(stride).cloned().collect()
}
