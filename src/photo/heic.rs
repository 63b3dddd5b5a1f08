//! HEIC, where the program was built with the feature "heic", as it is by default.
//!
//! Codes are taken to sRGB first, by the file's colour profile or by its code points (ITU-T H.273),
//! so that a wide-gamut photo and one in another transfer curve give the light they mean. What
//! can't be taken there (HDR in PQ or HLG, a profile that is no RGB picture's) is refused: its
//! edges would be in other places.
//!
//! A HEIC file turns its picture by properties of the file and not by EXIF. They are undone here:
//! geometry stays as the sensor saw it, or photos taken upright and sideways would not share a
//! lens. People get the turn as an orientation, as in EXIF.

use heifer::heifer_hevc_dec::nal::{NalUnit, split_annex_b};
use heifer::heifer_hevc_dec::params::ParameterSets;
use heifer::heifer_isobmff::boxes::Property;
use heifer::heifer_isobmff::{HeifFile, ItemId};
use heifer::{Error, Image, Options};

use super::decoded::{Colours, Decoded, MAX_PIXELS, check_size};
use super::srgb::{light_table_8, luminance};
use super::{LinearImage, PhotoError, PhotoFormat};

/// Most parts that a picture is put together from: 120 megapixels in parts of 256 pixels a side are
/// 1,831.
const MOST_PARTS: usize = 4096;
/// Parts may reach over the picture's edges; more coded pixels than this many times the largest
/// picture are no photo.
const CODED_PIXELS: u64 = 2 * MAX_PIXELS as u64;

/// Luminance as the sensor saw it.
pub(super) fn decode(bytes: &[u8]) -> Result<Decoded, PhotoError> {
    let picture = picture(bytes)?;
    let (width, height) = (picture.width as usize, picture.height as usize);
    let light = light_table_8();
    let light_of = |code: u8| light[usize::from(code)];
    let data: Vec<f32> = picture
        .data
        .chunks_exact(4)
        .map(|pixel| luminance(light_of(pixel[0]), light_of(pixel[1]), light_of(pixel[2])))
        .collect();
    Ok(Decoded { luma: LinearImage::new(width, height, data), codes: None, trailing_bytes: 0 })
}

/// Red, green and blue in sRGB, as the sensor saw it. None where [`decode`] fails.
pub(super) fn decode_colours(bytes: &[u8]) -> Option<Colours> {
    let picture = picture(bytes).ok()?;
    let (width, height) = (picture.width as usize, picture.height as usize);
    let codes =
        picture.data.chunks_exact(4).flat_map(|pixel| [pixel[0], pixel[1], pixel[2]]).collect();
    Some(Colours { width, height, codes })
}

/// How the file turns its picture for people, as EXIF numbers it (1 to 8). None for a file that
/// can't be read.
pub(super) fn orientation(bytes: &[u8]) -> Option<u8> {
    let file = HeifFile::parse(bytes).ok()?;
    // Where the sensor's right and its down point to in the picture that people see: (x to the
    // right, y down).
    let shown =
        file.item_properties(file.primary_id).ok()?.fold(
            [(1, 0), (0, 1)],
            |axes, turn| match turn {
                Property::Rotation(quarters) => {
                    (0..quarters % 4).fold(axes, |axes, _| axes.map(|(x, y)| (y, -x)))
                }
                Property::Mirror(true) => axes.map(|(x, y)| (x, -y)),
                Property::Mirror(false) => axes.map(|(x, y)| (-x, y)),
                _ => axes,
            },
        );
    Some(match shown {
        [(-1, 0), (0, 1)] => 2,
        [(-1, 0), (0, -1)] => 3,
        [(1, 0), (0, -1)] => 4,
        [(0, 1), (1, 0)] => 5,
        [(0, 1), (-1, 0)] => 6,
        [(0, -1), (-1, 0)] => 7,
        [(0, -1), (1, 0)] => 8,
        _ => 1,
    })
}

/// How many pixels the picture has; None for a file that can't be read.
pub(super) fn pixels(bytes: &[u8]) -> Option<u64> {
    let file = HeifFile::parse(bytes).ok()?;
    let (width, height) = file.image_size(file.primary_id).ok()??;
    Some(u64::from(width) * u64::from(height))
}

