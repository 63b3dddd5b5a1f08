//! JPEG: the file's own luma, made linear.
//!
//! Luma is what a phone stores at full resolution; red, green and blue would first have to be
//! interpolated from halved colour planes and then mixed back, which is slower and up to 8 levels
//! off.

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::decoded::{Colours, Decoded, check_size};
use super::segments::{Next, Segments};
use super::srgb::{light_table_8, luminance};
use super::{LinearImage, LumaCodes, PhotoError, PhotoFormat};

pub(super) fn decode(bytes: &[u8]) -> Result<Decoded, PhotoError> {
    // The decoder notices a missing end only when whole rows of blocks are missing; the walk finds
    // the last byte too.
    let end = end_of_picture(bytes)?;
    let picture = &bytes[..end];
    // JPEG can't say more than 65,535 a side; our own limits are checked before a pixel is decoded.
    let longest = usize::from(u16::MAX);
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(longest)
        .set_max_height(longest);

    let mut header = JpegDecoder::new_with_options(ZCursor::new(picture), options);
    header.decode_headers().map_err(damaged)?;
    let (width, height) = header.dimensions().ok_or_else(|| damaged("no size is given"))?;
    check_size(width, height)?;
    let has_luma = matches!(header.input_colorspace(), Some(ColorSpace::YCbCr | ColorSpace::Luma));

    let wanted = if has_luma { ColorSpace::Luma } else { ColorSpace::RGB };
    let mut decoder = JpegDecoder::new_with_options(
        ZCursor::new(picture),
        options.jpeg_set_out_colorspace(wanted),
    );
    let codes = decoder.decode().map_err(damaged)?;
    let trailing_bytes = (bytes.len() - end) as u64;
    let too_few = || damaged("it holds fewer pixels than it says");
    if has_luma {
        let codes = LumaCodes::new(width, height, codes).ok_or_else(too_few)?;
        return Ok(Decoded { luma: codes.light(), codes: Some(codes), trailing_bytes });
    }
    let light = light_table_8();
    let of_pixel = |rgb: &[u8]| {
        luminance(light[rgb[0] as usize], light[rgb[1] as usize], light[rgb[2] as usize])
    };
    let data: Vec<f32> = codes.chunks_exact(3).map(of_pixel).collect();
    if data.len() != width * height {
        return Err(too_few());
    }
    Ok(Decoded { luma: LinearImage::new(width, height, data), codes: None, trailing_bytes })
}

/// Red, green and blue. None for a grey picture, for one of another colour model, and where
/// [`decode`] fails.
pub(super) fn decode_colours(bytes: &[u8]) -> Option<Colours> {
    let picture = &bytes[..end_of_picture(bytes).ok()?];
    let longest = usize::from(u16::MAX);
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(longest)
        .set_max_height(longest);
    let mut decoder = JpegDecoder::new_with_options(
        ZCursor::new(picture),
        options.jpeg_set_out_colorspace(ColorSpace::RGB),
    );
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

/// Offset just behind the first picture's end marker.
fn end_of_picture(bytes: &[u8]) -> Result<usize, PhotoError> {
    let mut segments = Segments::of(bytes);
    loop {
        match segments.read_next() {
            Next::Segment(_) => {}
            Next::End(end) => return Ok(end),
            Next::CutOff => return Err(PhotoError::CutOff),
            Next::WrongLength => return Err(damaged("a segment's length is wrong")),
        }
    }
}
