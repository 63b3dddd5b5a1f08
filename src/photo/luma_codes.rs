//! Luma as a file has it: what a picture's light takes in the memory until it is looked at again.

use super::LinearImage;
use super::srgb::light_table_8;

/// Luma of 8 bits a pixel, row-major: a quarter of what its light takes, of which it is
/// the whole truth.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LumaCodes {
    width: usize,
    height: usize,
    codes: Vec<u8>,
}

impl LumaCodes {
    /// None where there are not `width * height` codes.
    pub(super) fn new(width: usize, height: usize, codes: Vec<u8>) -> Option<Self> {
        (codes.len() == width * height).then_some(Self { width, height, codes })
    }

    /// Their light, 0 to 1.
    pub fn light(&self) -> LinearImage {
        // A table of known length needs no check for each pixel.
        let mut light = [0.0; 256];
        light.copy_from_slice(light_table_8());
        let data = self.codes.iter().map(|&code| light[usize::from(code)]).collect();
        LinearImage::new(self.width, self.height, data)
    }

    /// What they take in the memory.
    pub fn bytes(&self) -> usize {
        self.codes.len()
    }
}
