//! The lens: from a direction in front of the camera to a pixel and back, and start values for it.

pub mod lens;
pub mod start;

pub use lens::Lens;
