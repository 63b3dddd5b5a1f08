//! Which photos a job folder holds, in which set-ups.
//!
//! Each sub-folder with photos is a set-up; `0-camera` holds photos for the lens alone; `report` is never read. Only names
//! and checksums are looked at here; nothing is decoded.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use sha2::{Digest, Sha256};
use thiserror::Error;

use crate::finding::Finding;

use super::error::reason;
use super::format::{Content, NameKind, SNIFF_BYTES, content_of, kind_by_name};
use super::read::{MAX_FILE_BYTES, hex};
use super::{Photo, PhotoError, read_photo};

/// The sub-folder whose photos show cards only, with card poses of their own.
pub const CAMERA_FOLDER: &str = "0-camera";
/// The sub-folder that reports are written to.
pub const REPORT_FOLDER: &str = "report";
/// In a report's folder, the list of what this program wrote there.
pub const REPORT_LIST: &str = "report-files.txt";
/// A later evening's photos lie in a folder of their own inside the job, named so with a number from 2 on: "evening-2" holds set-ups and
/// a job.toml as a job does, and is measured by itself.
pub const EVENING_PREFIX: &str = "evening-";
/// Name of the only set-up where photos lie directly in the job folder.
pub const LOOSE_SETUP: &str = "photos";

/// More photos are refused: time and memory grow with them, a hundred are plenty, and this many are somebody's whole camera roll.
pub const MAX_PHOTOS: usize = 1_000;

/// One photo of a job, not yet read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoFile {
    /// Its place in the job folder with forward slashes, such as `1-mark-forward/03.jpg`: how results name it.
    pub id: String,
    pub path: PathBuf,
    /// SHA-256 of the file, 64 hexadecimal digits.
    pub sha256: String,
}

impl PhotoFile {
    /// Reads the photo, and makes sure that it is still the file that was listed.
    pub fn read(&self) -> Result<Photo, PhotoError> {
        let photo = read_photo(&self.path)?;
        if photo.facts.sha256 == self.sha256 { Ok(photo) } else { Err(PhotoError::Changed) }
    }
}

/// A folder of photos within which nothing moved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetupFolder {
    /// The folder's name, such as `1-mark-forward`; [`LOOSE_SETUP`] for photos that lie in the job folder itself.
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
    /// What was left out and why, in a fixed order.
    pub findings: Vec<Finding>,
}

impl JobPhotos {
    /// All photos, those for the lens first, then by set-up.
    pub fn all(&self) -> impl Iterator<Item = &PhotoFile> {
        self.camera.iter().chain(self.setups.iter().flat_map(|setup| &setup.photos))
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
        "there is no photo in {} or its sub-folders; put the photos of each wheel position in a sub-folder of its own, such as \
         1-mark-forward and 2-mark-rearward", .0.display()
    )]
    NoPhotos(PathBuf),
}

/// Finds the photos of a job. What can't be used is told in the findings.
pub fn list_job(folder: &Path) -> Result<JobPhotos, ListError> {
    let unreadable = |error: std::io::Error| ListError::Unreadable(folder.to_owned(), reason(&error));
    match std::fs::metadata(folder) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Err(ListError::Missing(folder.to_owned())),
        Err(error) => return Err(unreadable(error)),
        Ok(metadata) if !metadata.is_dir() => return Err(ListError::NotAFolder(folder.to_owned())),
        Ok(_) => {}
    }
    let mut job = JobPhotos::default();
    let top = read_folder(folder, "", &mut job.findings).map_err(unreadable)?;

    for name in &top.folders {
        if name.eq_ignore_ascii_case(REPORT_FOLDER) {
            continue;
        }
        let inside = match read_folder(&folder.join(name), name, &mut job.findings) {
            Ok(inside) => inside,
            Err(error) => {
                job.findings.push(Finding::refused(
                    "folder-unreadable",
                    format!("The folder {name} can't be read ({}); its photos are not used.", reason(&error)),
                    "Check the folder's permissions, or copy the photos into it again.",
                ));
                continue;
            }
        };
        if inside.photos.is_empty() {
            // A report that was sent to another folder of the job holds pictures as well.
            let is_report = folder.join(name).join(REPORT_LIST).is_file();
            if !is_report
                && evening_number(name).is_none()
                && inside.folders.iter().any(|deeper| holds_photos(&folder.join(name).join(deeper)))
            {
                job.findings.push(Finding::warning(
                    "photos-too-deep",
                    format!("The folder {name} holds no photos itself, but a folder inside it does; those are not used."),
                    "Move each set-up's folder directly into the job folder; or, where that folder is a job of its own, name it instead.",
                ));
            }
            continue;
        }
        if name.eq_ignore_ascii_case(CAMERA_FOLDER) {
            job.camera.extend(inside.photos);
        } else {
            job.setups.push(SetupFolder { name: name.clone(), photos: inside.photos });
        }
    }
    take_loose_photos(&mut job, top.photos);
    job.setups.sort_by(|a, b| setup_order(&a.name, &b.name));
    let n_photos = job.all().count();
    if n_photos > MAX_PHOTOS {
        return Err(ListError::TooMany(folder.to_owned(), n_photos));
    }
    hash_and_drop_copies(&mut job);
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
    let folders = entries.filter(|entry| entry.path().is_dir()).filter_map(|entry| entry.file_name().into_string().ok());
    let mut found: Vec<(u32, String)> = folders.filter_map(|name| Some((evening_number(&name)?, name))).collect();
    found.sort();
    found.into_iter().map(|(_, name)| name).collect()
}

