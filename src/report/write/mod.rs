//! Puts a report into its folder: checked before the long work, swapped in whole, never over
//! anything that is not an earlier report of the same job.
//!
//! What counts as an earlier report of the same job: the folder holds nothing but files
//! in the list that this program wrote there with them (`report-files.txt`), each with the bytes
//! it had then; and its result.json names the same inputs, or at least one photo of a set-up that
//! this job still has. So photos may be added or taken away, and settings changed, between two
//! runs. Where every photo is another one, the report in the way is of another measurement (the
//! "before" of a "before and after", say), and nothing shows that it may go. A report without a
//! list is one of an early version, or put together by hand: it can't be known, and so it stays.

mod error;
pub mod own_files;
pub mod swap;

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

pub use error::WriteError;
pub use own_files::LIST_NAME;

use super::entries::PhotoEntry;
use super::result::{RESULT_NAME, ResultDocument};
use crate::disk::place::{is_within, resolved};
use crate::disk::scratch::{ScratchFolder, uninterrupted};
use crate::disk::{make_folders_in, sync_folder};
use own_files::{Contents, OwnFiles};

/// What shows whether a report in the way is an earlier one of the same job.
#[derive(Clone, Debug, Default)]
pub struct Identity {
    /// SHA-256 of the inputs, as in the result's job.id.
    pub id: String,
    /// SHA-256 of each photo of a set-up; photos of cards only, which may serve several jobs, are
    /// no sign of the same job.
    pub photos: BTreeSet<String>,
}

impl Identity {
    pub fn new(id: impl Into<String>, photos: &[PhotoEntry]) -> Self {
        let photos = photos
            .iter()
            .filter(|photo| !photo.is_of_cards_only())
            .map(|photo| photo.sha256.clone())
            .collect();
        Self { id: id.into(), photos }
    }

    fn is_of_same_job(&self, earlier: &ResultDocument) -> bool {
        earlier.job.id == self.id
            || earlier
                .photos
                .iter()
                .any(|photo| !photo.is_of_cards_only() && self.photos.contains(&photo.sha256))
    }
}

/// Where the job's own things lie, to which no report may go.
#[derive(Clone, Debug, Default)]
pub struct JobPlaces {
    pub job: PathBuf,
    /// The folders of its photos, except the job's own.
    pub setups: BTreeSet<PathBuf>,
}

impl JobPlaces {
    /// From the job's folder and its photos' files.
    pub fn new<'path>(job: &Path, photos: impl IntoIterator<Item = &'path Path>) -> Self {
        let folders = photos.into_iter().filter_map(Path::parent).filter(|folder| *folder != job);
        Self { job: job.to_owned(), setups: folders.map(Path::to_owned).collect() }
    }

    /// Refuses the job, what holds it or a set-up, and what lies in a set-up.
    fn check(&self, target: &Path) -> Result<(), WriteError> {
        if self.job.as_os_str().is_empty() {
            return Ok(());
        }
        if is_within(&self.job, target) {
            return Err(if is_within(target, &self.job) {
                WriteError::IsJob(target.to_owned())
            } else {
                WriteError::Holds { folder: target.to_owned(), held: self.job.clone() }
            });
        }
        for setup in &self.setups {
            if is_within(target, setup) {
                return Err(WriteError::InSetup {
                    folder: target.to_owned(),
                    setup: setup.clone(),
                });
            }
            // A set-up may be a link to somewhere else.
            if is_within(setup, target) {
                return Err(WriteError::Holds { folder: target.to_owned(), held: setup.clone() });
            }
        }
        Ok(())
    }
}

/// One file of a report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReportFile {
    /// Place in the report's folder, with forward slashes and at most one of them: "index.html",
    /// "views/plan.svg".
    pub path: String,
    pub bytes: Vec<u8>,
}

impl ReportFile {
    pub fn new(path: impl Into<String>, bytes: impl Into<Vec<u8>>) -> Self {
        Self { path: path.into(), bytes: bytes.into() }
    }
}

/// A place for a report, found free and writable.
#[derive(Debug)]
pub struct Destination {
    /// The report's folder; links are resolved as far as it exists.
    folder: PathBuf,
    identity: Identity,
    places: JobPlaces,
}

/// Checks, before the long work, that a report can go to `folder`: it is none of the job's own
/// places, and does not exist, is empty, or holds an earlier report of the same job; and its
/// surroundings can be written to. Leaves nothing behind.
///
/// A report that an earlier run had put aside when it was interrupted comes back into its place.
pub fn prepare(
    folder: &Path,
    identity: Identity,
    places: JobPlaces,
) -> Result<Destination, WriteError> {
    let folder = resolved(folder).map_err(|why| WriteError::io(folder, why))?;
    swap::restore(&folder)?;
    let destination = Destination { folder, identity, places };
    destination.check()?;
    let parent = existing_parent(&destination.folder);
    // Whether one may write is found out by doing it: permissions, read-only disks and quotas all
    // show this way.
    ScratchFolder::in_folder(parent).map_err(|why| WriteError::io(parent, why))?;
    Ok(destination)
}

impl Destination {
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    fn check(&self) -> Result<(), WriteError> {
        self.places.check(&self.folder)?;
        check_free(&self.folder, &self.folder, &self.identity)
    }

