//! Which photos a job folder holds, in which set-ups.
//!
//! Each sub-folder with photos is a set-up; `0-camera` holds photos for the lens alone; `report` is
//! never read; photos that lie in the job folder itself are loose and sorted later, by what they
//! show. Only names, first bytes and checksums are looked at here; nothing is decoded.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use sha2::{Digest, Sha256};
use thiserror::Error;

use crate::disk::place::resolved;
use crate::finding::Finding;

use super::aside::{Aside, LeftAside};
use super::error::reason;
use super::format::{Content, NameKind, content_of, is_drawn, kind_by_name};
use super::order::{natural_order, setup_order};
use super::read::{MAX_FILE_BYTES, head_of, hex, read_limited};
use super::{Photo, PhotoError, read_photo};

/// The sub-folder whose photos show cards only, with card poses of their own.
pub const CAMERA_FOLDER: &str = "0-camera";
/// The sub-folder that reports are written to.
pub const REPORT_FOLDER: &str = "report";
/// In a report's folder, the list of what this program wrote there.
pub const REPORT_LIST: &str = "report-files.txt";
/// A later evening's photos lie in a folder of their own inside the job, named so with a number
/// from 2 on: "evening-2" holds set-ups and a job.toml as a job does, and is measured by itself.
pub const EVENING_PREFIX: &str = "evening-";
/// Name of the only set-up where photos lie directly in the job folder and nothing tells how the
/// wheel stands in them.
pub const LOOSE_SETUP: &str = "photos";
/// The job's settings; what is in them is no matter here.
const JOB_FILE: &str = "job.toml";

/// More photos are refused: time and memory grow with them, a hundred are plenty, and this many are
/// somebody's whole camera roll.
pub const MAX_PHOTOS: usize = 1_000;

/// One photo of a job, not yet read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoFile {
    /// Its place in the job folder with forward slashes, such as `1-mark-forward/03.jpg`: how
    /// results name it.
    pub id: String,
    pub path: PathBuf,
    /// SHA-256 of the file, 64 hexadecimal digits.
    pub sha256: String,
}

impl PhotoFile {
    /// The file's bytes, if they are still those that were listed.
    pub(super) fn bytes(&self) -> Result<Vec<u8>, PhotoError> {
        let bytes = read_limited(&self.path)?;
        if hex(&Sha256::digest(&bytes)) == self.sha256 {
            Ok(bytes)
        } else {
            Err(PhotoError::Changed)
        }
    }

    /// Reads the photo, and makes sure that it is still the file that was listed.
    pub fn read(&self) -> Result<Photo, PhotoError> {
        let photo = read_photo(&self.path)?;
        if photo.facts.sha256 == self.sha256 { Ok(photo) } else { Err(PhotoError::Changed) }
    }
}

/// A folder of photos within which nothing moved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetupFolder {
    /// The folder's name, such as `1-mark-forward`.
    pub name: String,
    /// In the natural order of their names.
    pub photos: Vec<PhotoFile>,
}

/// The photos of a job.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JobPhotos {
    /// By numeric prefix, then by name; folders without a prefix last.
    pub setups: Vec<SetupFolder>,
    /// Photos of `0-camera`, for the lens alone.
    pub camera: Vec<PhotoFile>,
    /// Photos in the job folder itself.
    pub loose: Vec<PhotoFile>,
    /// What was left out and why, in a fixed order.
    pub findings: Vec<Finding>,
}

impl JobPhotos {
    /// All photos, those for the lens first, then by set-up, then the loose ones.
    pub fn all(&self) -> impl Iterator<Item = &PhotoFile> {
        self.camera
            .iter()
            .chain(self.setups.iter().flat_map(|setup| &setup.photos))
            .chain(&self.loose)
    }

    /// The same with the name of each photo's set-up; none for loose ones.
    pub fn with_setups(&self) -> impl Iterator<Item = (&PhotoFile, Option<&str>)> {
        let camera = self.camera.iter().map(|file| (file, Some(CAMERA_FOLDER)));
        let setups = self.setups.iter().flat_map(|setup| {
            setup.photos.iter().map(move |file| (file, Some(setup.name.as_str())))
        });
        camera.chain(setups).chain(self.loose.iter().map(|file| (file, None)))
    }
}