/// Photos directly in the job folder are the one set-up of somebody in a hurry, unless there are set-ups in folders: then
/// nobody can tell which of them these belong to.
fn take_loose_photos(job: &mut JobPhotos, photos: Vec<PhotoFile>) {
    if photos.is_empty() {
        return;
    }
    let n = photos.len();
    if job.setups.is_empty() {
        job.setups.push(SetupFolder { name: LOOSE_SETUP.to_owned(), photos });
        job.findings.push(Finding::warning(
            "photos-without-setup",
            format!("The {n} photos lie directly in the job folder; they are taken as one set-up, within which nothing moved."),
            "If the wheel was turned between photos, put those of each position in a folder of its own, such as 1-mark-forward and \
             2-mark-rearward; with one position only, run-out can't be told from yaw.",
        ));
    } else {
        job.findings.push(Finding::warning(
            "photos-outside-setups",
            format!(
                "{n} photos lie directly in the job folder, beside the set-ups' folders ({} first); they are not used.",
                photos[0].id
            ),
            "Move each of them into the folder of the set-up it was taken in.",
        ));
    }
}

/// What one folder holds, each in natural order.
#[derive(Default)]
struct Inside {
    photos: Vec<PhotoFile>,
    folders: Vec<String>,
}

/// Lists one folder, not those inside it. Links are followed, one step at a time, so that loops can't be entered.
fn read_folder(path: &Path, name: &str, findings: &mut Vec<Finding>) -> std::io::Result<Inside> {
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
                FileRole::Photo => inside.photos.push(PhotoFile { id, path: entry.path(), sha256: String::new() }),
                FileRole::OtherPicture => findings.push(kind_not_read(&id)),
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
                let may_be_setup = name.is_empty() && entry.file_type().is_ok_and(|kind| kind.is_symlink());
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

fn kind_not_read(id: &str) -> Finding {
    Finding::warning(
        "photo-kind-not-read",
        format!("{id} is a picture of a kind that this program does not read; it is not used."),
        "Save it as JPEG at full size without cropping; if the same photo is there as JPEG, nothing needs doing.",
    )
    .in_photo(id)
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
    OtherPicture,
    /// Not named as a photo, but it holds one.
    PhotoByContent,
    Other,
}

fn file_role(path: &Path, name: &str) -> FileRole {
    match kind_by_name(name) {
        NameKind::Photo => FileRole::Photo,
        NameKind::OtherPicture => FileRole::OtherPicture,
        NameKind::Other => {
            let mut head = Vec::with_capacity(SNIFF_BYTES);
            let read = File::open(path).and_then(|file| file.take(SNIFF_BYTES as u64).read_to_end(&mut head));
            match (read, content_of(&head)) {
                (Ok(_), Content::Photo(_)) => FileRole::PhotoByContent,
                _ => FileRole::Other,
            }
        }
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

/// Fills in the checksums. Of files with the same bytes only the first is kept; files that can't be read are kept out too.
fn hash_and_drop_copies(job: &mut JobPhotos) {
    let files: Vec<&mut PhotoFile> =
        job.camera.iter_mut().chain(job.setups.iter_mut().flat_map(|setup| setup.photos.iter_mut())).collect();
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

/// Set-ups by the number they begin with, then by the rest; without a number last.
pub fn setup_order(a: &str, b: &str) -> Ordering {
    let has_number = |name: &str| name.starts_with(|c: char| c.is_ascii_digit());
    has_number(b).cmp(&has_number(a)).then_with(|| natural_order(a, b))
}

/// The order a person would put names in: runs of digits count as numbers ("IMG_2" before "IMG_10"), letters as they are.
/// Names that differ only in leading zeros are ordered by their bytes, so that the order is total.
pub(super) fn natural_order(a: &str, b: &str) -> Ordering {
    let (mut rest_a, mut rest_b) = (a.as_bytes(), b.as_bytes());
    while let (Some(&first_a), Some(&first_b)) = (rest_a.first(), rest_b.first()) {
        let order = if first_a.is_ascii_digit() && first_b.is_ascii_digit() {
            let (digits_a, digits_b) = (take_digits(&mut rest_a), take_digits(&mut rest_b));
            digits_a.len().cmp(&digits_b.len()).then_with(|| digits_a.cmp(digits_b))
        } else {
            (rest_a, rest_b) = (&rest_a[1..], &rest_b[1..]);
            first_a.cmp(&first_b)
        };
        if order != Ordering::Equal {
            return order;
        }
    }
    rest_a.len().cmp(&rest_b.len()).then_with(|| a.cmp(b))
}

/// Takes the leading run of digits off, and gives it without its leading zeros.
fn take_digits<'text>(rest: &mut &'text [u8]) -> &'text [u8] {
    let n_digits = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (digits, behind) = rest.split_at(n_digits);
    *rest = behind;
    let n_zeros = digits.iter().take_while(|&&byte| byte == b'0').count();
    &digits[n_zeros..]
}
