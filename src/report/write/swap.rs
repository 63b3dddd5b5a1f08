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
fn in_two_steps(new: &Path, old: &Path, aside: &Path) -> Result<(), WriteError> {
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
fn aside_of(folder: &Path) -> PathBuf {
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
pub(super) fn restore(folder: &Path) -> Result<(), WriteError> {
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
pub(super) fn clear(report: &Path, successor: Option<&Path>) -> io::Result<()> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::write::{Identity, JobPlaces, OwnFiles, ReportFile, prepare};

    /// A report as this program writes it, with one page.
    fn report(folder: &Path, page: &str) {
        fs::create_dir(folder).unwrap();
        fs::write(folder.join("index.html"), page).unwrap();
        fs::write(
            folder.join(LIST_NAME),
            OwnFiles::of(&[ReportFile::new("index.html", page)]).text(),
        )
        .unwrap();
    }

    fn page(folder: &Path) -> String {
        fs::read_to_string(folder.join("index.html")).unwrap()
    }

    fn names(folder: &Path) -> Vec<OsString> {
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name()).collect()
    }

    #[test]
    fn two_steps_leave_the_same_as_one() {
        let parent = tempfile::tempdir().unwrap();
        let (new, old) = (parent.path().join("new"), parent.path().join("report"));
        report(&new, "two");
        report(&old, "one");
        in_two_steps(&new, &old, &aside_of(&old)).unwrap();
        assert_eq!((page(&new), page(&old)), ("one".to_owned(), "two".to_owned()));
        clear(&new, Some(&old)).unwrap();
        assert_eq!(names(parent.path()), ["report"]);
    }

    #[test]
    fn a_run_broken_off_between_the_steps_loses_no_report() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("report");
        report(&aside_of(&folder), "one");
        // The next run finds the earlier report. It is of another job here, so that it stays as
        // well.
        let prepared = prepare(&folder, Identity::default(), JobPlaces::default());
        assert!(prepared.is_err(), "a report of another job is not free to be replaced");
        assert_eq!(page(&folder), "one");
        assert_eq!(names(parent.path()), ["report"]);
    }

    #[test]
    fn a_run_broken_off_after_both_steps_is_tidied_up_unless_there_is_something_else() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("report");
        report(&folder, "two");
        report(&aside_of(&folder), "one");
        fs::write(aside_of(&folder).join("mine.txt"), "mine").unwrap();
        let why = restore(&folder).unwrap_err();
        assert!(why.to_string().contains(".sightcord-earlier-report"), "{why}");
        assert_eq!((page(&folder), page(&aside_of(&folder))), ("two".to_owned(), "one".to_owned()));
        fs::remove_file(aside_of(&folder).join("mine.txt")).unwrap();
        restore(&folder).unwrap();
        assert_eq!(names(parent.path()), ["report"]);
        assert_eq!(page(&folder), "two");
    }

    #[test]
    fn a_report_with_the_longest_of_names_can_be_put_aside() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("r".repeat(255));
        report(&folder, "one");
        fs::rename(&folder, aside_of(&folder)).unwrap();
        restore(&folder).unwrap();
        assert_eq!(page(&folder), "one");
    }
}
