//! What a decoder makes of a file, and which sizes of pictures are taken.

use super::{LinearImage, LumaCodes, PhotoError};

/// Interleaved red, green and blue codes of a picture.
pub struct Colours {
    pub width: usize,
    pub height: usize,
    pub codes: Vec<u8>,
}

/// Pictures of more pixels are refused: linear luminance takes four bytes a pixel, so this is half
/// a gigabyte.
pub const MAX_PIXELS: usize = 120_000_000;
/// Longer sides are refused: nothing but a panorama is that long, and a panorama has no lens.
pub const MAX_SIDE: usize = 30_000;
/// Shorter sides are refused: not even one tab of 6-pixel cells with its paper fits in.
pub const MIN_SIDE: usize = 64;

/// The picture a decoder made, and how many bytes follow it in the file.
pub(super) struct Decoded {
    pub luma: LinearImage,
    /// The same as the file has it, where that is 8 bits of luma.
    pub codes: Option<LumaCodes>,
    pub trailing_bytes: u64,
}

/// Refuses sizes outside the limits. Every decoder calls it between the header and the pixels.
pub(super) fn check_size(width: usize, height: usize) -> Result<(), PhotoError> {
    if width < MIN_SIDE || height < MIN_SIDE {
        Err(PhotoError::PictureTooSmall(width, height))
    } else if width > MAX_SIDE || height > MAX_SIDE || width * height > MAX_PIXELS {
        Err(PhotoError::PictureTooLarge(width, height))
    } else {
        Ok(())
    }
}
