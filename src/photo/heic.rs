//! HEIC, where the program was built with the feature "heic".
//!
//! A HEIC file turns its picture by properties of the file and not by EXIF. They are undone here: geometry stays as the
//! sensor saw it, or photos taken upright and sideways would not share a lens.

use heifer::heifer_isobmff::HeifFile;
use heifer::heifer_isobmff::boxes::Property;
use heifer::{Error, Options};

use super::read::{Decoded, MAX_PIXELS, check_size};
use super::srgb::{light_table_8, luminance};
use super::{LinearImage, PhotoError, PhotoFormat};

pub(super) fn decode(bytes: &[u8]) -> Result<Decoded, PhotoError> {
    let file = HeifFile::parse(bytes).map_err(|error| damaged(&error))?;
    let size = file.image_size(file.primary_id).map_err(|error| damaged(&error))?;
    if let Some((width, height)) = size {
        check_size(width as usize, height as usize)?;
    }
    // Threads change no byte of a decoded picture, but photos are already read side by side.
    let options = Options { max_threads: 1, max_pixels: MAX_PIXELS as u64 };
    let mut picture = heifer::decode_rgba8(bytes, &options).map_err(|error| match error {
        Error::Unsupported(what) => PhotoError::KindNotRead(format!("HEIC of an unusual kind ({what})")),
        error => damaged(&error),
    })?;
    let turns: Vec<Property> = file.item_properties(file.primary_id).map_err(|error| damaged(&error))?.cloned().collect();
    for turn in turns.iter().rev() {
        picture = match turn {
            Property::Rotation(quarters) if quarters % 4 != 0 => picture.rotate_ccw(4 - quarters % 4),
            Property::Mirror(top_bottom) => picture.mirror(*top_bottom),
            _ => picture,
        };
    }
    let (width, height) = (picture.width as usize, picture.height as usize);
    check_size(width, height)?;
    let light = light_table_8();
    let light_of = |code: u8| light[code as usize];
    let data: Vec<f32> =
        picture.data.chunks_exact(4).map(|pixel| luminance(light_of(pixel[0]), light_of(pixel[1]), light_of(pixel[2]))).collect();
    Ok(Decoded { luma: LinearImage::new(width, height, data), trailing_bytes: 0 })
}

fn damaged(error: &dyn std::fmt::Display) -> PhotoError {
    PhotoError::Damaged { format: PhotoFormat::Heic, detail: error.to_string() }
}
