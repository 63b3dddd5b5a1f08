//! TIFF and WebP: whatever the samples are, they become linear luminance. Transparency is ignored.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};

use super::decoded::{Decoded, MAX_PIXELS, MAX_SIDE, check_size};
use super::room::header_limits;
use super::srgb::{light_table_8, light_table_16, luminance};
use super::{LinearImage, PhotoError, PhotoFormat};

/// What a decoder may allocate: the largest picture with three 8-bit samples a pixel twice over, as
/// one decoder holds it, and something to work with.
const MAX_DECODER_BYTES: u64 = 8 * MAX_PIXELS as u64;

pub(super) fn decode(format: PhotoFormat, bytes: &[u8]) -> Result<Decoded, PhotoError> {
    let image_format = match format {
        PhotoFormat::Tiff => ImageFormat::Tiff,
        _ => ImageFormat::WebP,
    };
    let damaged = |detail: String| PhotoError::Damaged { format, detail };
    let failed = |error: image::ImageError| match error {
        image::ImageError::Limits(_) => PhotoError::TooMuchMemory,
        image::ImageError::Unsupported(what) => {
            PhotoError::KindNotRead(format!("{format} of an unusual kind ({what})"))
        }
        error => damaged(error.to_string()),
    };

    // The header is read without limits on the size, so that it is ours that refuse and tell it.
    let mut header = ImageReader::with_format(Cursor::new(bytes), image_format);
    header.limits(header_limits());
    let (width, height) = header.into_dimensions().map_err(failed)?;
    check_size(width as usize, height as usize)?;
    let mut limits = Limits::default();
    limits.max_image_width = Some(MAX_SIDE as u32);
    limits.max_image_height = Some(MAX_SIDE as u32);
    limits.max_alloc = Some(MAX_DECODER_BYTES);
    let mut reader = ImageReader::with_format(Cursor::new(bytes), image_format);
    reader.limits(limits);
    let decoder = reader.into_decoder().map_err(failed)?;
    if decoder.total_bytes() > MAX_DECODER_BYTES / 2 {
        return Err(PhotoError::TooMuchMemory);
    }
    let picture = DynamicImage::from_decoder(decoder).map_err(failed)?;
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let data = linear_luminance(&picture)
        .ok_or_else(|| PhotoError::KindNotRead(format!("{format} with floating-point samples")))?;
    Ok(Decoded { luma: LinearImage::new(width, height, data), codes: None, trailing_bytes: 0 })
}

/// Luminance of every pixel, row-major; None for samples that are not 8- or 16-bit codes.
fn linear_luminance(picture: &DynamicImage) -> Option<Vec<f32>> {
    Some(match picture {
        DynamicImage::ImageLuma8(grey) => from_codes(grey.as_raw(), 1, light_table_8()),
        DynamicImage::ImageLumaA8(grey) => from_codes(grey.as_raw(), 2, light_table_8()),
        DynamicImage::ImageRgb8(colour) => from_codes(colour.as_raw(), 3, light_table_8()),
        DynamicImage::ImageRgba8(colour) => from_codes(colour.as_raw(), 4, light_table_8()),
        DynamicImage::ImageLuma16(grey) => from_codes(grey.as_raw(), 1, light_table_16()),
        DynamicImage::ImageLumaA16(grey) => from_codes(grey.as_raw(), 2, light_table_16()),
        DynamicImage::ImageRgb16(colour) => from_codes(colour.as_raw(), 3, light_table_16()),
        DynamicImage::ImageRgba16(colour) => from_codes(colour.as_raw(), 4, light_table_16()),
        _ => return None,
    })
}

fn from_codes<Code: Copy + Into<usize>>(codes: &[Code], samples: usize, light: &[f32]) -> Vec<f32> {
    let mut data = vec![0.0; codes.len() / samples];
    write_luminance(codes, samples, light, data.iter_mut());
    data
}

/// Luminance from interleaved codes: one or two samples a pixel are grey (and alpha), three or four
/// colour (and alpha).
pub(super) fn write_luminance<'data, Code: Copy + Into<usize>>(
    codes: &[Code],
    samples: usize,
    light: &[f32],
    places: impl Iterator<Item = &'data mut f32>,
) {
    let light_of = |code: Code| light[code.into()];
    let pixels = codes.chunks_exact(samples).zip(places);
    match samples {
        1 | 2 => pixels.for_each(|(pixel, place)| *place = light_of(pixel[0])),
        _ => pixels.for_each(|(pixel, place)| {
            *place = luminance(light_of(pixel[0]), light_of(pixel[1]), light_of(pixel[2]))
        }),
    }
}
