//! What one photo shows, in pixels: corners, lattices, cards, tabs, cord and lines. Knows no camera.

pub mod corner_fit;
mod corner_window;
pub mod seen;

pub use seen::{CornerSighting, LineSighting, PatternSighting, PhotoSightings, StrandPoint, StringKind};
