//! A file's bytes, read within bounds.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::PhotoError;
use super::format::SNIFF_BYTES;

/// Larger files are refused. The largest phone photos, of 200 megapixels, stay well under it.
pub const MAX_FILE_BYTES: u64 = 200_000_000;

/// The file's first bytes, enough to know its kind by; none where it can't be read or is no file.
pub(super) fn head_of(path: &Path) -> Vec<u8> {
    let mut head = Vec::with_capacity(SNIFF_BYTES);
    if std::fs::metadata(path).is_ok_and(|metadata| metadata.is_file())
        && let Ok(file) = File::open(path)
        && file.take(SNIFF_BYTES as u64).read_to_end(&mut head).is_err()
    {
        head.clear();
    }
    head
}

/// The file's bytes, unless it is no file or too large; a file that grows meanwhile is not read
/// without end.
pub(super) fn read_limited(path: &Path) -> Result<Vec<u8>, PhotoError> {
    let unreadable = |error: std::io::Error| PhotoError::from_io(&error);
    let metadata = std::fs::metadata(path).map_err(unreadable)?;
    if !metadata.is_file() {
        return Err(PhotoError::NotAFile);
    }
    if metadata.len() > MAX_FILE_BYTES {
        return Err(PhotoError::FileTooLarge(metadata.len()));
    }
    let mut bytes = Vec::with_capacity(metadata.len() as usize);
    File::open(path)
        .map_err(unreadable)?
        .take(MAX_FILE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    Ok(bytes)
}
