//! Files and folders: written whole or not at all, never in another's place, and gone afterwards where they were only passing.

pub mod new_file;
pub mod place;
pub mod scratch;

use std::fs::File;
use std::path::Path;

/// Brings the names in a folder to the disk. Not every system can do that; the files themselves are synced by whoever writes them.
pub fn sync_folder(folder: &Path) {
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

/// Bytes that are free for this user where a folder lies; None where the system does not tell.
#[cfg(unix)]
pub fn free_bytes(folder: &Path) -> Option<u64> {
    let space = rustix::fs::statvfs(folder).ok()?;
    space.f_bavail.checked_mul(space.f_frsize)
}

#[cfg(not(unix))]
pub fn free_bytes(_folder: &Path) -> Option<u64> {
    None
}