/// Why a job folder can't be used at all. The path is for the terminal; it does not go to a result.
#[derive(Debug, Error)]
pub enum ListError {
    #[error("there is no folder {}; check the name, or make one with the command: sightcord begin", .0.display())]
    Missing(PathBuf),
    #[error("{} is a file; name the job folder in whose sub-folders the photos lie", .0.display())]
    NotAFolder(PathBuf),
    #[error("the folder {} can't be read ({}); check its permissions", .0.display(), .1)]
    Unreadable(PathBuf, String),
    #[error(
        "{} holds {} photos, and {MAX_PHOTOS} at most are measured together; leave in the folders the photos of this one job, some 20 of each \
         wheel position", .0.display(), .1
    )]
    TooMany(PathBuf, usize),
    #[error(
        "there is no photo in {} or its sub-folders; copy all photos of the bike into it, as the phone took them (or each wheel position's \
         into a sub-folder of its own, such as 1-mark-forward and 2-mark-rearward)", .0.display()
    )]
    NoPhotos(PathBuf),
    #[error(
        "{} is a report that this program wrote, not a job; name the job folder with the photos{}", .0.display(),
        .1.as_ref().map_or_else(String::new, |job| format!(": {}", job.display()))
    )]
    IsReport(PathBuf, Option<PathBuf>),
    #[error(
        "{} holds the photos of one wheel position of the job {}; measure the whole job: name that folder", .0.display(), .1.display()
    )]
    IsSetup(PathBuf, PathBuf),
    #[error("{} holds several jobs ({}); measure one at a time: name its folder", .0.display(), .1)]
    HoldsJobs(PathBuf, String),
}

/// Finds the photos of a job. What can't be used is told in the findings. A folder that is a set-up
/// of a job is refused.
pub fn list_job(folder: &Path) -> Result<JobPhotos, ListError> {
    let job = list_photos(folder)?;
    if job.setups.is_empty() && !job.loose.is_empty() && !folder.join(JOB_FILE).is_file() {
        refuse_setup(folder)?;
    }
    Ok(job)
}

/// The same for whoever only looks: a set-up's own folder will do.
pub fn list_photos(folder: &Path) -> Result<JobPhotos, ListError> {
    let unreadable =
        |error: std::io::Error| ListError::Unreadable(folder.to_owned(), reason(&error));
    match std::fs::metadata(folder) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Err(ListError::Missing(folder.to_owned()));
        }
        Err(error) => return Err(unreadable(error)),
        Ok(metadata) if !metadata.is_dir() => return Err(ListError::NotAFolder(folder.to_owned())),
        Ok(_) => {}
    }
    refuse_report(folder)?;
    let mut job = JobPhotos::default();
    let mut aside = LeftAside::default();
    let top = read_folder(folder, "", &mut job.findings, &mut aside).map_err(unreadable)?;
    let mut jobs_inside: Vec<&str> = Vec::new();
    for name in &top.folders {
        let at = folder.join(name);
        // A report that was sent to another folder of the job holds pictures as well.
        if name.eq_ignore_ascii_case(REPORT_FOLDER)
            || at.join(REPORT_LIST).is_file()
            || evening_number(name).is_some()
        {
            continue;
        }
        if at.join(JOB_FILE).is_file() {
            jobs_inside.push(name);
            continue;
        }
        let inside = match read_folder(&at, name, &mut job.findings, &mut aside) {
            Ok(inside) => inside,
            Err(error) => {
                job.findings.push(Finding::refused(
                    "folder-unreadable",
                    format!(
                        "The folder {name} can't be read ({}); its photos are not used.",
                        reason(&error)
                    ),
                    "Check the folder's permissions, or copy the photos into it again.",
                ));
                continue;
            }
        };
        if inside.photos.is_empty() {
            if inside.folders.iter().any(|deeper| holds_photos(&at.join(deeper))) {
                jobs_inside.push(name);
            }
        } else if name.eq_ignore_ascii_case(CAMERA_FOLDER) {
            job.camera.extend(inside.photos);
        } else {
            job.setups.push(SetupFolder { name: name.clone(), photos: inside.photos });
        }
    }
    job.loose = top.photos;
    let has_own = !job.setups.is_empty()
        || !job.loose.is_empty()
        || !job.camera.is_empty()
        || folder.join(JOB_FILE).is_file();
    if !has_own && !jobs_inside.is_empty() {
        return Err(ListError::HoldsJobs(folder.to_owned(), jobs_inside.join(", ")));
    }
    if !jobs_inside.is_empty() {
        job.findings.push(jobs_apart(&jobs_inside));
    }
    job.setups.sort_by(|a, b| setup_order(&a.name, &b.name));
    let n_photos = job.all().count();
    if n_photos > MAX_PHOTOS {
        return Err(ListError::TooMany(folder.to_owned(), n_photos));
    }
    hash_and_drop_copies(&mut job);
    let told = aside.findings(job.all().map(|photo| photo.id.as_str()));
    job.findings.extend(told);
    job.findings.sort();
    if job.all().next().is_none() && job.findings.is_empty() {
        return Err(ListError::NoPhotos(folder.to_owned()));
    }
    Ok(job)
}

