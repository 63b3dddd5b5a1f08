//! The light across a line's image in strips, and what is read from it: its axis and its width.

/// The mean light in a narrow strip along the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strip {
    /// Across, from the rough path, px.
    pub across: f32,
    pub light: f32,
    /// Pixels in the mean.
    pub count: f32,
}

/// Strips across one place of the line.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Along the line, -1 to 1.
    pub along: f64,
    pub strips: Vec<Strip>,
}

/// The axis at one place: across from the rough path, and the line's width there, px.
#[derive(Clone, Copy, Debug)]
pub struct Axis {
    pub across: f64,
    pub width: f64,
}

/// What is known of a line's width in its image: half of it as a natural logarithm (of px) in the
/// image's middle, the logarithm's change from there to the end at t = 1, and the standard
/// deviation of both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Width {
    pub log_half: f64,
    pub change: f64,
    pub spread: [f64; 2],
}

impl Width {
    /// Half of the width as its two edges in one photo tell it, px.
    pub fn by_edges(half: f64) -> Self {
        Self { log_half: half.ln(), change: 0.0, spread: [0.3, 0.2] }
    }
}
