//! A finished report takes the place of the earlier one, in one step where the file system has such
//! a step.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::{fs, io};

use sha2::{Digest, Sha256};

use crate::disk::scratch::PREFIX;
use crate::math::hex::hex;

use super::WriteError;
use super::own_files::{Contents, LIST_NAME};

/// Puts `new` in the place of `old`, which may not exist; what `old` held is at `new` afterwards.
pub(super) fn swap(new: &Path, old: &Path) -> Result<(), WriteError> {
    if fs::symlink_metadata(old).is_err() {
        return fs::rename(new, old).map_err(|why| WriteError::io(old, why));
    }
    #[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        // One step of the file system: there is no moment without a report. Some file systems can't
        // do it.
        if renameat_with(CWD, new, CWD, old, RenameFlags::EXCHANGE).is_ok() {
            return Ok(());
        }
    }
    in_two_steps(new, old, &aside_of(old))
}

/// The same where there is no such step. Broken off between its steps, the earlier report lies
/// aside, where [`restore`] finds it.
pub fn in_two_steps(new: &Path, old: &Path, aside: &Path) -> Result<(), WriteError> {
    fs::rename(old, aside).map_err(|why| WriteError::io(old, why))?;
    let put_back = |why| WriteError::Aside { folder: old.to_owned(), aside: aside.to_owned(), why };
    if let Err(why) = fs::rename(new, old) {
        fs::rename(aside, old).map_err(put_back)?;
        return Err(WriteError::io(old, why));
    }
    fs::rename(aside, new).map_err(put_back)
}

/// Where an earlier report lies for the moment between the two steps; the dot keeps it from being
/// read as a set-up.
pub fn aside_of(folder: &Path) -> PathBuf {
    /// Most file systems take names of 255 bytes.
    const MOST_BYTES: usize = 200;
    let name = folder.file_name().unwrap_or_default();
    let mut aside = OsString::from(format!("{PREFIX}earlier-"));
    if name.len() <= MOST_BYTES {
        aside.push(name);
    } else {
        let sum = Sha256::digest(name.as_encoded_bytes());
        aside.push(hex(&sum));
    }
    folder.with_file_name(aside)
}

/// Puts a report back that an interrupted run left aside. Where the new one is in its place
/// already, the earlier one is cleared away, unless there is more in it than this program wrote.
pub fn restore(folder: &Path) -> Result<(), WriteError> {
    let aside = aside_of(folder);
    if fs::symlink_metadata(&aside).is_err() {
        return Ok(());
    }
    let done = if fs::symlink_metadata(folder).is_err() {
        fs::rename(&aside, folder)
    } else {
        clear(&aside, Some(folder))
    };
    done.map_err(|why| WriteError::Aside { folder: folder.to_owned(), aside, why })
}

/// Clears a report away, file by file: only what its list names and what is unchanged. What file
/// browsers left there goes to the report that takes its place, if it has room for it. An error
/// says that something is left, which then still lies there.
pub fn clear(report: &Path, successor: Option<&Path>) -> io::Result<()> {
    let contents = match Contents::of(report) {
        Err(why) if why.kind() == io::ErrorKind::NotFound => return Ok(()),
        contents => contents?,
    };
    if !contents.foreign.is_empty() || !contents.changed.is_empty() {
        return Err(io::Error::other("it holds what this program did not write"));
    }
    for path in &contents.droppings {
        let to = successor
            .map(|successor| successor.join(path))
            .filter(|to| fs::symlink_metadata(to).is_err());
        if to.is_none_or(|to| fs::rename(report.join(path), to).is_err()) {
            fs::remove_file(report.join(path))?;
        }
    }
    for path in &contents.unchanged {
        fs::remove_file(report.join(path))?;
    }
    for sub_folder in &contents.sub_folders {
        fs::remove_dir(report.join(sub_folder))?;
    }
    // The list goes last: if this breaks off before, the rest is still known to be ours.
    if contents.has_list {
        fs::remove_file(report.join(LIST_NAME))?;
    }
    fs::remove_dir(report)
}
