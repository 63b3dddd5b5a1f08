//! A photo made ready for detection: its noise is known, and besides the raw pixels there is a
//! calmer picture in which grain is smoothed away.
//!
//! Patterns are detected and read on the calm picture, corners are fitted to the raw one: smoothed
//! pixels err together, and a fit to them would claim too much.

use std::borrow::Cow;

use super::noise::Noise;
use super::saddles::{blur_along, blur_down};
use crate::photo::LinearImage;

/// Noise of bright pixels relative to their brightness from which on a photo is smoothed before
/// anything is detected, and from which on it is looked at a second time, smoothed once more.
/// Smoothing costs cells of less than 7 px in photos that are not so grainy.
const GRAINY: f32 = 0.3;
const SLIGHTLY_GRAINY: f32 = 0.2;

/// A photo, its noise, and its calm picture.
pub struct Plate<'a> {
    pub raw: &'a LinearImage,
    /// Where patterns are detected and read: smoothed if the photo is grainy, else the photo
    /// itself.
    pub calm: Cow<'a, LinearImage>,
    /// Noise of a raw pixel.
    pub noise: Noise,
}

impl<'a> Plate<'a> {
    /// Measures a photo's noise and smooths it as far as that demands.
    pub fn new(raw: &'a LinearImage) -> Self {
        let noise = Noise::of(raw);
        let calm =
            if noise.relative() > GRAINY { Cow::Owned(smoothed(raw)) } else { Cow::Borrowed(raw) };
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

/// Blurred by the binomial 1 4 6 4 1 (1 px) both ways; in the outer two columns only down, in the
/// outer two rows only along.
fn smoothed(image: &LinearImage) -> LinearImage {
    if image.width() < 5 || image.height() < 5 {
        return image.clone();
    }
    let data = pulp::Arch::new().dispatch(Smooth(image));
    LinearImage::new(image.width(), image.height(), data)
}

/// The blur, compiled for the registers that the processor has.
struct Smooth<'a>(&'a LinearImage);

impl pulp::NullaryFnOnce for Smooth<'_> {
    type Output = Vec<f32>;

    #[inline(always)]
    fn call(self) -> Vec<f32> {
        let (width, height) = (self.0.width(), self.0.height());
        let mut data = Vec::with_capacity(width * height);
        // Rows in flight, blurred along.
        let mut along: [Vec<f32>; 5] = std::array::from_fn(|_| vec![0.0; width]);
        let mut down = vec![0.0; width];
        for v in 0..height {
            let row = self.0.row(v);
            let out = &mut along[v % 5];
            out[..2].copy_from_slice(&row[..2]);
            out[width - 2..].copy_from_slice(&row[width - 2..]);
            blur_along(row, out);
            if v < 2 {
                data.extend_from_slice(&along[v]);
            }
            if v >= 4 {
                let row = |back: usize| along[(v - back) % 5].as_slice();
                blur_down([row(4), row(3), row(2), row(1), row(0)], &mut down);
                data.extend_from_slice(&down);
            }
        }
        for v in height - 2..height {
            data.extend_from_slice(&along[v % 5]);
        }
        data
    }
}