/// The picture's codes in sRGB, turned back to how the sensor saw it.
fn picture(bytes: &[u8]) -> Result<Image<u8>, PhotoError> {
    let file = HeifFile::parse(bytes).map_err(|error| damaged(&error))?;
    let size = file.image_size(file.primary_id).map_err(|error| damaged(&error))?;
    let (width, height) = size.ok_or_else(|| damaged(&"no size is given"))?;
    check_size(width as usize, height as usize)?;
    check_parts(&file, bytes.len())?;
    // Threads change no byte of a decoded picture, but photos are already read side by side.
    let options = Options { max_threads: 1, max_pixels: MAX_PIXELS as u64 };
    let mut picture = heifer::decode_srgb_rgba8(bytes, &options).map_err(|error| match error {
        Error::Unsupported(what) if what.starts_with("transfer") => {
            unusual("HDR, or another brightness curve than usual")
        }
        Error::Unsupported(what) => unusual(&what),
        error => damaged(&error),
    })?;
    let turns: Vec<Property> =
        file.item_properties(file.primary_id).map_err(|error| damaged(&error))?.cloned().collect();
    for turn in turns.iter().rev() {
        picture = match turn {
            Property::Rotation(quarters) if quarters % 4 != 0 => {
                picture.rotate_ccw(4 - quarters % 4)
            }
            Property::Mirror(top_bottom) => picture.mirror(*top_bottom),
            _ => picture,
        };
    }
    check_size(picture.width as usize, picture.height as usize)?;
    Ok(picture)
}

/// Refuses what would take longer to decode than any photo does: a few bytes can name one large
/// part thousands of times. Phones write one coded picture, or a grid of them.
fn check_parts(file: &HeifFile<'_>, n_bytes: usize) -> Result<(), PhotoError> {
    let primary = file.primary_id;
    let kind = file.item(primary).map_err(|error| damaged(&error))?.item_type.0;
    let parts: &[ItemId] = match &kind {
        b"hvc1" => &[primary],
        b"grid" => file.referenced_items(primary, b"dimg"),
        _ => return Err(unusual("it is neither one picture nor a grid of pictures")),
    };
    if parts.len() > MOST_PARTS {
        return Err(unusual("it has too many parts"));
    }
    let (mut coded_bytes, mut coded_pixels) = (0, 0);
    for &part in parts.iter().chain([&primary]) {
        if has_alpha(file, part)? {
            return Err(unusual("parts of it are see-through"));
        }
    }
    for &part in parts {
        if file.item(part).map_err(|error| damaged(&error))?.item_type.0 != *b"hvc1" {
            return Err(unusual("a part of it is no HEVC picture"));
        }
        let stream = file.hevc_bitstream(part).map_err(|error| damaged(&error))?;
        coded_bytes += stream.len();
        let largest = largest_picture(&stream)?;
        let stated = file.image_size(part).map_err(|error| damaged(&error))?;
        // HEVC codes whole blocks, of 64 pixels a side at most.
        if stated.is_some_and(|(w, h)| largest > (u64::from(w) + 64) * (u64::from(h) + 64)) {
            return Err(damaged(&"a part of it is larger than it says"));
        }
        coded_pixels += largest;
        // Each part brings its own settings, of some hundred bytes, along with its share of the
        // file.
        if coded_bytes > 2 * n_bytes + (MOST_PARTS << 10) || coded_pixels > CODED_PIXELS {
            return Err(unusual("its parts are larger than the picture"));
        }
    }
    Ok(())
}

/// Pixels of the largest picture that the stream of one part may hold.
fn largest_picture(stream: &[u8]) -> Result<u64, PhotoError> {
    let mut sets = ParameterSets::default();
    let mut largest = 0;
    for unit in split_annex_b(stream) {
        let unit = NalUnit::parse(unit).map_err(|error| damaged(&error))?;
        if sets.add(&unit).map_err(|error| damaged(&error))? {
            let sizes = sets.sps.iter().flatten();
            let pixels = sizes.map(|sps| {
                u64::from(sps.pic_width_in_luma_samples) * u64::from(sps.pic_height_in_luma_samples)
            });
            largest = pixels.fold(largest, u64::max);
        }
    }
    Ok(largest)
}

fn has_alpha(file: &HeifFile<'_>, item: ItemId) -> Result<bool, PhotoError> {
    for auxiliary in file.referencing_items(item, b"auxl") {
        let mut properties = file.item_properties(auxiliary).map_err(|error| damaged(&error))?;
        let is_alpha = |name: &str| name.ends_with(":alpha") || name.ends_with(":auxid:1");
        if properties
            .any(|property| matches!(property, Property::AuxiliaryType(name) if is_alpha(name)))
        {
            return Ok(true);
        }
    }
    Ok(false)
}

fn unusual(what: &str) -> PhotoError {
    PhotoError::KindNotRead(format!("HEIC of an unusual kind ({what})"))
}

fn damaged(error: &dyn std::fmt::Display) -> PhotoError {
    PhotoError::Damaged { format: PhotoFormat::Heic, detail: error.to_string() }
}
