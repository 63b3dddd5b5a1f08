//! Copies of photos that do not show where they were taken: JPEG and PNG files are rewritten.
//!
//! A place can be in any piece of a file that is not the picture: the GPS block, the maker's own
//! notes, XMP wherever it lies and however it is packed or coded, IPTC, comments, a preview, a
//! second picture behind the first, a film clip. So nothing is looked for and taken out; what is
//! not needed is never copied. Kept are the pieces that the picture is decoded from, byte by byte,
//! so that nothing measured changes, and EXIF rewritten with what is known to be harmless:
//! maker, model, lens, focal lengths, zoom, size and orientation. Maker, model and lens are texts
//! that measuring tells lenses apart by.

mod jpeg;
mod png;

use thiserror::Error;

use crate::photo::{ExifFacts, PhotoFormat, decode_photo, exif, format_of};

/// Why a photo can't be cleaned.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CleanError {
    #[error("only JPEG and PNG can be copied so, and it is {0}")]
    Kind(String),
    #[error("its data are damaged or cut off")]
    Damaged,
    #[error("the copy would have had other pixels, or said something else about the lens")]
    Changed,
}

/// The photo with its picture and what measuring needs, and nothing else. Decoded, its pixels are
/// the same.
pub fn cleaned(bytes: &[u8]) -> Result<Vec<u8>, CleanError> {
    let clean = rewritten(bytes)?;
    let (Ok(before), Ok(after)) = (decode_photo(bytes), decode_photo(&clean)) else {
        return Err(CleanError::Damaged);
    };
    let facts = before.facts.exif;
    let expected = ExifFacts {
        taken: None,
        body_serial: None,
        has_gps: false,
        has_serial: false,
        damaged: false,
        ..facts
    };
    let is_same = before.luma == after.luma && after.facts.exif == expected;
    if is_same { Ok(clean) } else { Err(CleanError::Changed) }
}

/// Whether a photo holds nothing but what [`cleaned`] leaves.
pub fn is_clean(bytes: &[u8]) -> bool {
    rewritten(bytes).is_ok_and(|clean| clean == bytes)
}

fn rewritten(bytes: &[u8]) -> Result<Vec<u8>, CleanError> {
    let exif = exif::of_the_lens(bytes);
    match format_of(bytes) {
        Some(PhotoFormat::Jpeg) => {
            jpeg::rewritten(bytes, exif.as_deref()).ok_or(CleanError::Damaged)
        }
        Some(PhotoFormat::Png) => png::rewritten(bytes, exif.as_deref()).ok_or(CleanError::Damaged),
        Some(other) => Err(CleanError::Kind(other.to_string())),
        None => Err(CleanError::Kind("no picture that is read".to_owned())),
    }
}