    /// Writes all files and swaps them in as a whole: whenever this is interrupted, the folder
    /// holds either what it held before or the new report. What was there is checked once more
    /// first, since hours may have passed. When this returns, the report is on the disk.
    ///
    /// Gives the folder in which the earlier report still lies, should it not have been possible to
    /// clear that away.
    pub fn write(&self, files: &[ReportFile]) -> Result<Option<PathBuf>, WriteError> {
        self.check()?;
        let parent = self.folder.parent().unwrap_or(Path::new("."));
        let oldest = existing_parent(&self.folder).to_owned();
        fs::create_dir_all(parent).map_err(|why| WriteError::io(parent, why))?;
        let staging =
            ScratchFolder::in_folder(parent).map_err(|why| WriteError::io(parent, why))?;
        fill(staging.path(), files)?;
        same_permissions(staging.path(), &self.folder);
        sync_folder(staging.path());
        let _steps = uninterrupted();
        let staging = staging.keep();
        if let Err(why) = self.put_in_place(&staging) {
            // The new report goes, wherever it lies now; what belongs to anybody else stays.
            let _ = swap::clear(&staging, None);
            return Err(why);
        }
        for folder in self.folder.ancestors().skip(1) {
            sync_folder(folder);
            if folder == oldest {
                break;
            }
        }
        // The staging folder now holds the earlier report, or is gone; a failure to clear it away
        // costs no figure.
        let is_cleared = swap::clear(&staging, Some(&self.folder)).is_ok();
        Ok((!is_cleared).then_some(staging))
    }
}

impl Destination {
    /// Swaps the finished report in. What it replaces lies in `staging` afterwards.
    fn put_in_place(&self, staging: &Path) -> Result<(), WriteError> {
        swap::swap(staging, &self.folder)?;
        // What came between the last check and now is not ours to clear away: it goes back.
        let Err(why) = check_free(staging, &self.folder, &self.identity) else { return Ok(()) };
        let put_back = swap::swap(staging, &self.folder);
        Err(put_back.err().unwrap_or(why))
    }
}

/// Writes the files and their list into an empty folder, and brings them to the disk.
fn fill(folder: &Path, files: &[ReportFile]) -> Result<(), WriteError> {
    let list = ReportFile::new(LIST_NAME, OwnFiles::of(files).text());
    let mut sub_folders = BTreeSet::new();
    for file in files.iter().chain([&list]) {
        let is_known = file.path == LIST_NAME || own_files::is_plain(&file.path);
        debug_assert!(is_known, "{} would make the next run call this folder foreign", file.path);
        let at = folder.join(&file.path);
        let failed = |why| WriteError::io(&at, why);
        if let Some((sub_folder, _)) = file.path.rsplit_once('/') {
            make_folders_in(folder, Path::new(sub_folder)).map_err(failed)?;
            sub_folders.insert(folder.join(sub_folder));
        }
        // Two of one name would be a picture lost.
        let mut new = File::create_new(&at).map_err(failed)?;
        new.write_all(&file.bytes).and_then(|()| new.sync_all()).map_err(failed)?;
    }
    sub_folders.iter().for_each(|folder| sync_folder(folder));
    Ok(())
}

/// Gives a new folder the permissions of the one it replaces, or those any new folder would get; a
/// temporary folder is its owner's alone.
#[cfg(unix)]
fn same_permissions(new: &Path, old: &Path) {
    use std::os::unix::fs::PermissionsExt;
    if let Ok(old) = fs::metadata(old) {
        // The owner must be able to clear the folder away later.
        let _ = fs::set_permissions(
            new,
            fs::Permissions::from_mode(old.permissions().mode() & 0o777 | 0o700),
        );
        return;
    }
    // The user's own mask shows on a folder made the ordinary way.
    let sample = new.join(".mask");
    if fs::create_dir(&sample).is_ok() {
        if let Ok(made) = fs::metadata(&sample) {
            let _ = fs::set_permissions(
                new,
                fs::Permissions::from_mode(made.permissions().mode() & 0o777),
            );
        }
        let _ = fs::remove_dir(&sample);
    }
}

#[cfg(not(unix))]
fn same_permissions(_new: &Path, _old: &Path) {}

fn existing_parent(folder: &Path) -> &Path {
    folder.ancestors().skip(1).find(|ancestor| ancestor.is_dir()).unwrap_or(Path::new("."))
}

/// Whether all that lies in `at` may be replaced by a report of this job; `folder` is what messages
/// call it.
fn check_free(at: &Path, folder: &Path, identity: &Identity) -> Result<(), WriteError> {
    let folder = || folder.to_owned();
    let contents = match Contents::of(at) {
        Ok(contents) => contents,
        Err(why) if why.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(why) if why.kind() == io::ErrorKind::NotADirectory => {
            return Err(WriteError::NotAFolder(folder()));
        }
        Err(why) => return Err(WriteError::io(at, why)),
    };
    if !contents.foreign.is_empty() {
        let listed = listed(&contents.foreign);
        return Err(if contents.has_list {
            WriteError::Foreign { folder: folder(), listed }
        } else {
            WriteError::NoList { folder: folder(), listed }
        });
    }
    if !contents.changed.is_empty() {
        return Err(WriteError::Edited { folder: folder(), listed: listed(&contents.changed) });
    }
    if contents.unchanged.is_empty() {
        return Ok(());
    }
    match ResultDocument::read(&at.join(RESULT_NAME)) {
        Ok(earlier) if identity.is_of_same_job(&earlier) => Ok(()),
        Ok(_) => Err(WriteError::OtherJob(folder())),
        Err(why) => Err(WriteError::UnknownResult { folder: folder(), why: why.in_short() }),
    }
}

/// The first few names, for a message.
fn listed(names: &[String]) -> String {
    const SHOWN: usize = 3;
    let mut text =
        names.iter().take(SHOWN).map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(", ");
    if names.len() > SHOWN {
        text.push_str(&format!(" and {} more", names.len() - SHOWN));
    }
    text
}
