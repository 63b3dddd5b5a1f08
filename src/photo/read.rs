//! One file becomes one photo.
//!
//! Limits are checked before anything is decoded, so that no file can make the program ask for more
//! memory than it should.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::finding::Finding;

use super::decoded::Decoded;
use super::file_bytes::{MAX_FILE_BYTES, read_limited};
use super::format::{Content, content_of};
use super::{ExifFacts, LinearImage, LumaCodes, PhotoError, PhotoFormat, jpeg, png, raster};
use crate::math::hex::hex;

/// Ratio by which two aspect ratios may differ before a photo counts as cropped: sensors' and
/// encoders' rounding to multiples of 16 pixels stays below it.
const ASPECT_TOLERANCE: f64 = 0.015;

/// Everything about a photo but its pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct PhotoFacts {
    /// SHA-256 of the file, 64 hexadecimal digits.
    pub sha256: String,
    pub format: PhotoFormat,
    /// Size of the file.
    pub bytes: u64,
    /// Width in pixels as stored, whatever the EXIF orientation says.
    pub width: usize,
    /// Height in pixels as stored.
    pub height: usize,
    pub exif: ExifFacts,
    /// Bytes behind the picture's end, such as a second picture or a film clip that a phone hides
    /// there.
    pub trailing_bytes: u64,
}

/// A photo: its light and the facts about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Photo {
    pub luma: LinearImage,
    /// The same in a quarter of the memory, where the file has it in 8 bits.
    pub codes: Option<LumaCodes>,
    pub facts: PhotoFacts,
}

impl PhotoFacts {
    /// Start value of the focal length, px: the 35 mm equivalent over the stored diagonal. None
    /// without one. Makers mean different things by it (diagonal or width) and it moves with
    /// focus: never more than a start value.
    pub fn start_focal_px(&self) -> Option<f64> {
        self.exif.start_focal_px(self.width, self.height)
    }

    /// What the file's facts alone give reason to say; `file` as in the result.
    pub fn findings(&self, file: &str) -> Vec<Finding> {
        let mut findings = Vec::new();
        if let Some((exif_width, exif_height)) = self.exif.pixel_size {
            let longer_to_shorter = |a: usize, b: usize| a.max(b) as f64 / a.min(b) as f64;
            let (stored, taken) = (
                longer_to_shorter(self.width, self.height),
                longer_to_shorter(exif_width, exif_height),
            );
            let sizes = format!(
                "taken as {exif_width} x {exif_height} pixels, now {} x {}",
                self.width, self.height
            );
            if (stored / taken).ln().abs() > ASPECT_TOLERANCE {
                findings.push(
                    Finding::warning(
                        "photo-cropped",
                        format!(
                            "{file} looks cropped ({sizes}): the middle of the lens is no longer where the program expects it."
                        ),
                        "Put the photo in the folder as the phone took it, neither cropped nor straightened.",
                    )
                    .in_photo(file),
                );
            } else if self.width * self.height < exif_width * exif_height * 9 / 10 {
                findings.push(
                    Finding::note(
                        "photo-shrunk",
                        format!("{file} was made smaller ({sizes}); figures become less certain."),
                        "Copy the originals from the phone with a cable or card reader instead of sending them by a messenger.",
                    )
                    .in_photo(file),
                );
            }
        }
        // Many writers leave one bad pointer; that is worth a word only where something is missing
        // for it.
        if self.exif.damaged && self.exif.focal_length_35mm.is_none() {
            findings.push(
                Finding::note(
                    "photo-exif-damaged",
                    format!("The EXIF data of {file} are damaged and give no focal length; it is found from the cards instead."),
                    "Nothing needs doing unless this photo is not used in the end; then copy the original from the phone again.",
                )
                .in_photo(file),
            );
        }
        findings
    }
}

/// Reads a photo from a file. Fails with a reason that becomes a finding; never panics, whatever
/// the file holds.
pub fn read_photo(path: &Path) -> Result<Photo, PhotoError> {
    decode_photo(&read_limited(path)?)
}

/// Reads a photo from a file's bytes.
pub fn decode_photo(bytes: &[u8]) -> Result<Photo, PhotoError> {
    if bytes.is_empty() {
        return Err(PhotoError::Empty);
    }
    if bytes.len() as u64 > MAX_FILE_BYTES {
        return Err(PhotoError::FileTooLarge(bytes.len() as u64));
    }
    let format = match content_of(bytes) {
        Content::Photo(format) => format,
        Content::OtherPicture(kind) => return Err(PhotoError::KindNotRead(kind.to_owned())),
        Content::NotAPicture => return Err(PhotoError::NotAPicture),
    };
    // The decoders are not ours and meet files that they were never tried on; if one panics,
    // it is this photo that is damaged and not the run that ends. They keep no state that an
    // unwinding could leave half done.
    let decoded =
        catch_unwind(AssertUnwindSafe(|| decode(format, bytes))).unwrap_or_else(|_| {
            Err(PhotoError::Damaged { format, detail: "the decoder gave up on it".to_owned() })
        })?;
    let exif = catch_unwind(AssertUnwindSafe(|| exif_facts(format, bytes)))
        .unwrap_or_else(|_| ExifFacts::unreadable());
    let facts = PhotoFacts {
        sha256: hex(&Sha256::digest(bytes)),
        format,
        bytes: bytes.len() as u64,
        width: decoded.luma.width(),
        height: decoded.luma.height(),
        exif,
        trailing_bytes: decoded.trailing_bytes,
    };
    Ok(Photo { luma: decoded.luma, codes: decoded.codes, facts })
}

fn decode(format: PhotoFormat, bytes: &[u8]) -> Result<Decoded, PhotoError> {
    match format {
        PhotoFormat::Jpeg => jpeg::decode(bytes),
        PhotoFormat::Png => png::decode(bytes),
        PhotoFormat::Tiff | PhotoFormat::WebP => raster::decode(format, bytes),
        #[cfg(feature = "heic")]
        PhotoFormat::Heic => super::heic::decode(bytes),
        #[cfg(not(feature = "heic"))]
        PhotoFormat::Heic => Err(PhotoError::HeicNotBuiltIn),
    }
}

/// What EXIF says; of a HEIC file its own turns count for the picture's orientation, and those of
/// its EXIF do not (ISO/IEC 23008-12).
fn exif_facts(format: PhotoFormat, bytes: &[u8]) -> ExifFacts {
    let facts = ExifFacts::read(bytes);
    match format {
        #[cfg(feature = "heic")]
        PhotoFormat::Heic => ExifFacts { orientation: super::heic::orientation(bytes), ..facts },
        _ => facts,
    }
}
