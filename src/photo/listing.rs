//! Which photos a job folder holds, in which set-ups.
//!
//! Each sub-folder with photos is a set-up; `0-camera` holds photos for the lens alone; `report` is
//! never read; photos that lie in the job folder itself are loose and sorted later, by what they
//! show. Only names, first bytes and checksums are looked at here; nothing is decoded.

use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::disk::place::resolved;
use crate::finding::Finding;
use crate::job::JOB_FILE;

use super::aside::LeftAside;
use super::error::reason;
use super::evenings::evening_number;
use super::folder::{holds_photos, read_folder};
use super::job_photos::{CAMERA_FOLDER, JobPhotos, REPORT_FOLDER, REPORT_LIST, SetupFolder};
use super::order::setup_order;
use super::same_files::hash_and_drop_copies;

/// More photos are refused: time and memory grow with them, a hundred are plenty, and this many are
/// a whole camera roll.
pub const MAX_PHOTOS: usize = 1_000;

/// Why a job folder can't be used at all. The path is for the terminal; it does not go to a result.
#[derive(Debug, Error)]
pub enum ListError {
    #[error("there is no folder {}; check the name, or make one with the command: sightcord begin", .0.display())]
    Missing(PathBuf),
    #[error("{} is a file; name the job folder that holds the photos in its sub-folders", .0.display())]
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

/// Finds the photos of a job. What can't be used is reported in the findings. A folder that is a
/// set-up of a job is refused.
pub fn list_job(folder: &Path) -> Result<JobPhotos, ListError> {
    let job = list_photos(folder)?;
    if job.setups.is_empty() && !job.loose.is_empty() && !folder.join(JOB_FILE).is_file() {
        refuse_setup(folder)?;
    }
    Ok(job)
}

/// The same for a mere look: a set-up's own folder will do.
pub fn list_photos(folder: &Path) -> Result<JobPhotos, ListError> {
    refuse_what_is_no_folder(folder)?;
    refuse_report(folder)?;
    let mut job = JobPhotos::default();
    let mut aside = LeftAside::default();
    let top = read_folder(folder, "", &mut job.findings, &mut aside)
        .map_err(|error| unreadable(folder, &error))?;
    let mut jobs_inside: Vec<&str> = Vec::new();
    for name in &top.folders {
        if list_sub_folder(folder, name, &mut job, &mut aside) == SubFolder::Job {
            jobs_inside.push(name);
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
    let left_aside = aside.findings(job.all().map(|photo| photo.id.as_str()));
    job.findings.extend(left_aside);
    job.findings.sort();
    if job.all().next().is_none() && job.findings.is_empty() {
        return Err(ListError::NoPhotos(folder.to_owned()));
    }
    Ok(job)
}

/// What a folder in the job folder is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum SubFolder {
    /// A set-up's, or one without photos.
    Listed,
    /// A job that is measured on its own.
    Job,
    /// A report, another evening, or one that can't be read.
    PassedOver,
}

/// Puts the photos of a folder in the job folder where they belong.
fn list_sub_folder(
    folder: &Path,
    name: &str,
    job: &mut JobPhotos,
    aside: &mut LeftAside,
) -> SubFolder {
    let at = folder.join(name);
    // A report that was sent to another folder of the job holds pictures as well.
    if name.eq_ignore_ascii_case(REPORT_FOLDER)
        || at.join(REPORT_LIST).is_file()
        || evening_number(name).is_some()
    {
        return SubFolder::PassedOver;
    }
    if at.join(JOB_FILE).is_file() {
        return SubFolder::Job;
    }
    let inside = match read_folder(&at, name, &mut job.findings, aside) {
        Ok(inside) => inside,
        Err(error) => {
            job.findings.push(folder_unreadable(name, &error));
            return SubFolder::PassedOver;
        }
    };
    if inside.photos.is_empty() {
        if inside.folders.iter().any(|deeper| holds_photos(&at.join(deeper))) {
            return SubFolder::Job;
        }
    } else if name.eq_ignore_ascii_case(CAMERA_FOLDER) {
        job.camera.extend(inside.photos);
    } else {
        job.setups.push(SetupFolder { name: name.to_owned(), photos: inside.photos });
    }
    SubFolder::Listed
}

fn unreadable(folder: &Path, error: &std::io::Error) -> ListError {
    ListError::Unreadable(folder.to_owned(), reason(error))
}

fn folder_unreadable(name: &str, error: &std::io::Error) -> Finding {
    Finding::refused(
        "folder-unreadable",
        format!("The folder {name} can't be read ({}); its photos are not used.", reason(error)),
        "Check the folder's permissions, or copy the photos into it again.",
    )
}

fn refuse_what_is_no_folder(folder: &Path) -> Result<(), ListError> {
    match std::fs::metadata(folder) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            Err(ListError::Missing(folder.to_owned()))
        }
        Err(error) => Err(unreadable(folder, &error)),
        Ok(metadata) if !metadata.is_dir() => Err(ListError::NotAFolder(folder.to_owned())),
        Ok(_) => Ok(()),
    }
}

/// Refuses a report's folder, and one within it.
pub fn refuse_report(folder: &Path) -> Result<(), ListError> {
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

/// Folders inside the job that are measured on their own.
fn jobs_apart(names: &[&str]) -> Finding {
    Finding::note(
        "job-inside",
        format!(
            "{} in this folder {} measured here: the photos are one folder deeper, as in a job of its own.",
            names.join(", "),
            match names {
                [_] => "is not",
                _ => "are not",
            }
        ),
        "Measure it on its own, if it is a job or another evening of this one; or move each set-up's folder directly into the job folder.",
    )
}
