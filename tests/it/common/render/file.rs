//! A developed photo as a JPEG file, with or without what a phone says about its camera.

use std::io;
use std::path::Path;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};

use super::super::geometry::Lens;
use super::imaging::{Picture, linear_from_srgb, luma};
use super::knobs::RenderKnobs;

/// Diagonal of the 35 mm frame, mm: the measure of most phones' equivalent focal length.
const FULL_FRAME_DIAGONAL_MM: f64 = 43.267;

impl Picture {
    /// Luminance proportional to light, from the brightness a JPEG stores, as the program's own
    /// decoder hands it on.
    pub fn linear(&self) -> sightcord::photo::LinearImage {
        let light =
            |&colour: &[u8; 3]| linear_from_srgb(luma(colour.map(|c| f32::from(c) / 255.0)));
        sightcord::photo::LinearImage::new(
            self.width,
            self.height,
            self.data.iter().map(light).collect(),
        )
    }

    /// The picture as a JPEG file's bytes. `lens` feeds the EXIF block, `second` its clock.
    pub fn jpeg(&self, knobs: &RenderKnobs, lens: &Lens, second: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = JpegEncoder::new_with_quality(&mut bytes, knobs.jpeg_quality);
        if knobs.exif {
            encoder.set_exif_metadata(exif_block(lens, second)).expect("JPEG takes an EXIF block");
        }
        let (width, height) = (self.width as u32, self.height as u32);
        let written = if knobs.colour {
            encoder.write_image(self.data.as_flattened(), width, height, ExtendedColorType::Rgb8)
        } else {
            let grey: Vec<u8> =
                self.data.iter().map(|c| luma(c.map(f32::from)).round() as u8).collect();
            encoder.write_image(&grey, width, height, ExtendedColorType::L8)
        };
        written.expect("a picture of ordinary size can be written to memory");
        bytes
    }

    /// Writes the picture as PNG, for looking at.
    pub fn save_png(&self, path: &Path) -> io::Result<()> {
        let (width, height) = (self.width as u32, self.height as u32);
        image::save_buffer(path, self.data.as_flattened(), width, height, ExtendedColorType::Rgb8)
            .map_err(io::Error::other)
    }
}

/// A TIFF block as phones write it: maker, model, orientation, time, focal length and its 35 mm
/// equivalent.
fn exif_block(lens: &Lens, second: usize) -> Vec<u8> {
    let diagonal_px = (lens.width as f64).hypot(lens.height as f64);
    let equivalent = FULL_FRAME_DIAGONAL_MM * lens.fx / diagonal_px;
    // A small sensor, a sixth of the full frame.
    let focal = Rational { num: (equivalent / 6.1 * 1000.0).round() as u32, denom: 1000 };
    let time = format!("2026:05:16 10:{:02}:{:02}", second / 60 % 60, second % 60);
    let ascii = |text: &str| Value::Ascii(vec![text.as_bytes().to_vec()]);
    let fields = [
        (Tag::Make, ascii("Example")),
        (Tag::Model, ascii("Test Renderer 8")),
        (Tag::Orientation, Value::Short(vec![1])),
        (Tag::DateTimeOriginal, ascii(&time)),
        (Tag::FocalLength, Value::Rational(vec![focal])),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![equivalent.round() as u16])),
        (Tag::PixelXDimension, Value::Long(vec![lens.width as u32])),
        (Tag::PixelYDimension, Value::Long(vec![lens.height as u32])),
    ]
    .map(|(tag, value)| Field { tag, ifd_num: In::PRIMARY, value });
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut block = io::Cursor::new(Vec::new());
    writer.write(&mut block, false).expect("a few fields fit into memory");
    block.into_inner()
}
