//! A photo made ready for detection: its noise is known, and beside the raw pixels there is a calmer picture in which grain is smoothed away.
//!
//! Patterns are detected and read on the calm picture, corners are fitted to the raw one: smoothed pixels err together, and a fit to
//! them would claim too much.

use std::borrow::Cow;

use super::noise::Noise;
use crate::photo::LinearImage;

/// Noise of bright pixels relative to their brightness from which on a photo is smoothed before anything is detected, and from which on it
/// is looked at a second time, smoothed once more. Smoothing costs cells of less than 7 px in photos that are not so grainy.
const GRAINY: f32 = 0.3;
const SLIGHTLY_GRAINY: f32 = 0.2;

/// A photo, its noise, and its calm picture.
pub struct Plate<'a> {
    pub raw: &'a LinearImage,
    /// Where patterns are detected and read: smoothed if the photo is grainy, else the photo itself.
    pub calm: Cow<'a, LinearImage>,
    /// Noise of a raw pixel.
    pub noise: Noise,
}

impl<'a> Plate<'a> {
    /// Measures a photo's noise and smooths it as far as that demands.
    pub fn new(raw: &'a LinearImage) -> Self {
        let noise = Noise::of(raw);
        let calm = if noise.relative() > GRAINY { Cow::Owned(smoothed(raw)) } else { Cow::Borrowed(raw) };
        Self { raw, calm, noise }
    }

    /// The same photo smoothed further, if it is so grainy that this may show more.
    pub fn calmer(&self) -> Option<Self> {
        (self.noise.relative() > SLIGHTLY_GRAINY).then(|| {
            let calm = Cow::Owned(smoothed(&self.calm));
            Self { raw: self.raw, calm, noise: self.noise.clone() }
        })
    }
}

/// Blurred by the binomial 1 4 6 4 1 (1 px) both ways; the outer two rows and columns stay as they were.
fn smoothed(image: &LinearImage) -> LinearImage {
    let (width, height) = (image.width(), image.height());
    let mut along = image.data().to_vec();
    if width < 5 || height < 5 {
        return image.clone();
    }
    let n = width - 4;
    for (row, out) in image.data().chunks_exact(width).zip(along.chunks_exact_mut(width)) {
        let (a, b, c, d, e) = (&row[..n], &row[1..n + 1], &row[2..n + 2], &row[3..n + 3], &row[4..n + 4]);
        for (i, out) in out[2..n + 2].iter_mut().enumerate() {
            *out = ((a[i] + e[i]) + 4.0 * (b[i] + d[i]) + 6.0 * c[i]) * (1.0 / 16.0);
        }
    }
    let mut data = along.clone();
    for v in 2..height - 2 {
        let row = |k: usize| &along[(v + k - 2) * width..(v + k - 1) * width];
        let (a, b, c, d, e) = (row(0), row(1), row(2), row(3), row(4));
        for (i, out) in data[v * width..(v + 1) * width].iter_mut().enumerate() {
            *out = ((a[i] + e[i]) + 4.0 * (b[i] + d[i]) + 6.0 * c[i]) * (1.0 / 16.0);
        }
    }
    LinearImage::new(width, height, data)
}
