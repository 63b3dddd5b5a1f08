//! Puts a report into its folder: checked before the long work, swapped in whole, never over anything that is not an earlier
//! report of the same job.
//!
//! What counts as an earlier report of the same job: the folder holds nothing but files this program writes there, and its
//! result.json names the same inputs, or at least one photo of a set-up that this job still has. Photos may so be added or
//! taken away, and settings changed, between two runs. Where every photo is another one, the report in the way is of another
//! measurement (the "before" of a "before and after", say), and nobody has said that it may go.

use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Component, Path, PathBuf};

use super::result::{PhotoEntry, RESULT_NAME, ResultDocument};

/// What of a job tells whether a report in the way is an earlier one of the same job.
#[derive(Clone, Debug, Default)]
pub struct Identity {
    /// SHA-256 of the inputs, as in the result's job.id.
    pub id: String,
    /// SHA-256 of each photo of a set-up; photos of cards only, which may serve several jobs, are no sign of the same job.
    pub photos: BTreeSet<String>,
}

impl Identity {
    pub fn new(id: impl Into<String>, photos: &[PhotoEntry]) -> Self {
        let photos = photos.iter().filter(|photo| !photo.is_of_cards_only()).map(|photo| photo.sha256.clone()).collect();
        Self { id: id.into(), photos }
    }

    fn is_of_same_job(&self, earlier: &ResultDocument) -> bool {
        earlier.job.id == self.id
            || earlier.photos.iter().any(|photo| !photo.is_of_cards_only() && self.photos.contains(&photo.sha256))
    }
}

/// One file of a report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReportFile {
    /// Place in the report's folder, with forward slashes: "index.html", "views/plan.svg".
    pub path: String,
    pub bytes: Vec<u8>,
}

impl ReportFile {
    pub fn new(path: impl Into<String>, bytes: impl Into<Vec<u8>>) -> Self {
        Self { path: path.into(), bytes: bytes.into() }
    }
}

/// Why a report can't be, or was not, written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    #[error("the report can't go to {}: that is a file, not a folder. Name another folder with --to", .0.display())]
    NotAFolder(PathBuf),
    #[error(
        "the report can't go to {}: the folder holds {listed}, which is no part of a report. Nothing was overwritten. \
         Name another folder with --to, or move what is there", .folder.display()
    )]
    Foreign { folder: PathBuf, listed: String },
    #[error(
        "the report can't go to {}: it holds the report of another measurement (no photo of it is in this job). Nothing was \
         overwritten. Rename that folder to keep it, for a comparison of before and after say, or name another with --to", .0.display()
    )]
    OtherJob(PathBuf),
    #[error(
        "the report can't go to {}: the result.json there is not one this program can read ({why}), so it may be somebody \
         else's. Nothing was overwritten. Name another folder with --to, or move what is there", .folder.display()
    )]
    UnknownResult { folder: PathBuf, why: String },
    #[error("the report can't be written at {}: {why}. {advice}", .at.display())]
    Io { at: PathBuf, why: io::Error, advice: &'static str },
}

impl WriteError {
    fn io(at: &Path, why: io::Error) -> Self {
        let advice = match why.kind() {
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                "There is no permission to write there: name a folder of your own with --to"
            }
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                "Make room on the disk, or name a folder on another with --to"
            }
            io::ErrorKind::NotADirectory => "A part of that path is a file: name another folder with --to",
            _ => "Name another folder with --to",
        };
        Self::Io { at: at.to_owned(), why, advice }
    }
}

/// A place for a report, found free and writable.
#[derive(Debug)]
pub struct Destination {
    /// The report's folder; links are resolved as far as it exists.
    folder: PathBuf,
    identity: Identity,
}

/// Folders of a report, and what kind of file lies in each.
const SUB_FOLDERS: [(&str, &str); 2] = [("views", "svg"), ("photos", "jpg")];
/// Files at the top of a report.
const TOP_FILES: [&str; 3] = [RESULT_NAME, "index.html", "report.txt"];
/// Files that file browsers leave behind without being asked.
const DROPPINGS: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];