/// The number of a later evening by its folder's name: 2 for "evening-2".
pub fn evening_number(name: &str) -> Option<u32> {
    let number = name.strip_prefix(EVENING_PREFIX)?;
    let plain = number.starts_with(|c: char| c.is_ascii_digit() && c != '0');
    number.parse().ok().filter(|&number| plain && number >= 2)
}

/// Names of the folders of a job's later evenings, in order.
pub fn later_evenings(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let folders = entries
        .filter(|entry| entry.path().is_dir())
        .filter_map(|entry| entry.file_name().into_string().ok());
    let mut found: Vec<(u32, String)> =
        folders.filter_map(|name| Some((evening_number(&name)?, name))).collect();
    found.sort();
    found.into_iter().map(|(_, name)| name).collect()
}

/// Refuses a report's folder, and one within it.
fn refuse_report(folder: &Path) -> Result<(), ListError> {
    let Ok(resolved) = resolved(folder) else { return Ok(()) };
    match resolved.ancestors().take(2).find(|at| at.join(REPORT_LIST).is_file()) {
        Some(report) => {
            let job = report
                .parent()
                .filter(|_| report.file_name().is_some_and(|name| name == REPORT_FOLDER));
            Err(ListError::IsReport(folder.to_owned(), job.map(Path::to_owned)))
        }
        None => Ok(()),
    }
}

/// Refuses a folder of photos that is a set-up of the job around it: that has settings, or both
/// have names as a job begun here has. An evening's own folder in a job is none.
fn refuse_setup(folder: &Path) -> Result<(), ListError> {
    let Ok(resolved) = resolved(folder) else { return Ok(()) };
    let (Some(job), Some(name)) =
        (resolved.parent(), resolved.file_name().map(|name| name.to_string_lossy().to_lowercase()))
    else {
        return Ok(());
    };
    let begun_so = |name: &str| {
        name.starts_with(|c: char| c.is_ascii_digit()) && name.contains("-mark-")
            || name == CAMERA_FOLDER
    };
    if evening_number(&name).is_none() && (job.join(JOB_FILE).is_file() || begun_so(&name)) {
        return Err(ListError::IsSetup(folder.to_owned(), job.to_owned()));
    }
    Ok(())
}

/// Folders inside the job that are measured by themselves.
fn jobs_apart(names: &[&str]) -> Finding {
    Finding::note(
        "job-inside",
        format!(
            "{} in this folder {} measured here: there the photos lie one folder deeper, as in a job.",
            names.join(", "),
            match names {
                [_] => "is not",
                _ => "are not",
            }
        ),
        "Measure it by itself, if it is a job or another evening of this one; or move each set-up's folder directly into the job folder.",
    )
}

/// What one folder holds, each in natural order.
#[derive(Default)]
struct Inside {
    photos: Vec<PhotoFile>,
    folders: Vec<String>,
}

/// Lists one folder, not those inside it. Links are followed, one step at a time, so that loops
/// can't be entered.
fn read_folder(
    path: &Path,
    name: &str,
    findings: &mut Vec<Finding>,
    aside: &mut LeftAside,
) -> std::io::Result<Inside> {
    let mut inside = Inside::default();
    for entry in std::fs::read_dir(path)? {
        let entry = entry?;
        let file_name = entry.file_name();
        let Some(entry_name) = file_name.to_str() else {
            if kind_by_name(&file_name.to_string_lossy()) == NameKind::Photo {
                findings.push(Finding::refused(
                    "photo-name",
                    format!(
                        "{}: the name holds characters that can't be written in a result; the photo is not used.",
                        id_of(name, &file_name.to_string_lossy())
                    ),
                    "Rename it with plain letters and digits.",
                ));
            }
            continue;
        };
        if entry_name.starts_with('.') {
            continue;
        }
        let id = id_of(name, entry_name);
        match std::fs::metadata(entry.path()) {
            Ok(metadata) if metadata.is_dir() => inside.folders.push(entry_name.to_owned()),
            Ok(metadata) if metadata.is_file() => match file_role(&entry.path(), entry_name) {
                FileRole::Photo => {
                    inside.photos.push(PhotoFile { id, path: entry.path(), sha256: String::new() })
                }
                FileRole::Aside(kind) => aside.add(kind, &id),
                FileRole::PhotoByContent => findings.push(misnamed(&id)),
                FileRole::Other => {}
            },
            // A pipe or a device: reading it might never end.
            Ok(_) => {
                if kind_by_name(entry_name) == NameKind::Photo {
                    findings.push(PhotoError::NotAFile.finding(&id));
                }
            }
            // A dangling or circular link, or a file that vanished while the folder was read.
            Err(error) => {
                // In the job folder itself it may have been meant as a set-up.
                let may_be_setup =
                    name.is_empty() && entry.file_type().is_ok_and(|kind| kind.is_symlink());
                if may_be_setup || kind_by_name(entry_name) == NameKind::Photo {
                    findings.push(PhotoError::from_io(&error).finding(&id));
                }
            }
        }
    }
    inside.photos.sort_by(|a, b| natural_order(&a.id, &b.id));
    inside.folders.sort_by(|a, b| natural_order(a, b));
    Ok(inside)
}

