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

static TAKEN: Mutex<u64> = Mutex::new(0);
static GIVEN_BACK: Condvar = Condvar::new();

/// Room in the memory for one photo, given back when this is dropped. No thread may ask for two at
/// a time.
#[must_use]
pub struct Room(u64);

impl Room {
    /// Waits until there is room for this photo. One that needs more than all of it gets all.
    pub fn for_photo(path: &Path) -> Self {
        Self::for_photos(&[path])
    }

    /// The same for photos that are held at once.
    pub fn for_photos(paths: &[&Path]) -> Self {
        let needed = paths.iter().map(|path| {
            let bytes = std::fs::metadata(path).map_or(0, |file| file.len());
            let pixels = pixels(path).unwrap_or(USUAL_PIXELS).min(MAX_PIXELS as u64);
            bytes.saturating_add(BYTES_A_PIXEL * pixels)
        });
        Self::of(needed.fold(0, u64::saturating_add))
    }

    /// The same for a photo whose bytes are in the memory already.
    pub fn for_bytes(bytes: &[u8]) -> Self {
        let pixels = dimensions(Cursor::new(bytes))
            .or_else(|| heic_pixels(bytes))
            .unwrap_or(USUAL_PIXELS)
            .min(MAX_PIXELS as u64);
        Self::of((bytes.len() as u64).saturating_add(BYTES_A_PIXEL * pixels))
    }

    fn of(bytes: u64) -> Self {
        let bytes = bytes.min(BUDGET_BYTES);
        let mut taken = TAKEN.lock().unwrap_or_else(PoisonError::into_inner);
        while *taken + bytes > BUDGET_BYTES {
            taken = GIVEN_BACK.wait(taken).unwrap_or_else(PoisonError::into_inner);
        }
        *taken += bytes;
        Self(bytes)
    }
}

impl Drop for Room {
    fn drop(&mut self) {
        *TAKEN.lock().unwrap_or_else(PoisonError::into_inner) -= self.0;
        GIVEN_BACK.notify_all();
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_fit_waits_and_never_more_is_taken_than_there_is() {
        let most = Mutex::new(0_u64);
        std::thread::scope(|scope| {
            for bytes in
                [BUDGET_BYTES / 3, BUDGET_BYTES / 2, BUDGET_BYTES * 2, 5, BUDGET_BYTES / 2, 0]
            {
                let most = &most;
                scope.spawn(move || {
                    for _ in 0..200 {
                        let room = Room::of(bytes);
                        let taken = *TAKEN.lock().unwrap();
                        let mut most = most.lock().unwrap();
                        *most = (*most).max(taken);
                        drop(room);
                    }
                });
            }
        });
        assert!(*most.lock().unwrap() <= BUDGET_BYTES);
        assert_eq!(*TAKEN.lock().unwrap(), 0);
    }
}
