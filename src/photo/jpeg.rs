//! JPEG: the file's own luma, made linear.
//!
//! Luma is what a phone stores at full resolution; red, green and blue would first have to be interpolated from halved
//! colour planes and then mixed back, which is slower and up to 8 levels off.

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::colour::Colours;
use super::read::{Decoded, check_size};
use super::srgb::{light_table_8, luminance};
use super::{LinearImage, PhotoError, PhotoFormat};

pub(super) fn decode(bytes: &[u8]) -> Result<Decoded, PhotoError> {
    // The decoder notices a missing end only when whole rows of blocks are missing; the walk finds the last byte too.
    let end = end_of_picture(bytes)?;
    let picture = &bytes[..end];
    // JPEG can't say more than 65,535 a side; our own limits are checked before a pixel is decoded.
    let longest = usize::from(u16::MAX);
    let options = DecoderOptions::default().set_strict_mode(true).set_max_width(longest).set_max_height(longest);

    let mut header = JpegDecoder::new_with_options(ZCursor::new(picture), options);
    header.decode_headers().map_err(damaged)?;
    let (width, height) = header.dimensions().ok_or_else(|| damaged("no size is given"))?;
    check_size(width, height)?;
    let has_luma = matches!(header.input_colorspace(), Some(ColorSpace::YCbCr | ColorSpace::Luma));

    let wanted = if has_luma { ColorSpace::Luma } else { ColorSpace::RGB };
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(picture), options.jpeg_set_out_colorspace(wanted));
    let codes = decoder.decode().map_err(damaged)?;
    let light = light_table_8();
    let data: Vec<f32> = if has_luma {
        // A table of known length needs no check for each pixel.
        let light: &[f32; 256] = light.try_into().map_err(|_| damaged("it has codes without a meaning"))?;
        codes.iter().map(|&code| light[usize::from(code)]).collect()
    } else {
        codes
            .chunks_exact(3)
            .map(|rgb| luminance(light[rgb[0] as usize], light[rgb[1] as usize], light[rgb[2] as usize]))
            .collect()
    };
    if data.len() != width * height {
        return Err(damaged("it holds fewer pixels than it says"));
    }
    Ok(Decoded { luma: LinearImage::new(width, height, data), trailing_bytes: (bytes.len() - end) as u64 })
}

/// Red, green and blue. None for a grey picture, for one of another colour model, and where [`decode`] fails.
pub(super) fn decode_colours(bytes: &[u8]) -> Option<Colours> {
    let picture = &bytes[..end_of_picture(bytes).ok()?];
    let longest = usize::from(u16::MAX);
    let options = DecoderOptions::default().set_strict_mode(true).set_max_width(longest).set_max_height(longest);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(picture), options.jpeg_set_out_colorspace(ColorSpace::RGB));
    decoder.decode_headers().ok()?;
    let (width, height) = decoder.dimensions()?;
    check_size(width, height).ok()?;
    if !matches!(decoder.input_colorspace(), Some(ColorSpace::YCbCr)) {
        return None;
    }
    let codes = decoder.decode().ok()?;
    (codes.len() == 3 * width * height).then_some(Colours { width, height, codes })
}

fn damaged(detail: impl ToString) -> PhotoError {
    PhotoError::Damaged { format: PhotoFormat::Jpeg, detail: detail.to_string() }
}

/// Offset just behind the first picture's end marker (ITU-T T.81, annex B). Segments are stepped over by their length, so
/// that a thumbnail's end marker inside EXIF does not count, nor does a second picture that follows.
fn end_of_picture(bytes: &[u8]) -> Result<usize, PhotoError> {
    const END_OF_IMAGE: u8 = 0xD9;
    const START_OF_SCAN: u8 = 0xDA;
    let mut at = 2;
    loop {
        at = next_marker(bytes, at).ok_or(PhotoError::CutOff)?;
        let code = bytes[at - 1];
        match code {
            END_OF_IMAGE => return Ok(at),
            // Markers that stand alone: temporary, restart and start of image.
            0x01 | 0xD0..=0xD8 => {}
            _ => {
                let length = match bytes.get(at..at + 2) {
                    Some(length) => usize::from(u16::from_be_bytes([length[0], length[1]])),
                    None => return Err(PhotoError::CutOff),
                };
                if length < 2 {
                    return Err(damaged("a segment's length is wrong"));
                }
                at += length;
                if at > bytes.len() {
                    return Err(PhotoError::CutOff);
                }
                if code == START_OF_SCAN {
                    at = end_of_scan(bytes, at).ok_or(PhotoError::CutOff)?;
                }
            }
        }
    }
}

/// Offset just behind the next marker's code at or after `at`.
pub(crate) fn next_marker(bytes: &[u8], at: usize) -> Option<usize> {
    let mut at = at;
    loop {
        at += bytes.get(at..)?.iter().position(|&byte| byte == 0xFF)? + 1;
        let code = *bytes.get(at)?;
        if code != 0x00 && code != 0xFF {
            return Some(at + 1);
        }
    }
}

/// Offset of the 0xFF of the marker that ends the coded data starting at `at`: neither a stuffed zero nor a restart.
pub(crate) fn end_of_scan(bytes: &[u8], at: usize) -> Option<usize> {
    let mut at = at;
    loop {
        at += bytes.get(at..)?.iter().position(|&byte| byte == 0xFF)?;
        match *bytes.get(at + 1)? {
            0x00 | 0xD0..=0xD7 => at += 2,
            // Fill bytes: the next 0xFF may begin the marker.
            0xFF => at += 1,
            _ => return Some(at),
        }
    }
}
