//! The photo at full size and at halves of it, so that large or blurred corners are found with the
//! same small operators as small sharp ones.

use std::borrow::Cow;

use crate::photo::LinearImage;

/// Most levels that are built, the full size included: at a sixteenth, blur of 16 px looks like 1
/// px, and cells of 150 px are still 9 px wide.
const MAX_LEVELS: usize = 5;
/// Least width and height (px) of a level worth searching: a lattice of a few cells must fit in.
const MIN_SIDE: usize = 32;

/// The photo reduced by a power of two.
pub struct Level<'a> {
    pub width: usize,
    pub height: usize,
    pub data: Cow<'a, [f32]>,
    /// Pixels of the full photo per pixel of this level.
    pub scale: f64,
}

impl Level<'_> {
    /// One row of values.
    pub fn row(&self, v: usize) -> &[f32] {
        &self.data[v * self.width..(v + 1) * self.width]
    }

    /// Bilinear value at a place in this level's own pixels, clamped to the image.
    pub fn sample(&self, u: f64, v: f64) -> f32 {
        let u = u.clamp(0.0, (self.width - 1) as f64);
        let v = v.clamp(0.0, (self.height - 1) as f64);
        // By way of 32 bits, which is a single instruction.
        let (u0, v0) = (u as i32 as usize, v as i32 as usize);
        let (fu, fv) = ((u - u0 as f64) as f32, (v - v0 as f64) as f32);
        let (right, below) = (usize::from(u0 + 1 < self.width), usize::from(v0 + 1 < self.height));
        let first = v0 * self.width + u0;
        let second = first + below * self.width;
        let top = self.data[first] * (1.0 - fu) + self.data[first + right] * fu;
        let bottom = self.data[second] * (1.0 - fu) + self.data[second + right] * fu;
        top * (1.0 - fv) + bottom * fv
    }

    /// A place in this level's pixels as a place in the full photo. Pixel centres are whole numbers
    /// on every level, so the first pixel of a level lies at the centre of the pixels it was
    /// averaged from.
    pub fn to_photo(&self, at: [f64; 2]) -> [f64; 2] {
        at.map(|x| (x + 0.5) * self.scale - 0.5)
    }

    /// The inverse of [`Level::to_photo`].
    pub fn from_photo(&self, at: [f64; 2]) -> [f64; 2] {
        at.map(|x| (x + 0.5) / self.scale - 0.5)
    }
}

/// The full photo first, then its halves; empty for photos too small to hold a lattice.
pub fn levels(image: &LinearImage) -> Vec<Level<'_>> {
    let mut levels: Vec<Level> = Vec::new();
    let first = Level {
        width: image.width(),
        height: image.height(),
        data: Cow::Borrowed(image.data()),
        scale: 1.0,
    };
    let mut next = Some(first);
    while let Some(level) = next.filter(|level| level.width.min(level.height) >= MIN_SIDE) {
        next = (levels.len() + 1 < MAX_LEVELS).then(|| halved(&level));
        levels.push(level);
    }
    levels
}

/// Means of 2 x 2 pixels; an odd last row or column is left out.
fn halved(level: &Level) -> Level<'static> {
    let (width, height) = (level.width / 2, level.height / 2);
    let mut data = Vec::with_capacity(width * height);
    for v in 0..height {
        let (upper, lower) = (level.row(2 * v), level.row(2 * v + 1));
        let pairs = upper.chunks_exact(2).zip(lower.chunks_exact(2));
        data.extend(pairs.map(|(a, b)| 0.25 * ((a[0] + a[1]) + (b[0] + b[1]))));
    }
    Level { width, height, data: Cow::Owned(data), scale: 2.0 * level.scale }
}