fn id_of(folder: &str, name: &str) -> String {
    if folder.is_empty() { name.to_owned() } else { format!("{folder}/{name}") }
}

fn misnamed(id: &str) -> Finding {
    Finding::warning(
        "photo-misnamed",
        format!("{id} holds a picture, but its name does not end like one; it is not used."),
        "Give it a name that ends in .jpg if it is one of the photos; else take it out of the folder.",
    )
    .in_photo(id)
}

enum FileRole {
    Photo,
    Aside(Aside),
    /// Not named as a photo, but it holds one.
    PhotoByContent,
    Other,
}

fn file_role(path: &Path, name: &str) -> FileRole {
    let head = || head_of(path);
    match kind_by_name(name) {
        NameKind::Photo if is_drawn(&head()) => FileRole::Aside(Aside::Drawn),
        NameKind::Photo => FileRole::Photo,
        NameKind::Raw => FileRole::Aside(Aside::Raw),
        NameKind::OtherPicture => FileRole::Aside(Aside::OtherPicture),
        NameKind::Video => FileRole::Aside(Aside::Video),
        NameKind::Other => match content_of(&head()) {
            Content::Photo(_) => FileRole::PhotoByContent,
            _ => FileRole::Other,
        },
    }
}

/// Whether a folder holds photos by their names, for advice only.
fn holds_photos(folder: &Path) -> bool {
    std::fs::read_dir(folder).is_ok_and(|entries| {
        entries.flatten().any(|entry| {
            let name = entry.file_name();
            let name = name.to_string_lossy();
            !name.starts_with('.') && kind_by_name(&name) == NameKind::Photo
        })
    })
}

/// Fills in the checksums. Of files with the same bytes only the first is kept; files that can't be
/// read are kept out too.
fn hash_and_drop_copies(job: &mut JobPhotos) {
    let files: Vec<&mut PhotoFile> = job
        .camera
        .iter_mut()
        .chain(job.setups.iter_mut().flat_map(|setup| setup.photos.iter_mut()))
        .chain(&mut job.loose)
        .collect();
    let failures: Vec<Option<Finding>> = files
        .into_par_iter()
        .map(|file| match file_sha256(&file.path) {
            Ok(sha256) => {
                file.sha256 = sha256;
                None
            }
            Err(error) => Some(error.finding(&file.id)),
        })
        .collect();
    job.findings.extend(failures.into_iter().flatten());

    let mut first_with: BTreeMap<String, String> = BTreeMap::new();
    let mut copies = Vec::new();
    let mut keep = |file: &PhotoFile| {
        if file.sha256.is_empty() {
            return false;
        }
        if let Some(first) = first_with.get(&file.sha256) {
            copies.push(
                Finding::warning(
                    "photo-twice",
                    format!("{} is the same file as {first}; it is used once.", file.id),
                    "Take one of them out. If the photo belongs to the other set-up, remove it here instead.",
                )
                .in_photo(&file.id),
            );
            return false;
        }
        first_with.insert(file.sha256.clone(), file.id.clone());
        true
    };
    job.camera.retain(&mut keep);
    for setup in &mut job.setups {
        setup.photos.retain(&mut keep);
    }
    job.setups.retain(|setup| !setup.photos.is_empty());
    job.loose.retain(&mut keep);
    job.findings.extend(copies);
}

/// SHA-256 of a file of at most [`MAX_FILE_BYTES`], without holding it in memory.
fn file_sha256(path: &Path) -> Result<String, PhotoError> {
    let unreadable = |error: std::io::Error| PhotoError::from_io(&error);
    let mut file = File::open(path).map_err(unreadable)?;
    let (mut hasher, mut buffer, mut total) = (Sha256::new(), vec![0; 1 << 16], 0_u64);
    loop {
        let n = file.read(&mut buffer).map_err(unreadable)?;
        if n == 0 {
            return Ok(hex(&hasher.finalize()));
        }
        total += n as u64;
        if total > MAX_FILE_BYTES {
            return Err(PhotoError::FileTooLarge(total));
        }
        hasher.update(&buffer[..n]);
    }
}