/// Checks, before the long work, that a report can go to `folder`: it does not exist, is empty, or holds an earlier report
/// of the same job; and its surroundings can be written to. Leaves nothing behind.
pub fn prepare(folder: &Path, identity: Identity) -> Result<Destination, WriteError> {
    let folder = resolved(folder)?;
    check_free(&folder, &identity)?;
    let parent = existing_parent(&folder);
    // Whether one may write is found out by doing it: permissions, read-only disks and quotas all show this way.
    tempfile::Builder::new().prefix(STAGING_PREFIX).tempdir_in(parent).map_err(|why| WriteError::io(parent, why))?;
    Ok(Destination { folder, identity })
}

/// The report is put together beside its folder under a name that begins so; the dot keeps it from being read as a set-up.
const STAGING_PREFIX: &str = ".sightcord-";

impl Destination {
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Writes all files and swaps them in as a whole: whenever this is interrupted, the folder holds either what it held
    /// before or the new report. What was there is checked once more first, since hours may have passed.
    ///
    /// The files are not forced to the disk one by one: a report can be made again from the photos.
    pub fn write(&self, files: &[ReportFile]) -> Result<(), WriteError> {
        check_free(&self.folder, &self.identity)?;
        let parent = self.folder.parent().unwrap_or(Path::new("."));
        fs::create_dir_all(parent).map_err(|why| WriteError::io(parent, why))?;
        let staging =
            tempfile::Builder::new().prefix(STAGING_PREFIX).tempdir_in(parent).map_err(|why| WriteError::io(parent, why))?;
        for file in files {
            debug_assert!(is_report_file(&file.path), "{} would make the next run call this folder foreign", file.path);
            let at = staging.path().join(&file.path);
            if let Some(sub_folder) = at.parent() {
                fs::create_dir_all(sub_folder).map_err(|why| WriteError::io(sub_folder, why))?;
            }
            fs::write(&at, &file.bytes).map_err(|why| WriteError::io(&at, why))?;
        }
        open_to_others(staging.path());
        swap(staging.path(), &self.folder).map_err(|why| WriteError::io(&self.folder, why))?;
        // The staging folder now holds the earlier report, or is gone; a failure to clear it away costs no figure.
        let _ = staging.close();
        Ok(())
    }
}

/// Gives the report the permissions any new folder would get; a temporary folder is its owner's alone.
#[cfg(unix)]
fn open_to_others(folder: &Path) {
    use std::os::unix::fs::PermissionsExt;
    // The user's own mask shows on a folder made the ordinary way.
    let sample = folder.join(".mask");
    if fs::create_dir(&sample).is_ok() {
        if let Ok(made) = fs::metadata(&sample) {
            let _ = fs::set_permissions(folder, fs::Permissions::from_mode(made.permissions().mode() & 0o777));
        }
        let _ = fs::remove_dir(&sample);
    }
}

#[cfg(not(unix))]
fn open_to_others(_folder: &Path) {}

/// Puts `new` in the place of `old`, which may not exist; what `old` held is at `new` afterwards.
fn swap(new: &Path, old: &Path) -> io::Result<()> {
    if !old.exists() {
        return fs::rename(new, old);
    }
    #[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        // One step of the file system: there is no moment without a report. Some file systems can't do it.
        if renameat_with(CWD, new, CWD, old, RenameFlags::EXCHANGE).is_ok() {
            return Ok(());
        }
    }
    // Elsewhere two steps with a moment between them; the earlier report then still lies beside, under the other name.
    let aside = new.with_extension("earlier");
    fs::rename(old, &aside)?;
    match fs::rename(new, old) {
        Ok(()) => fs::rename(&aside, new),
        Err(why) => {
            fs::rename(&aside, old)?;
            Err(why)
        }
    }
}

