//! How much memory photos may take together: a photo without room waits until another
//! is done with.

use std::io::{BufRead, BufReader, Cursor, Seek};
use std::path::Path;
use std::sync::{Condvar, Mutex, PoisonError};

use image::{ImageReader, Limits};

use super::PhotoFormat;
use super::decoded::MAX_PIXELS;
use super::file_bytes::read_limited;
use super::format::{Content, content_of};

/// What all photos that are being looked at may take together, bytes: 16 of 12 megapixels at once,
/// or the largest one alone.
pub const BUDGET_BYTES: u64 = 4_000_000_000;
/// What looking takes for each pixel at most, bytes: the decoder's codes, luminance, its smaller
/// copies and what is tried on them. Measured (peak of one photo of 48 megapixels less one of 12, a
/// thread): JPEG, also progressive, and PNG 6, grain adds nothing; WebP and JPEG of four colours 8;
/// TIFF 10. Estimated: packed TIFF of 16 bits, whose decoder may hold its codes twice, 16. Rounded
/// up.
const BYTES_A_PIXEL: u64 = 20;
/// Pixels of a photo whose header does not say: those of a large phone photo.
const USUAL_PIXELS: u64 = 50_000_000;
/// What reading a header may allocate.
pub(super) const HEADER_BYTES: u64 = 64 << 20;

static ALL: Memory = Memory::of(BUDGET_BYTES);

/// Memory that photos take turns in.
pub struct Memory {
    bytes: u64,
    taken: Mutex<u64>,
    given_back: Condvar,
}

impl Memory {
    /// Of so many bytes in all.
    pub const fn of(bytes: u64) -> Self {
        Self { bytes, taken: Mutex::new(0), given_back: Condvar::new() }
    }

    /// Waits until there is room for so many bytes. What needs more than all of it gets all.
    pub fn room(&'static self, bytes: u64) -> Room {
        let bytes = bytes.min(self.bytes);
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        while *taken + bytes > self.bytes {
            taken = self.given_back.wait(taken).unwrap_or_else(PoisonError::into_inner);
        }
        *taken += bytes;
        Room { memory: self, bytes }
    }

    /// What is taken of it now, bytes.
    pub fn taken(&self) -> u64 {
        *self.taken.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Room in the memory for one photo, given back when this is dropped. No thread may ask for two at
/// a time.
#[must_use]
pub struct Room {
    memory: &'static Memory,
    bytes: u64,
}

impl Room {
    /// Waits until there is room for this photo. One that needs more than all of it gets all.
    pub fn for_photo(path: &Path) -> Self {
        let bytes = std::fs::metadata(path).map_or(0, |file| file.len());
        let pixels = pixels(path).unwrap_or(USUAL_PIXELS).min(MAX_PIXELS as u64);
        ALL.room(bytes.saturating_add(BYTES_A_PIXEL * pixels))
    }

    /// The same for a photo whose bytes are in the memory already.
    pub fn for_bytes(bytes: &[u8]) -> Self {
        let pixels = dimensions(Cursor::new(bytes))
            .or_else(|| heic_pixels(bytes))
            .unwrap_or(USUAL_PIXELS)
            .min(MAX_PIXELS as u64);
        ALL.room((bytes.len() as u64).saturating_add(BYTES_A_PIXEL * pixels))
    }
}

impl Drop for Room {
    fn drop(&mut self) {
        *self.memory.taken.lock().unwrap_or_else(PoisonError::into_inner) -= self.bytes;
        self.memory.given_back.notify_all();
    }
}

/// Limits for reading a header, which say nothing of the picture's size: that is reported with a
/// reason of its own.
pub fn header_limits() -> Limits {
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(HEADER_BYTES);
    limits
}

fn pixels(path: &Path) -> Option<u64> {
    // Anything else but a file might never end.
    if !std::fs::metadata(path).ok()?.is_file() {
        return None;
    }
    dimensions(BufReader::new(std::fs::File::open(path).ok()?))
        .or_else(|| heic_pixels(&read_limited(path).ok()?))
}

/// The pixels of a HEIC picture. Its header may lie anywhere in the file.
fn heic_pixels(bytes: &[u8]) -> Option<u64> {
    if content_of(bytes) != Content::Photo(PhotoFormat::Heic) {
        return None;
    }
    #[cfg(feature = "heic")]
    {
        super::heic::pixels(bytes)
    }
    #[cfg(not(feature = "heic"))]
    {
        None
    }
}

fn dimensions(file: impl BufRead + Seek) -> Option<u64> {
    let mut reader = ImageReader::new(file).with_guessed_format().ok()?;
    reader.limits(header_limits());
    let (width, height) = reader.into_dimensions().ok()?;
    Some(u64::from(width) * u64::from(height))
}
