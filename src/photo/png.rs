//! PNG, row by row: a picture of 16-bit colour is never held as a whole next to its luminance, and
//! profiles and texts that lie packed in the file, which can unpack to a thousand times their size,
//! are stepped over.

use std::io::Cursor;

use png::{BitDepth, Decoder, Limits, Transformations};

use super::decoded::{Decoded, check_size};
use super::raster::write_luminance;
use super::srgb::{light_table_8, light_table_16};
use super::{LinearImage, PhotoError, PhotoFormat};

/// What the decoder may allocate besides the rows: EXIF data and single pieces of the file, which
/// hold some 100 kB at most.
const MAX_BYTES: usize = 64 << 20;

/// First column and row, and the steps from one to the next, of each pass of an interlaced picture
/// (PNG specification, 8.2, Adam7).
const PASSES: [[usize; 4]; 7] = [
    [0, 0, 8, 8],
    [4, 0, 8, 8],
    [0, 4, 4, 8],
    [2, 0, 4, 4],
    [0, 2, 2, 4],
    [1, 0, 2, 2],
    [0, 1, 1, 2],
];
const WHOLE: [[usize; 4]; 1] = [[0, 0, 1, 1]];

pub(super) fn decode(bytes: &[u8]) -> Result<Decoded, PhotoError> {
    let mut decoder = Decoder::new_with_limits(Cursor::new(bytes), Limits { bytes: MAX_BYTES });
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    // Palettes become colours, and fewer than 8 bits become 8.
    decoder.set_transformations(Transformations::EXPAND);
    let header = decoder.read_header_info().map_err(damaged)?;
    let (width, height) = (header.width as usize, header.height as usize);
    check_size(width, height)?;
    let mut reader = decoder.read_info().map_err(damaged)?;
    let (colour, depth) = reader.output_color_type();
    let passes = if reader.info().interlaced { PASSES.as_slice() } else { &WHOLE };
    let mut data = vec![0.0; width * height];
    let mut codes: Vec<u16> = Vec::new();
    for &[first_column, first_row, columns, rows] in passes {
        for y in (first_row..height).step_by(rows) {
            let row = reader
                .next_row()
                .map_err(damaged)?
                .ok_or_else(|| damaged("it holds fewer rows than it says"))?;
            let places =
                data[y * width..(y + 1) * width].iter_mut().skip(first_column).step_by(columns);
            if depth == BitDepth::Sixteen {
                codes.clear();
                codes.extend(
                    row.data().chunks_exact(2).map(|pair| u16::from_be_bytes([pair[0], pair[1]])),
                );
                write_luminance(&codes, colour.samples(), light_table_16(), places);
            } else {
                write_luminance(row.data(), colour.samples(), light_table_8(), places);
            }
        }
    }
    // Behind the last row the decoder checks that the data end where they should.
    if reader.next_row().map_err(damaged)?.is_some() {
        return Err(damaged("it holds more rows than it says"));
    }
    Ok(Decoded { luma: LinearImage::new(width, height, data), codes: None, trailing_bytes: 0 })
}

fn damaged(why: impl ToString) -> PhotoError {
    let detail = why.to_string();
    PhotoError::Damaged { format: PhotoFormat::Png, detail }
}