/// An absolute path whose existing part has no links in it, so that a linked report folder is swapped where it really lies.
fn resolved(folder: &Path) -> Result<PathBuf, WriteError> {
    let absolute = std::path::absolute(folder).map_err(|why| WriteError::io(folder, why))?;
    let mut missing = Vec::new();
    let mut existing = absolute.as_path();
    loop {
        match existing.canonicalize() {
            Ok(mut path) => {
                path.extend(missing.iter().rev());
                return Ok(path);
            }
            Err(why) if why.kind() == io::ErrorKind::NotFound => {
                // `..` behind something that does not exist leads nowhere that could be checked.
                let (Some(parent), Some(Component::Normal(name))) = (existing.parent(), existing.components().next_back()) else {
                    return Err(WriteError::io(&absolute, why));
                };
                missing.push(name.to_owned());
                existing = parent;
            }
            Err(why) => return Err(WriteError::io(existing, why)),
        }
    }
}

fn existing_parent(folder: &Path) -> &Path {
    folder.ancestors().skip(1).find(|ancestor| ancestor.is_dir()).unwrap_or(Path::new("."))
}

fn check_free(folder: &Path, identity: &Identity) -> Result<(), WriteError> {
    let entries = match files_in(folder) {
        Ok(entries) => entries,
        Err(why) if why.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(why) if why.kind() == io::ErrorKind::NotADirectory => return Err(WriteError::NotAFolder(folder.to_owned())),
        Err(why) => return Err(WriteError::io(folder, why)),
    };
    let foreign: Vec<&String> = entries.iter().filter(|path| !is_report_file(path) && !is_dropping(path)).collect();
    if !foreign.is_empty() {
        return Err(WriteError::Foreign { folder: folder.to_owned(), listed: listed(&foreign) });
    }
    if entries.iter().all(|path| is_dropping(path)) {
        return Ok(());
    }
    match ResultDocument::read(&folder.join(RESULT_NAME)) {
        Ok(earlier) if identity.is_of_same_job(&earlier) => Ok(()),
        Ok(_) => Err(WriteError::OtherJob(folder.to_owned())),
        Err(why) => Err(WriteError::UnknownResult { folder: folder.to_owned(), why: why.in_short() }),
    }
}

/// Every file below a folder, by its path with forward slashes, sorted; a folder without files counts as one entry, its name
/// ending in a slash. Looks one level deep: a deeper one is in no report.
fn files_in(folder: &Path) -> io::Result<Vec<String>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        // A link is never part of a report, whatever it leads to.
        let kind = entry.file_type()?;
        if kind.is_dir() && SUB_FOLDERS.iter().any(|(sub_folder, _)| *sub_folder == name) {
            for inner in fs::read_dir(entry.path())? {
                let inner = inner?;
                let slash = if inner.file_type()?.is_file() { "" } else { "/" };
                found.push(format!("{name}/{}{slash}", inner.file_name().to_string_lossy()));
            }
        } else {
            found.push(if kind.is_file() { name } else { name + "/" });
        }
    }
    found.sort();
    Ok(found)
}

fn is_report_file(path: &str) -> bool {
    match path.split_once('/') {
        None => TOP_FILES.contains(&path),
        Some((folder, name)) => SUB_FOLDERS.iter().any(|(sub_folder, ending)| {
            *sub_folder == folder && !name.contains('/') && Path::new(name).extension().is_some_and(|e| e == *ending)
        }),
    }
}

fn is_dropping(path: &str) -> bool {
    DROPPINGS.contains(&path.rsplit('/').next().unwrap_or(path))
}

/// The first few names, for a message.
fn listed(names: &[&String]) -> String {
    const SHOWN: usize = 3;
    let mut text = names.iter().take(SHOWN).map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(", ");
    if names.len() > SHOWN {
        text.push_str(&format!(" and {} more", names.len() - SHOWN));
    }
    text
}
