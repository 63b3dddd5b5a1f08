//! Files and folders: written whole or not at all, never in another's place, and removed afterwards
//! where they were temporary.

pub mod new_file;
pub mod place;
pub mod scratch;
pub mod second_name;

use std::fs::File;
use std::io;
use std::path::Path;

/// Brings the names in a folder to the disk. Not every system can do that; the files themselves are
/// synced by the code that writes them.
pub fn sync_folder(folder: &Path) {
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

/// Makes the folder `inner` in `root`, with those around it that are missing, but never `root`
/// itself: should that have been taken away meanwhile because the run is interrupted, it stays
/// away.
pub fn make_folders_in(root: &Path, inner: &Path) -> io::Result<()> {
    let mut at = root.to_owned();
    for part in inner.components() {
        at.push(part);
        match std::fs::create_dir(&at) {
            Err(why) if why.kind() != io::ErrorKind::AlreadyExists => return Err(why),
            _ => {}
        }
    }
    Ok(())
}

/// Bytes that are free for this user where a folder lies; None where the system does not tell.
pub fn free_bytes(folder: &Path) -> Option<u64> {
    fs4::available_space(folder).ok()
}
