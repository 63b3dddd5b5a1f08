//! The noun that leaves this stage: everything that was found in one photo, in pixels of the
//! sensor's own orientation.

use crate::cards::Pattern;

use super::line_light::LineLight;
use super::line_path::StrandPoint;
use super::line_strips::Width;

/// One X-corner of a pattern, found and fitted to a fraction of a pixel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CornerSighting {
    /// Lattice node: row 1 .. rows-1, column 1 .. cols-1 of [`Pattern::is_corner`].
    pub row: u8,
    pub col: u8,
    /// Position, px.
    pub at: [f64; 2],
    /// Covariance of `at`, px^2: [uu, uv, vv]. From the residual noise, blur and contrast of the
    /// fit.
    pub cov: [f64; 3],
    /// Length of the shorter projected cell side here, px.
    pub cell_px: f64,
}

/// A card or tab that was found and read for certain.
#[derive(Clone, Debug, PartialEq)]
pub struct PatternSighting {
    pub pattern: Pattern,
    /// Accepted corners, sorted by (row, col).
    pub corners: Vec<CornerSighting>,
    /// Dots that disagreed with the code.
    pub wrong_dots: u32,
    /// Cells that were read.
    pub read_cells: u32,
    /// Dots by which the reading beats the next best place, turn, mirror image or other pattern.
    pub margin: u32,
}

/// Which kind of line a strand belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StringKind {
    /// The datum cord along the bench.
    Cord,
    /// Plumb line A to D (0 to 3).
    Plumb(u8),
    /// The backbone cord between flags 29 and 30.
    Backbone,
}

/// The image of one cord or line: points along it, in order.
#[derive(Clone, Debug, PartialEq)]
pub struct LineSighting {
    pub kind: StringKind,
    pub points: Vec<StrandPoint>,
    /// The light across a plumb line's image, for reading it again when its width is known better.
    pub light: Option<LineLight>,
    /// The width that this image alone asks for.
    pub own_width: Option<Width>,
}

impl LineSighting {
    /// Reads the image again with what is known of the line's width. It stays as it was when that
    /// gives no line.
    pub fn read_with(&mut self, width: &Width) {
        if let Some(reading) = self.light.as_ref().and_then(|light| light.read(width)) {
            self.points = reading.points;
        }
    }
}

/// An edge that runs along a card's lane: the cord's, or its shadow's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LaneEdge {
    /// A point of the edge, px, at the middle of what is seen of the lane.
    pub at: [f64; 2],
    /// Unit normal of the edge in the photo.
    pub normal: [f64; 2],
    /// Standard uncertainty along the normal, px.
    pub sigma: f64,
    /// Change of linear light along the normal within a pixel.
    pub step: f64,
}

/// Every edge seen along one card's lane.
#[derive(Clone, Debug, PartialEq)]
pub struct LaneEdges {
    pub pattern: Pattern,
    /// Pixels for each mm of a thing that faces the camera, there.
    pub px_per_mm: f64,
    pub edges: Vec<LaneEdge>,
    /// Light across the lane, from one side of it to the other, about a pixel apart.
    pub light: Vec<LaneLight>,
    /// Standard deviation of that light.
    pub noise: f64,
}

/// Light at one place across a lane, averaged along the lane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LaneLight {
    /// At the middle of what is seen of the lane, px.
    pub at: [f64; 2],
    /// Linear light, the bare paper's being 1.
    pub light: f64,
}

/// Everything found in one photo.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PhotoSightings {
    /// Cards and tabs, sorted by pattern. The same number may stand twice: then two were seen.
    pub patterns: Vec<PatternSighting>,
    pub lines: Vec<LineSighting>,
    /// What runs through the cards' lanes; the scene tells the cord from its shadow.
    pub lanes: Vec<LaneEdges>,
    /// Readings that were mirror images of a pattern (reflections), refused.
    pub mirrored: Vec<Pattern>,
    /// Patches that looked like a lattice and could not be read.
    pub unread_patches: usize,
    /// Median fitted blur of the corners (Gaussian sigma), px; NaN without corners.
    pub blur_px: f64,
}
